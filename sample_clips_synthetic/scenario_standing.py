"""The clips of standing, hanging and range-of-motion movements, and the faults planted in them."""

from __future__ import annotations

from scenario import Clip, side
from scene import Camera
from tempo import Timing

STANDING_FAULTS: dict[str, str] = {
    "elbows_drop": "The elbows sink far below the shoulders at the bottom.",
    "fast_lowering": "The way down takes about half a second.",
    "bent_catch": "The elbow of the raised arm stays bent overhead.",
    "swing_away": "The hand swings forward, away from the body, in the middle of the pull.",
    "heave": "The trunk comes up with the pull.",
    "half_row": "The elbows stop well short of the line of the trunk.",
    "half_hang": "The arms stay bent at the end of the repetition; the next starts from there.",
    "legs_sink": "The legs sink far below level during the pull.",
    "short_pull": "The mouth stays below the hands.",
    "short_drop": "The rear knee stays far off the floor and the front knee bends little.",
    "arm_forward": "The raised arm leans forward.",
    "trunk_lean": "The trunk leans forward in the lunge.",
    "knee_in": "The knee falls inward of the line from hip to foot.",
    "hip_drop": "The pelvis sinks on the side of the free leg.",
    "heel_lifts": "The heel of the front foot leaves the floor.",
    "trunk_side": "The trunk falls to the side of the bent knee.",
    "bent_trail_knee": "The knee of the leg that stays behind bends too.",
}

FRONT_SQUAT_TIMING = Timing(
    lead_s=2.05, out_s=1.8, hold_s=0.15, back_s=1.0, rest_s=0.5, tail_s=2.05, jitter=0.06
)
SNATCH_TIMING = Timing(
    lead_s=2.1,
    out_s=1.05,
    hold_s=0.7,
    back_s=1.1,
    rest_s=0.35,
    tail_s=1.75,
    jitter=0.06,
    pause_after={3: 0.8},
)
ROW_TIMING = Timing(
    lead_s=2.4, out_s=0.75, hold_s=0.2, back_s=0.9, rest_s=0.25, tail_s=1.95, jitter=0.06
)

PULL_UP_TIMING = Timing(
    lead_s=1.0, out_s=1.1, hold_s=0.25, back_s=1.65, rest_s=0.5, tail_s=0.9, jitter=0.05
)
WALK_TIMING = Timing(
    lead_s=2.1, out_s=1.15, hold_s=0.15, back_s=1.05, rest_s=0.22, tail_s=1.9, jitter=0.06
)
SIDE_LUNGE_TIMING = Timing(
    lead_s=1.7, out_s=1.1, hold_s=0.15, back_s=1.0, rest_s=0.4, tail_s=1.3, jitter=0.06
)
SIT_TIMING = Timing(
    lead_s=0.9, out_s=1.05, hold_s=0.15, back_s=1.1, rest_s=0.2, tail_s=0.8, jitter=0.05
)
# Twelve of these and a good part of the thirteenth fit into 30 s.
THIRTY_TIMING = Timing(
    lead_s=0.9, out_s=1.06, hold_s=0.12, back_s=1.08, rest_s=0.175, tail_s=0.9, jitter=0.02
)
ONE_LEG_TIMING = Timing(
    lead_s=2.0,
    out_s=1.2,
    hold_s=0.25,
    back_s=1.0,
    rest_s=0.4,
    tail_s=1.3,
    jitter=0.06,
    pause_after={3: 2.0},
)
RANGE_TIMING = Timing(
    lead_s=0.9, out_s=1.0, hold_s=0.6, back_s=0.9, rest_s=0.3, tail_s=0.5, jitter=0.07
)
FREE_LEG_TIMING = Timing(
    lead_s=1.5,
    out_s=0.95,
    hold_s=0.6,
    back_s=0.85,
    rest_s=0.3,
    tail_s=1.1,
    jitter=0.07,
    pause_after={3: 1.1},
)
ANKLE_TIMING = Timing(
    lead_s=1.8,
    out_s=0.95,
    hold_s=0.5,
    back_s=0.85,
    rest_s=0.3,
    tail_s=1.5,
    jitter=0.06,
    pause_after={3: 1.8},
)
BEND_TIMING = Timing(
    lead_s=0.9, out_s=1.5, hold_s=0.6, back_s=1.4, rest_s=0.5, tail_s=0.5, jitter=0.06
)
LUNGE_PX = (1440, 720)
HANG = {"aim_m": 1.42, "height_m": 1.35}

