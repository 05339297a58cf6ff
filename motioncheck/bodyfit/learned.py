"""What the lifting network knows, as evidence for the fit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from motioncheck.bodyfit.axes import unit
from motioncheck.bodyfit.evidence import MIN_UPRIGHT, Evidence, Size
from motioncheck.bodyfit.model import (
    BONES,
    COUNT,
    GROUP_OF,
    JOINT,
    LANDMARK_OF,
    PRIOR_LOG,
    STATURE_M,
)
from motioncheck.bodyfit.support import find_body_turn, find_on_feet
from motioncheck.bodyfit.terms import State
from motioncheck.lifting import BONES as LIFTED
from motioncheck.lifting import Lift, lift_track
from motioncheck.records import CleanTrack
from motioncheck.records.arrays import BoolArray, FloatArray

IntArray = npt.NDArray[np.int64]

# The network's errors last: of the nodes of a clip about one in so many is news about the camera;
# and what it says of roll and pitch is never surer than this. Project judgement.
CAMERA_MEMORY: Final = 30.0
CAMERA_FLOOR: Final = (float(np.radians(1.0)), float(np.radians(2.0)))
# A direction is doubted when it misses the bone in the picture by more than so many standard
# deviations; nearer bones look larger by about this share. Project judgement.
DOUBT_FROM: Final = 2.5
DOUBT_LIMIT: Final = 10.0
PERSPECTIVE_SHARE: Final = 0.15
# Mean square residual of directions in a middling node, and how errors grow with it: measured on
# the calibration clips. How far it may narrow or widen: project judgement.
USUAL_RESIDUAL: Final = 0.12
STRAIN_POWER: Final = 0.3
STRAIN_LIMITS: Final = (0.5, 3.0)
# A body that is not on its feet and leans by more is shown to the network upright; project
# judgement, tried on rendered planks, push-ups, bridges, and hands and knees.
LYING_FROM: Final = float(np.radians(45.0))
TURN_STEP: Final = float(np.radians(30.0))
# What the mean of both is off by there, each component: 13 degrees of rotation, measured.
OFF_FEET_SD: Final = 0.16


def _place() -> list[int]:
    """Return for each lifted bone its place among the bones of the fit."""
    pairs = [tuple(pair) for pair in BONES.tolist()]
    return [pairs.index((JOINT[a], JOINT[b])) for a, b in LIFTED]


PLACE: Final = np.array(_place())
# Bones of the limbs, each after the one it hangs on; the first four are the trunk.
CHAIN: Final = LIFTED[4:]


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """The network's word at the nodes of a fit; NaN where nobody was found.

    ``direction`` (T, B, 3) and ``direction_sd`` (T, B) are for the bones of the fit, NaN for those
    the network does not know; ``up`` (T, 3) and ``up_sd`` (T,) against gravity; ``shift``
    (T, K, 2) from landmark to joint and ``shift_sd`` (T, K), in statures. ``on_feet`` (T,) tells
    where its word about up counts: it has never met anybody who kneels, lies or hangs.
    """

    direction: FloatArray
    direction_sd: FloatArray
    up: FloatArray
    up_sd: FloatArray
    shift: FloatArray
    shift_sd: FloatArray
    on_feet: BoolArray

    def cut(self, nodes: slice) -> Learned:
        """Return a window of nodes."""
        return Learned(
            self.direction[nodes],
            self.direction_sd[nodes],
            self.up[nodes],
            self.up_sd[nodes],
            self.shift[nodes],
            self.shift_sd[nodes],
            self.on_feet[nodes],
        )


def ask_network(track: CleanTrack, size: Size, *, step: int) -> Learned:
    """Run the network at the nodes of a fit.

    Where the body is not on its feet the network is out of its depth: on rendered bodies that
    kneel, lie or prop themselves up its bones are off by 24 to 35 degrees, those of the pose model
    by 11 to 20. There it is shown the picture turned so that the body is upright, which it knows
    better, its answer is turned back, and the mean with the pose model's own bones is taken (10 to
    18 degrees), with a standard deviation to match.
    """
    nodes = len(track.time_s[::step])
    picture = track.image_px[::step][:, LANDMARK_OF]
    stature_px = size.picture * float(max(track.width_px, track.height_px))
    on_feet = find_on_feet(picture, track.time_s[::step], stature_px)
    learned = Learned(
        direction=np.full((nodes, len(BONES), 3), np.nan),
        direction_sd=np.full((nodes, len(BONES)), np.nan),
        up=np.full((nodes, 3), np.nan),
        up_sd=np.full(nodes, np.nan),
        shift=np.full((nodes, COUNT, 2), np.nan),
        shift_sd=np.full((nodes, COUNT), np.nan),
        on_feet=on_feet,
    )
    turns = choose_turns(picture, on_feet)
    for turn in np.unique(turns):
        shown = turn_track(track, -turn) if turn else track
        wanted = turns == turn
        lift = lift_track(
            shown, picture_px=stature_px, world_m=size.world, step=step, wanted=wanted
        )
        _fill_in(learned, lift, lift.rows // step, turn)
    _meet_half_way(learned, track.world_m[::step][:, LANDMARK_OF])
    return learned


def choose_turns(picture: FloatArray, on_feet: BoolArray) -> FloatArray:
    """Return by how much the body in each picture is turned for the network, radians, (T,).

    0 for bodies on their feet and for those that are about upright; else in steps, so that many
    pictures share one.
    """
    turn = np.nan_to_num(find_body_turn(picture), nan=0.0)
    lying = ~on_feet & (np.abs(turn) > LYING_FROM)
    return np.where(lying, np.round(turn / TURN_STEP) * TURN_STEP, 0.0)


def turn_track(track: CleanTrack, angle: float) -> CleanTrack:
    """Return a track as a camera would see it that is rolled: all is turned clockwise, radians."""
    rotation = _rotation(angle)
    middle = np.array([track.width_px, track.height_px]) / 2.0
    world = np.array(track.world_m)
    world[..., :2] = world[..., :2] @ rotation.T
    return replace(track, image_px=(track.image_px - middle) @ rotation.T + middle, world_m=world)


def _rotation(angle: float) -> FloatArray:
    """Return the matrix that turns clockwise on the screen, where y is down."""
    cosine, sine = np.cos(angle), np.sin(angle)
    return np.array([[cosine, -sine], [sine, cosine]])


def _fill_in(learned: Learned, lift: Lift, at: IntArray, turn: float) -> None:
    """Put answers in their places, turned back by as much as the pictures were turned."""

    def back(values: FloatArray) -> FloatArray:
        if not turn:
            return values
        turned = np.array(values)
        turned[..., :2] = turned[..., :2] @ _rotation(turn).T
        return turned

    rows = at[:, None]
    learned.direction[rows, PLACE] = back(unit(lift.direction))
    learned.direction_sd[rows, PLACE] = lift.direction_sd
    learned.up[at], learned.up_sd[at] = back(lift.up), lift.up_sd
    learned.shift[at], learned.shift_sd[at] = back(lift.shift), lift.shift_sd


def _meet_half_way(learned: Learned, world: FloatArray) -> None:
    """Off the feet, take the mean of the network's directions and those of the pose model."""
    off = ~learned.on_feet
    own = unit(world[off][:, BONES[:, 1]] - world[off][:, BONES[:, 0]])
    learned.direction[off] = unit(learned.direction[off] + own)
    learned.direction_sd[off] = np.hypot(learned.direction_sd[off], OFF_FEET_SD)


