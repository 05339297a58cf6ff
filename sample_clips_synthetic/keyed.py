"""Keyed poses: whole-body poses at given times, joined by minimum-jerk moves.

A pose says where the pelvis is and how pelvis, chest and head are turned, where the feet stand,
and for each arm a spot on the floor or a direction. A foot or a hand whose spot is the same in
two neighbouring keys stays exactly there. What a pose lets rest on the floor is put on it by
looking at the skin of the pass before, so that it neither floats nor sinks in, whatever the body.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from bodies import SIDES, Array, Body
from keyed_arms import Arm, ArmTrack, Reach
from pose import SIGN, HandTurn, Measured, Targets, turn
from scipy.spatial.transform import Rotation
from sizes import FootShape, Sizes, contact_regions
from stance import leg_reach, plant_leg
from tempo import bump, ease, sway

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

STRAIGHTEST_KNEE_DEG = 2.0
# Standing hips over those of the rest pose, whose feet are further apart.
TALL = 1.012
# How softly the hips run into the end of a leg.
ROUND_M = 0.002
# How much of a gap between skin and floor is taken away in each pass.
GAIN = 0.6
# A foot or hand that goes from one spot to another is lifted by this share of the way, at most.
ARC_SHARE, MOST_ARC_M = 0.22, 0.09
# Where a key is only passed, its moves run into each other by this share of the shorter one.
OVERLAP = 0.3


def orient(*, yaw: float = 0.0, pitch: float = 0.0, roll: float = 0.0, twist: float = 0.0) -> Array:
    """Return a rotation (3, 3): pitch forward +, roll to the person's left +, yaw to the left +.

    ``twist`` turns about the part's own long axis, before the others.
    """
    parts = (("z", yaw), ("x", pitch), ("y", roll), ("z", twist))
    rotation = np.eye(3)
    for axis, angle in parts:
        rotation = rotation @ turn(axis, angle)[0]
    return rotation


@dataclass(frozen=True)
class Foot:
    """A foot by the spot (x, y) of its ball when flat; degrees, metres.

    ``pitch``: 0 flat, + heel up over the ball, 180 instep down, - toes up over the heel.
    ``lift``: height over the floor. ``knee``: where the knee bends to.
    """

    x: float
    y: float
    yaw: float = 0.0
    pitch: float = 0.0
    lift: float = 0.0
    knee: tuple[float, float, float] = (0.0, -1.0, 0.0)


@dataclass(frozen=True)
class Pose:
    """One pose of the whole body; ``rests`` names what lies on the floor and carries the hips.

    The names are ``trunk``, ``left_knee`` and ``right_knee``.
    """

    hip: tuple[float, float, float]
    pelvis: Array
    chest: Array
    head: Array
    feet: dict[str, Foot]
    arms: dict[str, Arm | Reach]
    rests: frozenset[str] = frozenset()
    flight: float = 0.0

    def but(self, **changes: object) -> Pose:
        """Return the same pose with some parts changed."""
        return replace(self, **changes)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Key:
    """A pose reached at ``reach_s`` and left at ``leave_s``.

    ``parts`` gives a part of the body its own share (begin, end) of the move to this key:
    hip, pelvis, chest, head, left_foot, right_foot, left_arm, right_arm.
    """

    reach_s: float
    leave_s: float
    pose: Pose
    parts: dict[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True)
class Move:
    """The frames of one move and how far each part of the body has got in them."""

    picked: NDArray[np.int64]
    last: int
    part: Callable[[str], Array]


@dataclass(frozen=True)
class Wobble:
    """Unsteady hips between two times, with a spread in metres."""

    start_s: float
    end_s: float
    size_m: float


RESTS = ("trunk", "left_knee", "right_knee")


class Keyed:
    """A motion through keyed poses."""

    def __init__(
        self,
        body: Body,
        time_s: Array,
        keys: list[Key],
        rng: Generator,
        *,
        wobbles: tuple[Wobble, ...] = (),
        flight: Array | None = None,
    ) -> None:
        self.body, self.time_s, self.frames = body, time_s, len(time_s)
        self.regions = contact_regions(body)
        self.keys = keys
        self.moves = self._moves()
        self.flight = np.zeros(self.frames) if flight is None else flight
        poses = [key.pose for key in keys]
        self.hip = self._blend("hip", [np.array(p.hip) for p in poses])
        self.turns = {
            part: self._turn(part, [getattr(p, part) for p in poses])
            for part in ("pelvis", "chest", "head")
        }
        self.rests = {
            name: self._blend("hip", [np.array([float(name in p.rests)]) for p in poses])[:, 0]
            for name in RESTS
        }
        self.feet = {side: FootTrack(self, side) for side in SIDES}
        self.arms = {
            side: ArmTrack(body, side, [p.arms[side] for p in poses], self.moves, self.frames)
            for side in SIDES
        }
        self.raised_m = np.zeros(self.frames)
        self.sway = {name: sway(time_s, rng, size=1.0) for name in ("x", "y", "trunk", *SIDES)}
        self.wobble = self._wobble(wobbles, rng)

    def _moves(self) -> list[Move]:
        """Return the move to each key but the first."""
        spans = [
            (before.leave_s, after.reach_s)
            for before, after in zip(self.keys, self.keys[1:], strict=False)
        ]
        moves = []
        for i, (begin, end) in enumerate(spans):
            span = end - begin
            if i > 0 and self.keys[i].leave_s <= self.keys[i].reach_s:
                begin -= OVERLAP * min(span, spans[i - 1][1] - spans[i - 1][0])
            after = self.keys[i + 1]
            if i + 1 < len(spans) and after.leave_s <= after.reach_s:
                end += OVERLAP * min(span, spans[i + 1][1] - spans[i + 1][0])
            moves.append(self._move(begin, end, after.parts))
        return moves

    def _move(self, begin: float, end: float, parts: dict[str, tuple[float, float]]) -> Move:
        picked = np.flatnonzero(self.time_s >= begin)
        x = (self.time_s[picked] - begin) / max(end - begin, 1e-6)

        def part(name: str) -> Array:
            first, last = parts.get(name, (0.0, 1.0))
            return (x - first) / (last - first)

        last = int(np.searchsorted(self.time_s, end))
        return Move(picked=picked, last=last, part=part)

    def _blend(self, part: str, values: list[Array]) -> Array:
        """Return the (T, D) course through one value a key."""
        out = np.tile(np.asarray(values[0], dtype=float), (self.frames, 1))
        for move, value in zip(self.moves, values[1:], strict=True):
            now = out[move.picked]
            out[move.picked] = now + (value - now) * ease(move.part(part))[:, None]
        return out

    def _turn(self, part: str, values: list[Array]) -> Array:
        out = np.tile(values[0], (self.frames, 1, 1))
        for move, value in zip(self.moves, values[1:], strict=True):
            now = Rotation.from_matrix(out[move.picked])
            rest = (now.inv() * Rotation.from_matrix(value)).as_rotvec()
            step = Rotation.from_rotvec(rest * ease(move.part(part))[:, None])
            out[move.picked] = (now * step).as_matrix()
        return out

    def _wobble(self, wobbles: tuple[Wobble, ...], rng: Generator) -> Array:
        out = np.zeros((self.frames, 2))
        for w in wobbles:
            inside = ease((self.time_s - w.start_s) / 0.4) * ease((w.end_s - self.time_s) / 0.4)
            for axis in (0, 1):
                out[:, axis] += inside * sway(self.time_s, rng, size=w.size_m, slow_hz=0.75)
        return out

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        self._settle(measured)
        feet = {side: self.feet[side].place(measured) for side in SIDES}
        ankles = {
            side: ankle + [0, 0, 1] * self.flight[:, None] for side, (ankle, _, _) in feet.items()
        }
        pelvis, chest, head = (self._swayed(part) for part in ("pelvis", "chest", "head"))
        mid_hip = self._mid_hip(measured, ankles)
        legs = {
            side: plant_leg(
                measured, side, mid_hip=mid_hip, ankle=ankles[side], pole=self.feet[side].pole
            )
            for side in SIDES
        }
        arms = {
            side: self.arms[side].limb(
                measured,
                shoulder=mid_hip + measured.from_hip_centre(f"{side}_shoulder"),
                chest=chest,
                sway_deg=self.sway[side],
            )
            for side in SIDES
        }
        return Targets(
            pelvis=pelvis,
            chest=chest,
            head=head,
            legs=legs,
            arms=arms,
            feet={side: rotation for side, (_, rotation, _) in feet.items()},
            toe_bend_deg={side: bend for side, (_, _, bend) in feet.items()},
            shoulder_lift_deg={
                side: self.arms[side].shoulder_lift(arms[side], chest) for side in SIDES
            },
            hands={
                side: HandTurn(self.arms[side].flat, self.arms[side].flat_share) for side in SIDES
            },
            mid_hip=mid_hip,
        )

    def _settle(self, measured: Measured) -> None:
        """Lower or raise what should touch the floor by the gap seen in the pass before."""
        if not measured.low:
            return
        total = np.zeros(self.frames)
        weight = np.zeros(self.frames)
        for name in RESTS:
            gap = measured.low[name]
            share = self.rests[name]
            # What is not to rest there must still not go through the floor.
            total -= share * gap + (1 - share) * np.minimum(gap, 0)
            weight += share + (1 - share) * (gap < 0)
        self.raised_m += GAIN * total / np.maximum(weight, 1)
        for side in SIDES:
            self.feet[side].settle(measured.low[f"{side}_foot"] - self.flight)
            self.arms[side].settle(measured.low[f"{side}_hand"], measured.low[f"{side}_elbow"])

    def _still(self) -> Array:
        """Return how freely the trunk sways: little where it lies on the floor."""
        return 1 - 0.85 * self.rests["trunk"]

    def _swayed(self, part: str) -> Array:
        size = {"pelvis": 0.25, "chest": 0.5, "head": 0.6}[part]
        return turn("x", size * self.sway["trunk"] * self._still()) @ self.turns[part]

    def _mid_hip(self, measured: Measured, ankles: dict[str, Array]) -> Array:
        mid = self.hip.copy()
        mid[:, 2] += self.raised_m + self.flight
        for axis, name in enumerate(("x", "y")):
            mid[:, axis] += 0.0035 * self.sway[name] * self._still() + self.wobble[:, axis]
        for soft in (ROUND_M, 0.0):
            for side in SIDES:
                mid += self._leash(measured, side, mid, ankles[side], soft)
        return mid

    @staticmethod
    def _leash(measured: Measured, side: str, mid: Array, ankle: Array, soft: float) -> Array:
        """Return the shift that keeps the hip within reach of the foot, softly."""
        way = ankle - mid - measured.from_hip_centre(f"{side}_hip")
        far = np.linalg.norm(way, axis=1)
        room = leg_reach(measured, side, STRAIGHTEST_KNEE_DEG) - far
        short = 0.5 * (np.hypot(room, soft) - room)
        shift: Array = way / far[:, None] * short[:, None]
        return shift


class FootTrack:
    """The course of one foot through the keys."""

    def __init__(self, motion: Keyed, side: str) -> None:
        self.side = side
        self.shape = FootShape(motion.body, side)
        feet = [key.pose.feet[side] for key in motion.keys]
        part = f"{side}_foot"
        self.spot = motion._blend(part, [np.array([f.x, f.y, f.lift]) for f in feet])
        angles = motion._blend(part, [np.array([f.yaw, f.pitch]) for f in feet])
        self.yaw, self.pitch = angles.T
        self.pole = motion._blend(part, [np.array(f.knee) for f in feet])
        self.down = motion._blend(part, [np.array([float(f.lift == 0)]) for f in feet])[:, 0]
        self.over = self.spot[:, 2].copy()
        for move, before, after in zip(motion.moves, feet, feet[1:], strict=False):
            way = np.hypot(after.x - before.x, after.y - before.y)
            grounded = before.lift == 0 and after.lift == 0
            arc = min(ARC_SHARE * way, MOST_ARC_M) * (1.0 if grounded else 0.3)
            self.over[move.picked] += arc * bump(move.part(part))
        self.raised_m = np.zeros(motion.frames)
        self.flight = motion.flight

    def place(self, measured: Measured) -> tuple[Array, Array, Array]:
        """Return ankle (T, 3), rotation (T, 3, 3) and toe bend (T,)."""
        spot = self.spot.copy()
        spot[:, 2] = self.over + self.raised_m + self.flight
        rotation, sole, bend = self.shape.place(spot, self.yaw, self.pitch)
        return sole + measured.ankle_over_sole(self.side), rotation, bend

    def settle(self, low: Array) -> None:
        """Take away the gap between the foot and its height over the floor."""
        gap = low - self.over
        under = np.minimum(low, 0)
        self.raised_m -= GAIN * (self.down * gap + (1 - self.down) * under)


def stand(sizes: Sizes, *, half_m: float | None = None) -> Pose:
    """Return quiet standing."""
    half = 1.05 * sizes.hip_x if half_m is None else half_m
    feet = {side: Foot(x=SIGN[side] * half, y=-0.14, yaw=SIGN[side] * 8.0) for side in SIDES}
    return Pose(
        # A little too high: the legs then hold the hips as high as they reach.
        hip=(0.0, 0.0, TALL * sizes.hip_z),
        pelvis=orient(pitch=0.0),
        chest=orient(pitch=1.5),
        head=orient(pitch=2.0),
        feet=feet,
        arms={side: hanging(side) for side in SIDES},
    )


def hanging(side: str, *, forward: float = 4.0, out: float = 9.0, bend: float = 12.0) -> Arm:
    """Return an arm that hangs beside the trunk; degrees from the trunk."""
    f, o = np.radians(forward), np.radians(out)
    upper = (SIGN[side] * np.sin(o), -np.sin(f), -np.cos(f) * np.cos(o))
    return Arm(upper=upper, bend=bend, pole=(SIGN[side] * 0.25, 1.0, 0.0))
