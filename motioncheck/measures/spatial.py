"""Formulas of measures taken in space: angles at a joint, and the slope of the thigh.

Each takes the body seen from its right side, for signs and baselines, the joints (T, 16, 3) along
forward, up and right in metres, and a side. NaN where a joint is NaN.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from motioncheck.bodyfit.model import JOINT
from motioncheck.measures import image, image_load
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


def _from_up(line: FloatArray) -> FloatArray:
    """Return the angle of lines from straight up, degrees, 0 to 180."""
    return np.degrees(np.arctan2(np.hypot(line[:, 0], line[:, 2]), line[:, 1]))


def arm_inclination(b: BodyPicture, joints_m: FloatArray, side: str) -> FloatArray:
    """Line from shoulder to wrist, from straight up."""
    shoulder, wrist = _at(joints_m, side, "shoulder", "wrist")
    return _from_up(wrist - shoulder)


def upper_arm_inclination(b: BodyPicture, joints_m: FloatArray, side: str) -> FloatArray:
    """Upper arm above level."""
    shoulder, elbow = _at(joints_m, side, "shoulder", "elbow")
    return 90.0 - _from_up(elbow - shoulder)


def hand_line_inclination(b: BodyPicture, joints_m: FloatArray, side: str) -> FloatArray:
    """Line from hand to hand, from the vertical."""
    line = joints_m[:, JOINT["left_wrist"]] - joints_m[:, JOINT["right_wrist"]]
    angle = _from_up(line)
    return np.minimum(angle, 180.0 - angle)


def raised_arm_inclination(b: BodyPicture, joints_m: FloatArray, side: str) -> FloatArray:
    """Line shoulder-wrist of the higher hand, from straight up."""
    return _raised(arm_inclination, b, joints_m)


def raised_elbow_flexion(b: BodyPicture, joints_m: FloatArray, side: str) -> FloatArray:
    """Bend of the elbow of the higher hand."""
    return _raised(elbow_flexion, b, joints_m)


def raised_shoulder_elevation(b: BodyPicture, joints_m: FloatArray, side: str) -> FloatArray:
    """Upper arm of the higher hand, away from the side of the trunk."""
    return _raised(shoulder_elevation, b, joints_m)


def _raised(formula: SpaceFormula, b: BodyPicture, joints_m: FloatArray) -> FloatArray:
    left, right = (formula(b, joints_m, side) for side in ("left", "right"))
    return image_load.pick_raised(b, left, right)


def shoulder_line_rise(b: BodyPicture, joints_m: FloatArray, side: str) -> FloatArray:
    """Shoulder line from the horizontal, without sign."""
    line = joints_m[:, JOINT["left_shoulder"]] - joints_m[:, JOINT["right_shoulder"]]
    return np.abs(90.0 - _from_up(line))


IN_SPACE: Final[dict[str, SpaceFormula]] = {
    "knee_flexion": knee_flexion,
    "ankle_flexion": ankle_flexion,
    "elbow_flexion": elbow_flexion,
    "shoulder_elevation": shoulder_elevation,
    "thigh_inclination": thigh_inclination,
    "arm_inclination": arm_inclination,
    "upper_arm_inclination": upper_arm_inclination,
    "hand_line_inclination": hand_line_inclination,
    "raised_arm_inclination": raised_arm_inclination,
    "raised_elbow_flexion": raised_elbow_flexion,
    "raised_shoulder_elevation": raised_shoulder_elevation,
    "shoulder_line_rise": shoulder_line_rise,
}