def add_learned(evidence: Evidence, learned: Learned) -> Evidence:
    """Return evidence in which the network's word replaces the model's raw depth."""
    mean, sd = evidence.camera_mean.copy(), evidence.camera_sd.copy()
    if (np.isfinite(learned.up_sd) & learned.on_feet).sum() >= MIN_UPRIGHT:
        roll, pitch, roll_sd, pitch_sd = _camera(learned)
        mean[1:], sd[1:] = (roll, pitch), (roll_sd, pitch_sd)
    known = np.isfinite(learned.shift_sd)
    stature = evidence.stature_units
    picture = evidence.picture + stature * learned.shift
    return replace(
        evidence,
        picture=picture,
        picture_sd=np.where(known, stature * learned.shift_sd, evidence.picture_sd),
        depth=np.full_like(evidence.depth, np.nan),
        direction=learned.direction,
        direction_sd=learned.direction_sd * doubt_directions(picture, learned, stature),
        camera_mean=mean,
        camera_sd=sd,
        marks_joints=True,
    )


def doubt_directions(picture: FloatArray, learned: Learned, stature: float) -> FloatArray:
    """Return how many times wider directions are that disagree with the picture, shape (T, B).

    The network has seen rendered people doing what such people do. Where a bone does not even lie
    in the picture as it says, its word about depth counts for less.
    """
    first, second = BONES[:, 0], BONES[:, 1]
    usual = np.exp(PRIOR_LOG)[GROUP_OF][:, None]
    seen = (picture[:, second] - picture[:, first]) / stature * STATURE_M / usual
    miss = np.linalg.norm(seen - learned.direction[..., :2], axis=-1)
    spread = np.hypot(learned.shift_sd[:, first], learned.shift_sd[:, second])
    spread = spread * STATURE_M / usual[:, 0]
    expected = np.sqrt(learned.direction_sd**2 + spread**2 + PERSPECTIVE_SHARE**2)
    ratio = np.nan_to_num(miss / (DOUBT_FROM * expected), nan=1.0)
    return np.asarray(np.clip(ratio, 1.0, DOUBT_LIMIT))


