"""Tests of range of motion and of rising from a seat."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from bodies import SIDES, Array, Body
from one_leg import OTHER, hands_on_hips, side_sets
from pose import SIGN, Limb, Measured, Targets, turn, unit
from scene import Solid
from stance import (
    PlantedFoot,
    arm_hinge,
    flexed_arm,
    hip_heights,
    plant_leg,
    sagittal,
    sideways,
)
from tempo import Rep, bump, ease, per_rep, progress, sway
from upright import Upright, between, offset_to, reach_arm, shoulder_at, spread_values

if TYPE_CHECKING:
    from numpy.random import Generator

SEAT_M = 0.44
# The hip joint of a seated person is this far above the seat.
HIP_OVER_SEAT_M = 0.085


class ArmRaise(Upright):
    """Standing still, one straight arm goes up as far as it will: left and right differ."""

    stance_ratio = 1.05
    toe_out_deg = 7.0
    top_deg = (165.0, 140.0)

    def prepare(self, rng: Generator) -> None:
        """Keep the legs still and set how far each arm goes."""
        self.depth = np.zeros(self.frames)
        left, right = self.top_deg
        values = [
            (left if rep.side == "left" else right) + rng.uniform(-1.5, 1.5) for rep in self.reps
        ]
        self.top = per_rep(self.time_s, self.reps, values)
        self.up = {side: np.zeros(self.frames) for side in SIDES}
        for rep in self.reps:
            self.up[rep.side] = np.maximum(self.up[rep.side], progress(self.time_s, rep))

    def arm(self, measured: Measured, side: str, mid_hip: Array, chest: Array) -> Limb:
        """Raise the arm of the side that is tested."""
        s = self.up[side]
        upper, out = self.direction(side, s)
        return flexed_arm(upper, arm_hinge(upper, side, out), 10 - 6 * ease(2 * s))

    def direction(self, side: str, s: Array) -> tuple[Array, Array]:
        """Return the direction of the upper arm and the turn of the elbow with it."""
        raise NotImplementedError

    def shoulder_lift(self, side: str) -> Array:
        """Let the shoulder rise with the arm."""
        return 20 * ease((self.top * self.up[side] - 50) / 110)


class ShoulderFlexion(ArmRaise):
    """Straight arm forward and up."""

    def direction(self, side: str, s: Array) -> tuple[Array, Array]:
        """Raise the arm in the plane of the side view."""
        upper = sagittal(2 + (self.top - 2) * s + 0.5 * self.sway_arm[side])
        upper[:, 0] = SIGN[side] * (0.17 - 0.14 * ease(2 * s))
        return unit(upper), 10 + 50 * s


class ShoulderAbduction(ArmRaise):
    """Straight arm outward and up."""

    top_deg = (169.0, 147.5)

    def direction(self, side: str, s: Array) -> tuple[Array, Array]:
        """Raise the arm in the plane of the front view, a little ahead of it half way up."""
        out = 9 + (self.top - 9) * s + 0.5 * self.sway_arm[side]
        upper = sideways(out, side)
        upper[:, 1] -= 0.1 * np.sin(np.radians(out)) * (1 - s)
        return unit(upper), out


class TrunkFlexion(Upright):
    """Bending forward with straight knees, hands toward the floor."""

    stance_ratio = 0.95
    toe_out_deg = 6.0
    pelvis_share = 0.72
    head_share = 0.85

    def prepare(self, rng: Generator) -> None:
        """Send the hips back as the trunk goes down."""
        self.shape["thigh"] = self.each(rng, 78.0, 0.0)
        self.shape["shank"] = self.each(rng, -9.0, 0.0)
        self.shape["knee_ratio"] = np.ones(self.frames)
        self.fold_trunk(self.each(rng, 110.0, 2.0))

    def arm(self, measured: Measured, side: str, mid_hip: Array, chest: Array) -> Limb:
        """Let the arms hang from the shoulders, straighter at the bottom."""
        s = self.depth
        upper = sagittal(3 - 1 * s + 0.4 * self.sway_arm[side])
        upper[:, 0] = SIGN[side] * (0.16 - 0.12 * s)
        upper = unit(upper)
        return flexed_arm(upper, arm_hinge(upper, side, np.full(self.frames, 8.0)), 10 - 6 * s)


class SitToStand(Upright):
    """From a seat to standing and back, arms crossed on the chest."""

    stance_ratio = 1.1
    toe_out_deg = 8.0

    def __init__(self, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> None:
        self.seat_thigh = self._seated_thigh(body)
        super().__init__(body, time_s, reps, rng)
        wood = "#b79a6e"
        self.solids = (Solid((-0.22, 0.14, 0.0), (0.22, 0.55, SEAT_M), color=wood),)

    @staticmethod
    def _seated_thigh(body: Body) -> float:
        rest, side = body.rest, "left"
        shank = np.linalg.norm(rest[f"{side}_knee"] - rest[f"{side}_ankle"])
        thigh = np.linalg.norm(rest[f"{side}_hip"] - rest[f"{side}_knee"])
        knee_z = rest[f"{side}_ankle"][2] - body.rest_sole_z + shank * np.cos(np.radians(10))
        return float(np.degrees(np.arcsin((SEAT_M + HIP_OVER_SEAT_M - knee_z) / thigh)))

    def prepare(self, rng: Generator) -> None:
        """Lean first, then rise: the hips stay on the seat while the trunk comes forward."""
        up = self.done
        self.depth = 1 - np.clip((up - 0.14) / 0.86, 0, 1) ** 1.4
        self.shape["thigh"] = np.full(self.frames, self.seat_thigh)
        # The knees come forward in the middle of the way.
        self.shape["shank"] = 10 + 34 * (1 - self.depth)
        self.shape["knee_ratio"] = self.each(rng, 1.12, 0.01)
        lean = self.each(rng, 36.0, 2.0)
        self.trunk = 5 * (1 - up) + 1.5 * up + lean * bump(up**0.6)

    def arm(self, measured: Measured, side: str, mid_hip: Array, chest: Array) -> Limb:
        """Lay the hand on the opposite shoulder's side of the chest."""
        middle = 0.5 * sum(shoulder_at(measured, s, mid_hip) for s in SIDES)
        width = np.abs(measured.from_hip_centre(f"{side}_shoulder")[:, 0])
        # One forearm lies over the other.
        ahead, up = (0.165, -0.1) if side == "left" else (0.13, -0.06)
        spot = offset_to(side, -0.3 * width, ahead, up)
        wrist = middle + np.einsum("tij,tj->ti", chest, spot)
        pole = np.einsum("tij,tj->ti", chest, offset_to(side, 0.8 + 0 * width, 0.15, -1.0))
        return reach_arm(measured, side, mid_hip=mid_hip, wrist=wrist, pole=pole)


