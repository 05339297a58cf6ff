"""Files of the mixed clips: a track of the pose model, and what is done in every tenth of a second.

Kept small: picture positions to 1/8 px, the model's own 3-D to 1/1024 m, visibility to 1/64, and of
each its change from frame to frame.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motioncheck.records import LandmarkTrack

Array = NDArray[np.float64]
PX_STEPS, M_STEPS, SEEN_STEPS = 8, 1024, 64
LARGEST = 16383
# A label holds for this long.
STEP_S = 0.1
OTHER = "other"


@dataclass(frozen=True, eq=False)
class MixClip:
    """A track with the movement of every tenth of a second, ``other`` for none."""

    about: dict[str, Any]
    track: LandmarkTrack
    labels: tuple[str, ...]

    @property
    def name(self) -> str:
        """Name of the clip."""
        return str(self.about["name"])


def save_mix(
    path: Path,
    *,
    time_s: Array,
    size_px: tuple[int, int],
    track: dict[str, Array],
    labels: list[str],
    about: dict[str, Any],
) -> None:
    """Write one file, whole or not at all."""
    names = sorted(set(labels))
    partial = path.with_suffix(".part")
    with partial.open("wb") as file:
        np.savez_compressed(
            file,
            time_s=time_s,
            width_px=size_px[0],
            height_px=size_px[1],
            found=np.isfinite(track["image_px"][:, 0, 0]),
            image_px=_steps(track["image_px"], PX_STEPS),
            visibility=_steps(track["visibility"], SEEN_STEPS),
            world_m=_steps(track["world_m"], M_STEPS),
            label_names=np.array(names),
            labels=np.array([names.index(n) for n in labels], dtype=np.uint8),
            about=np.array(json.dumps(about)),
        )
    partial.replace(path)


def _steps(values: Array, steps: int) -> NDArray[np.int16]:
    """Return the changes of whole steps from frame to frame; nobody found counts as 0."""
    whole = np.clip(np.nan_to_num(np.round(values * steps)), -LARGEST, LARGEST)
    return np.diff(whole, axis=0, prepend=np.zeros_like(whole[:1])).astype(np.int16)


def _values(changes: NDArray[np.int16], steps: int) -> Array:
    return np.cumsum(changes.astype(np.int64), axis=0) / steps


def load_mix(path: Path) -> MixClip:
    """Read one file."""
    with np.load(path) as data:
        found = data["found"][:, None]
        arrays = {
            name: np.where(found[..., None], _values(data[name], steps), np.nan)
            for name, steps in (("image_px", PX_STEPS), ("world_m", M_STEPS))
        }
        seen = np.where(found, _values(data["visibility"], SEEN_STEPS), np.nan)
        names = [str(n) for n in data["label_names"]]
        track = LandmarkTrack(
            data["time_s"],
            arrays["image_px"],
            seen,
            arrays["world_m"],
            int(data["width_px"]),
            int(data["height_px"]),
            "full",
        )
        return MixClip(
            json.loads(str(data["about"])), track, tuple(names[i] for i in data["labels"])
        )