def _camera(learned: Learned) -> tuple[float, float, float, float]:
    """Return roll and pitch of the camera with standard deviations, radians."""
    known = np.isfinite(learned.up_sd) & learned.on_feet
    weight = 1.0 / learned.up_sd[known] ** 2
    up = (learned.up[known] * weight[:, None]).sum(axis=0)
    up /= max(float(np.linalg.norm(up)), 1e-9)
    roll = float(np.arctan2(-up[0], -up[1]))
    pitch = float(np.arcsin(np.clip(up[2], -1.0, 1.0)))
    news = max(1.0, known.sum() / CAMERA_MEMORY)
    sd = float(np.sqrt(known.sum() / weight.sum() / news))
    return roll, pitch, float(np.hypot(sd, CAMERA_FLOOR[0])), float(np.hypot(sd, CAMERA_FLOOR[1]))


def compute_strain(evidence: Evidence, state: State) -> FloatArray:
    """Return how much wider than usual a body may be off at each node, shape (T,).

    Where the fitted bones do not lie as the network says, something is wrong: on the calibration
    clips the errors there grow with the third root, about, of the mean square residual. 1 where
    the network said nothing.
    """
    line = state.joints[:, BONES[:, 1]] - state.joints[:, BONES[:, 0]]
    away = line / np.exp(state.log_length)[GROUP_OF][:, None] - evidence.direction
    square = np.sum(away**2, axis=-1) / (3.0 * evidence.direction_sd**2)
    known = np.isfinite(square)
    mean = np.where(known, square, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    strain = np.clip((mean / USUAL_RESIDUAL) ** STRAIN_POWER, *STRAIN_LIMITS)
    return np.where(known.any(axis=1), strain, 1.0)


def guess_from_directions(evidence: Evidence, start: State) -> State:
    """Return a first guess: bones of usual length along the network's directions.

    The middle of the hips stays where the start has it; nodes without directions stay whole.
    """
    joints = start.joints.copy()
    line = _lines(evidence.direction, np.exp(start.log_length))
    known = np.isfinite(line[:, PLACE]).all(axis=(1, 2))
    index = {pair: int(PLACE[i]) for i, pair in enumerate(LIFTED)}
    middle = joints[:, [JOINT["left_hip"], JOINT["right_hip"]]].mean(axis=1)
    built = np.full_like(joints, np.nan)
    half = line[:, index["left_hip", "right_hip"]] / 2.0
    built[:, JOINT["left_hip"]], built[:, JOINT["right_hip"]] = middle - half, middle + half
    half = line[:, index["left_shoulder", "right_shoulder"]] / 2.0
    trunk = np.mean(
        [line[:, index[f"{s}_shoulder", f"{s}_hip"]] for s in ("left", "right")], axis=0
    )
    built[:, JOINT["left_shoulder"]] = middle - trunk - half
    built[:, JOINT["right_shoulder"]] = middle - trunk + half
    for a, b in CHAIN:
        built[:, JOINT[b]] = built[:, JOINT[a]] + line[:, index[a, b]]
    joints[known] = built[known]
    return State(joints, start.log_length, start.log_focal, start.roll, start.pitch)


def _lines(direction: FloatArray, length: FloatArray) -> FloatArray:
    return np.asarray(direction * length[GROUP_OF][:, None])
