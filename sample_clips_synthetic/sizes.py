"""What of a body decides where it can be: lengths, feet and hands, what may touch the floor.

All in metres, read off the body in its rest pose; the floor is z = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from bodies import SIDES, SUFFIX, Array, Body
from pose import FORWARD, SIGN, UP, limb_frame, turn, unit

if TYPE_CHECKING:
    from numpy.typing import NDArray

# A joint's flesh is taken from this far around it.
# The ball of the foot rolls at this height.
BALL_M = 0.01
NEAR_KNEE_M, NEAR_ELBOW_M = 0.09, 0.07
# Toes bend with the heel's rise up to this, and lie straight when the instep is on the floor.
TOE_PITCH, TOE_BEND = (-180.0, 0.0, 60.0, 95.0, 125.0, 180.0), (0.0, 0.0, 60.0, 60.0, 0.0, 0.0)


@dataclass(frozen=True)
class Sizes:
    """Lengths of one body; ``sole`` and ``ball`` are flat-foot positions over the floor."""

    stature: float
    thigh: float
    shank: float
    hip_x: float
    hip_z: float
    trunk: float
    shoulder_x: float
    upper_arm: float
    forearm: float
    foot: float
    ankle_z: float
    knee_r: float
    seat_r: float
    ball_to_ankle: tuple[float, float]
    ball_to_heel: float

    @property
    def leg(self) -> float:
        """Length of the straight leg, hip to ankle."""
        return self.thigh + self.shank

    @property
    def arm(self) -> float:
        """Length of the straight arm, shoulder to wrist."""
        return self.upper_arm + self.forearm

    @classmethod
    def of(cls, body: Body) -> Sizes:
        """Measure a body in its rest pose."""
        p = {name: point - [0, 0, body.rest_sole_z] for name, point in body.rest.items()}

        def far(a: str, b: str) -> float:
            return float(np.linalg.norm(p[f"left_{a}"] - p[f"left_{b}"]))

        foot = FootShape(body, "left")
        lever = p["left_ankle"] - foot.ball
        skin = body.rest_skin - [0, 0, body.rest_sole_z]
        middle = 0.5 * (p["left_hip"] + p["right_hip"])
        knee = np.linalg.norm(skin - p["left_knee"], axis=1) < NEAR_KNEE_M
        seat = np.abs(skin - middle)[:, [0, 2]].max(axis=1) < 1.2 * p["left_hip"][0]
        return cls(
            stature=float(skin[:, 2].max()),
            thigh=far("hip", "knee"),
            shank=far("knee", "ankle"),
            hip_x=float(p["left_hip"][0]),
            hip_z=float(p["left_hip"][2]),
            trunk=float(p["left_shoulder"][2] - p["left_hip"][2]),
            shoulder_x=float(p["left_shoulder"][0]),
            upper_arm=far("shoulder", "elbow"),
            forearm=far("elbow", "wrist"),
            foot=far("heel", "big_toe"),
            ankle_z=float(p["left_ankle"][2]),
            knee_r=float(p["left_knee"][1] - skin[knee, 1].min()),
            seat_r=float(skin[seat, 1].max() - middle[1]),
            ball_to_ankle=(float(lever[1]), float(lever[2])),
            ball_to_heel=float(foot.heel[1] - foot.ball[1]),
        )

    def ankle_over_ball(self, pitch_deg: float) -> tuple[float, float]:
        """Return how far the ankle is behind and over the flat ball, the foot rolled by a pitch.

        It rolls over its ball with a positive pitch and over its heel with a negative one.
        """
        back, up = self.ball_to_ankle
        pivot = 0.0 if pitch_deg >= 0 else self.ball_to_heel
        c, s = np.cos(np.radians(pitch_deg)), np.sin(np.radians(pitch_deg))
        along = (back - pivot) * c - up * s
        return float(pivot + along), float((back - pivot) * s + up * c + BALL_M)


def contact_regions(body: Body) -> dict[str, NDArray[np.int64]]:
    """Return the skin vertices of everything that may touch the floor."""
    bones = np.array(body.model.bone_labels)[body._main_bone()]
    middle = ("root", "pelvis", "spine", "clavicle", "shoulder", "upperleg01")
    out = {
        "trunk": _picked(bones, middle),
        "head": _picked(bones, ("head", "neck", "jaw")),
    }
    for side in SIDES:
        own = np.char.endswith(bones, f".{SUFFIX[side]}")
        out[f"{side}_foot"] = np.intersect1d(body.foot_vertices, np.flatnonzero(own))
        hand = _picked(bones, ("wrist", "metacarpal", "finger"))
        out[f"{side}_hand"] = np.intersect1d(hand, np.flatnonzero(own))
        leg = own & (np.char.find(bones, "leg") >= 0)
        out[f"{side}_knee"] = _near(body, f"{side}_knee", NEAR_KNEE_M, leg)
        out[f"{side}_shank"] = np.flatnonzero(own & np.char.startswith(bones, "lowerleg"))
        arm = own & (np.char.find(bones, "arm") >= 0)
        out[f"{side}_elbow"] = _near(body, f"{side}_elbow", NEAR_ELBOW_M, arm)
        out[f"{side}_forearm"] = np.flatnonzero(own & np.char.startswith(bones, "lowerarm"))
    return out


def _picked(bones: NDArray[np.str_], starts: tuple[str, ...]) -> NDArray[np.int64]:
    return np.flatnonzero([name.startswith(starts) for name in bones])


def _near(body: Body, joint: str, radius_m: float, among: NDArray[np.bool_]) -> NDArray[np.int64]:
    close = np.linalg.norm(body.rest_skin - body.rest[joint], axis=1) < radius_m
    return np.flatnonzero(close & among)


class FootShape:
    """Where sole and ankle are when a foot stands, rolls on its ball or rests on its heel."""

    def __init__(self, body: Body, side: str) -> None:
        rest, letter = body.rest, SUFFIX[side]
        floor = np.array([0, 0, body.rest_sole_z])
        ends = [body.rest_bones[f"toe{i}-1.{letter}"] for i in (1, 5)]
        self.ball = np.mean(ends, axis=0) - floor
        self.ball[2] = BALL_M
        heel = rest[f"{side}_heel"]
        self.sole = 0.5 * (heel + rest[f"{side}_big_toe"]) - floor
        self.heel = np.array([heel[0], heel[1], BALL_M])

    def place(self, spot: Array, yaw_deg: Array, pitch_deg: Array) -> tuple[Array, Array, Array]:
        """Return rotation (T, 3, 3), sole (T, 3) and toe bend (T,) of a foot.

        ``spot`` (T, 3) is where the ball is with the foot flat; a positive pitch lifts the heel
        over the ball, a negative one the toes over the heel, 180 lays the instep down.
        """
        yaw = turn("z", yaw_deg)
        rotation = yaw @ turn("x", pitch_deg)
        pivot = np.where(pitch_deg[:, None] >= 0, self.ball, self.heel)
        rise = np.array([0, 0, 1.0]) * self.ball[2]
        base = spot + rise + np.einsum("tij,tj->ti", yaw, pivot - self.ball)
        sole = base + np.einsum("tij,tj->ti", rotation, self.sole - pivot)
        return rotation, sole, np.interp(pitch_deg, TOE_PITCH, TOE_BEND)


class HandShape:
    """How a hand must turn to lie flat on the floor."""

    def __init__(self, body: Body, side: str) -> None:
        bones, letter = body.rest_bones, SUFFIX[side]
        fingers = bones[f"finger3-1.{letter}"] - bones[f"wrist.{letter}"]
        thumbward = bones[f"finger2-1.{letter}"] - bones[f"finger5-1.{letter}"]
        palm = SIGN[side] * np.cross(fingers, thumbward)
        self.rest = limb_frame(fingers, unit(palm))

    def flat(self, yaw_deg: Array) -> Array:
        """Return the rotation (T, 3, 3) of a hand whose palm is down, fingers at a yaw."""
        down = limb_frame(FORWARD, -UP) @ self.rest.T
        rotation: Array = turn("z", yaw_deg) @ down
        return rotation
