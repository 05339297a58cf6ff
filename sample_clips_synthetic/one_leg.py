"""Standing on one leg: the single-leg squat, the knee raise and the heel to the seat."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from bodies import SIDES, Array, Body
from pose import SIGN, Limb, Measured, Targets, turn, unit
from stance import PlantedFoot, hip_heights, plant_leg, sagittal
from tempo import Rep, ease, per_rep, progress, sway
from upright import between, hanging_arm, offset_to, reach_arm, shoulder_at, spread_values

if TYPE_CHECKING:
    from numpy.random import Generator

OTHER = {"left": "right", "right": "left"}
STANDING_THIGH = 1.5
STANDING_SHANK = 2.0


def side_sets(reps: list[Rep]) -> list[list[Rep]]:
    """Split repetitions into runs of the same side."""
    groups: list[list[Rep]] = []
    for rep in reps:
        if groups and groups[-1][0].side == rep.side:
            groups[-1].append(rep)
        else:
            groups.append([rep])
    return groups


def hands_on_hips(
    measured: Measured, side: str, *, mid_hip: Array, pelvis: Array, share: Array
) -> Limb:
    """Bring a hand from hanging to the hip bone by a share of 0 to 1."""
    shoulder = shoulder_at(measured, side, mid_hip)
    arm_m = measured.length(side, "shoulder", "elbow") + measured.length(side, "elbow", "wrist")
    hip_m = np.abs(measured.from_hip_centre(f"{side}_hip")[:, 0])
    spot = offset_to(side, 2.2 * hip_m, 0.01, 0.15)
    on_hip = mid_hip + np.einsum("tij,tj->ti", pelvis, spot)
    hanging = shoulder + offset_to(side, 0.17 * arm_m, 0.05, -0.975 * arm_m)
    s = share[:, None]
    return reach_arm(
        measured,
        side,
        mid_hip=mid_hip,
        wrist=hanging * (1 - s) + on_hip * s,
        pole=offset_to(side, 0.5 + 0.1 * share, -0.8, 0.0),
    )


class OneLeg:
    """One leg carries, the other one is free; both feet are down before, between and after.

    A movement sets, in ``prepare``, the ``depth`` and shape of the carrying leg and the angles
    of the free one.
    """

    tested_is_free = True
    narrow_m = 0.075

    def __init__(self, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> None:
        self.body, self.time_s, self.reps, self.frames = body, time_s, reps, len(time_s)
        still = np.zeros(self.frames)
        self.done = {side: self._done(side) for side in SIDES}
        self.any_done = np.maximum(self.done["left"], self.done["right"])
        self.groups = side_sets(reps)
        self.weight = self._weight()
        self.depth, self.valgus, self.drop = still, still, still
        self.thigh, self.shank = still + 90.0, still
        self.trunk = still + 1.5
        self.free = dict.fromkeys(SIDES, still)
        self.free_thigh = dict.fromkeys(SIDES, still)
        self.free_knee = dict.fromkeys(SIDES, still)
        self.sway = {
            name: sway(time_s, rng, size=size)
            for name, size in (("x", 0.004), ("trunk", 0.6), ("left", 1.2), ("right", 1.2))
        }
        self.prepare(rng)
        self.feet = {
            side: PlantedFoot(body, side, x_m=self.narrow_m, toe_out_deg=5.0, frames=self.frames)
            for side in SIDES
        }

    def prepare(self, rng: Generator) -> None:
        """Set what the legs do."""
        raise NotImplementedError

    def _done(self, side: str) -> Array:
        own = [progress(self.time_s, rep) for rep in self.reps if rep.side == side]
        return np.max(own, axis=0) if own else np.zeros(self.frames)

    def carrying(self, rep: Rep) -> str:
        """Return the side that stands in a repetition."""
        return OTHER[rep.side] if self.tested_is_free else rep.side

    def set_share(self, early_s: float, ease_s: float) -> dict[str, Array]:
        """Return, per carrying side, 1 during its set, begun and left a little outside it."""
        out = {side: np.zeros(self.frames) for side in SIDES}
        for group in self.groups:
            begin, end = group[0].start_s - early_s, group[-1].end_s + early_s
            share = between(self.time_s, begin, end, rise_s=ease_s, fall_s=ease_s)
            out[self.carrying(group[0])] += share
        return out

    def _weight(self) -> Array:
        """Return +1 with the weight on the left leg, -1 on the right, 0 on both."""
        share = self.set_share(0.1 if self.tested_is_free else 0.45, 0.6)
        return share["left"] - share["right"]

    def each(self, rng: Generator, usual: float, spread: float, **by_fault: float) -> Array:
        """Return a number per frame: each repetition's own, or that of its planted fault."""
        values = spread_values(self.reps, rng, usual, spread, **by_fault)
        return per_rep(self.time_s, self.reps, values)

    def by_side(self, rng: Generator, left: float, right: float, spread: float) -> Array:
        """Return a number per frame that differs between the sides of the repetitions."""
        values = [
            (left if rep.side == "left" else right) + rng.uniform(-spread, spread)
            for rep in self.reps
        ]
        return per_rep(self.time_s, self.reps, values)

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        ankles = {side: self.feet[side].ankle(measured, side) for side in SIDES}
        mid_x = self.sway["x"] + self.weight * self.narrow_m
        knees = {side: self._knee(measured, side, ankles[side], mid_x) for side in SIDES}
        mid_hip = self._mid_hip(measured, ankles, knees, mid_x)
        trunk = self.trunk + self.sway["trunk"]
        pelvis = turn("y", -self.weight * self.drop) @ turn("x", 0.85 * trunk - 1)
        return Targets(
            pelvis=pelvis,
            chest=turn("y", 0.6 * self.weight * (1 + 0.15 * self.drop)) @ turn("x", trunk),
            head=turn("x", 0.35 * trunk),
            legs={
                side: self._leg(measured, side, mid_hip, ankles[side], knees[side])
                for side in SIDES
            },
            arms={side: self.arm(measured, side, mid_hip, pelvis) for side in SIDES},
            feet={side: self._foot(side) for side in SIDES},
            mid_hip=mid_hip,
        )

    def arm(self, measured: Measured, side: str, mid_hip: Array, pelvis: Array) -> Limb:
        """Hold on with the hand of the standing leg, out of the picture of the free one."""
        hold = np.clip(SIGN[side] * self.weight, 0, 1)
        hanging = hanging_arm(side, 12 + self.sway[side])
        upper, lower = sagittal(4 + 40 * hold), sagittal(10 + 70 * hold)
        upper[:, 0] = SIGN[side] * 0.2
        lower[:, 0] = SIGN[side] * 0.12
        share = hold[:, None]
        return Limb(
            upper=unit(hanging.upper * (1 - share) + unit(upper) * share),
            lower=unit(hanging.lower * (1 - share) + unit(lower) * share),
            hinge=hanging.hinge,
        )

    def _knee(self, measured: Measured, side: str, ankle: Array, mid_x: Array) -> Array:
        """Put a knee at the wanted lean of the shank, on the line from hip to foot or inside it."""
        thigh, shank = (
            measured.length(side, "hip", "knee"),
            measured.length(side, "knee", "ankle"),
        )
        lean = np.radians(STANDING_SHANK + (self.shank - STANDING_SHANK) * self.depth)
        back = np.radians(STANDING_THIGH + (90 - self.thigh - STANDING_THIGH) * self.depth)
        below, above = shank * np.cos(lean), thigh * np.cos(back)
        hip_x = mid_x + measured.from_hip_centre(f"{side}_hip")[:, 0]
        on_line = ankle[:, 0] + (hip_x - ankle[:, 0]) * below / (below + above)
        carries = np.clip(SIGN[side] * self.weight, 0, 1)
        angle = np.radians(self.valgus) * carries * ease(1.5 * self.depth)
        # Small angles at both ends of a shallow triangle add up to the angle at its top.
        inward = np.tan(angle / 2) * 2 / (1 / below + 1 / above)
        across = on_line - SIGN[side] * inward - ankle[:, 0]
        flat = np.sqrt(shank**2 - across**2)
        return ankle + np.stack([across, -flat * np.sin(lean), flat * np.cos(lean)], axis=-1)

    def _mid_hip(
        self, measured: Measured, ankles: dict[str, Array], knees: dict[str, Array], mid_x: Array
    ) -> Array:
        """Place the hips over the carrying leg, or between both."""
        mid = np.zeros((self.frames, 3))
        back = np.radians(STANDING_THIGH + (90 - self.thigh - STANDING_THIGH) * self.depth)
        for side in SIDES:
            offset = measured.from_hip_centre(f"{side}_hip")
            thigh = measured.length(side, "hip", "knee")
            across = knees[side][:, 0] - mid_x - offset[:, 0]
            flat = np.sqrt(thigh**2 - across**2)
            centre = knees[side] - offset
            centre[:, 1] += flat * np.sin(back)
            centre[:, 2] += flat * np.cos(back)
            mid += 0.5 * (1 + SIGN[side] * self.weight)[:, None] * centre
        mid[:, 0] = mid_x
        heights = hip_heights(measured, mid_hip=mid, ankles=ankles, knee_flexion_deg=2.5)
        for side, height in zip(SIDES, heights, strict=True):
            # A leg that is off the floor does not hold the hips down.
            mid[:, 2] = np.minimum(mid[:, 2], height + 0.6 * self.free[side])
        return mid

    def _leg(
        self, measured: Measured, side: str, mid_hip: Array, ankle: Array, knee: Array
    ) -> Limb:
        hip = mid_hip + measured.from_hip_centre(f"{side}_hip")
        pole = knee - 0.5 * (hip + ankle) + np.array([0, -0.02, 0])
        down = plant_leg(measured, side, mid_hip=mid_hip, ankle=ankle, pole=pole)
        thigh, knee_deg = self.free_thigh[side], self.free_knee[side]
        upper, lower = sagittal(thigh), sagittal(thigh - knee_deg)
        upper[:, 0] = SIGN[side] * 0.05 * np.cos(np.radians(np.clip(thigh, 0, 90)))
        w = self.free[side][:, None]
        left = np.array([1.0, 0.0, 0.0])
        return Limb(
            upper=unit(unit(down.upper) * (1 - w) + unit(upper) * w),
            lower=unit(unit(down.lower) * (1 - w) + unit(lower) * w),
            hinge=unit(unit(down.hinge) * (1 - w) + left * w),
        )

    def _foot(self, side: str) -> Array:
        w = self.free[side]
        shank = self.free_thigh[side] - self.free_knee[side]
        # Near the floor the foot stays level, or its toes would go through.
        follow = ease(np.abs(shank) / 55.0)
        return self.feet[side].rotation @ turn("x", (12.0 - shank) * w * follow)


