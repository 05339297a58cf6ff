"""Formulas of the measures taken in the picture plane.

Each function takes the body in the picture and a side (ignored where there is none) and returns
one value a frame, NaN where a landmark it needs is missing. The registry entry of each says
formula, sign and source in words; see ``docs/measures.md``.
"""

from __future__ import annotations

import numpy as np

from motioncheck.measures.body import BodyPicture, compute_hip_height_px, lower_ankle_y
from motioncheck.measures.geometry import (
    compute_bend_deg,
    compute_distance,
    compute_elevation_deg,
    compute_inclination_deg,
    compute_interior_angle_deg,
    compute_signed_bend_deg,
)
from motioncheck.records.arrays import FloatArray
from motioncheck.units import FULL_TURN_DEG

OTHER = {"left": "right", "right": "left"}
# Below these shares of their own length, seen from the front or behind, thigh or shank points along
# the line of sight and the frontal-plane knee angle has no meaning.
MIN_THIGH_SHARE = 0.45
MIN_SHANK_SHARE = 0.70
FURTHEST_BACK_DEG = -90.0


def knee_flexion(b: BodyPicture, side: str) -> FloatArray:
    """Sagittal knee flexion."""
    chain = (b.at(f"{side}_hip"), b.at(f"{side}_knee"), b.at(f"{side}_ankle"))
    return compute_signed_bend_deg(*chain, positive=b.forward)


def hip_flexion(b: BodyPicture, side: str) -> FloatArray:
    """Sagittal angle between trunk and thigh."""
    chain = (b.at(f"{side}_shoulder"), b.at(f"{side}_hip"), b.at(f"{side}_knee"))
    bend = compute_signed_bend_deg(*chain, positive=-b.forward)
    # No thigh goes so far back: the trunk lies on it.
    return np.where(bend < FURTHEST_BACK_DEG, bend + FULL_TURN_DEG, bend)


def ankle_flexion(b: BodyPicture, side: str) -> FloatArray:
    """Ankle dorsiflexion relative to quiet standing."""
    chain = (b.at(f"{side}_knee"), b.at(f"{side}_ankle"), b.at(f"{side}_toe"))
    raw = 90.0 - compute_interior_angle_deg(*chain)
    return raw - b.standing_median(raw)


def thigh_inclination(b: BodyPicture, side: str) -> FloatArray:
    """Thigh above the horizontal."""
    return compute_elevation_deg(b.at(f"{side}_knee"), b.at(f"{side}_hip"))


def shank_inclination(b: BodyPicture, side: str) -> FloatArray:
    """Shank from the vertical."""
    return compute_inclination_deg(b.at(f"{side}_ankle"), b.at(f"{side}_knee"), forward=b.forward)


def thigh_from_vertical(b: BodyPicture, side: str) -> FloatArray:
    """Thigh from the vertical, knee ahead positive."""
    return -compute_inclination_deg(b.at(f"{side}_knee"), b.at(f"{side}_hip"), forward=b.forward)


def trunk_inclination(b: BodyPicture, side: str) -> FloatArray:
    """Trunk from the vertical in the sagittal plane."""
    return compute_inclination_deg(b.mid("hip"), b.mid("shoulder"), forward=b.forward)


def trunk_shank_difference(b: BodyPicture, side: str) -> FloatArray:
    """Trunk inclination minus shank inclination, without sign."""
    return np.abs(trunk_inclination(b, side) - shank_inclination(b, side))


def trunk_lateral_inclination(b: BodyPicture, side: str) -> FloatArray:
    """Trunk from the vertical in the frontal plane, toward the person's right positive."""
    return compute_inclination_deg(b.mid("hip"), b.mid("shoulder"), forward=_right(b))


def _right(b: BodyPicture) -> int:
    """Return +1 where the person's right is the right of the picture (seen from behind)."""
    return 1 if abs(b.view.azimuth_deg) > 90.0 else -1


def shoulder_elevation(b: BodyPicture, side: str) -> FloatArray:
    """Upper arm away from the trunk side."""
    chain = (b.at(f"{side}_hip"), b.at(f"{side}_shoulder"), b.at(f"{side}_elbow"))
    return compute_interior_angle_deg(*chain)


def elbow_flexion(b: BodyPicture, side: str) -> FloatArray:
    """Elbow from straight."""
    chain = (b.at(f"{side}_shoulder"), b.at(f"{side}_elbow"), b.at(f"{side}_wrist"))
    return compute_bend_deg(*chain)


def frontal_plane_knee_angle(b: BodyPicture, side: str) -> FloatArray:
    """Frontal-plane projection angle of the knee, valgus positive."""
    hip, knee, ankle = (b.at(f"{side}_{n}") for n in ("hip", "knee", "ankle"))
    # The knee of the right leg is medial when it lies toward the person's left.
    toward_right_of_picture = _right(b) * (-1 if side == "right" else 1)
    # A knee displaced to the right of the line hip-ankle is a clockwise turn at the knee.
    angle = compute_signed_bend_deg(hip, knee, ankle, positive=toward_right_of_picture)
    thigh_gone = (knee[:, 1] - hip[:, 1]) < MIN_THIGH_SHARE * b.thigh_px
    shank_gone = (ankle[:, 1] - knee[:, 1]) < MIN_SHANK_SHARE * b.shank_px
    return np.where(thigh_gone | shank_gone, np.nan, angle)


