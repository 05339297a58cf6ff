"""The five drills with everything that differs between people drawn at random."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from bodies import SIDES, Array, Body
from drills import HEEL_KICKS, HIGH_KNEES, JACK_FAULTS, Jacks, Steps, StepStyle, plan_steps
from motions import Squat
from pose import SIGN, Limb, Motion, unit
from stance import PlantedFoot, arm_hinge, flexed_arm, sagittal
from tempo import Rep, Timing, even_times, per_rep, plan_reps
from twist import Twist
from wander import plan_wander

if TYPE_CHECKING:
    from numpy.random import Generator

DRILLS = ("squat", "high_knees", "heel_kicks", "jacks", "twist")
# Further out the thighs cannot reach, metres from the middle.
WIDEST_KNEE_M = 0.34
HEELS_UP_SHARE = 0.2
SHORT_LEAD_S = 0.2


class VariedSquat(Squat):
    """A squat of random depth, lean, stance, knee track, weight shift and arms."""

    def __init__(self, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> None:
        super().__init__(body, time_s, reps, rng)
        shank = rng.uniform(20, 37) + rng.uniform(-2, 2, len(reps))
        trunk = 33 + 1.1 * (29 - shank) + rng.uniform(-5, 16)
        lift = rng.uniform(0.15, 0.3) if rng.uniform() < HEELS_UP_SHARE else 0.0
        half_stance_m = self.half_stance_m * rng.uniform(0.75, 1.35)
        knee = rng.uniform(0.5, 1.35) + rng.uniform(-0.08, 0.08, len(reps))
        knee = np.minimum(knee, WIDEST_KNEE_M / half_stance_m)
        drawn = {
            "thigh": rng.uniform(-18, 38, len(reps)),
            "shank": shank,
            "trunk": trunk,
            "knee_ratio": knee,
            "heel_lift_ratio": np.full(len(reps), lift),
        }
        self.shape = {name: per_rep(time_s, reps, list(value)) for name, value in drawn.items()}
        self.half_stance_m = half_stance_m
        lifted = self.shape["heel_lift_ratio"] * np.clip(self.depth * 1.25, 0, 1)
        toe_out = rng.uniform(2, 30)
        self.feet = {
            side: PlantedFoot(
                body,
                side,
                x_m=half_stance_m,
                toe_out_deg=toe_out,
                frames=self.frames,
                heel_lift_ratio=lifted,
            )
            for side in SIDES
        }
        self.sway_x = self.sway_x + rng.uniform(-0.03, 0.03) * self.depth
        self.reach_deg, self.elbow_deg = rng.uniform(15, 92), rng.choice([8.0, 25.0, 60.0, 105.0])

    def _arm(self, side: str) -> Limb:
        s = self.depth
        drop = np.clip(0.6 * (self.shape["trunk"] - 38), 0, None)
        forward = 3 + np.maximum(self.reach_deg - drop, 10) * s + self.sway_arm[side]
        upper = sagittal(forward)
        upper[:, 0] = SIGN[side] * np.sin(np.radians(9 * (1 - s) + 4))
        upper = unit(upper)
        bend = 12 + (self.elbow_deg - 12) * s
        return flexed_arm(upper, arm_hinge(upper, side, 15 + 10 * s), bend)


class VariedJacks(Jacks):
    """Jumping jacks of random width, arm height and elbow bend."""

    def __init__(self, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> None:
        super().__init__(body, time_s, reps, rng)
        shoulder = body.rest["left_shoulder"][0]
        self.wide_m = rng.uniform(1.2, 2.2) * shoulder
        narrow = rng.uniform(0.7, 1.2) * body.rest["left_hip"][0]
        self.hop = self._hops(rng.uniform(0.03, 0.07))
        x_m = narrow + (self.wide_m - narrow) * self.open
        self.feet = {
            side: PlantedFoot(
                body,
                side,
                x_m=x_m,
                toe_out_deg=6 + 8 * self.open,
                frames=self.frames,
                raise_m=self.hop,
                heel_lift_ratio=4 * self.hop,
            )
            for side in SIDES
        }


class VariedTwist(Twist):
    """Twists of random depth, stance, turn and knee bend."""

    def __init__(self, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> None:
        super().__init__(body, time_s, reps, rng)
        pitch = np.where(self.short > 0, rng.uniform(66, 84), rng.uniform(112, 128))
        self.pitch = pitch.astype(float)
        self.knee = np.full(self.frames, rng.uniform(3, 40))
        self.roll = np.full(self.frames, rng.uniform(50, 72))
        self.half_stance_m = rng.uniform(1.35, 1.9) * body.rest["left_shoulder"][0]
        toe_out = rng.uniform(4, 24)
        self.feet = {
            side: PlantedFoot(
                body, side, x_m=self.half_stance_m, toe_out_deg=toe_out, frames=self.frames
            )
            for side in SIDES
        }


def _plan_steps(
    drill: str, rng: Generator, rate_hz: float, short: bool
) -> tuple[list[Rep], Array, StepStyle]:
    if drill == "high_knees":
        style = replace(
            HIGH_KNEES,
            thigh_peak=rng.uniform(66, 104),
            knee_peak=rng.uniform(84, 114),
            trunk=rng.uniform(-3, 12),
            arm_swing=rng.uniform(8, 42),
            hop_m=rng.uniform(0.006, 0.03),
        )
    else:
        style = replace(
            HEEL_KICKS,
            thigh_peak=rng.uniform(-4, 22),
            knee_peak=rng.uniform(92, 135),
            trunk=rng.uniform(0, 14),
            arm_swing=rng.uniform(6, 30),
            hop_m=rng.uniform(0.006, 0.03),
        )
    steps = 4 if rate_hz > 50 else 6
    faults: dict[int, tuple[str, ...]] = {int(rng.integers(1, steps + 1)): (style.fault,)}
    reps, total_s = plan_steps(
        lead_s=SHORT_LEAD_S if short else 0.8,
        steps=steps,
        cadence_per_min=rng.uniform(130, 185),
        faults=faults,
        rng=rng,
        style=style,
        first=str(rng.choice(SIDES)),
        tail_s=0.35,
    )
    return reps, even_times(total_s, rate_hz), style


def _plan_sets(drill: str, rng: Generator, rate_hz: float, short: bool) -> tuple[list[Rep], Array]:
    pace = rng.uniform(0.85, 1.2)
    quick = rate_hz > 50
    sides: tuple[str, ...]
    names: tuple[tuple[str, ...], ...]
    if drill == "jacks":
        timing = Timing(
            lead_s=0.5,
            out_s=0.40 * pace,
            hold_s=0.12,
            back_s=0.40 * pace,
            rest_s=0.14,
            tail_s=0.4,
            jitter=0.08,
        )
        count, sides, names = (2 if quick else 3), ("both",), ((), *((f,) for f in JACK_FAULTS))
    elif drill == "twist":
        timing = Timing(
            lead_s=0.4, out_s=0.72 * pace, hold_s=0.15, back_s=0.68 * pace, rest_s=0.12, tail_s=0.3
        )
        count, sides, names = (1 if quick else 2), SIDES, ((), (), ("short_reach",))
        sides = SIDES if rng.uniform() < 0.5 else SIDES[::-1]
    else:
        timing = Timing(
            lead_s=0.8, out_s=0.68 * pace, hold_s=0.15, back_s=0.62 * pace, rest_s=0.2, tail_s=0.35
        )
        count, sides, names = (1 if quick else 2), ("both",), ((),)
    if short:
        timing = replace(timing, lead_s=SHORT_LEAD_S, tail_s=SHORT_LEAD_S)
    faults = {i + 1: names[int(rng.integers(len(names)))] for i in range(count)}
    reps, total_s = plan_reps(timing, count=count, sides=sides, faults=faults, rng=rng)
    return reps, even_times(total_s, rate_hz)


VARIED: dict[str, Callable[..., Motion]] = {
    "squat": VariedSquat,
    "jacks": VariedJacks,
    "twist": VariedTwist,
}


def plan_drill(
    drill: str, body: Body, *, seed: int, rate_hz: float, short: bool = False
) -> tuple[Motion, Array]:
    """Draw one short set of a drill.

    Parameters
    ----------
    short : bool
        Leave out most of the standing before and after.

    Returns
    -------
    motion, time_s
        What the body is asked to do, and the frame times.
    """
    rng = np.random.default_rng(seed)
    if drill == "wander":
        return plan_wander(body, rng, rate_hz)
    if drill in VARIED:
        reps, time_s = _plan_sets(drill, rng, rate_hz, short)
        return VARIED[drill](body, time_s, reps, rng), time_s
    reps, time_s, style = _plan_steps(drill, rng, rate_hz, short)
    return Steps(body, time_s, reps, rng, style), time_s
