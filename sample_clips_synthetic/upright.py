"""What the standing lifts and tests share: folding on planted feet, arms that reach."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from bodies import SIDES, Array, Body
from motions import Squat
from pose import SIGN, Limb, Measured, Targets, bend_limb, turn, unit
from schedule import Movement, Schedule, repeated
from stance import PlantedFoot, arm_hinge, flexed_arm, hip_heights, plant_leg, sideways
from tempo import Rep, ease, per_rep, progress, sway

if TYPE_CHECKING:
    from numpy.random import Generator
    from scenario import Clip

TOP_LEAN_DEG = 1.5


class Upright(Squat):
    """Both feet planted; legs and trunk fold by ``depth`` (0 standing, 1 folded).

    A movement sets ``depth``, ``shape`` (the folded legs, as in the squat) and ``trunk`` in
    ``prepare`` and gives its own arms.
    """

    stance_ratio = 1.4
    toe_out_deg = 12.0
    pelvis_share = 0.85
    head_share = 0.35

    def __init__(self, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> None:
        self.body, self.time_s, self.reps, self.frames = body, time_s, reps, len(time_s)
        self.done = np.max([progress(time_s, rep) for rep in reps], axis=0)
        self.depth = self.done
        self.trunk = np.full(self.frames, TOP_LEAN_DEG)
        still = np.zeros(self.frames)
        self.shape = {
            "thigh": still,
            "shank": still,
            "trunk": still,
            "knee_ratio": still + 1.1,
            "heel_lift_ratio": still,
        }
        self.prepare(rng)
        hip, shoulder = body.rest["left_hip"][0], body.rest["left_shoulder"][0]
        self.half_stance_m = self.stance_ratio * 0.5 * (hip + shoulder)
        self.feet = {
            side: PlantedFoot(
                body,
                side,
                x_m=self.half_stance_m,
                toe_out_deg=self.toe_out_deg,
                frames=self.frames,
                heel_lift_ratio=self.shape["heel_lift_ratio"] * self.depth,
            )
            for side in SIDES
        }
        self.sway_x = sway(time_s, rng, size=0.003)
        self.sway_trunk = sway(time_s, rng, size=0.5)
        self.sway_arm = {side: sway(time_s, rng, size=1.5) for side in SIDES}
        self.sway_side = sway(time_s, rng, size=0.004)

    def prepare(self, rng: Generator) -> None:
        """Set the depth, the shape of the folded body and the lean of the trunk."""

    def each(self, rng: Generator, usual: float, spread: float, **by_fault: float) -> Array:
        """Return a number per frame: each repetition's own, or that of its planted fault."""
        return per_rep(
            self.time_s, self.reps, spread_values(self.reps, rng, usual, spread, **by_fault)
        )

    def fold_trunk(self, folded_deg: Array) -> None:
        """Lean the trunk with the depth."""
        self.trunk = TOP_LEAN_DEG + (folded_deg - TOP_LEAN_DEG) * self.depth

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        ankles = {side: self.feet[side].ankle(measured, side) for side in SIDES}
        knees = {side: self._knee(measured, side, ankles[side]) for side in SIDES}
        mid_hip = self._mid_hip(measured, knees)
        heights = hip_heights(measured, mid_hip=mid_hip, ankles=ankles, knee_flexion_deg=2.5)
        mid_hip[:, 2] = np.minimum(mid_hip[:, 2], np.minimum(*heights))
        trunk = self.trunk + self.sway_trunk
        chest = turn("y", np.degrees(self.sway_side)) @ turn("x", trunk)
        legs = {}
        for side in SIDES:
            hip = mid_hip + measured.from_hip_centre(f"{side}_hip")
            pole = knees[side] - 0.5 * (hip + ankles[side]) + np.array([0, -0.02, 0])
            legs[side] = plant_leg(measured, side, mid_hip=mid_hip, ankle=ankles[side], pole=pole)
        return Targets(
            pelvis=turn("x", self.pelvis_share * trunk - 1),
            chest=chest,
            head=turn("x", self.head_share * trunk),
            legs=legs,
            arms={side: self.arm(measured, side, mid_hip, chest) for side in SIDES},
            feet={side: self.feet[side].rotation for side in SIDES},
            toe_bend_deg={side: self.feet[side].toe_bend_deg for side in SIDES},
            hand_bend_deg={side: self.hand(side) for side in SIDES},
            shoulder_lift_deg={side: self.shoulder_lift(side) for side in SIDES},
            mid_hip=mid_hip,
        )

    def arm(self, measured: Measured, side: str, mid_hip: Array, chest: Array) -> Limb:
        """Return one arm; hanging, unless a movement says otherwise."""
        return hanging_arm(side, 9 + self.sway_arm[side])

    def hand(self, side: str) -> Array:
        """Return the bend of the hand, degrees, + as the elbow bends."""
        return np.zeros(self.frames)

    def shoulder_lift(self, side: str) -> Array:
        """Return how far the shoulder is shrugged, degrees."""
        return np.zeros(self.frames)


