"""The clips: land training of a rowing club, one eight and its cox."""

from __future__ import annotations

from dataclasses import dataclass, field

from bodies import Look
from scene import Camera
from tempo import Timing

CREW: dict[str, Look] = {
    "seat 1": Look(
        gender=1.0,
        height=0.40,
        weight=0.42,
        skin="#e0b394",
        shirt="#a8443c",
        shorts="#23262f",
        shoes="#3c3f46",
        hair="#6b4a2b",
        leg_cover=0.95,
    ),
    "seat 2": Look(
        gender=0.0,
        height=0.42,
        weight=0.50,
        muscle=0.65,
        skin="#8a5a3c",
        shirt="#d9d5c8",
        shorts="#27405e",
        shoes="#e4e4e0",
        hair="#17110d",
    ),
    "seat 3": Look(
        gender=1.0,
        height=0.44,
        weight=0.50,
        skin="#c58f6b",
        shirt="#2f5d8a",
        shorts="#22242a",
        shoes="#e6e6e6",
        hair="#2a1d14",
        leg_cover=0.9,
    ),
    "seat 4": Look(
        gender=0.0,
        height=0.47,
        weight=0.60,
        muscle=0.72,
        skin="#e3b999",
        shirt="#2f6b4f",
        shorts="#1f2126",
        shoes="#b9452f",
        hair="#9a7440",
    ),
    "seat 5": Look(
        gender=0.0,
        height=0.44,
        weight=0.72,
        age=0.8,
        muscle=0.5,
        skin="#d3a07c",
        shirt="#e0a83a",
        shorts="#2d3036",
        shoes="#f0f0ee",
        hair="#77726c",
    ),
    "seat 6": Look(
        gender=1.0,
        height=0.36,
        weight=0.62,
        skin="#7a4e34",
        shirt="#7c5aa0",
        shorts="#3a3d45",
        shoes="#dfe3e8",
        hair="#15100d",
        leg_cover=0.42,
        proportions=0.35,
    ),
    "seat 7": Look(
        gender=0.0,
        height=0.38,
        weight=0.38,
        proportions=0.7,
        skin="#b98a63",
        shirt="#c8553d",
        shorts="#384a3c",
        shoes="#2b2d33",
        hair="#1d1512",
        sleeves=False,
    ),
    "seat 8": Look(
        gender=1.0,
        height=0.46,
        weight=0.40,
        muscle=0.65,
        skin="#ecc5a8",
        shirt="#1f7a8c",
        shorts="#2a2a3a",
        shoes="#ffffff",
        hair="#b0854a",
        leg_cover=0.55,
    ),
    "cox": Look(
        gender=0.5,
        height=0.28,
        weight=0.40,
        age=0.62,
        skin="#a97752",
        shirt="#f2f0ea",
        shorts="#8c2f39",
        shoes="#33363c",
        hair="#241a14",
    ),
}

FAULTS: dict[str, str] = {
    "shallow": "The squat stops well above level thighs.",
    "chest_down": "The trunk folds forward far more than the shanks.",
    "heels_up": "Both heels leave the floor at the bottom of the squat.",
    "knees_in": "Both knees fall inside the ankles at the bottom of the squat.",
    "low_knee": "The lifted knee stays far below hip height.",
    "short_kick": "The heel stops half way to the seat.",
    "bent_elbows": "Both elbows are bent with the arms overhead.",
    "half_height_arms": "Both arms stop a little above shoulder height.",
    "uneven_arms": "The right arm stops lower than the left.",
    "short_reach": "The hand stops at about knee height.",
    "bent_knees": "Both knees bend deeply on the reach.",
}

WIDE_PX = (720, 960)


@dataclass(frozen=True)
class Clip:
    """Everything that decides one clip."""

    name: str
    movement: str
    person: str
    camera: Camera
    seed: int
    count: int
    faults: dict[int, tuple[str, ...]] = field(default_factory=dict)
    timing: Timing = field(default_factory=Timing)
    rate_hz: float = 30.0
    cadence_per_min: float = 160.0
    special: str = ""
    uneven: bool = False
    handheld: bool = False
    quarter_turn: bool = False
    gap_after: int | None = None
    second_person: str | None = None
    crf: int = 27
    rungs: tuple[int, ...] = ()


def side(azimuth_deg: float, *, ahead_m: float = 0.23, **changes: object) -> Camera:
    """Return a side view, from the person's left (90) or right (-90).

    The view aims a little ahead of the person, where the arms and knees go.
    """
    toward = -ahead_m if azimuth_deg > 0 else ahead_m
    values = {"azimuth_deg": azimuth_deg, "distance_m": 3.5, "view_deg": 38.0, "aim_x_m": toward}
    return Camera(**(values | changes))  # type: ignore[arg-type]


