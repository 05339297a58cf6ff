"""Quick looks for other people while one person is followed."""

from __future__ import annotations

from typing import Final

import numpy as np

from motioncheck.landmarks.choice import SMALLEST_EXTENT
from motioncheck.landmarks.model import Picture, Pose, PoseFinder
from motioncheck.landmarks.sightings import TORSO, compute_box, compute_box_overlap


class Scout:
    """Looks for other people now and then, and makes up its mind after two sightings.

    A look costs about as much as 1.4 frames of the following itself, so that one every 1.5 s takes
    about 3 % of the time at 30 frames a second. After a first sighting the next look comes soon:
    either it was a slip of the model, or the clip has to be gone through in another way anyway.

    Parameters
    ----------
    model : PoseFinder
        Finds several people in single pictures.
    height_px : int
        Height of the full-size picture.
    """

    MODEL: Final = "lite"
    EVERY_S: Final = 1.5
    SOON_S: Final = 0.3
    SIGHTINGS: Final = 2
    # Others smaller than this part of the followed body are too far away to be taken for it.
    SMALLEST_PART: Final = 0.2
    # Two poses whose boxes overlap more than this may be the same body twice.
    LARGEST_OVERLAP: Final = 0.4
    SUREST_VISIBILITY: Final = 0.6

    def __init__(self, model: PoseFinder, *, height_px: int) -> None:
        self._model = model
        self._smallest_px = SMALLEST_EXTENT * height_px
        self._next_s = -np.inf
        self._sightings = 0

    def look(self, rgb: Picture, time_s: float, followed: Pose | None) -> bool:
        """Take a look if it is time for one; True once others have been seen often enough.

        Parameters
        ----------
        rgb : ndarray of uint8, shape (H, W, 3)
        time_s : float
        followed : Pose or None
            The body that is being followed, None if it is not found in this picture.
        """
        if time_s >= self._next_s:
            others = count_others(
                self._model.detect(rgb, time_s), followed, smallest_px=self._smallest_px
            )
            self._sightings += others > 0
            self._next_s = time_s + (self.SOON_S if others else self.EVERY_S)
        return self._sightings >= self.SIGHTINGS


def count_others(poses: list[Pose], followed: Pose | None, *, smallest_px: float) -> int:
    """Count people who are clearly not the followed one.

    Parameters
    ----------
    poses : list of Pose
        Who was found.
    followed : Pose or None
        Who is followed; None: one of ``poses`` is taken for the athlete.
    smallest_px : float
        Bodies that span less are left out.
    """
    likely = [pose for pose in poses if _is_likely(pose, smallest_px)]
    if followed is None:
        return max(_count_apart(likely) - 1, 0)
    own_px = _compute_extent_px(followed)
    return sum(
        _compute_extent_px(pose) >= Scout.SMALLEST_PART * own_px
        and compute_box_overlap(pose, followed) < Scout.LARGEST_OVERLAP
        for pose in likely
    )


def _count_apart(poses: list[Pose]) -> int:
    """Count bodies that do not overlap with one counted before."""
    apart: list[Pose] = []
    for pose in poses:
        if all(compute_box_overlap(pose, other) < Scout.LARGEST_OVERLAP for other in apart):
            apart.append(pose)
    return len(apart)


def _is_likely(pose: Pose, smallest_px: float) -> bool:
    sure = float(np.mean(pose.visibility[list(TORSO)])) >= Scout.SUREST_VISIBILITY
    return sure and _compute_extent_px(pose) >= smallest_px


def _compute_extent_px(pose: Pose) -> float:
    box = compute_box(pose)
    return float((box[2:] - box[:2]).max())