STANDING_CLIPS: tuple[Clip, ...] = (
    Clip(
        "front_squat_clean",
        "front-squat",
        "seat 2",
        side(90, distance_m=3.7, ahead_m=0.1),
        seed=201,
        count=5,
        timing=FRONT_SQUAT_TIMING,
        crf=29,
    ),
    Clip(
        "front_squat_faults",
        "front-squat",
        "seat 8",
        side(-90, distance_m=3.7, ahead_m=0.1),
        seed=202,
        count=6,
        timing=FRONT_SQUAT_TIMING,
        crf=29,
        faults={2: ("elbows_drop",), 4: ("shallow",), 5: ("fast_lowering",)},
    ),
    Clip(
        "snatch_clean",
        "dumbbell-snatch",
        "seat 4",
        side(-90, distance_m=4.3, aim_m=1.05, ahead_m=0.1),
        seed=211,
        count=6,
        timing=SNATCH_TIMING,
    ),
    Clip(
        "snatch_faults",
        "dumbbell-snatch",
        "seat 3",
        side(90, distance_m=4.3, aim_m=1.05, ahead_m=0.1),
        seed=212,
        count=6,
        timing=SNATCH_TIMING,
        faults={2: ("bent_catch",), 4: ("swing_away",), 6: ("bent_catch",)},
    ),
    Clip(
        "row_clean",
        "bent-over-row",
        "seat 7",
        side(90, distance_m=3.7),
        seed=221,
        count=8,
        timing=ROW_TIMING,
    ),
    Clip(
        "row_faults",
        "bent-over-row",
        "seat 1",
        side(-90, distance_m=3.7),
        seed=222,
        count=8,
        timing=ROW_TIMING,
        faults={3: ("heave",), 5: ("half_row",), 7: ("half_row",)},
    ),
    Clip(
        "pull_up_side",
        "l-sit-pull-up",
        "seat 4",
        side(90, distance_m=4.1, ahead_m=0.36, **HANG),
        seed=231,
        count=5,
        timing=PULL_UP_TIMING,
        crf=31,
    ),
    Clip(
        "pull_up_side_faults",
        "l-sit-pull-up",
        "seat 7",
        side(-90, distance_m=4.1, ahead_m=0.36, **HANG),
        seed=232,
        count=6,
        timing=PULL_UP_TIMING,
        crf=31,
        faults={2: ("half_hang",), 4: ("legs_sink",), 5: ("short_pull",)},
    ),
    Clip(
        "pull_up_front",
        "l-sit-pull-up",
        "seat 2",
        Camera(azimuth_deg=0, distance_m=3.6, **HANG),
        seed=233,
        count=5,
        timing=PULL_UP_TIMING,
        crf=31,
        faults={2: ("short_pull",), 4: ("half_hang",)},
    ),
    Clip(
        "overhead_lunge_clean",
        "overhead-walking-lunge",
        "seat 8",
        Camera(azimuth_deg=90, distance_m=4.4, aim_m=1.08, size_px=LUNGE_PX),
        seed=241,
        count=6,
        timing=WALK_TIMING,
    ),
    Clip(
        "overhead_lunge_faults",
        "overhead-walking-lunge",
        "seat 6",
        Camera(azimuth_deg=90, distance_m=4.4, aim_m=1.08, size_px=LUNGE_PX),
        seed=242,
        count=6,
        timing=WALK_TIMING,
        faults={2: ("short_drop",), 4: ("arm_forward",), 5: ("trunk_lean",)},
    ),
    Clip(
        "side_lunge_front",
        "side-lunge",
        "seat 3",
        Camera(azimuth_deg=0, distance_m=3.6, aim_m=0.9, size_px=(960, 720)),
        seed=251,
        count=6,
        timing=SIDE_LUNGE_TIMING,
        crf=29,
        faults={2: ("trunk_side",), 4: ("bent_trail_knee",)},
    ),
    Clip(
        "sit_to_stand_five",
        "sit-to-stand",
        "seat 1",
        side(90, distance_m=3.7, ahead_m=0.02),
        seed=261,
        count=5,
        timing=SIT_TIMING,
        crf=30,
    ),
    Clip(
        "sit_to_stand_thirty",
        "sit-to-stand",
        "seat 5",
        side(90, distance_m=3.7, ahead_m=0.02),
        seed=262,
        count=13,
        timing=THIRTY_TIMING,
        special="30 s from the first move end in the thirteenth rise, past half-way up",
        crf=31,
    ),
    Clip(
        "single_leg_squat_front",
        "single-leg-squat",
        "seat 4",
        Camera(azimuth_deg=0, distance_m=3.6),
        seed=271,
        count=6,
        timing=ONE_LEG_TIMING,
        crf=30,
        faults={2: ("knee_in",), 5: ("hip_drop",)},
    ),
    Clip(
        "single_leg_squat_side",
        "single-leg-squat",
        "seat 8",
        side(90, distance_m=3.6, ahead_m=0.05),
        seed=272,
        count=6,
        timing=ONE_LEG_TIMING,
        crf=30,
    ),
    Clip(
        "shoulder_flexion_side",
        "shoulder-flexion",
        "seat 2",
        side(90, distance_m=4.4, aim_m=1.1, ahead_m=0.1),
        seed=281,
        count=6,
        timing=RANGE_TIMING,
        crf=30,
    ),
    Clip(
        "shoulder_abduction_front",
        "shoulder-abduction",
        "seat 7",
        Camera(azimuth_deg=0, distance_m=4.3, aim_m=1.1, size_px=(720, 960)),
        seed=282,
        count=6,
        timing=RANGE_TIMING,
        crf=30,
    ),
    Clip(
        "knee_flexion_side",
        "knee-flexion",
        "seat 3",
        side(90, distance_m=3.6, ahead_m=0.0),
        seed=283,
        count=6,
        timing=FREE_LEG_TIMING,
        crf=30,
    ),
    Clip(
        "hip_flexion_side",
        "hip-flexion",
        "seat 1",
        side(90, distance_m=3.6, ahead_m=0.1),
        seed=284,
        count=6,
        timing=FREE_LEG_TIMING,
        crf=30,
    ),
    Clip(
        "ankle_lunge_side",
        "ankle-dorsiflexion-lunge",
        "seat 6",
        side(90, distance_m=3.7, ahead_m=-0.12),
        seed=285,
        count=6,
        timing=ANKLE_TIMING,
        crf=30,
        faults={5: ("heel_lifts",)},
    ),
    Clip(
        "trunk_flexion_side",
        "trunk-forward-flexion",
        "seat 8",
        side(90, distance_m=3.7, ahead_m=0.12),
        seed=286,
        count=3,
        timing=BEND_TIMING,
        crf=30,
    ),
    Clip(
        "knee_flexion_oblique",
        "knee-flexion",
        "seat 7",
        Camera(azimuth_deg=60, distance_m=3.6),
        seed=287,
        count=6,
        timing=FREE_LEG_TIMING,
        crf=30,
        special="oblique view; seen square from the side the legs are easily exchanged",
    ),
    Clip(
        "hip_flexion_oblique",
        "hip-flexion",
        "seat 4",
        Camera(azimuth_deg=60, distance_m=3.6),
        seed=288,
        count=6,
        timing=FREE_LEG_TIMING,
        crf=30,
        special="oblique view; seen square from the side the legs are easily exchanged",
    ),
)