JACK_TIMING = Timing(out_s=0.42, hold_s=0.14, back_s=0.42, rest_s=0.16, jitter=0.06)
TWIST_TIMING = Timing(out_s=0.95, hold_s=0.2, back_s=0.9, rest_s=0.2)
SLOW_TIMING = Timing(out_s=1.4, hold_s=0.8, back_s=1.1, rest_s=0.35)

CLIPS: tuple[Clip, ...] = (
    Clip("squat_side_clean", "air-squat", "seat 3", side(90, smooth_edges=True), seed=11, count=6),
    Clip(
        "squat_side_faults",
        "air-squat",
        "seat 4",
        side(-90, distance_m=4.0, ahead_m=0.36),
        seed=12,
        count=6,
        faults={2: ("shallow",), 3: ("chest_down",), 5: ("heels_up",)},
    ),
    Clip(
        "squat_front_knees_in",
        "air-squat",
        "seat 6",
        Camera(azimuth_deg=0, distance_m=3.3),
        seed=13,
        count=6,
        faults={2: ("knees_in",), 4: ("knees_in",)},
    ),
    Clip(
        "high_knees_side",
        "high-knees",
        "seat 2",
        side(90, distance_m=3.7, ahead_m=0.3),
        seed=21,
        count=20,
        faults={6: ("low_knee",), 12: ("low_knee",), 16: ("low_knee",)},
        rate_hz=60,
        special="60 fps",
        crf=32,
    ),
    Clip(
        "high_knees_front",
        "high-knees",
        "seat 8",
        Camera(azimuth_deg=0, distance_m=3.6),
        seed=22,
        count=20,
    ),
    Clip(
        "heel_kicks_side",
        "heel-to-seat-kicks",
        "seat 1",
        side(-90, ahead_m=-0.04),
        seed=31,
        count=20,
        faults={5: ("short_kick",), 11: ("short_kick",), 17: ("short_kick",)},
        rate_hz=60,
        special="60 fps",
        crf=30,
    ),
    Clip(
        "heel_kicks_back",
        "heel-to-seat-kicks",
        "seat 7",
        Camera(azimuth_deg=180, distance_m=3.6),
        seed=32,
        count=20,
    ),
    Clip(
        "jacks_front",
        "jumping-jacks",
        "seat 5",
        Camera(azimuth_deg=0, distance_m=4.05, aim_m=1.09, size_px=WIDE_PX),
        seed=41,
        count=8,
        timing=JACK_TIMING,
        faults={3: ("bent_elbows",), 5: ("half_height_arms",), 7: ("uneven_arms",)},
    ),
    Clip(
        "jacks_side",
        "jumping-jacks",
        "cox",
        Camera(azimuth_deg=90, distance_m=3.5, aim_m=0.95),
        seed=42,
        count=8,
        timing=JACK_TIMING,
        special="seen from the side, so most of it cannot be judged",
    ),
    Clip(
        "twist_front",
        "wide-stance-twist",
        "seat 7",
        Camera(azimuth_deg=0, distance_m=4.0, aim_m=0.95, size_px=WIDE_PX),
        seed=51,
        count=6,
        timing=TWIST_TIMING,
        faults={3: ("short_reach",), 5: ("bent_knees",)},
    ),
    Clip(
        "twist_oblique",
        "wide-stance-twist",
        "seat 1",
        Camera(azimuth_deg=45, distance_m=3.5, aim_m=0.95, size_px=WIDE_PX),
        seed=52,
        count=6,
        timing=TWIST_TIMING,
        special="oblique view",
        crf=30,
    ),
    Clip(
        "squat_handheld",
        "air-squat",
        "seat 7",
        side(90, distance_m=3.8),
        seed=14,
        count=4,
        timing=SLOW_TIMING,
        handheld=True,
        special="hand-held camera; slow, with a pause at the bottom",
        crf=33,
    ),
    Clip(
        "squat_variable_rate",
        "air-squat",
        "seat 8",
        side(90, distance_m=3.6),
        seed=15,
        count=4,
        uneven=True,
        special="24 to 60 fps, irregular; first time stamp is not zero",
    ),
    Clip(
        "jacks_sideways",
        "jumping-jacks",
        "seat 2",
        Camera(azimuth_deg=0, distance_m=4.0, aim_m=1.09, size_px=WIDE_PX),
        seed=43,
        count=6,
        timing=JACK_TIMING,
        quarter_turn=True,
        special="stored lying on its side; the container asks players to turn it",
    ),
    Clip(
        "high_knees_empty_stretch",
        "high-knees",
        "seat 6",
        side(90, distance_m=3.4, ahead_m=0.3),
        seed=23,
        count=20,
        gap_after=10,
        crf=29,
        special="nobody in the picture for 2.5 s in the middle",
    ),
    Clip(
        "two_people",
        "air-squat",
        "cox",
        side(90, distance_m=3.3),
        seed=16,
        count=4,
        second_person="seat 5",
        special="a second person walks past behind",
    ),
)
