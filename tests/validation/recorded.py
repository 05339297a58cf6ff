"""Marker recordings of a real person put on the rendered bodies.

Legs reach by inverse kinematics for the recorded ankles, scaled to the body, so feet that stood
still stand still; trunk and arms take over the recorded directions.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from bodies import SIDES, Array, Body
from pose import FORWARD, LEFT, SIGN, UP, Limb, Measured, Targets, inverse, limb_frame, turn, unit
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d
from scipy.spatial.transform import Rotation
from stance import arm_hinge, plant_leg
from tempo import ease, even_times

RECORDING = "exercise_joints_30hz.npz"
RECORDED_HZ = 30.0
# Joints of the recording under the names used here.
PARTS = {
    "shoulder": "humerus",
    "elbow": "radius",
    "wrist": "hand",
    "hip": "femur",
    "knee": "tibia",
    "ankle": "foot",
    "toe": "toes",
}
# The recorded joints sit beside the true ones, so a straight leg reads bent; the longest reach
# that occurs in a recording counts as a nearly straight leg.
STRAIGHT_RATIO = 0.995
# What a standing knee still reads too much then; deep bends are left as recorded. Degrees.
STANDING_BEND_DEG, LEAVE_FROM_DEG, LEAVE_TO_DEG, SOFT_DEG = 12.0, 35.0, 90.0, 8.0
# The floor lies where the lower foot is in this share of the frames of an excerpt.
FLOOR_PERCENTILE = 25
FLAT_BELOW_M = 0.02
# Movements on the balls of the feet do not show where the foot is level.
SPRINGY = ("jog", "jumping_jack")


@dataclass(frozen=True)
class Excerpt:
    """A stretch of one recording."""

    recording: str
    start_s: float
    end_s: float
    label: str


EXCERPTS: dict[str, tuple[Excerpt, ...]] = {
    "calibrate": (
        Excerpt("13_30", 11.9, 14.5, "squat"),
        Excerpt("13_30", 6.9, 10.1, "knee_raise"),
        Excerpt("13_30", 16.2, 19.2, "jog"),
        Excerpt("13_30", 13.6, 16.3, "squat"),
        Excerpt("13_30", 0.0, 1.9, "jumping_jack"),
        Excerpt("13_30", 2.4, 5.6, "twist"),
        Excerpt("13_30", 9.2, 12.0, "knee_raise"),
    ),
    "validate": (
        Excerpt("13_31", 3.4, 6.4, "knee_raise"),
        Excerpt("13_31", 22.7, 25.1, "jumping_jack"),
        Excerpt("13_31", 13.5, 16.5, "jog"),
        Excerpt("13_31", 8.3, 11.3, "label_10"),
        Excerpt("13_31", 0.3, 3.3, "twist"),
        Excerpt("13_31", 5.6, 8.4, "knee_raise"),
        Excerpt("13_31", 17.5, 20.7, "arm_circle"),
    ),
}

# Within these seconds of 13_30 there are jumping jacks and jogging, in between there is neither.
RECORDING_13_30_S, JACKS_UNTIL_S, JOG_FROM_S = 20.4, 2.2, 16.0


def draw_excerpt(rng: np.random.Generator) -> Excerpt:
    """Draw a stretch of 13_30; the other recording is kept out of training."""
    length_s = round(float(rng.uniform(2.5, 3.0)), 2)
    start_s = round(float(rng.uniform(0, RECORDING_13_30_S - length_s)), 2)
    springy = start_s < JACKS_UNTIL_S or start_s + length_s > JOG_FROM_S
    return Excerpt("13_30", start_s, start_s + length_s, "jog" if springy else "drawn")


def load_recording(folder: Path, name: str) -> dict[str, Array]:
    """Load one recording as points of shape (T, 3), lightly smoothed."""
    with np.load(folder / RECORDING) as file:
        names = [str(n) for n in file["names"]]
        data = gaussian_filter1d(file[f"s{name}"].astype(np.float64), 0.7, axis=0)
    return {
        f"{side}_{part}": data[:, names.index(side[0] + stored)]
        for side in SIDES
        for part, stored in PARTS.items()
    }


def _mid(points: dict[str, Array], part: str) -> Array:
    return 0.5 * (points[f"left_{part}"] + points[f"right_{part}"])


def _steady(direction: Array) -> Array:
    return unit(gaussian_filter1d(direction, 2.0, axis=0, mode="nearest"))


class Recorded:
    """A stretch of a recording as a motion of one body."""

    def __init__(self, body: Body, excerpt: Excerpt, *, folder: Path, rate_hz: float) -> None:
        whole = load_recording(folder, excerpt.recording)
        self.body = body
        self.time_s = even_times(excerpt.end_s - excerpt.start_s, rate_hz)
        self.frames = len(self.time_s)
        floor_m = np.percentile([whole["left_ankle"][:, 2], whole["right_ankle"][:, 2]], 5)
        reach = [np.linalg.norm(whole[f"{s}_hip"] - whole[f"{s}_ankle"], axis=1) for s in SIDES]
        thigh_m, shank_m = (
            float(np.linalg.norm(body.rest[f"left_{a}"] - body.rest[f"left_{b}"]))
            for a, b in (("hip", "knee"), ("knee", "ankle"))
        )
        scale = STRAIGHT_RATIO * (thigh_m + shank_m) / np.percentile(reach, 99.5)
        clock = np.arange(len(whole["left_hip"])) / RECORDED_HZ
        moments = self.time_s + excerpt.start_s
        p = {name: CubicSpline(clock, value)(moments) for name, value in whole.items()}
        still = whole if excerpt.label in SPRINGY else p
        level = {s: self._foot_rise(still, s) for s in SIDES}
        origin = np.append(_mid(p, "hip")[:, :2].mean(axis=0), floor_m)
        ankle_m = body.rest["left_ankle"][2] - body.rest_sole_z
        self.p = {name: scale * (value - origin) + [0, 0, ankle_m] for name, value in p.items()}
        self._straighten(thigh_m, shank_m)
        self._build_trunk()
        self.arms = {side: self._arm(side) for side in SIDES}
        self.poles = {side: self._pole(side) for side in SIDES}
        self._build_feet(level)

    @staticmethod
    def _foot_rise(points: dict[str, Array], side: str) -> float:
        """Return how steeply the marker foot points up while it stands flat, degrees."""
        v = points[f"{side}_toe"] - points[f"{side}_ankle"]
        low = points[f"{side}_ankle"][:, 2] < np.percentile(points[f"{side}_ankle"][:, 2], 40)
        return float(np.median(np.degrees(np.arctan2(v[:, 2], np.hypot(v[:, 0], v[:, 1])))[low]))

    def _straighten(self, thigh_m: float, shank_m: float) -> None:
        """Take the constant bend out of standing knees; the body rises by what the legs gain."""
        before = np.minimum(*(self.p[f"{side}_ankle"][:, 2] for side in SIDES))
        for side in SIDES:
            hip, ankle = self.p[f"{side}_hip"], self.p[f"{side}_ankle"]
            reach = np.linalg.norm(ankle - hip, axis=1, keepdims=True)
            cosine = (reach**2 - thigh_m**2 - shank_m**2) / (2 * thigh_m * shank_m)
            bend = np.degrees(np.arccos(np.clip(cosine, -1, 1)))
            part = 1 - ease((bend - LEAVE_FROM_DEG) / (LEAVE_TO_DEG - LEAVE_FROM_DEG))
            less = bend - STANDING_BEND_DEG * part
            less = np.radians(0.5 * (less + np.hypot(less, SOFT_DEG)))
            longer = np.sqrt(thigh_m**2 + shank_m**2 + 2 * thigh_m * shank_m * np.cos(less))
            self.p[f"{side}_ankle"] = hip + (ankle - hip) * longer / reach
        after = np.minimum(*(self.p[f"{side}_ankle"][:, 2] for side in SIDES))
        rise = np.stack([np.zeros_like(before), np.zeros_like(before), before - after], axis=1)
        self.p = {name: value + rise for name, value in self.p.items()}

    def _build_trunk(self) -> None:
        trunk = _mid(self.p, "shoulder") - _mid(self.p, "hip")
        self.chest = limb_frame(trunk, self.p["left_shoulder"] - self.p["right_shoulder"])
        across = unit(self.p["left_hip"] - self.p["right_hip"])
        up = unit(trunk - across * np.sum(trunk * across, axis=1, keepdims=True))
        self.pelvis = np.stack([across, np.cross(up, across), up], axis=-1)
        left = self.chest @ LEFT
        yaw = turn("z", np.degrees(np.arctan2(left[:, 1], left[:, 0])))
        lean = Rotation.from_matrix(inverse(yaw) @ self.chest).as_rotvec()
        self.head = yaw @ Rotation.from_rotvec(0.4 * lean).as_matrix()

    def _arm(self, side: str) -> Limb:
        upper = unit(self.p[f"{side}_elbow"] - self.p[f"{side}_shoulder"])
        lower = unit(self.p[f"{side}_wrist"] - self.p[f"{side}_elbow"])
        own = np.einsum("tji,tj->ti", self.chest, upper)
        out_deg = np.degrees(np.arctan2(SIGN[side] * own[:, 0], np.hypot(own[:, 1], own[:, 2])))
        usual = np.einsum("tij,tj->ti", self.chest, arm_hinge(own, side, out_deg))
        cross = np.cross(upper, lower)
        sine = np.linalg.norm(cross, axis=1, keepdims=True)
        # The axis of a nearly straight elbow is noise.
        share = ease((sine - 0.12) / 0.3)
        hinge = _steady(share * cross / np.maximum(sine, 1e-6) + (1 - share) * usual)
        return Limb(upper=upper, lower=lower, hinge=hinge)

    def _toes(self, side: str) -> Array:
        return unit(self.p[f"{side}_toe"] - self.p[f"{side}_ankle"])

    def _pole(self, side: str) -> Array:
        """Return the side to which the knee bends; the toes decide where it is straight."""
        hip, knee, ankle = (self.p[f"{side}_{n}"] for n in ("hip", "knee", "ankle"))
        line = unit(ankle - hip)
        off = knee - hip
        off = off - line * np.sum(off * line, axis=1, keepdims=True)
        size = np.linalg.norm(off, axis=1, keepdims=True)
        share = ease((size - 0.02) / 0.06)
        ahead = np.einsum("tij,j->ti", self.pelvis, FORWARD)
        straight = unit(0.5 * ahead + 0.5 * self._toes(side))
        return _steady(share * off / np.maximum(size, 1e-6) + (1 - share) * straight)

    def _build_feet(self, level: dict[str, float]) -> None:
        self.feet, self.toe_bend = {}, {}
        for side in SIDES:
            ankle = self.p[f"{side}_ankle"]
            rise = np.radians(level[side])
            toes = self._toes(side)
            level_toes = np.append(unit(toes[:, :2]) * np.cos(rise), 0 * toes[:, 2:], axis=1)
            level_toes[:, 2] = np.sin(rise)
            # An ankle as low as it gets means a foot that lies flat, whatever the markers say.
            height = ankle[:, 2] - np.percentile(ankle[:, 2], FLOOR_PERCENTILE)
            share = ease((height - FLAT_BELOW_M) / FLAT_BELOW_M)[:, None]
            toes = _steady(share * toes + (1 - share) * level_toes)
            flat = np.array([0.0, -np.cos(rise), np.sin(rise)])
            frame = limb_frame(toes, np.cross(self.poles[side], ankle - self.p[f"{side}_hip"]))
            self.feet[side] = frame @ limb_frame(flat, LEFT).T
            down = level[side] - np.degrees(np.arcsin(np.clip(toes[:, 2], -1, 1)))
            near = ease((0.32 - ankle[:, 2]) / 0.12)
            self.toe_bend[side] = near * np.clip(down, 0, 45)

    def _clearance(self, measured: Measured, side: str) -> Array:
        """Return the height of the lowest point of a foot under its ankle, from flat standing."""
        lowest = np.full(self.frames, np.inf)
        for name in ("heel", "big_toe"):
            resting = self.body.rest[f"{side}_{name}"][2] - self.body.rest_sole_z
            tip = measured.points[f"{side}_{name}"] - measured.points[f"{side}_ankle"]
            lowest = np.minimum(lowest, tip[:, 2] - resting)
        return lowest

    def _place(self, measured: Measured) -> tuple[Array, dict[str, Array]]:
        """Return the middle of the hips and the ankles, with the feet on the floor, not in it."""
        mid_hip = _mid(self.p, "hip").copy()
        ankles = {side: self.p[f"{side}_ankle"].copy() for side in SIDES}
        under = {side: self._clearance(measured, side) for side in SIDES}
        free = np.minimum(*(ankles[side][:, 2] + under[side] for side in SIDES))
        floor_m = np.percentile(free, FLOOR_PERCENTILE)
        mid_hip[:, 2] -= floor_m
        for side in SIDES:
            ankles[side][:, 2] = np.maximum(ankles[side][:, 2] - floor_m, -under[side])
        return mid_hip, ankles

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        mid_hip, ankles = self._place(measured)
        legs = {
            side: plant_leg(
                measured, side, mid_hip=mid_hip, ankle=ankles[side], pole=self.poles[side]
            )
            for side in SIDES
        }
        lift = {side: self._shoulder_lift(side) for side in SIDES}
        return Targets(
            pelvis=self.pelvis,
            chest=self.chest,
            head=self.head,
            legs=legs,
            arms=self.arms,
            feet=self.feet,
            toe_bend_deg=self.toe_bend,
            shoulder_lift_deg=lift,
            mid_hip=mid_hip,
        )

    def _shoulder_lift(self, side: str) -> Array:
        """Return how far the shoulder girdle rises with the arm."""
        along = np.sum(self.arms[side].upper * (self.chest @ UP), axis=1)
        raised = np.degrees(np.arccos(np.clip(-along, -1, 1)))
        return 24 * ease((raised - 50) / 120)
