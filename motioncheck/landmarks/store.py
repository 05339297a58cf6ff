"""Tracks as files: save, load, nothing half-written, nothing executed while reading."""

from __future__ import annotations

import contextlib
import io
import json
import os
import tempfile
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from motioncheck.errors import ShapeError, TrackFileError
from motioncheck.records import LandmarkTrack
from motioncheck.records.arrays import shorten

FORMAT: Final = "motioncheck/track"
VERSION: Final = 1

_HEADER: Final = "header"
_ARRAYS: Final = ("time_s", "image_px", "visibility", "world_m")
_NUMBERS: Final = ("width_px", "height_px", "jumps_cut", "people")
_TEXTS: Final = ("model", "model_sha256")
TEMPORARY_SUFFIX: Final = ".part"

# Whatever numpy and zipfile raise on files that are cut short, scrambled, or something else.
DAMAGED: Final = (
    OSError,
    ValueError,
    KeyError,
    TypeError,
    EOFError,
    MemoryError,
    NotImplementedError,
    RuntimeError,
    zipfile.BadZipFile,
    zlib.error,
)


def save_track(track: LandmarkTrack, path: Path) -> None:
    """Save a track; readable by its owner only, and either complete or not there at all.

    Parameters
    ----------
    track : LandmarkTrack
    path : Path
        File to write (``.npz``); its folder must exist. An older file is replaced.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    header: dict[str, Any] = {name: getattr(track, name) for name in _NUMBERS + _TEXTS}
    header["notes"] = list(track.notes)
    arrays = {name: shorten(getattr(track, name)) for name in _ARRAYS}
    write_whole(path, pack(FORMAT, VERSION, header, arrays))


def load_track(path: Path) -> LandmarkTrack:
    """Load a track that `save_track` wrote; every number is exactly the one saved.

    Parameters
    ----------
    path : Path

    Raises
    ------
    TrackFileError
        If the file is missing, damaged, of a later version, or not a saved track.
    """
    try:
        header, arrays = unpack(path.read_bytes(), FORMAT)
        if header["version"] > VERSION:
            raise TrackFileError(
                f"The saved track {path.name} was written by a later version of this program.",
                hint="Use that version, or delete the file and check the clip itself again.",
            )
        return _make_track(header, arrays)
    except FileNotFoundError as error:
        raise TrackFileError(f"The saved track {path.name} does not exist.") from error
    except (ShapeError, *DAMAGED) as error:
        raise TrackFileError(
            f"The file {path.name} is damaged, or it is not a saved track."
        ) from error


def _make_track(header: Mapping[str, Any], arrays: Mapping[str, npt.NDArray[Any]]) -> LandmarkTrack:
    notes = header["notes"]
    sound = (
        all(type(header[name]) is int for name in _NUMBERS)
        and all(isinstance(header[name], str) for name in _TEXTS)
        and isinstance(notes, list)
        and all(isinstance(note, str) for note in notes)
    )
    if not sound:
        raise ValueError("a value of the header is of the wrong kind")
    fields: dict[str, Any] = {name: header[name] for name in _NUMBERS + _TEXTS}
    fields |= {name: arrays[name] for name in _ARRAYS}
    return LandmarkTrack(**fields, notes=tuple(notes))


def pack(
    kind: str, version: int, header: Mapping[str, Any], arrays: Mapping[str, npt.NDArray[Any]]
) -> bytes:
    """Return a header and arrays as the content of an ``.npz`` file."""
    text = json.dumps({"format": kind, "version": version, **header})
    content = io.BytesIO()
    members: dict[str, Any] = {_HEADER: np.frombuffer(text.encode("utf-8"), dtype=np.uint8)}
    np.savez(content, **(members | dict(arrays)))
    return content.getvalue()


def unpack(content: bytes, kind: str) -> tuple[dict[str, Any], dict[str, npt.NDArray[Any]]]:
    """Return the header and the arrays that `pack` put together.

    Raises
    ------
    ValueError, or one of `DAMAGED`
        If this is something else. Nothing in the content is executed.
    """
    with np.load(io.BytesIO(content), allow_pickle=False) as archive:
        arrays = {name: archive[name] for name in archive.files}
    header = json.loads(arrays.pop(_HEADER).tobytes().decode("utf-8"))
    if not isinstance(header, dict) or header.get("format") != kind:
        raise ValueError(f"not a file of the kind {kind}")
    if not isinstance(header.get("version"), int):
        raise ValueError("no version")
    return header, arrays


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that a reader finds the old content or the new one, never a part.

    The file is readable by its owner only: it tells about somebody's body.
    """
    # A temporary file of `tempfile` is made with mode 0600, in the same folder so that renaming
    # is one step.
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=path.name, suffix=TEMPORARY_SUFFIX)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        temporary.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise
