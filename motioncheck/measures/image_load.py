"""Formulas of the picture for hands, arms and whole-body lines: lifts, floor work, hanging.

As those in `image`: the body in the picture and a side in, one value a frame out, NaN where a
landmark is missing.
"""

from __future__ import annotations

import numpy as np

from motioncheck.measures import image
from motioncheck.measures.body import BodyPicture, lower_ankle_y, mean_seen, median_seen
from motioncheck.measures.geometry import (
    compute_bend_deg,
    compute_elevation_deg,
    compute_inclination_deg,
    compute_signed_bend_deg,
)
from motioncheck.measures.image import elbow_flexion, shoulder_elevation
from motioncheck.records.arrays import FloatArray
from motioncheck.skeleton import INDEX

# The shoulder joints are at least this far apart, in leg lengths. Seen from the side their largest
# distance in the clip may be far less (a fifth of stature over 0.491; common practice, no source).
SHOULDERS_APART = 0.4


def arm_inclination(b: BodyPicture, side: str) -> FloatArray:
    """Line shoulder-wrist from straight up, without sign."""
    ends = (b.at(f"{side}_shoulder"), b.at(f"{side}_wrist"))
    return np.abs(compute_inclination_deg(*ends, forward=1))


def upper_arm_inclination(b: BodyPicture, side: str) -> FloatArray:
    """Upper arm above level, elbow higher than the shoulder positive."""
    return compute_elevation_deg(b.at(f"{side}_shoulder"), b.at(f"{side}_elbow"))


def hand_line_inclination(b: BodyPicture, side: str) -> FloatArray:
    """Line from hand to hand from the vertical, without sign, whatever the view."""
    return image.arm_line_inclination(b, side)


def raised_arm_inclination(b: BodyPicture, side: str) -> FloatArray:
    """Line shoulder-wrist of the higher hand, from straight up."""
    return pick_raised(b, arm_inclination(b, "left"), arm_inclination(b, "right"))


def raised_elbow_flexion(b: BodyPicture, side: str) -> FloatArray:
    """Bend of the elbow of the higher hand."""
    return pick_raised(b, elbow_flexion(b, "left"), elbow_flexion(b, "right"))


def raised_shoulder_elevation(b: BodyPicture, side: str) -> FloatArray:
    """Upper arm of the higher hand, away from the side of the trunk."""
    return pick_raised(b, shoulder_elevation(b, "left"), shoulder_elevation(b, "right"))


def pick_raised(b: BodyPicture, left: FloatArray, right: FloatArray) -> FloatArray:
    """Return at each frame what belongs to the higher hand.

    Where only one hand is seen it is taken for the raised one if it is above its shoulder; NaN
    otherwise.
    """
    up, seen = {}, {}
    for side in ("left", "right"):
        wrist = b.at(f"{side}_wrist")[:, 1]
        seen[side] = np.isfinite(wrist)
        up[side] = wrist < b.at(f"{side}_shoulder")[:, 1]
    both = seen["left"] & seen["right"]
    higher = b.at("left_wrist")[:, 1] < b.at("right_wrist")[:, 1]
    take_left = np.where(both, higher, seen["left"] & up["left"])
    take_right = np.where(both, ~higher, seen["right"] & up["right"])
    return np.where(take_left, left, np.where(take_right, right, np.nan))


def shoulder_line_rise(b: BodyPicture, side: str) -> FloatArray:
    """Shoulder line from the horizontal, without sign, from its rise and the shoulder width."""
    rise = np.abs(b.at("left_shoulder")[:, 1] - b.at("right_shoulder")[:, 1])
    width_px = float(np.fmax(b.shoulder_width_px, SHOULDERS_APART * b.leg_px))
    return np.degrees(np.arcsin(np.clip(rise / width_px, 0.0, 1.0)))


def body_line(b: BodyPicture, side: str) -> FloatArray:
    """Bend of the line shoulder, hip, ankle; hips up (pike) positive, sagging negative."""
    chain = (b.mid("shoulder"), b.mid("hip"), b.mid("ankle"))
    return compute_signed_bend_deg(*chain, positive=-b.forward)


def back_line_bend(b: BodyPicture, side: str) -> FloatArray:
    """Bend of the line ear, shoulder, hip, without sign."""
    return compute_bend_deg(*(b.at(f"{side}_{part}") for part in ("ear", "shoulder", "hip")))