class AnkleLunge:
    """One foot in front; its knee is driven forward over the toes with the heel down."""

    back_m = 0.46
    top_deg = (42.0, 33.0)

    def __init__(self, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> None:
        self.body, self.time_s, self.reps, self.frames = body, time_s, reps, len(time_s)
        self.done = np.max([progress(time_s, rep) for rep in reps], axis=0)
        left, right = self.top_deg
        values = [(left if r.side == "left" else right) + rng.uniform(-1, 1) for r in reps]
        self.top = per_rep(time_s, reps, values)
        lifts = spread_values(reps, rng, 0.0, 0.0, heel_lifts=0.12)
        self.heel = per_rep(time_s, reps, lifts)
        self.front = dict.fromkeys(SIDES, np.zeros(self.frames))
        for group in side_sets(reps):
            begin, end = group[0].start_s - 0.2, group[-1].end_s + 0.2
            share = between(time_s, begin, end, rise_s=0.8, fall_s=0.8)
            self.front = self.front | {group[0].side: share}
        self.sway = {
            name: sway(time_s, rng, size=size) for name, size in (("x", 0.003), ("trunk", 0.6))
        }
        self.ready = np.maximum(self.front["left"], self.front["right"])
        self.feet = {side: self._foot(side) for side in SIDES}

    def _foot(self, side: str) -> PlantedFoot:
        """Put a foot: flat in front, or a long step back on its ball."""
        ahead, behind = self.front[side], self.front[OTHER[side]]
        heel = self.heel * self.done * ahead + behind * (0.42 + 0.3 * self.done)
        foot = PlantedFoot(
            self.body,
            side,
            x_m=0.085,
            toe_out_deg=4.0,
            frames=self.frames,
            heel_lift_ratio=heel,
            raise_m=0.05 * bump(behind) + 0.035 * behind * (0.4 + 0.6 * self.done),
        )
        foot.sole = foot.sole + offset_to(side, 0.0, -self.back_m * behind, 0.0)
        return foot

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        ankles = {side: self.feet[side].ankle(measured, side) for side in SIDES}
        mid_hip = self._mid_hip(measured, ankles)
        trunk = 1.5 + 5.0 * self.done + self.sway["trunk"]
        pelvis = turn("x", 0.85 * trunk - 1)
        return Targets(
            pelvis=pelvis,
            chest=turn("x", trunk),
            head=turn("x", 0.35 * trunk),
            legs={
                side: plant_leg(
                    measured, side, mid_hip=mid_hip, ankle=ankles[side], pole=self.feet[side].pole
                )
                for side in SIDES
            },
            arms={
                side: hands_on_hips(
                    measured, side, mid_hip=mid_hip, pelvis=pelvis, share=self.ready
                )
                for side in SIDES
            },
            feet={side: self.feet[side].rotation for side in SIDES},
            toe_bend_deg={side: 0.85 * self.feet[side].toe_bend_deg for side in SIDES},
            mid_hip=mid_hip,
        )

    def _mid_hip(self, measured: Measured, ankles: dict[str, Array]) -> Array:
        """Place the hips by the front leg; standing with the feet together, by both."""
        mid = np.zeros((self.frames, 3))
        balance = self.front["left"] - self.front["right"]
        for side in SIDES:
            ahead = self.front[side]
            lean = np.radians(2 - 7 * ahead + (self.top + 5) * ahead * self.done)
            back = np.radians(1.5 + 8 * ahead + 32 * ahead * self.done)
            shank, thigh = (
                measured.length(side, "knee", "ankle"),
                measured.length(side, "hip", "knee"),
            )
            centre = ankles[side] - measured.from_hip_centre(f"{side}_hip")
            centre[:, 1] += thigh * np.sin(back) - shank * np.sin(lean)
            centre[:, 2] += thigh * np.cos(back) + shank * np.cos(lean)
            mid += 0.5 * (1 + SIGN[side] * balance)[:, None] * centre
        mid[:, 0] = self.sway["x"]
        heights = hip_heights(measured, mid_hip=mid, ankles=ankles, knee_flexion_deg=2.5)
        mid[:, 2] = np.minimum(mid[:, 2], np.minimum(*heights))
        return mid
