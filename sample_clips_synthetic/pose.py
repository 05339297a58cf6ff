"""From wanted segment directions to a posed body.

The keypoints ride on the skin, so turning a bone by a computed angle does not put them exactly
where a stick figure would have them. The solver therefore poses, measures and corrects a few
times; what is asked for and what is rendered then agree to a fraction of a degree.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from bodies import NECK, SIDES, SPINE, SUFFIX, TOES, Array, Body, Posed
from scipy.ndimage import gaussian_filter1d
from scipy.spatial.transform import Rotation

PASSES = 11
LEFT = np.array([1.0, 0.0, 0.0])
FORWARD = np.array([0.0, -1.0, 0.0])
UP = np.array([0.0, 0.0, 1.0])
SIGN = {"left": 1.0, "right": -1.0}


def unit(vector: Array) -> Array:
    """Scale vectors (last axis) to length one."""
    return vector / np.linalg.norm(vector, axis=-1, keepdims=True)


def turn(axis: str, angle_deg: Array | float, frames: int | None = None) -> Array:
    """Return rotation matrices about a fixed axis, shape (T, 3, 3)."""
    angle = np.atleast_1d(np.asarray(angle_deg, dtype=float))
    if frames is not None:
        angle = np.broadcast_to(angle, (frames,))
    return Rotation.from_euler(axis, angle[:, None], degrees=True).as_matrix()


def inverse(rotation: Array) -> Array:
    """Return the inverse of rotation matrices."""
    return np.swapaxes(rotation, -1, -2)


def limb_frame(direction: Array, hinge: Array) -> Array:
    """Build a right-handed frame whose last column is the limb and whose first is its hinge."""
    d = unit(direction)
    h = unit(hinge - d * np.sum(d * hinge, axis=-1, keepdims=True))
    return np.stack([h, np.cross(d, h), d], axis=-1)


def smallest_turn(source: Array, target: Array) -> Array:
    """Return the smallest rotations that take one set of directions to another."""
    a, b = unit(source), unit(target)
    axis = np.cross(a, b)
    sine = np.linalg.norm(axis, axis=-1, keepdims=True)
    angle = np.arctan2(sine, np.sum(a * b, axis=-1, keepdims=True))
    return Rotation.from_rotvec(axis / np.maximum(sine, 1e-12) * angle).as_matrix()


def bend_limb(root: Array, tip: Array, *, upper_m: Array, lower_m: Array, pole: Array) -> Array:
    """Place the middle joint of a two-bone limb; it bends toward ``pole``."""
    axis = tip - root
    reach = np.linalg.norm(axis, axis=-1)
    span = np.clip(reach, 1e-6, (upper_m + lower_m) * 0.99995)
    along = (upper_m**2 - lower_m**2 + span**2) / (2 * span)
    off = np.sqrt(np.maximum(upper_m**2 - along**2, 0.0))
    u = axis / reach[:, None]
    side = unit(pole - u * np.sum(u * pole, axis=-1, keepdims=True))
    return root + u * along[:, None] + side * off[:, None]


@dataclass(frozen=True)
class Limb:
    """Wanted directions of an arm or a leg, and the axis its hinge joint turns about."""

    upper: Array
    lower: Array
    hinge: Array


@dataclass(frozen=True)
class HandTurn:
    """A hand's own rotation (T, 3, 3) and how far (0 to 1) it has that, not the forearm's."""

    rotation: Array
    share: Array


@dataclass(frozen=True)
class Targets:
    """What a movement asks of the body in every frame.

    ``mid_hip`` places the body; where its z is NaN the lowest point of the feet is put
    ``clearance_m`` above the floor instead.
    """

    pelvis: Array
    chest: Array
    head: Array
    legs: dict[str, Limb]
    arms: dict[str, Limb]
    feet: dict[str, Array]
    mid_hip: Array
    toe_bend_deg: dict[str, Array] = field(default_factory=dict)
    shoulder_lift_deg: dict[str, Array] = field(default_factory=dict)
    hand_bend_deg: dict[str, Array] = field(default_factory=dict)
    hands: dict[str, HandTurn] = field(default_factory=dict)
    clearance_m: Array | None = None


@dataclass(frozen=True)
class Measured:
    """Sizes and positions read off the body as it was posed in the previous pass.

    ``low`` is the height of the lowest clothed skin over the floor, for the ``regions`` of
    vertices that the motion names; empty in the first pass.
    """

    points: dict[str, Array]
    sole_z: float
    low: dict[str, Array] = field(default_factory=dict)

    @property
    def frames(self) -> int:
        """Number of frames."""
        return len(self.points["nose"])

    def mid(self, name: str) -> Array:
        """Return the middle of the left and the right joint."""
        return 0.5 * (self.points[f"left_{name}"] + self.points[f"right_{name}"])

    def length(self, side: str, first: str, second: str) -> Array:
        """Return the distance between two joints of one side, per frame."""
        return np.linalg.norm(
            self.points[f"{side}_{second}"] - self.points[f"{side}_{first}"], axis=-1
        )

    def from_hip_centre(self, name: str) -> Array:
        """Return a point relative to the middle of the hips."""
        return self.points[name] - self.mid("hip")

    def ankle_over_sole(self, side: str) -> Array:
        """Return the ankle relative to the middle of heel and big toe."""
        sole = 0.5 * (self.points[f"{side}_heel"] + self.points[f"{side}_big_toe"])
        return self.points[f"{side}_ankle"] - sole


Motion = Callable[[Measured], Targets]


def _share(rotation: Array, parts: int) -> Array:
    """Split rotations into equal parts about the same axis."""
    return Rotation.from_rotvec(Rotation.from_matrix(rotation).as_rotvec() / parts).as_matrix()


def _local_rotations(body: Body, targets: Targets, fix: dict[str, Array]) -> Array:
    """Turn wanted directions into parent-relative bone rotations, shape (T, B, 3, 3)."""
    frames = len(targets.mid_hip)
    local = np.tile(np.eye(3), (frames, len(body.parents), 1, 1))
    put = body.bone_index
    chest = fix["chest"] @ targets.chest
    local[:, put["root"]] = targets.pelvis
    for bone in SPINE:
        local[:, put[bone]] = _share(inverse(targets.pelvis) @ chest, len(SPINE))
    for bone in NECK:
        local[:, put[bone]] = _share(inverse(chest) @ targets.head, len(NECK))
    for side in SIDES:
        s = SUFFIX[side]
        lift = targets.shoulder_lift_deg.get(side, np.zeros(frames))
        local[:, put[f"clavicle.{s}"]] = turn("y", -SIGN[side] * lift)
        girdle = chest @ local[:, put[f"clavicle.{s}"]]
        upper, lower = _limb_rotations(body, targets.arms[side], side, "arm", fix)
        local[:, put[f"upperarm01.{s}"]] = inverse(girdle) @ upper
        local[:, put[f"lowerarm01.{s}"]] = inverse(upper) @ lower
        if side in targets.hand_bend_deg:
            local[:, put[f"wrist.{s}"]] = _hand_bend(body, side, targets.hand_bend_deg[side])
        if side in targets.hands:
            local[:, put[f"wrist.{s}"]] = _hand_turn(lower, targets.hands[side])
        thigh, shank = _limb_rotations(body, targets.legs[side], side, "leg", fix)
        local[:, put[f"upperleg01.{s}"]] = inverse(targets.pelvis) @ thigh
        local[:, put[f"lowerleg01.{s}"]] = inverse(thigh) @ shank
        local[:, put[f"foot.{s}"]] = inverse(shank) @ targets.feet[side]
        bend = targets.toe_bend_deg.get(side, np.zeros(frames))
        for toe in TOES:
            local[:, put[f"{toe}.{s}"]] = turn("x", -bend)
    return local


JOINTS = {"arm": ("shoulder", "elbow", "wrist"), "leg": ("hip", "knee", "ankle")}


def _rest_limb(body: Body, side: str, kind: str) -> tuple[Array, Array, Array]:
    a, b, c = (body.rest[f"{side}_{name}"] for name in JOINTS[kind])
    hinge = LEFT if kind == "leg" else unit(np.cross(b - a, c - b))
    return b - a, c - b, hinge


def _limb_rotations(
    body: Body, limb: Limb, side: str, kind: str, fix: dict[str, Array]
) -> tuple[Array, Array]:
    upper, lower, hinge = _rest_limb(body, side, kind)
    first = limb_frame(limb.upper, limb.hinge) @ limb_frame(upper, hinge).T
    second = limb_frame(limb.lower, limb.hinge) @ limb_frame(lower, hinge).T
    return fix[f"{side}_{kind}_upper"] @ first, fix[f"{side}_{kind}_lower"] @ second


def _hand_bend(body: Body, side: str, angle_deg: Array) -> Array:
    """Bend the hand about the elbow's own hinge axis; positive follows the elbow's flexion."""
    _, _, hinge = _rest_limb(body, side, "arm")
    return Rotation.from_rotvec(np.radians(angle_deg)[:, None] * hinge).as_matrix()


def _hand_turn(forearm: Array, hand: HandTurn) -> Array:
    """Turn the hand against the forearm, so that it lies as wanted in the world."""
    own = Rotation.from_matrix(inverse(forearm) @ hand.rotation).as_rotvec()
    return Rotation.from_rotvec(own * hand.share[:, None]).as_matrix()


def _place(body: Body, posed: Posed, targets: Targets) -> Array:
    """Return the shift of every frame that puts the body where it belongs."""
    mid = 0.5 * (posed.points["left_hip"] + posed.points["right_hip"])
    shift = targets.mid_hip - mid
    free = np.isnan(targets.mid_hip[:, 2])
    if free.any():
        lowest = posed.skin[:, body.foot_vertices, 2].min(axis=1) - body.offsets_m.max() * 0.5
        clearance = targets.clearance_m if targets.clearance_m is not None else np.zeros(len(mid))
        # The lowest point jumps from foot to foot; a real pelvis does not.
        smooth = gaussian_filter1d(clearance - lowest, 1.0, mode="nearest")
        shift[free, 2] = smooth[free]
    return shift


def _correct(fix: dict[str, Array], posed: Posed, targets: Targets) -> None:
    """Fold what is left between the wanted and the reached directions into the corrections."""
    p = posed.points
    for side in SIDES:
        for kind, limbs in (("arm", targets.arms), ("leg", targets.legs)):
            a, b, c = (p[f"{side}_{name}"] for name in JOINTS[kind])
            for part, got, want in (
                ("upper", b - a, limbs[side].upper),
                ("lower", c - b, limbs[side].lower),
            ):
                key = f"{side}_{kind}_{part}"
                fix[key] = smallest_turn(got, want) @ fix[key]
    trunk = 0.5 * (p["left_shoulder"] + p["right_shoulder"] - p["left_hip"] - p["right_hip"])
    reached = limb_frame(trunk, p["left_shoulder"] - p["right_shoulder"])
    wanted = limb_frame(targets.chest @ UP, targets.chest @ LEFT)
    fix["chest"] = wanted @ inverse(reached) @ fix["chest"]


def _lowest(body: Body, posed: Posed, shift: Array, motion: Motion) -> dict[str, Array]:
    """Return how high each region named by the motion is over the floor, metres."""
    regions: dict[str, Array] = getattr(motion, "regions", {})
    return {
        name: (posed.skin[:, picked, 2] - body.offsets_m[picked]).min(axis=1) + shift[:, 2]
        for name, picked in regions.items()
    }


def solve(body: Body, motion: Motion, frames: int, *, passes: int = PASSES) -> Posed:
    """Pose the body for every frame of a movement.

    Parameters
    ----------
    motion : callable
        Gives the targets, knowing the sizes measured in the pass before; planted feet need
        that, because the distance between two keypoints changes a little as the skin bends.
    """
    rest = {name: np.tile(value, (frames, 1)) for name, value in body.rest.items()}
    measured = Measured(points=rest, sole_z=body.rest_sole_z)
    keys = [f"{s}_{k}_{p}" for s in SIDES for k in JOINTS for p in ("upper", "lower")]
    fix = {key: np.tile(np.eye(3), (frames, 1, 1)) for key in [*keys, "chest"]}
    for number in range(passes):
        targets = motion(measured)
        posed = body.forward(_local_rotations(body, targets, fix))
        shift = _place(body, posed, targets)
        points = {name: value + shift for name, value in posed.points.items()}
        # A bent limb measures shorter, and a shorter limb is bent less: without this average a
        # nearly straight knee would swing between two answers from pass to pass.
        before = measured.points if number > 1 else points
        measured = Measured(
            points={name: 0.5 * (value + before[name]) for name, value in points.items()},
            sole_z=body.rest_sole_z,
            low=_lowest(body, posed, shift, motion),
        )
        if number < passes - 1:
            _correct(fix, posed, targets)
    skin = posed.skin + shift[:, None].astype(np.float32)
    bones = {name: value + shift for name, value in posed.bones.items()}
    return Posed(skin=skin, points=points, bones=bones)
