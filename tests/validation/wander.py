"""Smooth wandering through random poses: squats, lunges, folds, turns, reaches, a lifted foot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from bodies import SIDES, SUFFIX, Array, Body
from pose import FORWARD, SIGN, Limb, Measured, Targets, bend_limb, turn, unit
from scipy.spatial.transform import Rotation
from stance import arm_hinge, flexed_arm, hip_heights, plant_leg
from tempo import bump, ease, even_times, sway

if TYPE_CHECKING:
    from numpy.random import Generator

SHORTEST_S, LONGEST_S = 2.5, 4.0
# Further forward a shank does not lean over a flat foot; the heel comes up instead.
FLAT_LEAN_DEG, MOST_ROLL_DEG = 30.0, 62.0
STEP_SHARE, LIFT_SHARE, HOLD_SHARE = 0.3, 0.25, 0.4
STEP_RAISE_M = 0.09
STRAIGHTEST_KNEE_DEG = 3.0
KNEE_OVER_FLOOR_M = 0.085
# Height of the hips at their lowest, as a share of standing.
DEEPEST = 0.45
# Room for the hand below the wrist, and for the toes under a foot that is rolled up.
HAND_M, WRIST_M, TOES_M = 0.21, 0.07, 0.025
OTHER = {"left": "right", "right": "left"}

Key = dict[str, float]


@dataclass(frozen=True)
class Sizes:
    """What of a body decides where its feet and hips can be, metres."""

    thigh: float
    shank: float
    hip_x: float
    hip_z: float
    shoulder_x: float

    @classmethod
    def of(cls, body: Body) -> Sizes:
        """Measure a body in its rest pose."""
        hip, knee, ankle = (body.rest[f"left_{name}"] for name in ("hip", "knee", "ankle"))
        return cls(
            thigh=float(np.linalg.norm(hip - knee)),
            shank=float(np.linalg.norm(knee - ankle)),
            hip_x=float(hip[0]),
            hip_z=float(hip[2] - body.rest_sole_z),
            shoulder_x=float(body.rest["left_shoulder"][0]),
        )


def _draw_times(rng: Generator) -> tuple[Array, Array]:
    """Draw when each pose is reached and left, seconds."""
    while True:
        poses = int(rng.integers(3, 6))
        moves = rng.uniform(0.5, 1.2, poses - 1)
        holds = np.where(rng.uniform(size=poses) < HOLD_SHARE, rng.uniform(0.1, 0.35, poses), 0.0)
        reach = np.concatenate([[0.0], np.cumsum(holds[:-1] + moves)])
        if SHORTEST_S <= reach[-1] + holds[-1] <= LONGEST_S:
            return reach, reach + holds


def _draw_arm(rng: Generator, flex: float, low: float) -> Key:
    """Draw where an arm points, seen from the chest, and how it is bent; degrees.

    ``raised`` is 0 hanging along the trunk and 180 overhead; ``out`` is the side it is raised
    to: 0 forward, 90 sideways. A negative ``raised`` is behind the body.
    """
    kind = rng.choice(["hang", "forward", "side", "overhead", "any", "behind"])
    if kind == "behind" and (flex > 40 or low > 0.4):
        kind = "forward"
    if kind == "hang":
        # From a folded trunk arms hang to the floor, not along it; past the thighs of a squat.
        raised, out = max(flex, 0.0) + rng.uniform(-12, 12) + 35 * low, rng.uniform(0, 30)
    elif kind == "forward":
        raised, out = rng.uniform(45, 110), rng.uniform(-15, 30)
    elif kind == "side":
        raised, out = rng.uniform(35, 120), rng.uniform(60, 100)
    elif kind == "overhead":
        raised, out = rng.uniform(130, 172), rng.uniform(10, 90)
    elif kind == "behind":
        raised, out = rng.uniform(-40, -8), rng.uniform(-5, 25)
    else:
        raised, out = rng.uniform(20, 160), rng.uniform(-10, 95)
    bend = rng.uniform(3, 30) if rng.uniform() < 0.5 else rng.uniform(20, 140)
    if kind == "behind":
        bend = min(bend, 80.0)
    inward = rng.uniform(-30, 15 + 50 * np.clip(raised / 70, 0, 1))
    return {"raised": float(raised), "out": float(out), "bend": float(bend), "inward": inward}


def _draw_trunk(rng: Generator) -> Key:
    flex = rng.choice([rng.uniform(-15, 20), rng.uniform(0, 60), rng.uniform(40, 95)])
    # Nobody folds, leans and turns to the limit at once.
    room = np.sqrt(1 - 0.5 * (max(flex, 0) / 95) ** 2)
    strong = rng.uniform() < 0.5
    yaw = rng.uniform(-40, 40) if rng.uniform() < 0.4 else rng.uniform(-12, 12)
    return {
        "flex": float(flex),
        "lateral": room * rng.uniform(-30, 30) * (1.0 if strong else 0.3),
        "rotation": room * rng.uniform(-50, 50) * (0.4 if strong else 1.0),
        "yaw": yaw,
        "share": rng.uniform(0.6, 0.85) if flex > 0 else 0.3,
        "look": rng.uniform(-30, 30),
        "nod": rng.uniform(-15, 15),
    }


def _draw_stance(rng: Generator, sizes: Sizes) -> dict[str, tuple[float, float]]:
    """Draw where both feet stand: parallel, apart, or one before the other."""
    half = rng.uniform(0.75 * sizes.hip_x, 0.42 * sizes.hip_z)
    split = 0.0
    if rng.uniform() < 0.45:
        split = rng.uniform(0.1, 0.42) * sizes.hip_z * rng.choice([-1, 1])
        half = min(half, 0.24 * sizes.hip_z)
    return {
        side: (SIGN[side] * half + rng.uniform(-0.02, 0.02), SIGN[side] * split) for side in SIDES
    }


def _draw_low(rng: Generator) -> float:
    """Draw how deep the pelvis is: 0 standing, 1 as deep as it goes."""
    return float(rng.uniform(0, 0.06) if rng.uniform() < 0.35 else rng.uniform(0.05, 1.0))


def _set_hips(key: Key, rng: Generator, sizes: Sizes) -> None:
    """Put the pelvis over the feet, as deep as drawn, back where the trunk folds."""
    split = abs(key["left_y"] - key["right_y"]) / sizes.hip_z
    apart = abs(key["left_x"] - key["right_x"]) / sizes.hip_z
    key["hip_z"] = sizes.hip_z * (1 - (1 - DEEPEST) * key["low"])
    lean = np.radians(rng.uniform(16, 32)) * np.clip(key["low"] * 1.5, 0, 1)
    ankle_m = sizes.hip_z - sizes.thigh - sizes.shank
    up = np.clip(key["hip_z"] - ankle_m - sizes.shank * np.cos(lean), 0, sizes.thigh)
    back = np.sqrt(sizes.thigh**2 - up**2) * np.clip(key["low"] * 2, 0, 1)
    back = (back - sizes.shank * np.sin(lean)) * np.clip(1 - 2 * split, 0, 1)
    # Knees that go apart leave less of the thigh to reach back.
    back *= np.clip(1.15 - 0.5 * apart, 0.5, 1)
    back += 0.13 * sizes.hip_z * np.sin(np.radians(max(key["flex"], 0))) * (1 - 0.6 * key["low"])
    weight = rng.uniform(0.3, 0.7)
    for axis in ("x", "y"):
        key[f"hip_{axis}"] = weight * key[f"left_{axis}"] + (1 - weight) * key[f"right_{axis}"]
    key["hip_y"] += back
    if split > 0.2:
        # Between two feet one before the other the hips stay upright over the middle.
        key["hip_y"] -= 0.05 * sizes.hip_z * key["low"]


def _lift_foot(key: Key, side: str, rng: Generator, sizes: Sizes) -> None:
    """Take a foot off the floor; the hips go over the other."""
    key["low"] = float(rng.uniform(0, 0.25))
    other = OTHER[side]
    key["hip_z"] = sizes.hip_z * (1 - 0.5 * key["low"])
    key["hip_x"] = 0.8 * key[f"{other}_x"]
    key["hip_y"] = key[f"{other}_y"] + 0.05 + 0.1 * np.sin(np.radians(max(key["flex"], 0)))
    thigh, out = np.radians([rng.uniform(-20, 95), rng.uniform(0, 28)])
    shank = thigh - np.radians(rng.uniform(10, 115))
    reach = sizes.thigh * np.array([np.sin(thigh), np.cos(thigh)])
    reach += sizes.shank * np.array([np.sin(shank), np.cos(shank)])
    ankle_m = sizes.hip_z - sizes.thigh - sizes.shank
    key[f"{side}_x"] = key["hip_x"] + SIGN[side] * (sizes.hip_x + reach[1] * np.sin(out))
    key[f"{side}_y"] = key["hip_y"] - reach[0]
    key[f"{side}_z"] = max(key["hip_z"] - reach[1] * np.cos(out) - ankle_m, 0.05)
    key[f"{side}_air"] = 1.0


def _draw_keys(rng: Generator, sizes: Sizes, poses: int) -> list[Key]:
    """Draw the poses one after the other; feet that are not moved stay where they are."""
    stance = _draw_stance(rng, sizes)
    keys = []
    lifted = False
    for _ in range(poses):
        if rng.uniform() < STEP_SHARE and not lifted:
            side = str(rng.choice(SIDES))
            x, y = stance[side]
            x = SIGN[side] * max(SIGN[side] * x + rng.uniform(-0.08, 0.1), 0.75 * sizes.hip_x)
            stance = stance | {side: (x, y + rng.uniform(-0.14, 0.14))}
        key = _draw_trunk(rng) | {"low": _draw_low(rng)}
        for side in SIDES:
            key[f"{side}_x"], key[f"{side}_y"] = stance[side]
            key[f"{side}_z"] = key[f"{side}_air"] = 0.0
        lifted = not lifted and rng.uniform() < LIFT_SHARE
        if lifted:
            key["flex"] = min(key["flex"], 50.0)
            _lift_foot(key, str(rng.choice(SIDES)), rng, sizes)
        else:
            _set_hips(key, rng, sizes)
        for side in SIDES:
            arm = _draw_arm(rng, key["flex"], key["low"])
            key |= {f"{side}_{name}": value for name, value in arm.items()}
        keys.append(key)
    return keys


class Wander:
    """Random poses joined by smooth moves."""

    def __init__(self, body: Body, rng: Generator, rate_hz: float) -> None:
        self.body = body
        reach, leave = _draw_times(rng)
        self.time_s = even_times(leave[-1], rate_hz)
        self.frames = len(self.time_s)
        self.moved = [
            (self.time_s - leave[i]) / (reach[i + 1] - leave[i]) for i in range(len(reach) - 1)
        ]
        keys = _draw_keys(rng, Sizes.of(body), len(reach))
        self.v = {name: self._blend([key[name] for key in keys]) for name in keys[0]}
        for side in SIDES:
            self._raise_steps(side, keys)
        self.toe_out = {side: rng.uniform(0, 32) for side in SIDES}
        self.sway = {name: sway(self.time_s, rng, size=0.8) for name in ("trunk", *SIDES)}

    def _blend(self, values: list[float]) -> Array:
        out = np.full(self.frames, values[0], dtype=float)
        for moved, before, after in zip(self.moved, values[:-1], values[1:], strict=True):
            out += (after - before) * ease(moved)
        return out

    def _raise_steps(self, side: str, keys: list[Key]) -> None:
        """Lift a foot that goes from one place on the floor to another."""
        for moved, before, after in zip(self.moved, keys[:-1], keys[1:], strict=True):
            goes = any(before[f"{side}_{axis}"] != after[f"{side}_{axis}"] for axis in ("x", "y"))
            if goes:
                grounded = 1 - max(before[f"{side}_air"], after[f"{side}_air"])
                self.v[f"{side}_z"] += STEP_RAISE_M * (0.35 + 0.65 * grounded) * bump(moved)
                self.v[f"{side}_air"] += 0.8 * grounded * bump(moved)

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        pelvis, chest, head = self._trunk()
        feet, ankles, bends = {}, {}, {}
        for side in SIDES:
            feet[side], ankles[side], bends[side] = self._foot(measured, side)
        mid_hip = self._mid_hip(measured, ankles)
        legs = {
            side: plant_leg(
                measured, side, mid_hip=mid_hip, ankle=ankles[side], pole=self._ahead(side)
            )
            for side in SIDES
        }
        return Targets(
            pelvis=pelvis,
            chest=chest,
            head=head,
            legs=legs,
            arms={side: self._arm(measured, side, chest, mid_hip) for side in SIDES},
            feet=feet,
            toe_bend_deg=bends,
            shoulder_lift_deg={
                side: 24 * ease((np.abs(self.v[f"{side}_raised"]) - 50) / 120) for side in SIDES
            },
            mid_hip=mid_hip,
        )

    def _trunk(self) -> tuple[Array, Array, Array]:
        v = self.v
        flex = v["flex"] + self.sway["trunk"]
        yaw = turn("z", v["yaw"])

        def part(bend: Array | float, lean: float, twist: Array | float) -> Array:
            return yaw @ turn("x", bend * flex) @ turn("y", lean * v["lateral"]) @ turn("z", twist)

        head = part(0.55, 0.6, 0.5 * v["rotation"] + v["look"]) @ turn("x", v["nod"])
        return part(v["share"], 0.35, 0.25 * v["rotation"]), part(1.0, 1.0, v["rotation"]), head

    def _yaw(self, side: str) -> Array:
        return turn("z", SIGN[side] * self.toe_out[side], self.frames)

    def _ahead(self, side: str) -> Array:
        """Return where the foot points; the knee bends over it."""
        ahead: Array = self._yaw(side) @ FORWARD
        return ahead

    def _foot(self, measured: Measured, side: str) -> tuple[Array, Array, Array]:
        """Return the turn of a foot, its ankle and how its toes bend.

        The heel rises where the shank leans too far; in the air the foot follows the shank.
        """
        air = np.clip(self.v[f"{side}_air"], 0, 1)
        shank = measured.points[f"{side}_knee"] - measured.points[f"{side}_ankle"]
        lean = np.degrees(np.arctan2(np.sum(shank * self._ahead(side), axis=1), shank[:, 2]))
        rolled = 0.9 * np.clip(lean - FLAT_LEAN_DEG, 0, MOST_ROLL_DEG / 0.9)
        pitch = (1 - air) * rolled + air * np.clip(lean + 12, -25, 100)
        rest, letter = self.body.rest, SUFFIX[side]
        ends = [self.body.rest_bones[f"toe{i}-1.{letter}"] for i in (1, 5)]
        ball = np.mean(ends, axis=0)
        ball[2] = self.body.rest_sole_z + 0.01
        sole = 0.5 * (rest[f"{side}_heel"] + rest[f"{side}_big_toe"])
        flat = self._yaw(side)
        rotation = flat @ turn("x", pitch)
        spot = np.stack([self.v[f"{side}_{axis}"] for axis in "xyz"], axis=-1)
        spot[:, 2] += sole[2] - self.body.rest_sole_z + TOES_M * np.sin(np.radians(rolled))
        # On the floor the ball of the foot stays where it is, in the air the ankle does.
        lever = (1 - air)[:, None] * ((rotation - flat) @ (sole - ball))
        ankle = spot + lever + measured.ankle_over_sole(side)
        straight = flat @ (rest[f"{side}_ankle"] - sole)
        ankle = ankle + air[:, None] * (straight - measured.ankle_over_sole(side))
        return rotation, ankle, (1 - air) * rolled

    def _mid_hip(self, measured: Measured, ankles: dict[str, Array]) -> Array:
        mid = np.stack([self.v[f"hip_{axis}"] for axis in "xyz"], axis=-1)
        heights = hip_heights(
            measured, mid_hip=mid, ankles=ankles, knee_flexion_deg=STRAIGHTEST_KNEE_DEG
        )
        for side, height in zip(SIDES, heights, strict=True):
            room = height + 0.5 * np.clip(self.v[f"{side}_air"], 0, 1) - mid[:, 2]
            # A rounded limit: the pelvis slows down before the legs are straight.
            mid[:, 2] += 0.5 * (room - np.hypot(room, 0.01))
        lowest = np.minimum(*(measured.points[f"{side}_knee"][:, 2] for side in SIDES))
        mid[:, 2] += np.clip(KNEE_OVER_FLOOR_M - lowest, 0, 0.2)
        return mid

    def _arm(self, measured: Measured, side: str, chest: Array, mid_hip: Array) -> Limb:
        v, sign = self.v, SIGN[side]
        raised, out = np.radians([v[f"{side}_raised"] + self.sway[side], v[f"{side}_out"]])
        own = np.stack(
            [sign * np.sin(raised) * np.sin(out), -np.sin(raised) * np.cos(out), -np.cos(raised)],
            axis=-1,
        )
        # An arm hangs beside the body, not in it.
        own[:, 0] += sign * 0.17 * np.cos(raised).clip(0, 1)
        own = unit(own)
        away = np.degrees(np.arctan2(sign * own[:, 0], np.hypot(own[:, 1], own[:, 2])))
        hinge = arm_hinge(own, side, away)
        inward = np.radians(sign * v[f"{side}_inward"])[:, None] * own
        hinge = np.einsum("tij,tj->ti", Rotation.from_rotvec(inward).as_matrix(), hinge)
        upper, hinge = (np.einsum("tij,tj->ti", chest, d) for d in (own, hinge))
        arm = flexed_arm(upper, hinge, v[f"{side}_bend"])
        return self._off_the_floor(measured, side, arm, mid_hip)

    def _off_the_floor(self, measured: Measured, side: str, arm: Limb, mid_hip: Array) -> Limb:
        """Bring up a hand that would go into the floor."""
        upper_m = measured.length(side, "shoulder", "elbow")
        lower_m = measured.length(side, "elbow", "wrist")
        shoulder = mid_hip + measured.from_hip_centre(f"{side}_shoulder")
        elbow = shoulder + arm.upper * upper_m[:, None]
        wrist = elbow + arm.lower * lower_m[:, None]
        lowest = WRIST_M + HAND_M * np.clip(-arm.lower[:, 2], 0, 1)
        short = lowest - wrist[:, 2]
        wrist[:, 2] += np.where(short > -0.2, 0.5 * (short + np.hypot(short, 0.03)), 0.0)
        line = unit(wrist - shoulder)
        off = elbow - shoulder
        off = off - line * np.sum(off * line, axis=1, keepdims=True)
        pole = np.where(short[:, None] > -0.2, off + 1e-6 * np.cross(line, arm.hinge), off)
        moved = bend_limb(shoulder, wrist, upper_m=upper_m, lower_m=lower_m, pole=pole)
        return Limb(upper=unit(moved - shoulder), lower=unit(wrist - moved), hinge=arm.hinge)


def plan_wander(body: Body, rng: Generator, rate_hz: float) -> tuple[Wander, Array]:
    """Draw one clip; return the motion and the frame times."""
    motion = Wander(body, rng, rate_hz)
    return motion, motion.time_s
