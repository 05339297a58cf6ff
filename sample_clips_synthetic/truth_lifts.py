"""True measures of lifts, hangs and lunges: arms, hands and feet against the body."""

from __future__ import annotations

import numpy as np
from bodies import SIDES, Array

LIFT_DEFINITIONS = (
    " arm_inclination: shoulder-to-wrist from straight up, 3-D, without sign; 0 overhead. "
    "upper_arm_inclination: shoulder-to-elbow above the horizontal, 3-D; + elbow above the "
    "shoulder. hand_ankle_offset_ratio: wrist ahead of the ankle of that side / foot length. "
    "hand_shoulder_offset_ratio: wrist ahead of the shoulder / arm length. elbow_trunk_ratio: "
    "elbow behind the line shoulder-hip, square from the side / upper-arm length. "
    "knee_floor_ratio: knee above the lower ankle / shank length. mouth_hand_height_ratio: mouth "
    "above mid wrist / thigh length; the mouth is taken 4 cm under the nose in the axes of the "
    "head. step_length_ratio: distance between the ankles, forward / leg length. "
    "pelvis_lateral_inclination: line of the hips from level in the frontal plane, + right side "
    "lower."
)

NOSE_TO_MOUTH_M = 0.04


def lift_measures(points: dict[str, Array]) -> dict[str, Array]:
    """Compute the true measures of lifts, one array of shape (T,) each.

    Angles are in degrees, ratios in shares of a segment; forward is the person's facing.
    """
    ankle_z = np.minimum(points["left_ankle"][:, 2], points["right_ankle"][:, 2])
    out = {}
    for side in SIDES:
        p = {
            name: points[f"{side}_{name}"]
            for name in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "heel", "big_toe")
        }
        values = _arm(p)
        values["knee_floor_ratio"] = (p["knee"][:, 2] - ankle_z) / _length(p, "knee", "ankle")
        out |= {f"{name}_{side}": value for name, value in values.items()}
    mid_wrist_z = 0.5 * (points["left_wrist"] + points["right_wrist"])[:, 2]
    thigh = 0.5 * sum(
        np.linalg.norm(points[f"{s}_hip"] - points[f"{s}_knee"], axis=-1) for s in SIDES
    )
    shank = 0.5 * sum(
        np.linalg.norm(points[f"{s}_knee"] - points[f"{s}_ankle"], axis=-1) for s in SIDES
    )
    out["mouth_hand_height_ratio"] = (find_mouth(points)[:, 2] - mid_wrist_z) / thigh
    apart = points["left_ankle"] - points["right_ankle"]
    out["step_length_ratio"] = np.abs(apart[:, 1]) / (thigh + shank)
    hips = points["left_hip"] - points["right_hip"]
    out["pelvis_lateral_inclination"] = np.degrees(np.arctan2(hips[:, 2], hips[:, 0]))
    return out


def _length(p: dict[str, Array], first: str, second: str) -> Array:
    return np.linalg.norm(p[second] - p[first], axis=-1)


def _arm(p: dict[str, Array]) -> dict[str, Array]:
    whole, upper = p["wrist"] - p["shoulder"], p["elbow"] - p["shoulder"]
    upper_m = _length(p, "shoulder", "elbow")
    arm_m = upper_m + _length(p, "elbow", "wrist")
    trunk = (p["hip"] - p["shoulder"])[:, [1, 2]]
    # Behind the line: across it in the sagittal plane, toward the back (+y with the trunk upright).
    across = upper[:, 2] * trunk[:, 0] - upper[:, 1] * trunk[:, 1]
    ahead = (p["ankle"] - p["wrist"])[:, 1]
    return {
        "arm_inclination": np.degrees(np.arccos(whole[:, 2] / np.linalg.norm(whole, axis=-1))),
        "upper_arm_inclination": np.degrees(np.arcsin(upper[:, 2] / upper_m)),
        "hand_ankle_offset_ratio": ahead / _length(p, "heel", "big_toe"),
        "hand_shoulder_offset_ratio": -whole[:, 1] / arm_m,
        "elbow_trunk_ratio": across / np.linalg.norm(trunk, axis=-1) / upper_m,
    }


def find_mouth(points: dict[str, Array]) -> Array:
    """Return a point between the lips, from nose, eyes and ears."""
    across = points["left_ear"] - points["right_ear"]
    eyes = 0.5 * (points["left_eye"] + points["right_eye"])
    forward = eyes - 0.5 * (points["left_ear"] + points["right_ear"])
    up = np.cross(across, -forward)
    up /= np.linalg.norm(up, axis=-1, keepdims=True)
    return points["nose"] - NOSE_TO_MOUTH_M * up
