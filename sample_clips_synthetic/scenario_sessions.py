"""Whole pieces of a session in one clip: a superset, and circuits on the clock."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

from programme import Segment
from scenario import Clip, side
from scene import Camera
from tempo import Timing

BURPEE, SNATCH, LUNGE, ROW = "burpee", "dumbbell-snatch", "overhead-walking-lunge", "bent-over-row"
MINUTE_S = 60.0
# Work starts that long after the reps of the minute, and stops that long before the next minute.
BRISK = {
    BURPEE: Timing(lead_s=0.5, out_s=1.1, hold_s=0.3, back_s=1.3, rest_s=0.25, tail_s=0.5),
    SNATCH: Timing(lead_s=1.3, out_s=0.95, hold_s=0.6, back_s=1.0, rest_s=0.3, tail_s=1.1),
    LUNGE: Timing(lead_s=1.2, out_s=1.0, hold_s=0.1, back_s=0.9, rest_s=0.2, tail_s=1.0),
    ROW: Timing(lead_s=1.2, out_s=0.7, hold_s=0.2, back_s=0.8, rest_s=0.25, tail_s=1.1),
}


@dataclass(frozen=True)
class SessionClip:
    """A long clip: who, seen from where, doing what, and the plan that it follows.

    ``begin_s`` is where the clock of the first frame stands, so that the clip can start with
    quiet standing before the first minute.
    """

    name: str
    person: str
    camera: Camera
    segments: tuple[Segment, ...]
    plan: str
    rate_hz: float = 15.0
    begin_s: float | None = None
    crf: int = 34
    special: str = ""


def _clip(movement: str, count: int, seed: int, **changes: object) -> Clip:
    base = Clip("", movement, "", Camera(), seed=seed, count=count, timing=BRISK[movement])
    return replace(base, **changes)  # type: ignore[arg-type]


def _every_minute(minute: int, seed: int, *, count: int = 3, late_s: float = 0.0) -> Segment:
    at_s = minute * MINUTE_S + late_s
    return Segment(_clip(BURPEE, count, seed), at_s=at_s)


def _work(
    movement: str, count: int, seed: int, *, gap_s: float = 0.6, turn: bool = False
) -> Segment:
    return Segment(
        _clip(movement, count, seed), gap_s=1.6 if turn else gap_s, turn_deg=180.0 if turn else 0.0
    )


def _circuit_clean() -> tuple[Segment, ...]:
    """Three rounds of 4 snatches, 4 lunges and 4 rows, three burpees on the minute."""
    return (
        _every_minute(0, 400),
        _work(SNATCH, 4, 401),
        _work(LUNGE, 4, 402),
        _work(ROW, 4, 403),
        _every_minute(1, 410),
        _work(SNATCH, 4, 411),
        _work(LUNGE, 4, 412, turn=True),
        _work(ROW, 2, 413),
        _every_minute(2, 420),
        _work(ROW, 2, 421),
        _work(SNATCH, 4, 422),
        _work(LUNGE, 4, 423, turn=True),
        _work(ROW, 4, 424),
    )


def _circuit_late() -> tuple[Segment, ...]:
    """Follow the same plan with a split set, a split minute (1) and one begun 5 s late (2)."""
    return (
        _every_minute(0, 430),
        _work(SNATCH, 4, 431),
        _work(LUNGE, 4, 432),
        _work(ROW, 2, 433),
        _work(ROW, 2, 434, gap_s=6.0),
        _every_minute(1, 440, count=2),
        Segment(_clip(BURPEE, 1, 441), gap_s=3.0),
        _work(SNATCH, 4, 443),
        _work(LUNGE, 4, 444, turn=True),
        _work(ROW, 4, 445),
        _every_minute(2, 450, late_s=5.0),
        _work(SNATCH, 4, 451),
        _work(LUNGE, 4, 452, turn=True),
        _work(ROW, 4, 453),
    )


def _superset() -> tuple[Segment, ...]:
    """Two rounds of five front squats and three L-sit pull-ups."""
    squat_timing = Timing(
        lead_s=1.6, out_s=1.7, hold_s=0.15, back_s=1.0, rest_s=0.4, tail_s=1.6, jitter=0.06
    )
    pull_timing = Timing(
        lead_s=0.9, out_s=1.0, hold_s=0.25, back_s=1.6, rest_s=0.5, tail_s=0.9, jitter=0.05
    )
    squat = partial(Clip, "", "front-squat", "", Camera(), count=5, timing=squat_timing)
    pull = partial(Clip, "", "l-sit-pull-up", "", Camera(), count=3, timing=pull_timing)
    return (
        Segment(squat(seed=460)),
        Segment(pull(seed=461), gap_s=1.4, set_up=True),
        Segment(squat(seed=462), gap_s=3.5),
        Segment(pull(seed=463), gap_s=1.4, set_up=True),
    )


CIRCUIT_VIEW = Camera(
    azimuth_deg=90,
    distance_m=4.8,
    view_deg=38.0,
    aim_m=1.05,
    aim_x_m=-1.6,
    size_px=(960, 540),
)
SESSION_CLIPS: tuple[SessionClip, ...] = (
    SessionClip(
        "superset",
        "seat 4",
        side(90, distance_m=4.3, ahead_m=0.3, aim_m=1.3, height_m=1.2),
        _superset(),
        plan="superset",
        crf=37,
        special="the person goes up to the bar and down again between the movements",
    ),
    SessionClip(
        "circuit_clean",
        "seat 2",
        CIRCUIT_VIEW,
        _circuit_clean(),
        plan="circuit",
        begin_s=-1.0,
        crf=39,
        special="three minutes on the clock",
    ),
    SessionClip(
        "circuit_late",
        "seat 7",
        CIRCUIT_VIEW,
        _circuit_late(),
        plan="circuit",
        begin_s=-1.0,
        crf=39,
        special="one minute starts late, one in two parts, one set is split",
    ),
)
