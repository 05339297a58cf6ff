"""Entries of the measure registry.

Guard bands marked "working default" come from published errors of video-based angles (side-view
squat knee flexion of the same landmark model: -2.3 +/- 6.4 degrees, Cosoli, Arnesano & Scalise
2026; frontal-plane projection angle SEM 2.7 to 3.0 degrees, Munro, Herrington & Carolan 2012) and
from common practice, no source. They are half-widths in a square view of the limb's plane.
"""

from __future__ import annotations

from motioncheck.measures import image
from motioncheck.measures.registry import MeasureSpec, Plane, Registry

GONIOMETRY = "goniometry: anatomical position is 0, flexion positive (ISB, Wu et al. 2002, 2005)"
PRACTICE = "common practice, no source"
VIDEO_ERROR = "working default from published video errors and common practice"
# Error per (1 - cos turn), from the projection of two segments that turn out of the picture:
# at 20 and 30 degrees it gives 3.0 and 6.7 degrees for a joint angle (exact cases: 2.9 and 6.7).
JOINT_TURN = 50.0
LINE_TURN = 28.6

REGISTRY = Registry()


def _degrees(
    name: str,
    title: str,
    plane: Plane,
    guard: float,
    points: tuple[str, ...],
    *,
    formula: str,
    sign: str,
    sided: bool = True,
    per_turn: float = JOINT_TURN,
    source: str = GONIOMETRY,
    span: tuple[float, float] = (-180.0, 180.0),
) -> None:
    compute = getattr(image, name)
    REGISTRY.add(
        MeasureSpec(
            name,
            title,
            sided,
            plane,
            "deg",
            sign,
            formula,
            guard,
            per_turn,
            points,
            source,
            VIDEO_ERROR,
            span,
            compute,
        )
    )


def _ratio(
    name: str,
    title: str,
    plane: Plane,
    guard: float,
    points: tuple[str, ...],
    *,
    formula: str,
    sign: str,
    of: str,
    sided: bool = False,
    per_turn: float = 1.0,
    source: str = PRACTICE,
    span: tuple[float, float] = (-5.0, 5.0),
) -> None:
    compute = getattr(image, name)
    REGISTRY.add(
        MeasureSpec(
            name,
            title,
            sided,
            plane,
            "ratio",
            sign,
            formula,
            guard,
            per_turn,
            points,
            source,
            PRACTICE,
            span,
            compute,
            of,
        )
    )


def _timing(name: str, title: str, unit: str, guard: float, *, formula: str) -> None:
    REGISTRY.add(
        MeasureSpec(
            name,
            title,
            False,
            "any",
            unit,
            "longer or more is larger",
            formula,
            guard,
            0.0,
            (),
            PRACTICE,
            "two frames at 30 frames a second, " + PRACTICE,
            (0.0, 1000.0),
            None,
        )
    )


