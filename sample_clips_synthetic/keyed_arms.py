"""The arms of keyed poses: held in a direction, reaching to a spot, or propped on the elbow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from pose import UP, Limb, Measured, bend_limb, unit
from scipy.ndimage import gaussian_filter1d
from scipy.spatial.transform import Rotation
from sizes import HandShape
from tempo import bump, ease

if TYPE_CHECKING:
    from bodies import Array, Body
    from keyed import Move

GAIN = 0.6
ARC_SHARE, MOST_ARC_M = 0.25, 0.10
Direction = tuple[float, float, float]


@dataclass(frozen=True)
class Arm:
    """An arm held in a direction; the elbow sticks out toward ``pole``.

    Directions are seen from the chest, or from the room if ``world``. ``bend`` in degrees.
    ``forearm`` replaces the bend by a direction of its own.
    """

    upper: Direction
    bend: float = 8.0
    pole: Direction = (0.0, 1.0, 0.0)
    world: bool = False
    forearm: Direction | None = None


@dataclass(frozen=True)
class Reach:
    """An arm whose wrist goes to a spot.

    ``z``: height of the wrist, None for a palm on the floor. ``yaw``: where the fingers point,
    0 ahead, + to the left. ``prop``: the elbow rests on the floor too, on the side of ``pole``.
    """

    x: float
    y: float
    z: float | None = None
    yaw: float = 0.0
    pole: Direction = (0.0, 1.0, 0.0)
    prop: bool = False

    @property
    def palm(self) -> bool:
        """True if the palm is on the floor."""
        return self.z is None


WRIST_M, ELBOW_M = 0.05, 0.045
# From this far before its full length an arm only comes near to what it reaches for.
SOFT_M = 0.007


def _rows(direction: Direction, frames: int) -> Array:
    return np.tile(unit(np.array(direction, dtype=float)), (frames, 1))


def _slerp(a: Array, b: Array, share: Array) -> Array:
    """Turn directions (T, 3) part of the way to others."""
    cosine = np.clip(np.sum(a * b, axis=1), -1, 1)
    axis = np.cross(a, b)
    size = np.linalg.norm(axis, axis=1, keepdims=True)
    angle = np.arctan2(size[:, 0], cosine) * share
    turned = Rotation.from_rotvec(axis / np.maximum(size, 1e-9) * angle[:, None])
    return turned.apply(a)


class ArmTrack:
    """The course of one arm through the keys."""

    def __init__(
        self, body: Body, side: str, arms: list[Arm | Reach], moves: list[Move], frames: int
    ) -> None:
        self.side, self.arms, self.moves, self.frames = side, arms, moves, frames
        self.part = f"{side}_arm"
        self.spots = self._spots()
        self.point = self._course([np.array(s) for s in self.spots])
        self.held = self._share([isinstance(a, Reach) for a in arms])
        self.palm = self._share([isinstance(a, Reach) and a.palm for a in arms])
        self.over = self._arcs()
        yaw = self._course([np.array([getattr(a, "yaw", 0.0)]) for a in arms])[:, 0]
        self.flat = HandShape(body, side).flat(yaw)
        self.flat_share = self.palm
        self.raised_m = np.zeros(frames)
        self.elbow_m = np.full(frames, ELBOW_M)
        self.guard_m = np.zeros(frames)

    def _spots(self) -> list[Direction]:
        """Return a spot for each key; keys without one take that of the key before or after."""
        known = [
            (a.x, a.y, WRIST_M if a.z is None else a.z) if isinstance(a, Reach) else None
            for a in self.arms
        ]
        last = next((s for s in known if s is not None), (0.0, 0.0, 0.0))
        out = []
        for spot in known:
            last = last if spot is None else spot
            out.append(last)
        return out

    def _course(self, values: list[Array]) -> Array:
        out = np.tile(np.asarray(values[0], dtype=float), (self.frames, 1))
        for move, value in zip(self.moves, values[1:], strict=True):
            now = out[move.picked]
            out[move.picked] = now + (value - now) * ease(move.part(self.part))[:, None]
        return out

    def _share(self, flags: list[bool]) -> Array:
        return self._course([np.array([float(flag)]) for flag in flags])[:, 0]

    def _arcs(self) -> Array:
        out = np.zeros(self.frames)
        for move, a, b, first, second in zip(
            self.moves, self.spots, self.spots[1:], self.arms, self.arms[1:], strict=False
        ):
            if (
                isinstance(first, Reach)
                and isinstance(second, Reach)
                and first.palm
                and second.palm
            ):
                way = np.hypot(b[0] - a[0], b[1] - a[1])
                arc = min(ARC_SHARE * way, MOST_ARC_M)
                out[move.picked] += arc * bump(move.part(self.part))
        return out

    def settle(self, palm_low: Array, elbow_low: Array) -> None:
        """Take away the gaps between palm and elbow and the floor they are to touch."""
        gap = self.palm * (palm_low - self.over)
        self.raised_m = np.clip(self.raised_m - GAIN * gap, -0.03, 0.06)
        self.elbow_m = np.clip(self.elbow_m - GAIN * elbow_low, 0.02, 0.09)
        under = GAIN * np.maximum(-palm_low, 0) * (1 - self.palm)
        self.guard_m += gaussian_filter1d(under, 1.5)

    def limb(self, measured: Measured, *, shoulder: Array, chest: Array, sway_deg: Array) -> Limb:
        """Return the arm in every frame."""
        lengths = (
            measured.length(self.side, "shoulder", "elbow"),
            measured.length(self.side, "elbow", "wrist"),
        )
        upper, lower, hinge = self._directed(shoulder, chest, lengths)
        free = 1 - self.held
        swing = Rotation.from_rotvec(hinge * np.radians(sway_deg * free)[:, None])
        upper, lower = swing.apply(upper), swing.apply(lower)
        spot = self.point.copy()
        spot[:, 2] += self.over + self.palm * self.raised_m
        pole = unit(np.cross(upper + lower, hinge))
        there = _reach(shoulder, spot, pole, lengths)
        upper = _slerp(upper, there[0], self.held)
        lower = _slerp(lower, there[1], self.held)
        return Limb(*self._guarded(shoulder, upper, lower, pole, lengths), hinge=hinge)

    def _guarded(
        self, shoulder: Array, upper: Array, lower: Array, pole: Array, lengths: tuple[Array, Array]
    ) -> tuple[Array, Array]:
        """Bring up a moving hand that would go into the floor."""
        picked = self.guard_m > 1e-4
        if picked.any():
            long, short = lengths[0][picked], lengths[1][picked]
            way = upper[picked] * long[:, None] + lower[picked] * short[:, None]
            way[:, 2] += self.guard_m[picked]
            root = shoulder[picked]
            upper[picked], lower[picked] = _reach(root, root + way, pole[picked], (long, short))
        return upper, lower

    def _directed(
        self, shoulder: Array, chest: Array, lengths: tuple[Array, Array]
    ) -> tuple[Array, Array, Array]:
        """Return upper arm, forearm and hinge, blended key by key as directions."""
        everything = np.arange(self.frames)
        out = self._own(0, everything, shoulder, chest, lengths)
        for i, move in enumerate(self.moves):
            # Once the next move is over nothing is left of this key.
            last = self.moves[i + 1].last if i + 1 < len(self.moves) else self.frames
            picked = move.picked[move.picked <= last]
            share = ease(move.part(self.part))[: len(picked)]
            new = self._own(i + 1, picked, shoulder, chest, lengths)
            for old, goal in zip(out, new, strict=True):
                old[picked] = _slerp(old[picked], goal, share)
        upper, lower, hinge = out
        along = unit(upper + lower)
        hinge = unit(hinge - along * np.sum(along * hinge, axis=1, keepdims=True))
        return upper, lower, hinge

    def _own(
        self,
        number: int,
        picked: Array,
        shoulder: Array,
        chest: Array,
        lengths: tuple[Array, Array],
    ) -> tuple[Array, Array, Array]:
        """Return the directions one key asks for, as the trunk is in the given frames."""
        arm = self.arms[number]
        root, frames = shoulder[picked], len(picked)
        long, short = lengths[0][picked], lengths[1][picked]
        if isinstance(arm, Arm):
            return _aimed(arm, chest[picked], frames)
        pole = _rows(arm.pole, frames)
        spot = np.tile(np.array(self.spots[number]), (frames, 1))
        spot[:, 2] += float(arm.palm) * self.raised_m[picked]
        if arm.prop:
            pole = _propped(root, spot, (long, short), pole, self.elbow_m[picked])
        upper, lower = _reach(root, spot, pole, (long, short))
        return upper, lower, unit(np.cross(pole, spot - root))

    def shoulder_lift(self, limb: Limb, chest: Array) -> Array:
        """Return how far the shoulder girdle goes up with the arm, degrees."""
        down = np.clip(np.sum(limb.upper * (chest @ -UP), axis=1), -1, 1)
        lift: Array = 24 * ease((np.degrees(np.arccos(down)) - 50) / 120)
        return lift


def _reach(
    root: Array, tip: Array, pole: Array, lengths: tuple[Array, Array]
) -> tuple[Array, Array]:
    """Return the directions of upper arm and forearm that bring the wrist to a spot.

    Near its full length an arm gives way softly; the elbow would snap straight otherwise.
    """
    way = tip - root
    far = np.linalg.norm(way, axis=1)
    knee = lengths[0] + lengths[1] - SOFT_M
    over = np.maximum(far - knee, 0)
    near = np.minimum(far, knee) + SOFT_M * (1 - np.exp(-over / SOFT_M))
    end = root + way * (near / far)[:, None]
    elbow = bend_limb(root, end, upper_m=lengths[0], lower_m=lengths[1], pole=pole)
    return unit(elbow - root), unit(end - elbow)


def _aimed(arm: Arm, chest: Array, frames: int) -> tuple[Array, Array, Array]:
    upper, pole = _rows(arm.upper, frames), _rows(arm.pole, frames)
    fore = None if arm.forearm is None else _rows(arm.forearm, frames)
    if not arm.world:
        upper, pole = (np.einsum("tij,tj->ti", chest, d) for d in (upper, pole))
        fore = None if fore is None else np.einsum("tij,tj->ti", chest, fore)
    hinge = unit(np.cross(pole, upper))
    if fore is None:
        fore = Rotation.from_rotvec(hinge * np.radians(arm.bend)).apply(upper)
    return upper, fore, hinge


def _propped(
    root: Array, tip: Array, lengths: tuple[Array, Array], pole: Array, elbow_m: Array
) -> Array:
    """Return the pole that puts the elbow at a height, on the side the given pole points to.

    The elbow can only be on a circle about the line from shoulder to wrist; of the two points of
    it at that height the one nearer to ``pole`` is taken, or the lowest if none is that low.
    """
    axis = tip - root
    span = np.linalg.norm(axis, axis=1)
    axis = axis / span[:, None]
    long, short = lengths
    along = (long**2 - short**2 + span**2) / (2 * span)
    radius = np.sqrt(np.maximum(long**2 - along**2, 1e-6))
    down = unit(-UP + axis * axis[:, 2:])
    across = np.cross(axis, down)
    steep = np.sqrt(np.maximum(1 - axis[:, 2] ** 2, 1e-6))
    cosine = (root[:, 2] + along * axis[:, 2] - elbow_m) / (radius * steep)
    angle = np.arccos(np.clip(cosine, -1, 1)) * np.sign(np.sum(across * pole, axis=1))
    return down * np.cos(angle)[:, None] + across * np.sin(angle)[:, None]
