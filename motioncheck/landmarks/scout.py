"""Quick looks for other people while somebody is followed.

The detector of the pose model is made for one person and mostly names only the most striking one,
however many it is asked for. So the bodies known already are painted over before a look.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from motioncheck.landmarks.choice import SMALLEST_EXTENT
from motioncheck.landmarks.model import Picture, Pose, PoseFinder
from motioncheck.landmarks.sightings import TORSO, compute_box, compute_box_overlap, compute_extent

# Grey, because edges and colours are what the detector reacts to.
COVER: Final = 128
# How far a cover reaches beyond the landmarks, in body extents: hair, hands, shoes.
COVER_MARGIN: Final = 0.1

# Others smaller than this part of a followed body are too far away to be taken for it.
SMALLEST_PART: Final = 0.2
# Two poses whose boxes overlap more than this may be the same body twice.
LARGEST_OVERLAP: Final = 0.4
LEAST_VISIBILITY: Final = 0.6


class Scout:
    """Takes a look for somebody else now and then.

    A look costs about as much as a frame of following, so that one a second takes about 4 % of
    the time at 30 frames a second. At the start looks come closer, because that is where the user
    points out the athlete.

    Parameters
    ----------
    model : PoseFinder
        Finds a person in single pictures.
    height_px : int
        Height of the full-size picture.
    thorough_s : float
        How long from the start looks come closely one after the other.
    """

    MODEL: Final = "lite"
    EVERY_S: Final = 1.0
    AT_START_S: Final = 0.25

    def __init__(self, model: PoseFinder, *, height_px: int, thorough_s: float = 0.5) -> None:
        self._model = model
        self._smallest_px = SMALLEST_EXTENT * height_px
        self._thorough_s = thorough_s
        self._start_s: float | None = None
        self._next_s = -np.inf

    def hurry(self) -> None:
        """Look again at the next opportunity."""
        self._next_s = -np.inf

    def look(
        self, rgb: Picture, time_s: float, known: Sequence[Pose], *, scale: float
    ) -> Pose | None:
        """Take a look if it is time for one; return somebody who is not known yet.

        Parameters
        ----------
        rgb : ndarray of uint8, shape (H, W, 3)
        time_s : float
        known : sequence of Pose
            The bodies that are followed.
        scale : float
            Pixels of ``rgb`` per pixel of the poses.
        """
        if time_s < self._next_s:
            return None
        self._start_s = time_s if self._start_s is None else self._start_s
        at_start = time_s < self._start_s + self._thorough_s
        self._next_s = time_s + (self.AT_START_S if at_start else self.EVERY_S)
        found = self._model.detect(cover_bodies(rgb, known, scale=scale), time_s)
        return next((pose for pose in found if self._is_new(pose, known)), None)

    def _is_new(self, pose: Pose, known: Sequence[Pose]) -> bool:
        extent_px = compute_extent(pose)
        return (
            extent_px >= self._smallest_px
            and float(np.mean(pose.visibility[list(TORSO)])) >= LEAST_VISIBILITY
            and all(extent_px >= SMALLEST_PART * compute_extent(body) for body in known)
            and all(compute_box_overlap(pose, body) < LARGEST_OVERLAP for body in known)
        )


def cover_bodies(rgb: Picture, poses: Sequence[Pose], *, scale: float) -> Picture:
    """Paint over bodies in a copy of a picture.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
    poses : sequence of Pose
        Bodies to cover, each with a box and some margin.
    scale : float
        Pixels of ``rgb`` per pixel of the poses.
    """
    covered = rgb.copy()
    for pose in poses:
        margin = COVER_MARGIN * compute_extent(pose)
        left, top, right, bottom = compute_box(pose) + margin * np.array([-1, -1, 1, 1])
        rows = slice(*np.clip([top * scale, bottom * scale], 0, rgb.shape[0]).astype(int))
        columns = slice(*np.clip([left * scale, right * scale], 0, rgb.shape[1]).astype(int))
        covered[rows, columns] = COVER
    return covered
