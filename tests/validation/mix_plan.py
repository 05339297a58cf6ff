"""What follows what in the mixed clips, and the motions in them that are none of the movements."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from bodies import Array, Body, Posed
from generate import CLIPS, MOVEMENTS
from items import PORTRAIT_PX, WIDE_PX, Item
from mix_files import OTHER, STEP_S
from motions import Squat
from pose import SIGN, Limb, solve, unit
from stance import arm_hinge, flexed_arm
from stroll import Stroll
from tempo import Rep, ease, even_times
from wander import plan_wander

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray
    from pose import Motion
    from schedule import Schedule

RATE_HZ = 15.0
# From one piece to the next: at least this long, and no faster than a quick step aside.
BLEND_S, BLEND_M_S = 0.8, 1.2
IDLE_S, STROLL_S, CIRCLES_S = 4.0, 6.0, 5.0
# Reps of a piece for which no number is given, at most.
MOST = 18
NEVER = Rep(1, "both", 1e6, 1e6 + 1, 1e6 + 2)


class Idle(Squat):
    """Quiet standing."""

    def __init__(self, body: Body, time_s: Array, rng: Generator) -> None:
        super().__init__(body, time_s, [NEVER], rng)


class ArmCircles(Idle):
    """Large circles of both straight arms at the sides, on quiet legs."""

    def __init__(self, body: Body, time_s: Array, rng: Generator) -> None:
        super().__init__(body, time_s, rng)
        total_s = float(time_s[-1])
        self.share = ease(time_s / 0.8) * ease((total_s - time_s) / 0.8)
        self.phase = 2 * np.pi * time_s / rng.uniform(1.0, 1.5)
        self.wide = np.radians(rng.uniform(45, 75))

    def _arm(self, side: str) -> Limb:
        # About an axis that points out to the side and a little ahead.
        wide = self.wide
        out = np.full(self.frames, np.cos(wide) + 0.25)
        upper = np.stack(
            [
                SIGN[side] * out,
                np.sin(wide) * np.sin(self.phase),
                np.sin(wide) * np.cos(self.phase),
            ],
            axis=-1,
        )
        hang = np.tile([SIGN[side] * 0.2, 0.0, -1.0], (self.frames, 1))
        upper = unit(unit(upper) * self.share[:, None] + hang * (1 - self.share[:, None]))
        away = np.degrees(np.arccos(np.clip(-upper[:, 2], -1, 1)))
        return flexed_arm(upper, arm_hinge(upper, side, away), 10.0)


@dataclass(frozen=True)
class Mix:
    """One clip: who, from where, and the pieces in their order.

    A piece is the name of a sample clip, whose plan is used with as many reps as are given behind
    a colon, or one of `OTHERS`.
    """

    name: str
    split: str
    person: str
    azimuth_deg: float
    seed: int
    pieces: tuple[str, ...]
    size_px: tuple[int, int] = PORTRAIT_PX
    height_m: float = 1.0
    distance_m: float = 3.8
    rate_hz: float = RATE_HZ

    def item(self) -> Item:
        """Return what the renderer of the validation set wants to know."""
        return Item(
            name=self.name,
            split=self.split,
            person=self.person,
            motion="mix",
            seed=self.seed,
            azimuth_deg=self.azimuth_deg,
            height_m=self.height_m,
            distance_m=self.distance_m,
            fill=0.85,
            roll_deg=0.0,
            rate_hz=self.rate_hz,
            size_px=self.size_px,
        )


@dataclass(frozen=True, eq=False)
class Piece:
    """Skin of one piece in every frame, and the movement in every frame."""

    skin: NDArray[np.float32]
    names: list[str]


def _solve(body: Body, motion: Motion, frames: int) -> NDArray[np.float32]:
    return solve(body, motion, frames).skin


def _idle(body: Body, rng: Generator, rate_hz: float) -> NDArray[np.float32]:
    time_s = even_times(IDLE_S, rate_hz)
    return _solve(body, Idle(body, time_s, rng), len(time_s))


def _stroll(body: Body, rng: Generator, rate_hz: float) -> NDArray[np.float32]:
    time_s = even_times(STROLL_S, rate_hz)
    return _solve(body, Stroll(body, time_s, rng), len(time_s))


def _circles(body: Body, rng: Generator, rate_hz: float) -> NDArray[np.float32]:
    time_s = even_times(CIRCLES_S, rate_hz)
    return _solve(body, ArmCircles(body, time_s, rng), len(time_s))


def _wander(body: Body, rng: Generator, rate_hz: float) -> NDArray[np.float32]:
    motion, time_s = plan_wander(body, rng, rate_hz)
    return _solve(body, motion, len(time_s))


OTHERS: dict[str, Callable[[Body, Generator, float], NDArray[np.float32]]] = {
    "idle": _idle,
    "stroll": _stroll,
    "arm circles": _circles,
    "wander": _wander,
}


def make_piece(name: str, body: Body, rng: Generator, rate_hz: float) -> Piece:
    """Pose one piece."""
    if name in OTHERS:
        skin = OTHERS[name](body, rng, rate_hz)
        return Piece(skin, [OTHER] * len(skin))
    name, _, most = name.partition(":")
    clip = next(c for c in CLIPS if c.name == name)
    clip = replace(clip, count=int(most) if most else min(clip.count, MOST), gap_after=None)
    movement = MOVEMENTS[clip.movement]
    schedule = movement.plan(clip, rng)
    time_s = even_times(schedule.total_s, rate_hz)
    skin = _solve(body, movement.build(clip, body, time_s, schedule, rng), len(time_s))
    first_s, last_s = find_span(schedule)
    inside = (time_s >= first_s) & (time_s <= last_s)
    return Piece(skin, [clip.movement if i else OTHER for i in inside])


def find_span(schedule: Schedule) -> tuple[float, float]:
    """Return from when to when the movement is done, rests between its events included."""
    rows = [*schedule.reps, *schedule.holds, *schedule.stages]
    return min(r.start_s for r in rows), max(r.end_s for r in rows)


def pose_mix(mix: Mix, body: Body) -> tuple[Array, Posed, list[str]]:
    """Return frame times, the posed body (its skin only) and the labels of a mixed clip."""
    rng = np.random.default_rng(mix.seed)
    skins: list[NDArray[np.float32]] = []
    names: list[str] = []
    for name in mix.pieces:
        piece = make_piece(name, body, rng, mix.rate_hz)
        if skins:
            between = blend(skins[-1][-1], piece.skin[0], mix.rate_hz)
            skins.append(between)
            names += [OTHER] * len(between)
        skins.append(piece.skin)
        names += piece.names
    skin = np.concatenate(skins)
    time_s = np.arange(len(skin)) / mix.rate_hz
    count = int(time_s[-1] / STEP_S)
    middles = (np.arange(count) + 0.5) * STEP_S
    labels = [names[min(len(names) - 1, round(t * mix.rate_hz))] for t in middles]
    return time_s, Posed(skin=skin, points={}, bones={}), labels


def blend(
    before: NDArray[np.float32], after: NDArray[np.float32], rate_hz: float
) -> NDArray[np.float32]:
    """Return the frames between two poses that are nearly the same; both stand."""
    away_m = float(np.linalg.norm((after - before).mean(axis=0)))
    count = round(rate_hz * max(BLEND_S, away_m / BLEND_M_S))
    share = ease(np.arange(1, count + 1) / (count + 1)).astype(np.float32)[:, None, None]
    return np.asarray((1 - share) * before + share * after, dtype=np.float32)


MIXES: tuple[Mix, ...] = (
    Mix(
        "m1",
        "tune",
        "c2",
        65.0,
        9001,
        (
            *("idle", "squat_side_clean", "stroll", "jacks_front", "wander", "twist_oblique"),
            *("arm circles", "front_squat_clean", "high_knees_front", "idle", "heel_kicks_side"),
        ),
    ),
    Mix(
        "m2",
        "report",
        "f3",
        -40.0,
        9002,
        (
            *("stroll", "high_knees_side", "wander", "row_clean", "idle", "squat_front_knees_in"),
            *("arm circles", "snatch_clean", "jacks_side", "wander", "twist_front"),
        ),
        height_m=0.8,
    ),
    Mix(
        "m3",
        "tune",
        "c4",
        75.0,
        9003,
        (
            *("shoulder_flexion_side:4", "idle", "sit_to_stand_five:4", "hip_flexion_side:4"),
            *("wander", "ankle_lunge_side:4", "trunk_flexion_side:3", "stroll"),
            *("knee_flexion_side:4", "single_leg_squat_side:4", "row_faults:4", "snatch_faults:4"),
        ),
    ),
    Mix(
        "m4",
        "report",
        "f1",
        -80.0,
        9006,
        (
            *(
                "wander",
                "hip_flexion_side:4",
                "front_squat_faults:3",
                "idle",
                "knee_flexion_side:4",
            ),
            *("trunk_flexion_side:2", "stroll", "sit_to_stand_five:3", "shoulder_flexion_side:4"),
            *("arm circles", "ankle_lunge_side:3", "pull_up_side_faults:3"),
        ),
        height_m=1.3,
    ),
    Mix(
        "m5",
        "report",
        "f4",
        80.0,
        9007,
        (
            *(
                "half_kneel_hamstring_faults",
                "stroll",
                "lunge_hands_faults",
                "overhead_lunge_faults:4",
            ),
            *("get_up_full", "wander", "lunge_rotation_faults", "idle", "lunge_reach_short"),
        ),
        size_px=WIDE_PX,
    ),
    Mix(
        "m6",
        "tune",
        "c3",
        -75.0,
        9008,
        (
            *("idle", "lunge_hands_clean", "wander", "lunge_rotation_clean"),
            *("half_kneel_hamstring_clean", "lunge_reach_faults", "stroll"),
        ),
        size_px=WIDE_PX,
    ),
    Mix(
        "m7",
        "tune",
        "c1",
        70.0,
        9009,
        (
            *("wander", "pull_up_side:3", "knee_flexion_side:4", "arm circles"),
            *("shoulder_flexion_side:4", "single_leg_squat_side:4", "twist_oblique:4"),
        ),
    ),
    Mix(
        "m8",
        "tune",
        "c5",
        -85.0,
        9010,
        (
            *("stroll", "arm circles", "shoulder_flexion_side:4", "pull_up_side_faults:4"),
            *("arm circles", "hip_flexion_side:4", "knee_flexion_side:4", "wander"),
            *("twist_front:4", "sit_to_stand_five:4", "burpee_clean:3"),
        ),
        height_m=1.2,
    ),
    Mix(
        "m9",
        "tune",
        "c2",
        85.0,
        9011,
        (
            *("lunge_hands_faults", "wander", "lunge_rotation_faults", "get_up_faults"),
            *("lunge_reach_clean", "stroll", "half_kneel_hamstring_faults"),
            "overhead_lunge_clean:4",
        ),
        size_px=WIDE_PX,
        height_m=0.7,
    ),
    # One hold with the legs laid over each other, by four bodies.
    *(
        Mix(
            f"m{10 + n}",
            "tune",
            person,
            azimuth_deg,
            9200 + n,
            ("idle", "lunge_hands_faults"),
            size_px=WIDE_PX,
            height_m=height_m,
        )
        for n, (person, azimuth_deg, height_m) in enumerate(
            (("c1", 80.0, 1.0), ("c4", 78.0, 1.0), ("c5", 82.0, 1.1), ("c3", -80.0, 0.9))
        )
    ),
)
