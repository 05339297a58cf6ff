"""A folder that remembers tracks, stills and fitted bodies of clips checked before.

Nothing in it is needed: whatever is missing, damaged or cannot be written is worked out again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import logging
import os
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final, TypeVar

import numpy as np
import numpy.typing as npt

from motioncheck.errors import ShapeError, TrackFileError
from motioncheck.landmarks.store import (
    DAMAGED,
    TEMPORARY_SUFFIX,
    load_track,
    pack,
    save_track,
    unpack,
    write_whole,
)
from motioncheck.records import LandmarkTrack, Still

logger = logging.getLogger(__name__)

STILLS_FORMAT: Final = "motioncheck/stills"
STILLS_VERSION: Final = 1

# All that is kept together takes no more than this.
LIMIT_BYTES: Final = 500_000_000
_TRACK: Final = ".track.npz"
_STILLS: Final = ".stills.npz"
_BODY: Final = ".body.npz"
_ENTRIES: Final = (_TRACK, _STILLS, _BODY)
# A temporary file this old was left behind by a program that was stopped while writing.
_ABANDONED_S: Final = 3600.0
# As many digits tell clips apart well enough to remove the right ones.
_CLIP_DIGITS: Final = 24

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class TrackKey:
    """All that a track depends on: with the same key comes the same track.

    Attributes
    ----------
    clip_sha256 : str
        Checksum of the clip.
    model, model_sha256 : str
        Name and checksum of the pose model.
    program_version : str
    athlete_px : (float, float), optional
        Point given for the athlete.
    variant : str
        Whatever else the caller's result depends on, such as the movement whose way of moving
        helped to choose the athlete.
    """

    clip_sha256: str
    model: str
    model_sha256: str
    program_version: str
    athlete_px: tuple[float, float] | None = None
    variant: str = ""

    @property
    def digest(self) -> str:
        """Name of the entry, hexadecimal."""
        text = json.dumps(asdict(self), sort_keys=True)
        return hashlib.sha256(text.encode("utf-8")).hexdigest()

    @property
    def name(self) -> str:
        """Name of the entry in the folder: the clip first, so that its entries can be found."""
        return f"{name_clip_entries(self.clip_sha256)}{self.digest}"


def name_clip_entries(clip_sha256: str) -> str:
    """Return how the names of all entries of a clip begin; empty for a clip that is not known.

    The checksum itself is not shown: it would tell anybody who has the clip whose entry it is.
    """
    if not clip_sha256:
        return ""
    return hashlib.sha256(f"entries of {clip_sha256}".encode()).hexdigest()[:_CLIP_DIGITS] + "-"


class TrackCache:
    """Remembers tracks, stills and fitted bodies in a folder.

    May be used by several programs at once: files appear complete or not at all.

    Parameters
    ----------
    folder : Path
        Made when something is first put in, for its owner only.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def get(self, key: TrackKey) -> LandmarkTrack | None:
        """Return the track of a clip, None if it is not there or cannot be read."""
        return self._read(self._path(key, _TRACK), load_track)

    def put(self, key: TrackKey, track: LandmarkTrack) -> None:
        """Remember a track. Where that fails a warning is logged and the work goes on."""
        self._write(self._path(key, _TRACK), lambda path: save_track(track, path))

    def get_stills(self, key: TrackKey) -> list[Still]:
        """Return the stills of a clip, an empty list if there are none or they cannot be read."""
        return self._read(self._path(key, _STILLS), _load_stills) or []

    def put_stills(self, key: TrackKey, stills: Sequence[Still]) -> None:
        """Remember stills in place of older ones. A failure is logged, as in `put`."""
        self._write(self._path(key, _STILLS), lambda path: _save_stills(stills, path))

    def get_body(
        self,
        name: str,
        kind: str,
        read: Callable[[Mapping[str, Any], Mapping[str, npt.NDArray[Any]]], T],
    ) -> T | None:
        """Return a fitted body, None if it is not there or cannot be read.

        Parameters
        ----------
        name : str
            All that the body depends on, hashed.
        kind : str
            Format of the entry.
        read : callable
            Header and arrays to the body; raises like `numpy` where they do not fit.
        """
        return self._read(
            self.folder / f"{name}{_BODY}", lambda path: read(*unpack(path.read_bytes(), kind))
        )

    def put_body(
        self,
        name: str,
        kind: str,
        version: int,
        header: Mapping[str, Any],
        arrays: Mapping[str, npt.NDArray[Any]],
    ) -> None:
        """Remember the header and the arrays of a fitted body. A failure is logged, as in `put`."""
        path = self.folder / f"{name}{_BODY}"
        self._write(path, lambda place: write_whole(place, pack(kind, version, header, arrays)))

    def forget(self, clip_sha256: str) -> int:
        """Remove all that is kept of a clip, whatever model or version made it.

        Returns
        -------
        removed : int
            Files that were removed.

        Raises
        ------
        OSError
            If one of them cannot be removed.
        """
        start = name_clip_entries(clip_sha256)
        listed = self._list((*_ENTRIES, TEMPORARY_SUFFIX))
        found = [path for path in listed if start and path.name.startswith(start)]
        for path in found:
            path.unlink(missing_ok=True)
        return len(found)

    def prune(self, max_bytes: int = LIMIT_BYTES) -> int:
        """Remove the entries unused for longest until the rest takes at most ``max_bytes``.

        A track and its stills go together. Files that are not of this cache are left alone.

        Returns
        -------
        removed_bytes : int
        """
        self._remove_abandoned()
        entries: dict[str, list[tuple[Path, os.stat_result]]] = {}
        for path in self._list(_ENTRIES):
            with contextlib.suppress(OSError):  # Removed by another program meanwhile.
                entries.setdefault(path.name.split(".")[0], []).append((path, path.stat()))
        total = sum(stat.st_size for files in entries.values() for _, stat in files)
        removed = 0
        for files in sorted(entries.values(), key=_last_used):
            if total - removed <= max_bytes:
                break
            for path, stat in files:
                with contextlib.suppress(OSError):
                    path.unlink(missing_ok=True)
                    removed += stat.st_size
        return removed

    def _path(self, key: TrackKey, suffix: str) -> Path:
        return self.folder / f"{key.name}{suffix}"

    def _list(self, suffixes: tuple[str, ...]) -> list[Path]:
        try:
            return [path for path in self.folder.iterdir() if path.name.endswith(suffixes)]
        except OSError:
            return []

    def _read(self, path: Path, load: Callable[[Path], T]) -> T | None:
        if not path.is_file():
            return None
        try:
            content = load(path)
        except (TrackFileError, ShapeError, *DAMAGED):
            logger.info("The cache entry %s cannot be read and is replaced.", path.name)
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)
            return None
        with contextlib.suppress(OSError):
            os.utime(path)  # Used now: `prune` takes the others first.
        return content

    def _write(self, path: Path, save: Callable[[Path], None]) -> None:
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            save(path)
        except OSError as error:
            logger.warning("The cache in %s cannot be written: %s.", self.folder, error)

    def _remove_abandoned(self) -> None:
        for path in self._list((TEMPORARY_SUFFIX,)):
            with contextlib.suppress(OSError):
                ours = any(suffix in path.name for suffix in _ENTRIES)
                if ours and path.stat().st_mtime < time.time() - _ABANDONED_S:
                    path.unlink(missing_ok=True)


def _last_used(files: list[tuple[Path, os.stat_result]]) -> float:
    return max(stat.st_mtime for _, stat in files)


def _save_stills(stills: Sequence[Still], path: Path) -> None:
    header = {
        "stills": [
            {
                "time_s": still.time_s,
                "width_px": still.width_px,
                "height_px": still.height_px,
                "scale": still.scale,
            }
            for still in stills
        ]
    }
    pictures = {
        f"jpeg_{i}": np.frombuffer(still.jpeg, dtype=np.uint8) for i, still in enumerate(stills)
    }
    write_whole(path, pack(STILLS_FORMAT, STILLS_VERSION, header, pictures))


def _load_stills(path: Path) -> list[Still]:
    header, pictures = unpack(path.read_bytes(), STILLS_FORMAT)
    if header["version"] != STILLS_VERSION:
        raise ValueError("written by another version")
    return [
        Still(jpeg=pictures[f"jpeg_{i}"].tobytes(), **fields)
        for i, fields in enumerate(header["stills"])
    ]
