"""Covering faces for good: what is painted over cannot be brought back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from motioncheck.records.arrays import FloatArray
from motioncheck.skeleton import FACE, INDEX

Image = npt.NDArray[np.uint8]

COVER_RGB: Final = (112, 118, 128)
EDGE_RGB: Final = (60, 66, 76)
# Number of blocks along the short side when the whole picture has to be made unrecognisable.
BLOCKS: Final = 14
# Radius that reaches from the middle of the head past chin, crown and hair, as a multiple of each
# length a picture may show of the body (project judgement from adult proportions: radius 18 cm;
# ears 15 cm apart, nose to ear 11 cm, eye to mouth 7 cm, shoulders 36 cm, trunk 50 cm).
_RADIUS: Final = {"ears": 1.2, "nose_ear": 1.6, "eye_mouth": 2.5, "shoulders": 0.5, "trunk": 0.36}
# From the middle of the shoulders to the middle of the head, as a multiple of the head radius.
_NECK: Final = 1.45


@dataclass(frozen=True, slots=True)
class Head:
    """Where the head is in the picture, pixels."""

    x: float
    y: float
    radius: float


def cover_face(rgb: Image, landmarks_px: FloatArray) -> Image:
    """Return a copy of a picture in which the head is painted over.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3)
    landmarks_px : ndarray, shape (33, 2)
        Landmarks in pixels of this picture; NaN where unknown.

    Returns
    -------
    ndarray, shape (H, W, 3)
        With an opaque disc over head and hair. Where neither head nor shoulders are known, the
        whole picture is reduced to coarse blocks: a face might be anywhere in it.

    Notes
    -----
    Call it once for every person who was found; others in the picture stay as they are.
    """
    head = locate_head(np.asarray(landmarks_px, dtype=np.float64), rgb.shape)
    if head is None:
        return coarse(rgb)
    import cv2

    result = np.array(rgb, dtype=np.uint8, order="C")
    # Far outside the picture the drawing routine would overflow; the cover is not needed there.
    reach = 4.0 * max(rgb.shape[:2])
    if abs(head.x) > reach or abs(head.y) > reach:
        return coarse(rgb)
    centre = (round(head.x), round(head.y))
    radius = max(round(min(head.radius, reach)), 3)
    cv2.circle(result, centre, radius, COVER_RGB, cv2.FILLED, cv2.LINE_8)
    cv2.circle(result, centre, radius, EDGE_RGB, max(radius // 24, 1), cv2.LINE_AA)
    return result


def coarse(rgb: Image) -> Image:
    """Return the picture as coarse blocks, in which nobody can be recognised."""
    import cv2

    height, width = rgb.shape[:2]
    cell = max(min(height, width) / BLOCKS, 1.0)
    small = (max(round(width / cell), 1), max(round(height / cell), 1))
    blocks = cv2.resize(np.ascontiguousarray(rgb), small, interpolation=cv2.INTER_AREA)
    return np.asarray(
        cv2.resize(blocks, (width, height), interpolation=cv2.INTER_NEAREST), dtype=np.uint8
    )


def locate_head(points: FloatArray, shape: tuple[int, ...]) -> Head | None:
    """Return the disc that holds the head, or None when it cannot be told where the head is."""
    face = points[list(FACE)]
    face = face[np.isfinite(face).all(axis=1)]
    # A head is hardly ever smaller than this share of a picture that shows a whole body.
    least = 0.02 * min(shape[:2])
    radius = max(head_radius(points), least)
    if len(face):
        return _around_face(points, face, radius)
    return _above_shoulders(points, radius)


def head_radius(points: FloatArray) -> float:
    """Return the largest head radius that any visible length of the body speaks for, pixels.

    A length shrinks when it points towards the camera and never grows, so the largest is right.
    """
    pairs = {
        "ears": [("left_ear", "right_ear")],
        "nose_ear": [("nose", "left_ear"), ("nose", "right_ear")],
        "eye_mouth": [("left_eye", "mouth_left"), ("right_eye", "mouth_right")],
        "shoulders": [("left_shoulder", "right_shoulder")],
        "trunk": [("left_shoulder", "left_hip"), ("right_shoulder", "right_hip")],
    }
    lengths = [
        _RADIUS[kind] * float(np.linalg.norm(points[INDEX[a]] - points[INDEX[b]]))
        for kind, ends in pairs.items()
        for a, b in ends
    ]
    known = [length for length in lengths if np.isfinite(length)]
    return max(known, default=0.0)


def _around_face(points: FloatArray, face: FloatArray, radius: float) -> Head:
    """Centre the disc between the ears where they are known, else on the landmarks there are."""
    ears = points[[INDEX["left_ear"], INDEX["right_ear"]]]
    ears = ears[np.isfinite(ears).all(axis=1)]
    middle = ears.mean(axis=0) if len(ears) else face.mean(axis=0)
    if not len(ears):
        # Seen from the side, nose and mouth lie a head's half away from its middle.
        radius *= 1.6 if len(face) < 4 else 1.3
    elif len(ears) == 1:
        # Seen from the front, one ear lies half a head's width beside its middle.
        radius *= 1.4
    up = _up(points, middle)
    # The landmarks sit in the lower half of the head: crown and hair lie above them.
    centre = middle + 0.12 * radius * up
    farthest = float(np.linalg.norm(face - centre, axis=1).max())
    return Head(float(centre[0]), float(centre[1]), max(radius, farthest + 0.35 * radius))


def _up(points: FloatArray, head: FloatArray) -> FloatArray:
    """Return the direction from the shoulders to the head, upwards in the picture if unknown."""
    shoulders = _middle(points, "shoulder")
    if shoulders is not None and np.linalg.norm(head - shoulders) > 1.0:
        return np.asarray((head - shoulders) / np.linalg.norm(head - shoulders))
    return np.array([0.0, -1.0])


def _above_shoulders(points: FloatArray, radius: float) -> Head | None:
    """Cover where the head must be when only shoulders are known, half as large again."""
    shoulders = _middle(points, "shoulder")
    if shoulders is None:
        return None
    hips = _middle(points, "hip")
    up = np.array([0.0, -1.0])
    if hips is not None and np.linalg.norm(shoulders - hips) > 1.0:
        up = (shoulders - hips) / np.linalg.norm(shoulders - hips)
    centre = shoulders + _NECK * radius * up
    return Head(float(centre[0]), float(centre[1]), 1.5 * radius)


def _middle(points: FloatArray, part: str) -> FloatArray | None:
    pair = points[[INDEX[f"left_{part}"], INDEX[f"right_{part}"]]]
    pair = pair[np.isfinite(pair).all(axis=1)]
    return np.asarray(pair.mean(axis=0)) if len(pair) else None
