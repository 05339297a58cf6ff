"""Lunges: walking with one arm overhead, and to the side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from bodies import SIDES, Array, Body
from pose import SIGN, Limb, Measured, Targets, turn, unit
from stance import PlantedFoot, arm_hinge, flexed_arm, hip_heights, leg_reach, plant_leg, sagittal
from tempo import Rep, bump, ease, per_rep, progress, sway
from upright import between, hanging_arm, offset_to, reach_arm, shoulder_at, spread_values

if TYPE_CHECKING:
    from numpy.random import Generator

# Toes bent far back need this much room under the ball of the foot.
TOES_M = 0.022
# When the leading foot is set down, as a share of the way to the bottom. Early, the long leg pulls
# the hips down behind it, which a short drop must not do: it would pass its bottom on the way in.
SET_DOWN, SET_DOWN_SHORT = 0.52, 0.9


def window(time_s: Array, begin_s: float, end_s: float) -> Array:
    """Return how far a move has got that lasts from one time to another, 0 to 1, not eased."""
    return np.clip((time_s - begin_s) / (end_s - begin_s), 0, 1)


def roll_ratio(body: Body, side: str, pitch_deg: Array) -> Array:
    """Return the heel lift, in foot lengths, of a foot rolled onto its ball by an angle."""
    heel, toe = body.rest[f"{side}_heel"], body.rest[f"{side}_big_toe"]
    letter = "L" if side == "left" else "R"
    ball = 0.5 * (body.rest_bones[f"toe1-1.{letter}"] + body.rest_bones[f"toe5-1.{letter}"])
    ball = np.array([ball[0], ball[1], body.rest_sole_z + 0.01])
    lever = np.hypot(*(heel - ball)[1:])
    base = np.arcsin((heel - ball)[2] / lever)
    lift = lever * (np.sin(np.radians(pitch_deg) + base) - np.sin(base))
    return lift / np.linalg.norm(toe - heel)


def soft_min(values: list[Array], width: float) -> Array:
    """Return the smallest of several series, rounded where they cross."""
    low = np.min(values, axis=0)
    return low - width * np.log(sum(np.exp(-(v - low) / width) for v in values))


class OverheadLunge:
    """Walking lunges, one arm straight up; the feet come together after every lunge."""

    arm_side = "left"

    def __init__(self, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> None:
        self.body, self.time_s, self.reps, self.frames = body, time_s, reps, len(time_s)
        leg_m = body.rest["left_hip"][2] - body.rest["left_ankle"][2]
        self.step_m = 1.0 * leg_m
        self.start_m = 0.5 * self.step_m * len(reps)
        self.thigh = self._each(rng, 1.0, 1.5, short_drop=28.0)
        self.shank = self._each(rng, 9.0, 1.5, short_drop=5.0)
        self.lean = self._each(rng, 3.0, 1.0, trunk_lean=30.0)
        self.arm_off = self._each(rng, 3.0, 1.5, arm_forward=31.0)
        self.roll = self._each(rng, 66.0, 1.0, short_drop=50.0)
        first, last = reps[0].start_s, reps[-1].end_s
        self.raised = between(time_s, first - 0.15, last + 0.15, rise_s=1.0, fall_s=1.0)
        self.down = np.max([self._down(rep) for rep in reps], axis=0)
        self.front = per_rep(time_s, reps, [SIGN[rep.side] for rep in reps])
        self.sway = {
            name: sway(time_s, rng, size=size)
            for name, size in (("x", 0.005), ("trunk", 0.7), ("left", 1.2), ("right", 1.2))
        }
        self.feet = {side: self._foot(side) for side in SIDES}

    def _each(self, rng: Generator, usual: float, spread: float, **by_fault: float) -> Array:
        values = spread_values(self.reps, rng, usual, spread, **by_fault)
        return per_rep(self.time_s, self.reps, values)

    def _down(self, rep: Rep) -> Array:
        top, leave = rep.turn_s - rep.hold_s / 2, rep.turn_s + rep.hold_s / 2
        span, back = top - rep.start_s, rep.end_s - leave
        falling = ease(window(self.time_s, rep.start_s + 0.25 * span, top))
        return np.minimum(falling, 1 - ease(window(self.time_s, leave, rep.end_s - 0.12 * back)))

    def _foot(self, side: str) -> PlantedFoot:
        """Walk one foot: it leads in its own lunges and follows in the others."""
        ahead, raise_m, pitch = (np.zeros(self.frames) for _ in range(3))
        for rep in self.reps:
            top, leave = rep.turn_s - rep.hold_s / 2, rep.turn_s + rep.hold_s / 2
            span, back = top - rep.start_s, rep.end_s - leave
            if rep.side == side:
                share = SET_DOWN_SHORT if "short_drop" in rep.planted else SET_DOWN
                x = window(self.time_s, rep.start_s, rep.start_s + share * span)
                raise_m += 0.07 * bump(x)
                pitch -= 10.0 * bump(x)
            else:
                x = window(self.time_s, leave + 0.34 * back, rep.end_s - 0.02 * back)
                raise_m += 0.07 * bump(x)
                rolling = ease(window(self.time_s, rep.start_s + 0.12 * span, top))
                rolled = rolling - ease(x / 0.8)
                pitch += self.roll * rolled
                raise_m += TOES_M * rolled
            ahead += self.step_m * ease(x)
        foot = PlantedFoot(
            self.body,
            side,
            x_m=0.085,
            toe_out_deg=3.0,
            frames=self.frames,
            heel_lift_ratio=roll_ratio(self.body, side, pitch),
            raise_m=raise_m,
        )
        foot.sole = foot.sole + np.stack([0 * ahead, self.start_m - ahead, 0 * ahead], axis=-1)
        return foot

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        ankles = {side: self.feet[side].ankle(measured, side) for side in SIDES}
        mid_hip = self._mid_hip(measured, ankles)
        trunk = 1.5 + (self.lean - 1.5) * self.down + self.sway["trunk"]
        return Targets(
            pelvis=turn("x", 0.85 * trunk) @ turn("z", 4.0 * self.front * self.down),
            chest=turn("x", trunk),
            head=turn("x", 0.35 * trunk),
            legs={
                side: plant_leg(
                    measured, side, mid_hip=mid_hip, ankle=ankles[side], pole=self.feet[side].pole
                )
                for side in SIDES
            },
            arms={side: self._arm(side) for side in SIDES},
            shoulder_lift_deg={self.arm_side: 20 * ease(2 * self.raised - 1)},
            feet={side: self.feet[side].rotation for side in SIDES},
            toe_bend_deg={
                side: 0.85 * np.clip(self.feet[side].toe_bend_deg, 0, None) for side in SIDES
            },
            mid_hip=mid_hip,
        )

    def _mid_hip(self, measured: Measured, ankles: dict[str, Array]) -> Array:
        """Carry the hips from foot to foot; at the bottom the front leg says where they are."""
        standing = self.start_m + np.zeros(self.frames)
        share = np.zeros(self.frames)
        for rep in self.reps:
            top, leave = rep.turn_s - rep.hold_s / 2, rep.turn_s + rep.hold_s / 2
            go = ease(window(self.time_s, rep.start_s, top))
            on = ease(window(self.time_s, leave, rep.end_s))
            standing -= self.step_m * on
            share += go - on
        thigh, shank = (
            measured.length("left", "hip", "knee"),
            measured.length("left", "knee", "ankle"),
        )
        t, s = np.radians(self.thigh), np.radians(self.shank)
        floor = np.minimum(ankles["left"][:, 2], ankles["right"][:, 2])
        behind = thigh * np.cos(t) - shank * np.sin(s)
        low = floor + shank * np.cos(s) + thigh * np.sin(t)
        mid = np.stack([self.sway["x"], standing, np.zeros(self.frames)], axis=-1)
        mid[:, 1] += (behind - self.step_m) * share
        heights = hip_heights(measured, mid_hip=mid, ankles=ankles, knee_flexion_deg=2.5)
        high = floor + thigh + shank + 0.01
        mid[:, 2] = soft_min([high + (low - high) * self.down, *heights], 0.0012)
        return mid

    def _arm(self, side: str) -> Limb:
        if side != self.arm_side:
            return hanging_arm(side, 11 + self.sway[side])
        off = 3.0 + (self.arm_off - 3.0) * self.down + 0.5 * self.sway[side]
        upper = sagittal((180 - off) * self.raised)
        upper[:, 0] = SIGN[side] * (0.15 - 0.13 * self.raised)
        upper = unit(upper)
        hinge = arm_hinge(upper, side, 10 + 60 * self.raised)
        return flexed_arm(upper, hinge, 9 - 6 * self.raised)


class SideLunge:
    """A wide step to one side; that knee bends, the other leg stays straight."""

    def __init__(self, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> None:
        self.body, self.time_s, self.reps, self.frames = body, time_s, reps, len(time_s)
        leg_m = body.rest["left_hip"][2] - body.rest["left_ankle"][2]
        self.narrow_m = 0.9 * body.rest["left_hip"][0]
        self.step_m = 1.02 * leg_m
        self.side = per_rep(time_s, reps, [SIGN[rep.side] for rep in reps])
        self.bend = self._each(rng, 85.0, 2.0)
        self.trail = self._each(rng, 4.0, 1.0, bent_trail_knee=40.0)
        self.lean = self._each(rng, 30.0, 1.5)
        self.tilt = self._each(rng, 3.0, 0.5, trunk_side=30.0)
        first, last = reps[0].start_s, reps[-1].end_s
        self.ready = between(time_s, first - 0.1, last + 0.1, rise_s=0.8, fall_s=0.8)
        self.down = np.max([progress(time_s, rep) for rep in reps], axis=0)
        self.sway = {
            name: sway(time_s, rng, size=size)
            for name, size in (("x", 0.004), ("trunk", 0.6), ("left", 1.2), ("right", 1.2))
        }
        self.feet = {side: self._foot(side) for side in SIDES}

    def _each(self, rng: Generator, usual: float, spread: float, **by_fault: float) -> Array:
        values = spread_values(self.reps, rng, usual, spread, **by_fault)
        return per_rep(self.time_s, self.reps, values)

    def _foot(self, side: str) -> PlantedFoot:
        out, raise_m = np.zeros(self.frames), np.zeros(self.frames)
        for rep in self.reps:
            if rep.side != side:
                continue
            top, leave = rep.turn_s - rep.hold_s / 2, rep.turn_s + rep.hold_s / 2
            away = window(self.time_s, rep.start_s, rep.start_s + 0.6 * (top - rep.start_s))
            home = window(self.time_s, rep.end_s - 0.62 * (rep.end_s - leave), rep.end_s)
            out += ease(away) - ease(home)
            raise_m += 0.06 * (bump(away) + bump(home))
        return PlantedFoot(
            self.body,
            side,
            x_m=self.narrow_m + self.step_m * out,
            toe_out_deg=8.0 + 6.0 * out,
            frames=self.frames,
            raise_m=raise_m,
        )

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        ankles = {side: self.feet[side].ankle(measured, side) for side in SIDES}
        mid_hip = self._mid_hip(measured, ankles)
        trunk = 1.5 + (self.lean - 1.5) * self.down + self.sway["trunk"]
        chest = turn("y", -self.tilt * self.side * self.down) @ turn("x", trunk)
        return Targets(
            pelvis=turn("x", 0.85 * trunk),
            chest=chest,
            head=turn("x", 0.3 * trunk),
            legs={
                side: plant_leg(
                    measured, side, mid_hip=mid_hip, ankle=ankles[side], pole=self.feet[side].pole
                )
                for side in SIDES
            },
            arms={side: self._arm(measured, side, mid_hip, chest) for side in SIDES},
            feet={side: self.feet[side].rotation for side in SIDES},
            mid_hip=mid_hip,
        )

    def _mid_hip(self, measured: Measured, ankles: dict[str, Array]) -> Array:
        """Find the place of the hips that bends the lead and the trail knee as wanted."""
        leg_m = measured.length("left", "hip", "ankle")
        mid = np.stack([self.sway["x"], 0.02 + 0.2 * leg_m * self.down, 0 * self.down], axis=-1)
        flexion = {}
        for side in SIDES:
            wanted = np.where(self.side == SIGN[side], self.bend, self.trail)
            flexion[side] = 3.0 + (wanted - 3.0) * self.down
        for _ in range(25):
            heights = {}
            for side in SIDES:
                offset = measured.from_hip_centre(f"{side}_hip")
                flat = (mid + offset - ankles[side])[:, :2]
                room = leg_reach(measured, side, flexion[side]) ** 2 - np.sum(flat**2, axis=1)
                heights[side] = ankles[side][:, 2] + np.sqrt(np.maximum(room, 1e-3)) - offset[:, 2]
            mid[:, 0] += np.clip(0.5 * (heights["right"] - heights["left"]), -0.1, 0.1)
        mid[:, 2] = np.minimum(heights["left"], heights["right"])
        return mid

    def _arm(self, measured: Measured, side: str, mid_hip: Array, chest: Array) -> Limb:
        """Fold the hands before the chest."""
        shoulder = shoulder_at(measured, side, mid_hip)
        middle = 0.5 * sum(shoulder_at(measured, s, mid_hip) for s in SIDES)
        arm_m = measured.length(side, "shoulder", "elbow") + measured.length(side, "elbow", "wrist")
        folded = middle + (chest @ offset_to(side, 0.055, 0.27, -0.16)[..., None])[..., 0]
        hanging = shoulder + offset_to(side, 0.17 * arm_m, 0.06, -0.975 * arm_m)
        s = self.ready[:, None]
        ahead = offset_to(side, 0.0, 0.08 * bump(self.ready), 0.0)
        return reach_arm(
            measured,
            side,
            mid_hip=mid_hip,
            wrist=hanging * (1 - s) + folded * s + ahead,
            pole=offset_to(
                side, 0.35 + 0.5 * self.ready, -0.8 + 0.6 * self.ready, -0.4 * self.ready
            ),
        )
