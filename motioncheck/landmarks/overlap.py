"""Landmarks of the athlete where somebody else is right behind or in front of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from motioncheck.landmarks.linking import Person
from motioncheck.records import LandmarkTrack
from motioncheck.records.arrays import FloatArray

# Just above the gate of the cleaning: used, with the wide uncertainty of half hidden landmarks.
HALF_HIDDEN: Final = 0.55
# Landmarks end inside the outline of a body; this share of its height is added around them.
MARGIN: Final = 0.08
SEEN: Final = 0.5


def dim_overlapped(track: LandmarkTrack, others: Sequence[Person]) -> LandmarkTrack:
    """Count landmarks as half hidden where they lie within somebody else's outline.

    The pose model is drawn toward a second body there without lowering its own visibility.

    Parameters
    ----------
    track : LandmarkTrack
        The athlete's.
    others : sequence of Person
        Everybody else who was followed.

    Returns
    -------
    LandmarkTrack
        With a note when frames were affected, else the track as it was.
    """
    visibility = np.array(track.visibility)
    frames: set[int] = set()
    for person in others:
        for sighting in person.sightings:
            points = track.image_px[sighting.frame]
            inside = _inside(points, sighting.pose.image_px, sighting.pose.visibility)
            if inside.any():
                frames.add(sighting.frame)
                row = visibility[sighting.frame]
                row[inside] = np.minimum(row[inside], HALF_HIDDEN)
    if not frames:
        return track
    note = (
        f"In {len(frames)} frames somebody else was right behind or before the athlete; landmarks "
        "there count as half hidden."
    )
    return replace(track, visibility=visibility, notes=(*track.notes, note))


def _inside(
    points: FloatArray, other: FloatArray, other_visibility: FloatArray
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    seen = other[other_visibility >= SEEN]
    if len(seen) < 2:
        return np.zeros(len(points), dtype=np.bool_)
    low, high = seen.min(axis=0), seen.max(axis=0)
    margin = MARGIN * (high[1] - low[1])
    # Comparisons with NaN are False: who was not found is not inside either.
    return np.asarray(((points > low - margin) & (points < high + margin)).all(axis=-1))
