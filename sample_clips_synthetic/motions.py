"""The two movements on planted feet: the air squat and the twist to the opposite heel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from bodies import SIDES, Array, Body
from pose import SIGN, Limb, Measured, Targets, turn, unit
from stance import (
    PlantedFoot,
    arm_hinge,
    flexed_arm,
    hip_heights,
    plant_leg,
    sagittal,
)
from tempo import Rep, ease, per_rep, progress, sway

if TYPE_CHECKING:
    from numpy.random import Generator


# How far the thighs lean back when standing, radians; together with the shanks a soft lockout.
TOP_THIGH = np.radians(1.5)


@dataclass(frozen=True)
class SquatShape:
    """The numbers that make one squat; angles in degrees at the bottom."""

    thigh: float = -10.0
    shank: float = 29.0
    trunk: float = 33.0
    knee_ratio: float = 1.16
    heel_lift_ratio: float = 0.0


SQUAT_FAULTS: Mapping[str, dict[str, float]] = {
    "shallow": {"thigh": 35.0, "shank": 24.0, "trunk": 27.0},
    "chest_down": {"thigh": -7.0, "shank": 25.0, "trunk": 65.0},
    "heels_up": {"heel_lift_ratio": 0.29, "shank": 38.0, "trunk": 37.0},
    "knees_in": {"knee_ratio": 0.48, "thigh": -2.0},
}


def _squat_shapes(reps: list[Rep], rng: Generator) -> list[SquatShape]:
    shapes = []
    for rep in reps:
        values = {"thigh": -10.0, "shank": 29.0, "trunk": 33.0}
        for fault in rep.planted:
            values |= SQUAT_FAULTS[fault]
        values["thigh"] += rng.uniform(-3, 3)
        lean = rng.uniform(-1.5, 1.5)
        values["shank"] += lean
        values["trunk"] += lean + rng.uniform(-1, 1)
        shapes.append(SquatShape(**values))
    return shapes


class Squat:
    """Air squat with the feet planted and the arms carried forward."""

    def __init__(self, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> None:
        self.body, self.time_s, self.frames = body, time_s, len(time_s)
        self.depth = np.max([progress(time_s, rep) for rep in reps], axis=0)
        shapes = _squat_shapes(reps, rng)
        self.shape = {
            name: per_rep(time_s, reps, [getattr(shape, name) for shape in shapes])
            for name in SquatShape.__dataclass_fields__
        }
        hip, shoulder = body.rest["left_hip"][0], body.rest["left_shoulder"][0]
        # Both feet are set at 1.4 times the mean of hip and shoulder width.
        self.half_stance_m = 1.4 * 0.5 * (hip + shoulder)
        lift = self.shape["heel_lift_ratio"] * np.clip(self.depth * 1.25, 0, 1)
        self.feet = {
            side: PlantedFoot(
                body,
                side,
                x_m=self.half_stance_m,
                toe_out_deg=12.0,
                frames=self.frames,
                heel_lift_ratio=lift,
            )
            for side in SIDES
        }
        self.sway_x = sway(time_s, rng, size=0.003)
        self.sway_trunk = sway(time_s, rng, size=0.5)
        self.sway_arm = {side: sway(time_s, rng, size=1.5) for side in SIDES}
        self.sway_side = sway(time_s, rng, size=0.004)

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        s = self.depth
        ankles = {side: self.feet[side].ankle(measured, side) for side in SIDES}
        knees = {side: self._knee(measured, side, ankles[side]) for side in SIDES}
        mid_hip = self._mid_hip(measured, knees)
        # Near lockout a millimetre of height is degrees at the knee; never stretch the legs out.
        heights = hip_heights(measured, mid_hip=mid_hip, ankles=ankles, knee_flexion_deg=2.5)
        mid_hip[:, 2] = np.minimum(mid_hip[:, 2], np.minimum(*heights))
        trunk = 1.5 + (self.shape["trunk"] - 1.5) * s + self.sway_trunk
        chest = turn("y", np.degrees(self.sway_side)) @ turn("x", trunk)
        legs = {}
        for side in SIDES:
            hip = mid_hip + measured.from_hip_centre(f"{side}_hip")
            pole = knees[side] - 0.5 * (hip + ankles[side]) + np.array([0, -0.02, 0])
            legs[side] = plant_leg(measured, side, mid_hip=mid_hip, ankle=ankles[side], pole=pole)
        return Targets(
            pelvis=turn("x", 0.85 * trunk - 1),
            chest=chest,
            head=turn("x", 0.35 * trunk),
            legs=legs,
            arms={side: self._arm(side) for side in SIDES},
            feet={side: self.feet[side].rotation for side in SIDES},
            toe_bend_deg={side: self.feet[side].toe_bend_deg for side in SIDES},
            mid_hip=mid_hip,
        )

    def _knee(self, measured: Measured, side: str, ankle: Array) -> Array:
        """Put the knee over the foot (or inside it) at the wanted shank inclination."""
        shank = measured.length(side, "knee", "ankle")
        thigh = measured.length(side, "hip", "knee")
        hip_x = measured.from_hip_centre(f"{side}_hip")[:, 0]
        straight = ankle[:, 0] + (hip_x - ankle[:, 0]) * shank / (shank + thigh)
        wanted = ankle[:, 0] * self.shape["knee_ratio"]
        # The knees go in or out early in the descent, as they do in people.
        early = ease(1.7 * self.depth)
        across = straight + (wanted - straight) * early - ankle[:, 0]
        flat = np.sqrt(shank**2 - across**2)
        lean = np.radians(2.0 + (self.shape["shank"] - 2.0) * self.depth)
        return ankle + np.stack([across, -flat * np.sin(lean), flat * np.cos(lean)], axis=-1)

    def _mid_hip(self, measured: Measured, knees: dict[str, Array]) -> Array:
        """Return the hip centre that gives the wanted thigh inclination on both sides."""
        centres = []
        for side in SIDES:
            offset = measured.from_hip_centre(f"{side}_hip")
            thigh = measured.length(side, "hip", "knee")
            across = knees[side][:, 0] - self.sway_x - offset[:, 0]
            flat = np.sqrt(thigh**2 - across**2)
            bottom = np.arccos(
                np.clip(thigh * np.sin(np.radians(self.shape["thigh"])) / flat, -1, 1)
            )
            angle = TOP_THIGH + (bottom - TOP_THIGH) * self.depth
            centre = knees[side] - offset
            centre[:, 1] += flat * np.sin(angle)
            centre[:, 2] += flat * np.cos(angle)
            centres.append(centre)
        mid = 0.5 * (centres[0] + centres[1])
        mid[:, 0] = self.sway_x
        return mid

    def _arm(self, side: str) -> Limb:
        s = self.depth
        # A trunk that folds takes the arms down with it.
        drop = np.clip(0.6 * (self.shape["trunk"] - 38), 0, None)
        forward = 3 + (84 - drop) * s + self.sway_arm[side]
        out = 9 * (1 - s) + 4
        upper = sagittal(forward)
        upper[:, 0] = SIGN[side] * np.sin(np.radians(out))
        upper = unit(upper)
        hinge = arm_hinge(upper, side, 15 + 10 * s)
        return flexed_arm(upper, hinge, 12 - 4 * s)
