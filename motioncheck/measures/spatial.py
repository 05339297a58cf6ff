"""Formulas of measures taken in space: angles at a joint, and the slope of the thigh.

Each takes the body seen from its right side, for signs and baselines, the joints (T, 16, 3) along
forward, up and right in metres, and a side. NaN where a joint is NaN.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from motioncheck.bodyfit.model import JOINT
from motioncheck.measures import image
from motioncheck.measures.body import BodyPicture
from motioncheck.measures.geometry import compute_bend_deg, compute_interior_angle_deg
from motioncheck.records.arrays import FloatArray

# Up to this bend in the sagittal plane its sign counts; from twice that on a joint does not bend
# backwards, and what looks so is a turned limb.
GRADUAL_DEG: Final = 20.0
SpaceFormula = Callable[[BodyPicture, FloatArray, str], FloatArray]


def _at(joints_m: FloatArray, side: str, *parts: str) -> list[FloatArray]:
    return [joints_m[:, JOINT[f"{side}_{part}"]] for part in parts]


def _with_sign(bend: FloatArray, seen: FloatArray) -> FloatArray:
    """Return the bend in space, and near straight the bend in the sagittal plane with its sign.

    The bend in space is never negative and never quite 0, because of what little there is to the
    side; between the two the value changes over gradually.
    """
    share = np.maximum(np.abs(seen), bend - GRADUAL_DEG) / GRADUAL_DEG
    share = np.clip(share, 0.0, 1.0)
    sign = np.where((seen < 0) & (bend < 2 * GRADUAL_DEG), -1.0, 1.0)
    return np.asarray((1.0 - share) * seen + share * sign * bend)


def knee_flexion(b: BodyPicture, joints_m: FloatArray, side: str) -> FloatArray:
    """Bend of hip, knee, ankle."""
    bend = compute_bend_deg(*_at(joints_m, side, "hip", "knee", "ankle"))
    return _with_sign(bend, image.knee_flexion(b, side))


def ankle_flexion(b: BodyPicture, joints_m: FloatArray, side: str) -> FloatArray:
    """Dorsiflexion relative to quiet standing."""
    chain = _at(joints_m, side, "knee", "ankle", "toe")
    raw = 90.0 - compute_interior_angle_deg(*chain)
    return raw - b.standing_median(raw)


def elbow_flexion(b: BodyPicture, joints_m: FloatArray, side: str) -> FloatArray:
    """Bend of shoulder, elbow, wrist."""
    return compute_bend_deg(*_at(joints_m, side, "shoulder", "elbow", "wrist"))


def shoulder_elevation(b: BodyPicture, joints_m: FloatArray, side: str) -> FloatArray:
    """Upper arm away from the side of the trunk."""
    return compute_interior_angle_deg(*_at(joints_m, side, "hip", "shoulder", "elbow"))


def thigh_inclination(b: BodyPicture, joints_m: FloatArray, side: str) -> FloatArray:
    """Thigh above the horizontal, whichever way it points."""
    hip, knee = _at(joints_m, side, "hip", "knee")
    line = hip - knee
    return np.degrees(np.arctan2(line[:, 1], np.hypot(line[:, 0], line[:, 2])))


IN_SPACE: Final[dict[str, SpaceFormula]] = {
    "knee_flexion": knee_flexion,
    "ankle_flexion": ankle_flexion,
    "elbow_flexion": elbow_flexion,
    "shoulder_elevation": shoulder_elevation,
    "thigh_inclination": thigh_inclination,
}
