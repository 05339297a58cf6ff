"""Pull-ups from a hang, the legs held straight out in front."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from bodies import SIDES, Array, Body
from pose import SIGN, Limb, Measured, Targets, turn, unit
from scene import Solid
from stance import sagittal
from tempo import Rep, ease, per_rep, progress, sway
from truth_lifts import find_mouth
from upright import arm_reach, offset_to, reach_arm, spread_values

if TYPE_CHECKING:
    from numpy.random import Generator

WRIST_M = 1.88
# The bar lies across the palm, this far above the wrist.
GRIP_M = 0.075
CEILING_M = 3.4
HALF_BAR_M = 0.72


class LSitPullUp:
    """Hands on a bar, legs level in front; from straight arms to the mouth above the hands."""

    def __init__(self, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> None:
        self.time_s, self.frames, self.reps = time_s, len(time_s), reps
        self.done = np.max([progress(time_s, rep) for rep in reps], axis=0)
        self.top_m = self._each(rng, 0.145, 0.008, short_pull=-0.12)
        self.legs_deg = self._each(rng, 1.5, 1.5, legs_sink=-40.0) * ease(2 * self.done)
        self.bottom_deg = self._bottoms()
        self.grip_m = 1.32 * body.rest["left_shoulder"][0]
        self.sway = {
            name: sway(time_s, rng, size=size)
            for name, size in (("x", 0.004), ("y", 0.012), ("trunk", 1.0), ("legs", 1.2))
        }
        bar_z = WRIST_M + GRIP_M
        bar = Solid((-HALF_BAR_M, -0.01, bar_z), (HALF_BAR_M, -0.01, bar_z), radius_m=0.016)
        hangers = [
            Solid((x, -0.01, bar_z), (x, -0.01, CEILING_M), radius_m=0.02, color="#6d767b")
            for x in (-HALF_BAR_M, HALF_BAR_M)
        ]
        self.solids = (bar, *hangers)

    def _each(self, rng: Generator, usual: float, spread: float, **by_fault: float) -> Array:
        values = spread_values(self.reps, rng, usual, spread, **by_fault)
        return per_rep(self.time_s, self.reps, values)

    def _bottoms(self) -> Array:
        """Return the elbow flexion of each hang; a half hang ends the repetition it belongs to."""
        out = np.full(self.frames, 4.0)
        for rep, after in zip(self.reps, [*self.reps[1:], None], strict=True):
            until = after.turn_s if after is not None else np.inf
            if "half_hang" in rep.planted:
                out[(self.time_s >= rep.turn_s) & (self.time_s < until)] = 60.0
        return out

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        s = self.done
        lean = -5.0 - 6.0 * s + self.sway["trunk"]
        chest = turn("x", lean)
        wrists = {
            side: np.tile(offset_to(side, self.grip_m, 0.0, WRIST_M), (self.frames, 1))
            for side in SIDES
        }
        mid_hip = self._mid_hip(measured)
        legs = self.legs_deg + self.sway["legs"]
        return Targets(
            pelvis=turn("x", lean - 10.0),
            chest=chest,
            head=turn("x", 0.3 * lean - 8.0 * s),
            legs={side: self._leg(side, legs) for side in SIDES},
            arms={
                side: reach_arm(
                    measured,
                    side,
                    mid_hip=mid_hip,
                    wrist=wrists[side],
                    pole=offset_to(side, 0.75, 0.5, -0.35),
                )
                for side in SIDES
            },
            shoulder_lift_deg={side: 20.0 - 14.0 * s for side in SIDES},
            feet={
                side: turn("z", SIGN[side] * 4.0, self.frames) @ turn("x", -legs - 68.0)
                for side in SIDES
            },
            toe_bend_deg={side: np.full(self.frames, -12.0) for side in SIDES},
            mid_hip=mid_hip,
        )

    def _leg(self, side: str, level_deg: Array) -> Limb:
        upper, lower = sagittal(90 + level_deg), sagittal(88 + level_deg)
        upper[:, 0] = lower[:, 0] = SIGN[side] * 0.02
        hinge = np.broadcast_to(np.array([1.0, 0.0, 0.0]), upper.shape)
        return Limb(upper=unit(upper), lower=unit(lower), hinge=hinge)

    def _mid_hip(self, measured: Measured) -> Array:
        """Hang the body from the wrists; at the top put the mouth at its height over them."""
        s = self.done
        # The legs in front have to be balanced by a trunk behind the bar.
        behind = 0.13 + 0.055 * s + self.sway["y"] * (1 - 0.7 * s)
        shoulder = 0.5 * sum(measured.from_hip_centre(f"{side}_shoulder") for side in SIDES)
        out_m = self.grip_m - np.abs(measured.from_hip_centre("left_shoulder")[:, 0])
        reach = arm_reach(measured, "left", self.bottom_deg)
        drop = np.sqrt(np.maximum(reach**2 - behind**2 - out_m**2, 1e-4))
        low = WRIST_M - drop - shoulder[:, 2]
        mouth = find_mouth(measured.points) - measured.mid("hip")
        high = WRIST_M + self.top_m - mouth[:, 2]
        return np.stack([self.sway["x"], behind - shoulder[:, 1], low + (high - low) * s], axis=-1)