_degrees(
    "knee_flexion",
    "Knee flexion",
    "sagittal",
    5.0,
    ("*_hip", "*_knee", "*_ankle"),
    formula="180° minus the angle hip-knee-ankle, with sign",
    sign="0 straight, + bent with the heel behind, - hyperextended",
    span=(-30.0, 170.0),
)
_degrees(
    "hip_flexion",
    "Hip flexion",
    "sagittal",
    8.0,
    ("*_shoulder", "*_hip", "*_knee"),
    formula="180° minus the angle shoulder-hip-knee, with sign",
    sign="0 in line, + thigh ahead of the trunk line, - behind; includes pelvis and low back",
    span=(-60.0, 170.0),
)
_degrees(
    "ankle_flexion",
    "Ankle flexion",
    "sagittal",
    10.0,
    ("*_knee", "*_ankle", "*_toe"),
    formula="90° minus the angle knee-ankle-toe, minus the same in quiet standing",
    sign="+ dorsiflexion (toes toward the shin), - plantarflexion",
    span=(-80.0, 60.0),
)
_degrees(
    "thigh_inclination",
    "Thigh inclination",
    "sagittal",
    5.0,
    ("*_hip", "*_knee"),
    formula="angle of the line knee-hip above the horizontal",
    sign="+90 standing, 0 level, negative when the hip is below the knee",
    per_turn=LINE_TURN,
    span=(-90.0, 90.0),
)
_degrees(
    "thigh_from_vertical",
    "Thigh from the vertical",
    "sagittal",
    5.0,
    ("*_hip", "*_knee"),
    formula="angle of the line hip-knee from straight down",
    sign="0 hanging, + knee ahead of the hip",
    per_turn=LINE_TURN,
)
_degrees(
    "shank_inclination",
    "Shank inclination",
    "sagittal",
    4.0,
    ("*_knee", "*_ankle"),
    formula="angle of the line ankle-knee from the vertical",
    sign="0 upright, + knee ahead of the ankle",
    per_turn=LINE_TURN,
    span=(-90.0, 90.0),
)
_degrees(
    "trunk_inclination",
    "Trunk inclination",
    "sagittal",
    4.0,
    ("left_shoulder", "right_shoulder", "left_hip", "right_hip"),
    formula="angle of the line mid-hip to mid-shoulder from the vertical",
    sign="0 upright, + leaning forward",
    sided=False,
    per_turn=LINE_TURN,
)
_degrees(
    "trunk_shank_difference",
    "Trunk against shank",
    "sagittal",
    5.0,
    ("left_shoulder", "right_shoulder", "left_hip", "right_hip", "*_knee", "*_ankle"),
    formula="trunk inclination minus shank inclination, without sign",
    sign="0 parallel",
    per_turn=LINE_TURN,
    source="Myer et al. 2014, visual squat rule (from memory)",
    span=(0.0, 180.0),
)
_degrees(
    "trunk_lateral_inclination",
    "Trunk side lean",
    "frontal",
    3.0,
    ("left_shoulder", "right_shoulder", "left_hip", "right_hip"),
    formula="angle of the line mid-hip to mid-shoulder from the vertical, front or back view",
    sign="0 upright, + toward the person's right",
    sided=False,
    per_turn=LINE_TURN,
)
_degrees(
    "shoulder_elevation",
    "Shoulder elevation",
    "any",
    6.0,
    ("*_hip", "*_shoulder", "*_elbow"),
    formula="angle between shoulder-hip and shoulder-elbow (abduction seen from the front, flexion "
    "seen from the side)",
    sign="0 arm at the side, 180 overhead",
    span=(0.0, 180.0),
)
_degrees(
    "elbow_flexion",
    "Elbow flexion",
    "any",
    6.0,
    ("*_shoulder", "*_elbow", "*_wrist"),
    formula="180° minus the angle shoulder-elbow-wrist",
    sign="0 straight, + bent",
    span=(0.0, 170.0),
)
_degrees(
    "frontal_plane_knee_angle",
    "Frontal-plane knee angle",
    "frontal strict",
    5.0,
    ("*_hip", "*_knee", "*_ankle"),
    formula="180° minus the angle hip-knee-ankle, front or back view; empty where the thigh points "
    "at the lens",
    sign="+ valgus (knee inward of the line hip-ankle), - varus",
    source="frontal-plane projection angle, Willson et al. 2006 as cited by Munro et al. 2012",
    span=(-90.0, 90.0),
)
_ratio(
    "knee_ankle_separation_ratio",
    "Knees over ankles",
    "frontal",
    0.08,
    ("left_knee", "right_knee", "left_ankle", "right_ankle"),
    formula="distance between the knees / distance between the ankles, side to side",
    sign="1 knees over ankles, less when the knees come in",
    per_turn=0.3,
    span=(0.0, 4.0),
    of="times the ankle distance",
)
_ratio(
    "stance_width_ratio",
    "Stance width",
    "frontal",
    0.08,
    ("left_ankle", "right_ankle", "left_shoulder", "right_shoulder"),
    formula="distance between the ankles / shoulder width (its largest in the clip)",
    sign="1 as wide as the shoulders",
    span=(0.0, 5.0),
    of="shoulder widths",
)
_ratio(
    "knee_toe_offset_ratio",
    "Knee ahead of the toe",
    "sagittal",
    0.08,
    ("*_knee", "*_toe", "*_heel"),
    formula="(knee - toe) along the facing direction / foot length",
    sign="+ knee past the toe",
    sided=True,
    of="foot lengths",
)
_ratio(
    "heel_lift_ratio",
    "Heel lift",
    "sagittal",
    0.06,
    ("*_heel", "*_toe"),
    formula="rise of the heel against the toe since standing / foot length",
    sign="+ heel off the floor",
    sided=True,
    span=(-1.0, 1.0),
    of="foot lengths",
)
_ratio(
    "wrist_heel_gap_ratio",
    "Hand to opposite heel",
    "frontal",
    0.08,
    ("*_wrist", "left_heel", "right_heel", "*_knee", "*_ankle"),
    formula="distance from this hand's wrist to the heel of the other side / shank length",
    sign="0 touching",
    sided=True,
    span=(0.0, 8.0),
    of="shank lengths",
)
_degrees(
    "arm_line_inclination",
    "Line from hand to hand",
    "frontal",
    6.0,
    ("left_wrist", "right_wrist"),
    formula="angle of the line wrist-wrist from the vertical, without sign",
    sign="0 one hand straight above the other, 90 level",
    sided=False,
    per_turn=LINE_TURN,
    source=PRACTICE,
    span=(0.0, 90.0),
)
_degrees(
    "shoulder_line_tilt",
    "Shoulder line tilt",
    "frontal",
    3.0,
    ("left_shoulder", "right_shoulder"),
    formula="angle of the shoulder line from the horizontal",
    sign="+ right side higher",
    sided=False,
    per_turn=LINE_TURN,
    span=(-90.0, 90.0),
)
_degrees(
    "hip_line_tilt",
    "Hip line tilt",
    "frontal",
    3.0,
    ("left_hip", "right_hip"),
    formula="angle of the hip line from the horizontal (pelvic obliquity)",
    sign="+ right side higher",
    sided=False,
    per_turn=LINE_TURN,
    span=(-90.0, 90.0),
)
_degrees(
    "hip_shoulder_turn",
    "Shoulders turned against hips",
    "transverse",
    15.0,
    ("left_shoulder", "right_shoulder", "left_hip", "right_hip"),
    formula="direction of the shoulder line minus that of the hip line about the vertical, from "
    "the model's own depth",
    sign="+ shoulders turned to the person's left",
    sided=False,
    per_turn=0.0,
    source=PRACTICE + "; low confidence from one camera",
)
_ratio(
    "pelvis_shift_ratio",
    "Hips to one side",
    "frontal",
    0.08,
    ("left_hip", "right_hip", "left_ankle", "right_ankle"),
    formula="(mid-hip - middle of the ankles), side to side / hip width",
    sign="+ toward the person's right",
    of="hip widths",
)
_ratio(
    "pelvis_drift_ratio",
    "Hips off the middle",
    "frontal",
    0.06,
    ("left_hip", "right_hip", "left_ankle", "right_ankle"),
    formula="(mid-hip - middle of the ankles), side to side / distance between the ankles",
    sign="+ toward the person's right",
    of="stance widths",
)
_degrees(
    "shoulder_line_turn",
    "Shoulders turned",
    "frontal",
    12.0,
    ("left_shoulder", "right_shoulder"),
    formula="arc cosine of (side-to-side distance of the shoulders / shoulder width, its largest "
    "in the clip)",
    sign="0 square to the camera, 90 one shoulder above or behind the other; useless below 20",
    sided=False,
    per_turn=LINE_TURN,
    source=PRACTICE,
    span=(0.0, 90.0),
)
_ratio(
    "shoulder_height_ratio",
    "Shoulder height",
    "any",
    0.05,
    ("left_shoulder", "right_shoulder", "left_ankle", "right_ankle"),
    formula="mid-shoulder above the supporting ankle / leg length",
    sign="about 1.6 standing, less when folding or sitting down",
    per_turn=0.0,
    of="leg lengths",
)
_ratio(
    "hip_height_ratio",
    "Hip height",
    "any",
    0.04,
    ("left_hip", "right_hip", "left_ankle", "right_ankle"),
    formula="mid-hip above the supporting ankle / leg length",
    sign="about 1 standing, less when sitting down",
    per_turn=0.0,
    span=(-1.0, 2.0),
    of="leg lengths",
)
_ratio(
    "knee_height_ratio",
    "Knee height",
    "any",
    0.08,
    ("*_hip", "*_knee"),
    formula="knee above the hip of its side / thigh length",
    sign="-1 hanging, 0 level with the hip, + above it",
    sided=True,
    per_turn=0.0,
    span=(-1.5, 1.5),
    of="thigh lengths",
)
_ratio(
    "ankle_height_ratio",
    "Ankle height",
    "any",
    0.06,
    ("*_ankle", "left_hip", "right_hip"),
    formula="rise of the ankle toward the hips since standing / leg length",
    sign="0 standing, + lifted",
    sided=True,
    per_turn=0.0,
    of="leg lengths",
)
_ratio(
    "hand_height_ratio",
    "Hand height",
    "any",
    0.08,
    ("*_wrist", "left_ankle", "right_ankle"),
    formula="wrist above the supporting ankle / leg length",
    sign="about 1 hanging at the side, about 2 overhead, 0 at the ankle",
    sided=True,
    per_turn=0.0,
    of="leg lengths",
)
_timing("rep_time_s", "Time of a rep", "s", 0.07, formula="end minus start of the rep")
_timing("lowering_time_s", "Lowering time", "s", 0.07, formula="length of the first moving phase")
_timing("rising_time_s", "Rising time", "s", 0.07, formula="length of the second moving phase")
_timing(
    "arm_leg_lag_s",
    "Hands and feet together",
    "s",
    0.07,
    formula="time between the arms' and the feet's widest positions, without sign",
)
_timing(
    "rate_per_min",
    "Rate",
    "1/min",
    4.0,
    formula="60 / median time from turn to turn, over all sides",
)
_timing(
    "rhythm_cv_percent",
    "Evenness of rhythm",
    "%",
    2.0,
    formula="standard deviation / mean of the times from turn to turn, in per cent",
)
