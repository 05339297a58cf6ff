"""The fitted body of a clip: what is kept of it, and the cache it is kept in."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from motioncheck import __version__
from motioncheck.assets import read_asset
from motioncheck.bodyfit import fit_track
from motioncheck.landmarks import TrackCache, name_clip_entries
from motioncheck.lifting.network import WEIGHTS
from motioncheck.measures import Columns, measure_body, measure_joints
from motioncheck.records import CleanTrack
from motioncheck.records.arrays import FloatArray, frozen_floats, sealed, set_frozen

# Raise it when the code of the fit gives something else for the same track: kept bodies are then
# fitted anew. New weights of the lifting network are noticed without it.
FIT_VERSION: Final = 7
KIND: Final = "motioncheck/body"
CAMERA: Final = (
    "azimuth_deg",
    "azimuth_sd_deg",
    "tilt_deg",
    "tilt_sd_deg",
    "pitch_deg",
    "pitch_sd_deg",
)
JOINT_COUNT: Final = 16


@dataclass(frozen=True, slots=True, eq=False)
class FittedBody:
    """What a check needs of a fitted body.

    Attributes
    ----------
    time_s : ndarray, shape (T,)
    joints_m : ndarray, shape (T, 16, 3)
        As in `motioncheck.bodyfit.Body`.
    columns : Columns
        Every registered measure with its standard error.
    azimuth_deg, azimuth_sd_deg, tilt_deg, tilt_sd_deg, pitch_deg, pitch_sd_deg : float
        As in `motioncheck.bodyfit.Body`.
    notes : tuple of str
    """

    time_s: FloatArray
    joints_m: FloatArray
    columns: Columns
    azimuth_deg: float
    azimuth_sd_deg: float
    tilt_deg: float
    tilt_sd_deg: float
    pitch_deg: float
    pitch_sd_deg: float
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        set_frozen(self, "time_s", self.time_s, (None,))
        set_frozen(self, "joints_m", self.joints_m, (len(self.time_s), JOINT_COUNT, 3))


# A cleaned track, with hidden landmarks left in, to a body; raises `NoPersonError`.
Fit = Callable[[CleanTrack], FittedBody]


def fit_body(track: CleanTrack) -> FittedBody:
    """Fit a body to a track that was cleaned with a visibility gate of 0, and measure it.

    Raises
    ------
    NoPersonError
        If too little of a body was found.
    """
    body = fit_track(track)
    camera = {name: float(getattr(body, name)) for name in CAMERA}
    return FittedBody(
        body.time_s, body.joints_m, measure_body(body), **camera, notes=tuple(body.notes)
    )


class BodyCache:
    """Fits a body once and remembers it; whatever is missing or damaged is fitted again.

    Parameters
    ----------
    folder : Path
        That of `TrackCache`.
    clip_sha256 : str
        Whose bodies these are, so that they can be forgotten together; empty when not known.
    """

    def __init__(self, folder: Path, clip_sha256: str = "") -> None:
        self._cache = TrackCache(folder)
        self._start = name_clip_entries(clip_sha256)

    def __call__(self, track: CleanTrack) -> FittedBody:
        """Return the body of a track, as `fit_body` does."""
        name = f"{self._start}{make_name(track)}"
        kept = self._cache.get_body(name, KIND, partial(_unpack, track))
        if kept is not None:
            return kept
        fitted = fit_body(track)
        self._cache.put_body(name, KIND, FIT_VERSION, *_pack(fitted))
        self._cache.prune()
        return fitted


def make_name(track: CleanTrack) -> str:
    """Return the name under which the body of a track is kept: all that it depends on, hashed."""
    program = f"{FIT_VERSION} {__version__} {_hash_weights()}"
    settings = f"{track.cutoff_hz!r} {track.rate_hz!r} {track.width_px} {track.height_px}"
    digest = hashlib.sha256(f"{program} {settings}".encode())
    for array in (track.time_s, track.image_px, track.visibility, track.world_m):
        digest.update(np.ascontiguousarray(array).data)
    return digest.hexdigest()


@cache
def _hash_weights() -> str:
    """Hash the weights of the lifting network; where they are missing the fit itself says so."""
    try:
        return hashlib.sha256(read_asset(WEIGHTS)).hexdigest()
    except OSError:
        return ""


def _pack(fitted: FittedBody) -> tuple[dict[str, Any], dict[str, npt.NDArray[Any]]]:
    header: dict[str, Any] = {name: getattr(fitted, name) for name in CAMERA}
    names = list(fitted.columns.spread)
    header |= {"columns": names, "notes": list(fitted.notes)}
    spread = np.stack([fitted.columns.spread[name] for name in names])
    return header, {"joints_m": fitted.joints_m, "spread": spread}


def _unpack(
    track: CleanTrack, header: Mapping[str, Any], arrays: Mapping[str, npt.NDArray[Any]]
) -> FittedBody:
    """Return what `_pack` put together; the values are measured anew, only the errors are kept."""
    time_s = track.time_s
    joints = frozen_floats(arrays["joints_m"], (len(time_s), JOINT_COUNT, 3), name="joints_m")
    values = measure_joints(time_s, joints)
    rows = frozen_floats(arrays["spread"], (len(values), len(time_s)), name="spread")
    if header["version"] != FIT_VERSION or list(values) != header["columns"]:
        raise ValueError("kept by another version")
    spread = {name: sealed(row.copy()) for name, row in zip(values, rows, strict=True)}
    camera = {name: float(header[name]) for name in CAMERA}
    columns = Columns(MappingProxyType(values), MappingProxyType(spread))
    notes = tuple(str(note) for note in header["notes"])
    return FittedBody(time_s, joints, columns, **camera, notes=notes)
