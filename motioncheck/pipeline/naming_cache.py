"""Naming a track once and remembering it: most of the time of a second check goes into it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from motioncheck import __version__
from motioncheck.landmarks import TrackCache, name_clip_entries
from motioncheck.naming import Stretch, decide
from motioncheck.pipeline.naming import Naming, list_standards, name_track
from motioncheck.records import LandmarkTrack
from motioncheck.standards import load_standards

KIND = "motioncheck/naming"
# Raise it when the same track and standards may give other names.
NAMING_VERSION = 1


def name_remembered(
    track: LandmarkTrack,
    standards_folder: Path | None,
    *,
    cache_folder: Path | None,
    clip_sha256: str = "",
) -> Naming:
    """Tell which movements a track shows, from the cache when that was told before.

    Parameters
    ----------
    track : LandmarkTrack
    standards_folder : Path, optional
        The user's own standards.
    cache_folder : Path, optional
        That of `TrackCache`; None works it out anew.
    clip_sha256 : str
        Whose entry it is, so that it can be forgotten with the others of the clip.

    Raises
    ------
    NoPersonError
        As `name_track`.
    """
    standards = list_standards(standards_folder)
    if cache_folder is None:
        return name_track(track, standards)
    titles = {s.id: s.title for s in standards}
    cache = TrackCache(cache_folder)
    entry = f"{name_clip_entries(clip_sha256)}{make_name(track, standards_folder)}"
    kept = cache.get_body(entry, KIND, partial(_read, titles))
    if kept is not None:
        return kept
    naming = name_track(track, standards)
    header = {"stretches": [asdict(stretch) for stretch in naming.stretches]}
    cache.put_body(entry, KIND, NAMING_VERSION, header, {})
    cache.prune()
    return naming


def make_name(track: LandmarkTrack, standards_folder: Path | None) -> str:
    """Return the name of an entry: all that the names of a track depend on, hashed."""
    hashes = sorted(s.source_hash for s in load_standards(standards_folder).values())
    digest = hashlib.sha256(f"{KIND} {NAMING_VERSION} {__version__} {hashes}".encode())
    digest.update(f"{track.width_px} {track.height_px} {track.notes}".encode())
    for array in (track.time_s, track.image_px, track.visibility, track.world_m):
        digest.update(np.ascontiguousarray(array).data)
    return digest.hexdigest()


def _read(titles: dict[str, str], header: Mapping[str, Any], _arrays: object) -> Naming:
    if header["version"] != NAMING_VERSION:
        raise ValueError("kept by another version")
    stretches = tuple(Stretch(**fields) for fields in header["stretches"])
    return Naming(stretches, decide(stretches), titles)