def spread_values(
    reps: list[Rep], rng: Generator, usual: float, spread: float, **by_fault: float
) -> list[float]:
    """Draw one value for each repetition about the usual one, or about that of its fault."""
    values = []
    for rep in reps:
        own = [by_fault[fault] for fault in rep.planted if fault in by_fault]
        values.append((own[0] if own else usual) + rng.uniform(-spread, spread))
    return values


def hanging_arm(side: str, out_deg: Array, bend_deg: float = 10.0) -> Limb:
    """Return an arm that hangs beside the body, held away from it by an angle."""
    upper = sideways(out_deg, side)
    return flexed_arm(upper, arm_hinge(upper, side, np.full(len(upper), 10.0)), bend_deg)


def reach_arm(measured: Measured, side: str, *, mid_hip: Array, wrist: Array, pole: Array) -> Limb:
    """Bring a wrist to a point; the elbow bends toward ``pole``."""
    shoulder = mid_hip + measured.from_hip_centre(f"{side}_shoulder")
    pole = np.broadcast_to(pole, shoulder.shape)
    elbow = bend_limb(
        shoulder,
        wrist,
        upper_m=measured.length(side, "shoulder", "elbow"),
        lower_m=measured.length(side, "elbow", "wrist"),
        pole=pole,
    )
    # The pole gives the hinge, because a straight arm has none of its own.
    return Limb(upper=elbow - shoulder, lower=wrist - elbow, hinge=np.cross(pole, wrist - shoulder))


def blend_arms(first: Limb, second: Limb, share: Array) -> Limb:
    """Go from one arm to another; a share of 0 is the first."""
    s = share[:, None]
    return Limb(
        upper=unit(unit(first.upper) * (1 - s) + unit(second.upper) * s),
        lower=unit(unit(first.lower) * (1 - s) + unit(second.lower) * s),
        hinge=unit(unit(first.hinge) * (1 - s) + unit(second.hinge) * s),
    )


def arm_reach(measured: Measured, side: str, elbow_flexion_deg: Array | float) -> Array:
    """Return the shoulder-to-wrist distance of an arm bent by a given angle."""
    a, b = measured.length(side, "shoulder", "elbow"), measured.length(side, "elbow", "wrist")
    return np.sqrt(a**2 + b**2 + 2 * a * b * np.cos(np.radians(elbow_flexion_deg)))


def shoulder_at(measured: Measured, side: str, mid_hip: Array) -> Array:
    """Return where a shoulder is when the hips are at a given place."""
    return mid_hip + measured.from_hip_centre(f"{side}_shoulder")


def offset_to(
    side: str, out_m: Array | float, ahead_m: Array | float, up_m: Array | float
) -> Array:
    """Return a vector from how far outward, ahead and up it goes."""
    return np.stack(
        np.broadcast_arrays(
            SIGN[side] * np.asarray(out_m), -np.asarray(ahead_m), np.asarray(up_m, dtype=float)
        ),
        axis=-1,
    )


def between(time_s: Array, begin_s: float, end_s: float, *, rise_s: float, fall_s: float) -> Array:
    """Return an envelope that has risen to 1 at ``begin_s`` and starts to fall at ``end_s``."""
    rising = ease((time_s - begin_s + rise_s) / rise_s)
    falling = ease((end_s + fall_s - time_s) / fall_s)
    return np.minimum(rising, falling)


def paced(make: type, *, fault: str, out_s: float) -> Movement:
    """Register equal repetitions of which those with one fault go down in ``out_s``."""
    usual = repeated(make)

    def plan(clip: Clip, rng: Generator) -> Schedule:
        schedule = usual.plan(clip, rng)
        reps, saved = [], 0.0
        for rep in schedule.reps:
            begin = rep.start_s - saved
            if fault in rep.planted:
                saved += rep.turn_s - rep.hold_s / 2 - rep.start_s - out_s
            reps.append(
                replace(rep, start_s=begin, turn_s=rep.turn_s - saved, end_s=rep.end_s - saved)
            )
        return replace(schedule, reps=reps, total_s=schedule.total_s - saved)

    return Movement(plan=plan, build=usual.build)
