"""Which lines of the body belong to a measure, for drawing them onto a picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from motioncheck.records import Verdict
from motioncheck.records.arrays import FloatArray
from motioncheck.sheet.words import split_side
from motioncheck.skeleton import INDEX

Reference = Literal["", "vertical", "horizontal", "straight"]


@dataclass(frozen=True, slots=True)
class MeasuredLine:
    """A measured line or angle to highlight.

    Parameters
    ----------
    points : tuple of str
        Two landmark names for a line, three for an angle at the middle one. ``mid_hip`` and the
        like stand for the middle between left and right.
    text : str
        Written beside it, such as ``52°``; empty for none.
    verdict : Verdict, optional
        A miss is drawn in the colour of misses and thicker.
    reference : {"", "vertical", "horizontal", "straight"}
        Draw a dotted line to compare with: in this direction from the first point, or, for an
        angle that is 0 when the limb is straight, onwards from the first part of the limb.
    """

    points: tuple[str, ...]
    text: str = ""
    verdict: Verdict | None = None
    reference: Reference = ""


# Measure without its side -> points ({s} is the side) and the direction they are compared with.
_Parts = tuple[tuple[tuple[str, ...], Reference], ...]
_LINES: Final[dict[str, _Parts]] = {
    "knee_flexion": ((("{s}_hip", "{s}_knee", "{s}_ankle"), "straight"),),
    "hip_flexion": ((("{s}_shoulder", "{s}_hip", "{s}_knee"), "straight"),),
    "ankle_flexion": ((("{s}_knee", "{s}_ankle", "{s}_toe"), ""),),
    "elbow_flexion": ((("{s}_shoulder", "{s}_elbow", "{s}_wrist"), "straight"),),
    "shoulder_elevation": ((("{s}_hip", "{s}_shoulder", "{s}_elbow"), ""),),
    "frontal_plane_knee_angle": ((("{s}_hip", "{s}_knee", "{s}_ankle"), "straight"),),
    "thigh_inclination": ((("{s}_knee", "{s}_hip"), "horizontal"),),
    "thigh_from_vertical": ((("{s}_knee", "{s}_hip"), "vertical"),),
    "shank_inclination": ((("{s}_ankle", "{s}_knee"), "vertical"),),
    "trunk_inclination": ((("mid_hip", "mid_shoulder"), "vertical"),),
    "trunk_lateral_inclination": ((("mid_hip", "mid_shoulder"), "vertical"),),
    "trunk_shank_difference": ((("mid_hip", "mid_shoulder"), ""), (("{s}_ankle", "{s}_knee"), "")),
    "knee_ankle_separation_ratio": (
        (("left_knee", "right_knee"), ""),
        (("left_ankle", "right_ankle"), ""),
    ),
    "stance_width_ratio": ((("left_ankle", "right_ankle"), ""),),
    "knee_toe_offset_ratio": ((("{s}_toe", "{s}_knee"), "vertical"),),
    "heel_lift_ratio": ((("{s}_toe", "{s}_heel"), "horizontal"),),
    "wrist_heel_gap_ratio": ((("{s}_wrist", "{o}_heel"), ""),),
    "arm_line_inclination": ((("left_wrist", "right_wrist"), ""),),
    "shoulder_line_tilt": ((("right_shoulder", "left_shoulder"), "horizontal"),),
    "hip_line_tilt": ((("right_hip", "left_hip"), "horizontal"),),
    "pelvis_shift_ratio": ((("mid_ankle", "mid_hip"), "vertical"),),
}


def measured_lines(
    measure: str, *, side: str = "", text: str = "", verdict: Verdict | None = None
) -> tuple[MeasuredLine, ...]:
    """Return the lines of a measure, none where there is nothing to draw for it.

    Parameters
    ----------
    measure : str
        Id of the measure, with or without ``_left`` or ``_right``.
    side : str
        Whose limb, when the id does not say; a measure of both sides is drawn on the left.
    text : str
        Written beside the first line.
    verdict : Verdict, optional
        Verdict of the finding the lines belong to.
    """
    base, own = split_side(measure)
    limb = own or (side if side in {"left", "right"} else "left")
    other = "right" if limb == "left" else "left"
    return tuple(
        MeasuredLine(
            tuple(p.format(s=limb, o=other) for p in points),
            "" if number else text,
            verdict,
            reference,
        )
        for number, (points, reference) in enumerate(_LINES.get(base, ()))
    )


def point_of(landmarks_px: FloatArray, name: str) -> FloatArray:
    """Return the place of a landmark, or of the middle between left and right for ``mid_...``."""
    if name.startswith("mid_"):
        part = name.removeprefix("mid_")
        pair = landmarks_px[[INDEX[f"left_{part}"], INDEX[f"right_{part}"]]]
        return np.asarray(pair.mean(axis=0))
    return np.asarray(landmarks_px[INDEX[name]])
