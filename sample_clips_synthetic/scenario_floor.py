"""The clips of the floor movements and the faults planted in them."""

from __future__ import annotations

from scenario import Clip
from scene import Camera
from tempo import Timing

FLOOR_FAULTS: dict[str, str] = {
    "bent_reach_arm": "The arm that should reach straight up is bent at the elbow.",
    "no_hip_extension": "The hips stay back, so the rear hip is bent, not extended.",
    "rear_knee_bent": "The rear knee sags toward the floor.",
    "hands_high": "The hands are at the shin, not on the floor.",
    "arms_not_stacked": "The upper arm is far off the line above the lower one.",
    "front_knee_bent": "The front knee is bent.",
    "toes_down": "The front foot points away, its toes not drawn up.",
    "short_hold": "The pose is left after less than half the time of the other hold.",
    "unsteady": "The hips wander about while the pose is kept.",
    "skipped_stage": "The leg is swept under from sitting, the hips not bridged up before.",
    "bent_loaded_arm": "The arm that should be straight up is bent while kneeling.",
    "rushed_stage": "The stage is passed without a stop.",
    "sagging_plank": "The hips hang low in the plank.",
    "no_jump": "The repetition ends with standing up, without a jump.",
    "stiff_landing": "The knees hardly give on landing.",
}

FLOOR_PX = (960, 720)


def floor_side(azimuth_deg: float, *, toward_m: float = 0.3, **changes: object) -> Camera:
    """Return a wide side view; ``toward_m`` moves its aim behind the standing person."""
    across = toward_m if azimuth_deg > 0 else -toward_m
    values = {
        "azimuth_deg": azimuth_deg,
        "distance_m": 3.7,
        "view_deg": 34.0,
        "height_m": 0.9,
        "aim_m": 0.84,
        "aim_x_m": across,
        "size_px": FLOOR_PX,
    }
    return Camera(**(values | changes))  # type: ignore[arg-type]


BURPEE_TIMING = Timing(lead_s=0.9, rest_s=0.35, tail_s=0.9, jitter=0.05)
GET_UP_VIEW = floor_side(-90, toward_m=0.2, distance_m=4.5, aim_m=1.12, height_m=1.0)

FLOOR_CLIPS: tuple[Clip, ...] = (
    Clip(
        "lunge_reach_clean",
        "low-lunge-arm-reach",
        "seat 3",
        floor_side(90),
        seed=101,
        count=2,
        special="held 7 s each side; the right side is the far one",
        crf=30,
    ),
    Clip(
        "lunge_reach_faults",
        "low-lunge-arm-reach",
        "seat 4",
        floor_side(90),
        seed=102,
        count=2,
        faults={1: ("bent_reach_arm",), 2: ("no_hip_extension",)},
        crf=30,
    ),
    Clip(
        "lunge_reach_short",
        "low-lunge-arm-reach",
        "seat 2",
        floor_side(-90),
        seed=103,
        count=2,
        faults={1: ("unsteady",), 2: ("short_hold",)},
        crf=30,
    ),
    Clip(
        "lunge_hands_clean",
        "low-lunge-hands-inside",
        "seat 8",
        floor_side(90),
        seed=111,
        count=2,
        crf=30,
    ),
    Clip(
        "lunge_hands_faults",
        "low-lunge-hands-inside",
        "seat 7",
        floor_side(90),
        seed=112,
        count=2,
        faults={1: ("hands_high",), 2: ("rear_knee_bent",)},
        crf=30,
    ),
    Clip(
        "lunge_rotation_clean",
        "low-lunge-rotation",
        "seat 1",
        floor_side(90),
        seed=121,
        count=2,
        crf=30,
    ),
    Clip(
        "lunge_rotation_faults",
        "low-lunge-rotation",
        "seat 2",
        floor_side(90),
        seed=122,
        count=2,
        faults={1: ("arms_not_stacked",)},
        crf=30,
    ),
    Clip(
        "half_kneel_hamstring_clean",
        "half-kneeling-hamstring",
        "seat 3",
        floor_side(90, toward_m=0.15),
        seed=131,
        count=2,
        crf=30,
    ),
    Clip(
        "half_kneel_hamstring_faults",
        "half-kneeling-hamstring",
        "seat 8",
        floor_side(90, toward_m=0.15),
        seed=132,
        count=2,
        faults={1: ("front_knee_bent",), 2: ("toes_down",)},
        crf=30,
    ),
    Clip(
        "get_up_full",
        "get-up",
        "seat 4",
        GET_UP_VIEW,
        seed=141,
        count=1,
        rungs=(7,),
        timing=Timing(out_s=1.15, hold_s=1.1, lead_s=0.9, tail_s=0.9, jitter=0.12),
        special="up to standing and back; begins and ends lying",
        crf=31,
    ),
    Clip(
        "get_up_faults",
        "get-up",
        "seat 2",
        GET_UP_VIEW,
        seed=142,
        count=2,
        rungs=(7, 7),
        faults={1: ("skipped_stage",), 2: ("rushed_stage", "bent_loaded_arm")},
        timing=Timing(out_s=1.0, hold_s=0.95, lead_s=0.8, tail_s=0.8, jitter=0.1),
        special="begins and ends lying",
        rate_hz=24,
        crf=33,
    ),
    Clip(
        "get_up_ladder",
        "get-up",
        "seat 4",
        GET_UP_VIEW,
        seed=143,
        count=7,
        rungs=(1, 2, 3, 4, 5, 6, 7),
        timing=Timing(out_s=0.93, hold_s=0.9, lead_s=0.8, tail_s=0.8, jitter=0.06),
        special="rung after rung, each one stage further; 15 fps",
        rate_hz=15,
        crf=36,
    ),
    Clip(
        "burpee_clean",
        "burpee",
        "seat 3",
        floor_side(90, toward_m=0.15, distance_m=4.4, aim_m=1.1),
        seed=151,
        count=5,
        timing=BURPEE_TIMING,
        crf=31,
    ),
    Clip(
        "burpee_faults",
        "burpee",
        "seat 2",
        floor_side(-90, toward_m=0.15, distance_m=4.6, aim_m=1.14),
        seed=152,
        count=5,
        faults={2: ("sagging_plank",), 4: ("no_jump",), 5: ("stiff_landing",)},
        timing=BURPEE_TIMING,
        crf=31,
    ),
)
