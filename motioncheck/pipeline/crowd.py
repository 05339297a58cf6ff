"""Other people in the picture: they did not ask to be on the athlete's sheet."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from motioncheck.records import LandmarkTrack
from motioncheck.records.arrays import FloatArray
from motioncheck.sheet.faces import coarse, head_radius
from motioncheck.skeleton import BONES, INDEX

Image = npt.NDArray[np.uint8]

# How far the body and its clothes reach around the lines between the landmarks, as a multiple of
# the radius of the head with hair (18 cm); project judgement from adult proportions.
REACH: Final = 1.3
CROWD_NOTE: Final = (
    "Other people were in the picture: in stills and in the annotated clip, what is not close to "
    "the athlete's body is shown as coarse blocks. Somebody right behind the athlete may still "
    "be recognised."
)


def is_crowded(track: LandmarkTrack) -> bool:
    """Tell whether anybody but the athlete was noticed."""
    return track.people > 1 or track.jumps_cut > 0


def hide_others(rgb: Image, landmarks_px: FloatArray) -> Image:
    """Return a copy of a picture that shows the athlete, and the rest as coarse blocks.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3)
    landmarks_px : ndarray, shape (33, 2)
        Landmarks of the athlete in pixels of this picture; where NaN, nobody is shown.

    Notes
    -----
    The athlete's own face is left as it is; `motioncheck.sheet.cover_face` covers it.
    """
    import cv2

    points = np.asarray(landmarks_px, dtype=np.float64)
    blocks = coarse(rgb)
    radius = head_radius(points)
    if radius <= 0.0:
        return blocks
    shown = np.zeros(rgb.shape[:2], dtype=np.uint8)
    thickness = max(round(2.0 * REACH * radius), 1)
    limit = 4 * max(rgb.shape[:2])  # far outside the picture the drawing routine would overflow
    for a, b in (*BONES, ("nose", "left_shoulder"), ("nose", "right_shoulder")):
        ends = points[[INDEX[a], INDEX[b]]]
        if np.isfinite(ends).all() and np.abs(ends).max() < limit:
            start, end = (tuple(int(v) for v in np.round(p)) for p in ends)
            cv2.line(shown, start, end, 255, min(thickness, 32_767))
    return np.where(shown[..., None] > 0, rgb, blocks)
