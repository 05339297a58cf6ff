"""The wide-stance twist: fold, turn, and bring one hand to the heel of the other foot."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from bodies import SIDES, Array, Body
from pose import SIGN, Limb, Measured, Targets, bend_limb, turn, unit
from stance import PlantedFoot, arm_hinge, flexed_arm, hip_heights, plant_leg, sideways
from tempo import Rep, ease, per_rep, progress, sway

if TYPE_CHECKING:
    from numpy.random import Generator

OTHER = {"left": "right", "right": "left"}
HAND_BEND_DEG = 60.0


class Twist:
    """Standing in a wide stance, one hand to the opposite heel, the other to the ceiling."""

    def __init__(self, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> None:
        self.body, self.time_s, self.frames = body, time_s, len(time_s)
        self.fold = np.max([progress(time_s, rep) for rep in reps], axis=0)
        self.side = per_rep(time_s, reps, [SIGN[rep.side] for rep in reps])
        short = [("short_reach" in rep.planted) for rep in reps]
        self.short = per_rep(time_s, reps, [float(s) for s in short])
        pitch = [self._fold_deg(rep) for rep in reps]
        self.pitch = per_rep(time_s, reps, [p + rng.uniform(-1.5, 1.5) for p in pitch])
        bend = [46.0 if "bent_knees" in rep.planted else 5.0 for rep in reps]
        self.knee = per_rep(time_s, reps, [b + rng.uniform(-1, 1) for b in bend])
        self.roll = per_rep(time_s, reps, [68 + rng.uniform(-3, 3) for _ in reps])
        self.half_stance_m = 1.7 * body.rest["left_shoulder"][0]
        self.feet = {
            side: PlantedFoot(
                body, side, x_m=self.half_stance_m, toe_out_deg=14.0, frames=self.frames
            )
            for side in SIDES
        }
        self.sway = {
            name: sway(time_s, rng, size=size)
            for name, size in (
                ("x", 0.004),
                ("y", 0.004),
                ("trunk", 0.6),
                ("left", 1.5),
                ("right", 1.5),
            )
        }

    @staticmethod
    def _fold_deg(rep: Rep) -> float:
        """Return how far the trunk folds; bent knees bring the hand down with less of it."""
        if "short_reach" in rep.planted:
            return 76.0
        return 108.0 if "bent_knees" in rep.planted else 127.0

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        s = self.fold
        ankles = {side: self.feet[side].ankle(measured, side) for side in SIDES}
        mid_hip = self._mid_hip(measured, ankles)
        pitch = 1.5 + (self.pitch - 1.5) * s + self.sway["trunk"]
        yaw = -self.side * 24.0 * s
        chest = turn("z", yaw) @ turn("x", pitch) @ turn("z", -self.side * self.roll * s)
        pelvis = turn("z", 0.4 * yaw) @ turn("x", 0.74 * pitch)
        legs = {
            side: plant_leg(
                measured, side, mid_hip=mid_hip, ankle=ankles[side], pole=self.feet[side].pole
            )
            for side in SIDES
        }
        head = turn("z", yaw) @ turn("x", 0.8 * pitch) @ turn("z", -self.side * 0.4 * self.roll * s)
        return Targets(
            pelvis=pelvis,
            chest=chest,
            head=head,
            legs=legs,
            arms={side: self._arm(measured, side, mid_hip) for side in SIDES},
            hand_bend_deg={side: self._hand(side) for side in SIDES},
            feet={side: self.feet[side].rotation for side in SIDES},
            mid_hip=mid_hip,
        )

    def _hand(self, side: str) -> Array:
        """Lay the reaching hand along the floor, or it would go through it."""
        bend = HAND_BEND_DEG * ease((self.fold - 0.25) / 0.6)
        return np.where(self.side == SIGN[side], bend, 0.0)

    def _mid_hip(self, measured: Measured, ankles: dict[str, Array]) -> Array:
        s = self.fold
        leg_m = measured.length("left", "hip", "ankle")
        # The hips move back as the trunk goes down, or the body would tip over its toes.
        back = 0.02 + 0.20 * leg_m * s
        mid = np.stack([self.sway["x"], self.sway["y"] + back, np.zeros(self.frames)], axis=-1)
        flexion = 2.5 + (self.knee - 2.5) * s
        for _ in range(6):
            # A turned pelvis brings one hip nearer to its foot; shift until both legs are alike.
            left, right = hip_heights(
                measured, mid_hip=mid, ankles=ankles, knee_flexion_deg=flexion
            )
            mid[:, 0] += 1.1 * (right - left)
        mid[:, 2] = np.minimum(left, right)
        return mid

    def _reach_point(self, measured: Measured, side: str) -> Array:
        """Return where the wrist of the reaching hand goes: by the heel, or by the knee."""
        other = OTHER[side]
        inward = -SIGN[other]
        heel = measured.points[f"{other}_heel"] + np.array([inward * 0.02, 0.0, 0.04])
        knee = measured.points[f"{other}_knee"] + np.array([inward * 0.03, -0.13, -0.02])
        return np.where(self.short[:, None] > 0.5, knee, heel)

    def _arm(self, measured: Measured, side: str, mid_hip: Array) -> Limb:
        reaching = self.side == SIGN[side]
        low, high = self._low_arm(measured, side, mid_hip), self._high_arm(side)
        pick = reaching[:, None]
        rest = flexed_arm(*self._hanging(side), 10.0)
        # The arm points at the heel well before it gets there, or the hand would sweep the floor.
        share = ease(self.fold / 0.65)[:, None]
        parts = {
            name: np.where(
                pick,
                unit(getattr(rest, name) * (1 - share) + getattr(low, name) * share),
                getattr(high, name),
            )
            for name in ("upper", "lower", "hinge")
        }
        return Limb(**parts)

    def _hanging(self, side: str) -> tuple[Array, Array]:
        upper = sideways(9 + self.sway[side], side)
        return upper, arm_hinge(upper, side, np.full(self.frames, 10.0))

    def _low_arm(self, measured: Measured, side: str, mid_hip: Array) -> Limb:
        shoulder = mid_hip + measured.from_hip_centre(f"{side}_shoulder")
        wrist = self._reach_point(measured, side)
        pole = np.broadcast_to(np.array([SIGN[side] * 0.4, -1.0, 0.2]), shoulder.shape)
        elbow = bend_limb(
            shoulder,
            wrist,
            upper_m=measured.length(side, "shoulder", "elbow"),
            lower_m=measured.length(side, "elbow", "wrist"),
            pole=pole,
        )
        return Limb(
            upper=elbow - shoulder,
            lower=wrist - elbow,
            hinge=np.cross(elbow - shoulder, wrist - elbow) + 1e-9,
        )

    def _high_arm(self, side: str) -> Limb:
        out = 9 + 164 * self.fold + self.sway[side]
        upper = sideways(out, side)
        return flexed_arm(upper, arm_hinge(upper, side, out), 10.0 - 4 * self.fold)