def knee_bend(b: BodyPicture, side: str) -> FloatArray:
    """Bend of the line hip, knee, ankle as seen, without sign."""
    return compute_bend_deg(*(b.at(f"{side}_{part}") for part in ("hip", "knee", "ankle")))


def ankle_lift_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Ankle above the lower ankle of the two, in leg lengths."""
    return (lower_ankle_y(b.points) - b.at(f"{side}_ankle")[:, 1]) / b.leg_px


def mouth_hand_height_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Mouth above the hands, in thigh lengths."""
    mouth = mean_seen(b.at("mouth_left")[:, 1], b.at("mouth_right")[:, 1])
    return (b.mid("wrist")[:, 1] - mouth) / b.thigh_px


def knee_floor_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Knee above the lower ankle, in shank lengths."""
    return (lower_ankle_y(b.points) - b.at(f"{side}_knee")[:, 1]) / b.shank_px


def step_length_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Distance between the ankles along the way the person faces, in leg lengths."""
    return np.abs(b.at("left_ankle")[:, 0] - b.at("right_ankle")[:, 0]) / b.leg_px


def fingertip_height_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Fingers above the lower toe, in leg lengths."""
    toe = np.fmax(b.at("left_toe")[:, 1], b.at("right_toe")[:, 1])
    return (toe - b.at(f"{side}_index")[:, 1]) / b.leg_px


def hand_ankle_offset_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Wrist ahead of the ankle of its side, in foot lengths."""
    gap = b.at(f"{side}_wrist")[:, 0] - b.at(f"{side}_ankle")[:, 0]
    return gap * b.forward / b.foot_px


def hand_shoulder_offset_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Wrist ahead of the shoulder of its side, in arm lengths."""
    gap = b.at(f"{side}_wrist")[:, 0] - b.at(f"{side}_shoulder")[:, 0]
    return gap * b.forward / (b.upper_arm_px + b.forearm_px)


def elbow_trunk_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Elbow behind the line shoulder-hip, in upper-arm lengths."""
    shoulder, hip = b.at(f"{side}_shoulder"), b.at(f"{side}_hip")
    down, arm = hip - shoulder, b.at(f"{side}_elbow") - shoulder
    cross = down[:, 0] * arm[:, 1] - down[:, 1] * arm[:, 0]
    length = np.hypot(down[:, 0], down[:, 1])
    return b.forward * cross / np.maximum(length, 1e-9) / b.upper_arm_px


def pelvis_hand_offset_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Mid-hip ahead of the hands, in trunk lengths."""
    return (b.mid("hip")[:, 0] - b.mid("wrist")[:, 0]) * b.forward / b.trunk_px


def knee_side_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Knee to the inside of the ankle, in thigh lengths, front or back view."""
    return _inside(b, side, f"{side}_knee", f"{side}_ankle") / b.thigh_px


def hand_foot_side_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Wrist to the inside of the ankle of its side, in hip widths, front or back view."""
    return _inside(b, side, f"{side}_wrist", f"{side}_ankle") / b.hip_width_px


def _inside(b: BodyPicture, side: str, point: str, of: str) -> FloatArray:
    """How far one point lies toward the middle of the body from another, pixels."""
    right_of_picture = 1 if abs(b.view.azimuth_deg) > 90.0 else -1
    toward_left = -right_of_picture if side == "right" else right_of_picture
    return (b.at(point)[:, 0] - b.at(of)[:, 0]) * toward_left


def pelvis_place_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Place of the mid-hip across the picture, in statures, from its median over the clip."""
    return _from_median(b.mid("hip")[:, 0]) / b.stature_px


def pelvis_rise_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Height of the mid-hip in the picture, in statures, from its median over the clip."""
    return -_from_median(b.mid("hip")[:, 1]) / b.stature_px


def shoulder_drop_ratio(b: BodyPicture, side: str) -> FloatArray:
    """How far the shoulders are below their standing height, in statures; 0 standing or higher."""
    height = b.mid("shoulder")[:, 1]
    return np.maximum((height - b.standing_median(height)) / b.stature_px, 0.0)


def foot_rise_ratio(b: BodyPicture, side: str) -> FloatArray:
    """Height of the foot (lower of heel and toe), in statures, from its median over the clip."""
    heel, toe = (b.points[:, INDEX[f"{side}_{part}"], 1] for part in ("heel", "toe"))
    return -_from_median(np.fmax(heel, toe)) / b.stature_px


def _from_median(values: FloatArray) -> FloatArray:
    return values - median_seen(values)