class SingleLegSquat(OneLeg):
    """Squat on one leg, hands on the hips, the other foot held behind."""

    tested_is_free = False

    def prepare(self, rng: Generator) -> None:
        """Bend the carrying leg; the other one is lifted for the whole set of that side."""
        self.depth = self.any_done
        self.thigh = self.each(rng, 52.0, 1.5)
        self.shank = self.each(rng, 27.0, 1.0)
        self.valgus = self.each(rng, 1.0, 1.0, knee_in=18.0)
        self.drop = self.each(rng, -3.5, 0.5, hip_drop=8.0) * self.depth
        self.trunk = 1.5 + (self.each(rng, 22.0, 1.5) - 1.5) * self.depth
        lifted = self.set_share(0.05, 0.6)
        self.free = {side: lifted[OTHER[side]] for side in SIDES}
        self.free_thigh = {side: 6 + 10 * self.depth for side in SIDES}
        self.free_knee = {side: 78 + 8 * self.depth for side in SIDES}
        first, last = self.reps[0].start_s, self.reps[-1].end_s
        self.ready = between(self.time_s, first - 0.4, last + 0.4, rise_s=0.8, fall_s=0.8)

    def arm(self, measured: Measured, side: str, mid_hip: Array, pelvis: Array) -> Limb:
        """Keep the hands on the hips."""
        return hands_on_hips(measured, side, mid_hip=mid_hip, pelvis=pelvis, share=self.ready)


class FreeLegTest(OneLeg):
    """A test of the free leg: it leaves the floor and comes back in every trial."""

    thigh_deg = (0.0, 0.0)
    knee_deg = (0.0, 0.0)

    def prepare(self, rng: Generator) -> None:
        """Take the free leg from hanging to the end of its range, left and right apart."""
        # The hip of the free leg is hitched a little, or that knee could not be straight.
        self.drop = np.full(self.frames, -1.75)
        thigh = self.by_side(rng, *self.thigh_deg, 1.0)
        knee = self.by_side(rng, *self.knee_deg, 1.5)
        for side in SIDES:
            s = self.done[side]
            self.free = self.free | {side: ease(4 * s)}
            self.free_thigh = self.free_thigh | {side: thigh * s}
            self.free_knee = self.free_knee | {side: knee * s}


class KneeFlexion(FreeLegTest):
    """Heel to the seat, the thigh staying vertical."""

    thigh_deg = (0.0, 0.0)
    knee_deg = (125.0, 105.0)


class HipFlexion(FreeLegTest):
    """Knee raise with a bent knee, the trunk staying upright."""

    thigh_deg = (113.5, 92.5)
    knee_deg = (118.0, 104.0)
