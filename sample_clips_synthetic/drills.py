"""The movements that leave the ground: high knees, heel kicks and jumping jacks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from bodies import SIDES, Array, Body
from pose import SIGN, Limb, Measured, Targets, turn, unit
from stance import PlantedFoot, arm_hinge, flexed_arm, hip_heights, plant_leg, sagittal, sideways
from tempo import Rep, bump, ease, per_rep, progress, sway

if TYPE_CHECKING:
    from numpy.random import Generator

OTHER = {"left": "right", "right": "left"}


@dataclass(frozen=True)
class StepStyle:
    """What one kind of running on the spot looks like; angles in degrees."""

    thigh_peak: float
    knee_peak: float
    knee_lead_s: float
    trunk: float
    swing_share: float
    point_toes: float
    arm_swing: float
    fault: str
    fault_thigh: float
    fault_knee: float
    hop_m: float = 0.018


HIGH_KNEES = StepStyle(
    thigh_peak=94.0,
    knee_peak=100.0,
    knee_lead_s=0.045,
    trunk=2.0,
    swing_share=0.66,
    point_toes=8.0,
    arm_swing=30.0,
    fault="low_knee",
    fault_thigh=50.0,
    fault_knee=72.0,
)
HEEL_KICKS = StepStyle(
    thigh_peak=3.0,
    knee_peak=133.0,
    knee_lead_s=0.0,
    trunk=5.0,
    swing_share=0.66,
    point_toes=14.0,
    arm_swing=18.0,
    fault="short_kick",
    fault_thigh=4.0,
    fault_knee=85.0,
)


def plan_steps(
    *,
    lead_s: float,
    steps: int,
    cadence_per_min: float,
    faults: dict[int, tuple[str, ...]],
    rng: Generator,
    style: StepStyle,
    first: str = "right",
    tail_s: float = 0.9,
    first_number: int = 1,
) -> tuple[list[Rep], float]:
    """Lay out alternating steps; a repetition is one swing of one leg."""
    mean_s = 60 / cadence_per_min
    gaps = mean_s * (1 + np.clip(rng.normal(0, 0.03, steps), -0.1, 0.1))
    turns = lead_s + np.cumsum(gaps)
    reps = []
    for i, turn_s in enumerate(turns):
        number = first_number + i
        half = style.swing_share * mean_s * (1 + rng.uniform(-0.03, 0.03))
        side = first if i % 2 == 0 else OTHER[first]
        reps.append(
            Rep(
                number=number,
                side=side,
                start_s=turn_s - half,
                turn_s=turn_s,
                end_s=turn_s + half,
                planted=faults.get(number, ()),
            )
        )
    return reps, float(turns[-1] + style.swing_share * mean_s + tail_s)


class Steps:
    """Running on the spot: high knees or heel kicks, by ``style``."""

    def __init__(
        self, body: Body, time_s: Array, reps: list[Rep], rng: Generator, style: StepStyle
    ) -> None:
        self.body, self.time_s, self.style = body, time_s, style
        self.frames = len(time_s)
        self.reps = reps
        noise = [rng.uniform(-1, 1, 2) for _ in reps]
        self.thigh = dict.fromkeys(SIDES, np.zeros(self.frames))
        self.knee = dict.fromkeys(SIDES, np.zeros(self.frames))
        self.swing = dict.fromkeys(SIDES, np.zeros(self.frames))
        for rep, (a, b) in zip(reps, noise, strict=True):
            faulty = style.fault in rep.planted
            thigh = (style.fault_thigh if faulty else style.thigh_peak) + 2.5 * a
            knee = (style.fault_knee if faulty else style.knee_peak) + 3.0 * b
            self._add_swing(rep, thigh, knee)
        self.ready = self._readiness()
        self.swap = self._swap()
        self.hop = self._hop()
        self.sway = {
            name: sway(time_s, rng, size=size)
            for name, size in (
                ("x", 0.004),
                ("y", 0.006),
                ("trunk", 0.7),
                ("left", 2.0),
                ("right", 2.0),
                ("bend", 0.35),
            )
        }

    def _add_swing(self, rep: Rep, thigh: float, knee: float) -> None:
        span = rep.end_s - rep.start_s
        x = (self.time_s - rep.start_s) / span
        early = (self.time_s + self.style.knee_lead_s * bump(x) - rep.start_s) / span
        self.thigh[rep.side] = self.thigh[rep.side] + thigh * bump(x)
        self.knee[rep.side] = self.knee[rep.side] + knee * bump(early)
        self.swing[rep.side] = np.maximum(self.swing[rep.side], bump(x))

    def _sets(self) -> list[list[Rep]]:
        """Split the steps where the person stands still in between."""
        groups: list[list[Rep]] = [[]]
        for rep in self.reps:
            if groups[-1] and rep.start_s > groups[-1][-1].end_s:
                groups.append([])
            groups[-1].append(rep)
        return groups

    def _readiness(self) -> Array:
        total = np.zeros(self.frames)
        for group in self._sets():
            begin, finish = group[0].start_s, group[-1].end_s
            up = ease((self.time_s - begin + 0.35) / 0.5)
            down = ease((finish + 0.35 - self.time_s) / 0.5)
            total = np.maximum(total, np.minimum(up, down))
        return total

    def _swap(self) -> Array:
        """Return +1 when the right leg is up and -1 when the left is, eased in between."""
        out = np.zeros(self.frames)
        for side, sign in (("right", 1.0), ("left", -1.0)):
            out += sign * self.swing[side]
        return out

    def _hop(self) -> Array:
        out = np.zeros(self.frames)
        for a, b in zip(self.reps, self.reps[1:], strict=False):
            if b.start_s < a.end_s:
                middle = 0.5 * (a.turn_s + b.turn_s)
                half = 0.32 * (b.turn_s - a.turn_s)
                out += self.style.hop_m * bump((self.time_s - middle + half) / (2 * half))
        return out

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        trunk = 1.0 + (self.style.trunk - 1.0) * self.ready + self.sway["trunk"]
        chest = turn("x", trunk) @ turn("z", 5 * self.swap)
        mid_hip = np.stack([self.sway["x"], self.sway["y"], np.full(self.frames, np.nan)], axis=-1)
        return Targets(
            pelvis=turn("x", 0.8 * trunk) @ turn("z", -3 * self.swap),
            chest=chest,
            head=turn("x", 0.4 * trunk),
            mid_hip=mid_hip,
            clearance_m=self.hop,
            legs={side: self._leg(measured, side) for side in SIDES},
            arms={side: self._arm(side) for side in SIDES},
            feet={side: self._foot(side) for side in SIDES},
            toe_bend_deg={side: self._heel_up(side) for side in SIDES},
        )

    def _bent_stance(self) -> Array:
        """Return the small bend of the standing leg while the person runs."""
        return 1.0 + 4.5 * self.ready + self.sway["bend"]

    def _leg(self, measured: Measured, side: str) -> Limb:
        ratio = measured.length(side, "hip", "knee") / measured.length(side, "knee", "ankle")
        base = self._bent_stance()
        # The standing leg keeps its ankle under the hip, or the foot would slide.
        shank_base = -np.degrees(np.arcsin(np.clip(ratio * np.sin(np.radians(base)), -1, 1)))
        share = self.swing[side]
        thigh = base * (1 - share) + self.thigh[side]
        knee = (base - shank_base) * (1 - share) + self.knee[side]
        out = 4.0 * SIGN[side]
        upper, lower = sagittal(thigh), sagittal(thigh - knee)
        upper[:, 0] += np.sin(np.radians(out)) * np.cos(np.radians(np.clip(thigh, 0, 90)))
        hinge = np.broadcast_to(np.array([1.0, 0.0, 0.0]), upper.shape)
        return Limb(upper=unit(upper), lower=unit(lower), hinge=hinge)

    def _heel_up(self, side: str) -> Array:
        """Return how far the standing foot rolls onto its ball, degrees."""
        return 8.0 * self.ready * (1 - self.swing[side])

    def _foot(self, side: str) -> Array:
        shank = self.thigh[side] - self.knee[side]
        pitch = self.style.point_toes * self.swing[side] - shank + self._heel_up(side)
        return turn("z", SIGN[side] * 7.0, self.frames) @ turn("x", pitch)

    def _arm(self, side: str) -> Limb:
        ready = self.ready
        swing = self.swap * (1.0 if side == "left" else -1.0)
        forward = 2 + ready * (2 + self.style.arm_swing * swing) + self.sway[side]
        out = 12 + 4 * ready
        upper = sagittal(forward)
        upper[:, 0] = SIGN[side] * np.sin(np.radians(out))
        upper = unit(upper)
        hinge = arm_hinge(upper, side, np.full(self.frames, 8.0))
        return flexed_arm(upper, hinge, 12 + 76 * ready + 6 * ready * swing)


JACK_FAULTS = ("bent_elbows", "half_height_arms", "uneven_arms")


class Jacks:
    """Jumping jacks: feet apart and hands overhead in one hop, back in the next."""

    def __init__(self, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> None:
        self.body, self.time_s, self.frames = body, time_s, len(time_s)
        self.reps = reps
        self.open = np.max([progress(time_s, rep) for rep in reps], axis=0)
        late = rng.uniform(-0.012, 0.012)
        self.arms_open = np.max([progress(time_s + late, rep) for rep in reps], axis=0)
        self.top = {
            side: per_rep(time_s, reps, [self._top(rep, side) + rng.uniform(-1, 1) for rep in reps])
            for side in SIDES
        }
        bends = [62.0 if "bent_elbows" in rep.planted else 8.0 for rep in reps]
        self.elbow = per_rep(time_s, reps, [b + rng.uniform(-2, 2) for b in bends])
        width = [1.72 + rng.uniform(-0.05, 0.05) for _ in reps]
        shoulder = body.rest["left_shoulder"][0]
        self.wide_m = per_rep(time_s, reps, width) * shoulder
        self.hop = self._hops(0.05)
        self.sway = {
            name: sway(time_s, rng, size=size)
            for name, size in (
                ("x", 0.004),
                ("y", 0.005),
                ("trunk", 0.6),
                ("left", 1.0),
                ("right", 1.0),
            )
        }
        narrow = 0.75 * body.rest["left_hip"][0]
        x_m = narrow + (self.wide_m - narrow) * self.open
        self.feet = {
            side: PlantedFoot(
                body,
                side,
                x_m=x_m,
                toe_out_deg=6 + 8 * self.open,
                frames=self.frames,
                raise_m=self.hop,
                heel_lift_ratio=4.0 * self.hop,
            )
            for side in SIDES
        }

    @staticmethod
    def _top(rep: Rep, side: str) -> float:
        """Return the highest direction of an arm, from hanging, seen from the front."""
        if "half_height_arms" in rep.planted:
            return 102.0
        if "uneven_arms" in rep.planted:
            return 129.0 if side == "right" else 178.0
        if "bent_elbows" in rep.planted:
            return 166.0
        return 179.0

    def _hops(self, height_m: float) -> Array:
        out = np.zeros(self.frames)
        for rep in self.reps:
            top, leave = rep.turn_s - rep.hold_s / 2, rep.turn_s + rep.hold_s / 2
            for begin, end in ((rep.start_s, top), (leave, rep.end_s)):
                x = (self.time_s - begin) / (end - begin)
                out += height_m * bump((x - 0.12) / 0.76)
        return out

    def _spring(self) -> Array:
        """Return the give of the knees before leaving and after landing, degrees."""
        out = np.zeros(self.frames)
        for rep in self.reps:
            for moment in (rep.start_s, rep.turn_s, rep.end_s):
                out = np.maximum(out, bump((self.time_s - moment + 0.14) / 0.28))
        return 4.0 + 9.0 * out

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        ankles = {side: self.feet[side].ankle(measured, side) for side in SIDES}
        mid_hip = np.stack([self.sway["x"], self.sway["y"] + 0.02, np.zeros(self.frames)], axis=-1)
        heights = hip_heights(
            measured, mid_hip=mid_hip, ankles=ankles, knee_flexion_deg=self._spring()
        )
        mid_hip[:, 2] = np.minimum(*heights)
        trunk = 1.5 + self.sway["trunk"]
        legs = {
            side: plant_leg(
                measured, side, mid_hip=mid_hip, ankle=ankles[side], pole=self.feet[side].pole
            )
            for side in SIDES
        }
        arms = {side: self._arm(side) for side in SIDES}
        return Targets(
            pelvis=turn("x", 0.8 * trunk),
            chest=turn("x", trunk),
            head=turn("x", 0.4 * trunk),
            legs=legs,
            arms={side: arm for side, (arm, _) in arms.items()},
            shoulder_lift_deg={side: lift for side, (_, lift) in arms.items()},
            feet={side: self.feet[side].rotation for side in SIDES},
            toe_bend_deg={side: self.feet[side].toe_bend_deg for side in SIDES},
            mid_hip=mid_hip,
        )

    def _arm(self, side: str) -> tuple[Limb, Array]:
        s = self.arms_open
        out = 7 + (self.top[side] - 7) * s + self.sway[side] * (1 - 0.7 * s)
        upper = sideways(out, side)
        # A little in front of the trunk half way up, where the shoulder moves freely.
        upper[:, 1] -= 0.12 * np.sin(np.radians(out))
        upper = unit(upper)
        lift = 24 * ease((out - 50) / 120)
        bend = 8 + (self.elbow - 8) * ease(1.6 * s - 0.3)
        return flexed_arm(upper, arm_hinge(upper, side, out), bend), lift