def knee_ankle_separation_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Distance between the knees over distance between the ankles, side to side."""
    knees = np.abs(b.at("left_knee")[:, 0] - b.at("right_knee")[:, 0])
    ankles = np.abs(b.at("left_ankle")[:, 0] - b.at("right_ankle")[:, 0])
    # Feet together: the ratio of two near-zero widths says nothing.
    return np.where(ankles > 0.3 * b.hip_width_px, knees / np.maximum(ankles, 1e-9), np.nan)


def stance_width_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Distance between the ankles over shoulder width."""
    ankles = np.abs(b.at("left_ankle")[:, 0] - b.at("right_ankle")[:, 0])
    return ankles / b.shoulder_width_px


def knee_toe_offset_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Knee ahead of the toe, in foot lengths."""
    return (b.at(f"{side}_knee")[:, 0] - b.at(f"{side}_toe")[:, 0]) * b.forward / b.foot_px


def heel_lift_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Heel above its standing height relative to the toe, in foot lengths."""
    rise = b.at(f"{side}_toe")[:, 1] - b.at(f"{side}_heel")[:, 1]
    return (rise - b.standing_median(rise)) / b.foot_px


def wrist_heel_gap_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Distance from this hand's wrist to the heel of the other side, in shank lengths."""
    gap = compute_distance(b.at(f"{side}_wrist"), b.at(f"{OTHER[side]}_heel"))
    return gap / b.shank_px


def arm_line_inclination(b: BodyPicture, side: str) -> FloatArray:
    """Line from wrist to wrist, from the vertical, without sign."""
    d = b.at("left_wrist") - b.at("right_wrist")
    return np.degrees(np.arctan2(np.abs(d[:, 0]), np.abs(d[:, 1])))


def shoulder_line_tilt(b: BodyPicture, side: str) -> FloatArray:
    """Shoulder line from the horizontal, right side higher positive."""
    return _line_tilt(b, "shoulder")


def hip_line_tilt(b: BodyPicture, side: str) -> FloatArray:
    """Hip line from the horizontal, right side higher positive."""
    return _line_tilt(b, "hip")


def _line_tilt(b: BodyPicture, part: str) -> FloatArray:
    d = b.at(f"right_{part}") - b.at(f"left_{part}")
    return np.degrees(np.arctan2(-d[:, 1], np.abs(d[:, 0])))


def hip_shoulder_turn(b: BodyPicture, side: str) -> FloatArray:
    """Turn of the shoulder line against the hip line about the vertical, toward the left positive.

    Uses the model's own depth, which is poor: read its wide uncertainty.
    """
    yaws = []
    for part in ("shoulder", "hip"):
        d = b.track.world(f"left_{part}") - b.track.world(f"right_{part}")
        yaws.append(np.degrees(np.arctan2(d[:, 2], d[:, 0])))
    turn = yaws[0] - yaws[1]
    return (turn + 180.0) % 360.0 - 180.0


def pelvis_shift_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Mid-hip to the side of the middle of the ankles, in hip widths, toward the right positive."""
    shift = (b.mid("hip")[:, 0] - b.mid("ankle")[:, 0]) * _right(b)
    return shift / b.hip_width_px


def pelvis_drift_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Mid-hip to the side of the middle of the ankles, in stance widths, right positive."""
    shift = (b.mid("hip")[:, 0] - b.mid("ankle")[:, 0]) * _right(b)
    stance = np.abs(b.at("left_ankle")[:, 0] - b.at("right_ankle")[:, 0])
    return np.where(stance > 0.3 * b.hip_width_px, shift / np.maximum(stance, 1e-9), np.nan)


def shoulder_line_turn(b: BodyPicture, side: str) -> FloatArray:
    """Turn of the shoulder line out of the side-to-side direction, from its foreshortening."""
    width = np.abs(b.at("left_shoulder")[:, 0] - b.at("right_shoulder")[:, 0])
    return np.degrees(np.arccos(np.clip(width / b.shoulder_width_px, 0.0, 1.0)))


def shoulder_height_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Mid-shoulder above the supporting ankle, in leg lengths."""
    return (lower_ankle_y(b.points) - b.mid("shoulder")[:, 1]) / b.leg_px


def hip_height_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Mid-hip above the supporting ankle, in leg lengths."""
    return compute_hip_height_px(b.points) / b.leg_px


def knee_height_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Knee above the hip of its side, in thigh lengths (-1 hanging, 0 level)."""
    return (b.at(f"{side}_hip")[:, 1] - b.at(f"{side}_knee")[:, 1]) / b.thigh_px


def ankle_height_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Ankle above its own standing height below the hip, in leg lengths."""
    drop = b.at(f"{side}_ankle")[:, 1] - b.mid("hip")[:, 1]
    return (b.standing_median(drop) - drop) / b.leg_px


def hand_height_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Wrist above the supporting ankle, in leg lengths."""
    return (lower_ankle_y(b.points) - b.at(f"{side}_wrist")[:, 1]) / b.leg_px
