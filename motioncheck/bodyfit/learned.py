"""What the lifting network knows, as evidence for the fit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from motioncheck.bodyfit.axes import unit
from motioncheck.bodyfit.evidence import Evidence, Size
from motioncheck.bodyfit.model import BONES, GROUP_OF, JOINT, PRIOR_LOG, STATURE_M
from motioncheck.bodyfit.terms import State
from motioncheck.lifting import BONES as LIFTED
from motioncheck.lifting import lift_track
from motioncheck.records import CleanTrack
from motioncheck.records.arrays import FloatArray

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
    (T, K, 2) from landmark to joint and ``shift_sd`` (T, K), in statures.
    """

    direction: FloatArray
    direction_sd: FloatArray
    up: FloatArray
    up_sd: FloatArray
    shift: FloatArray
    shift_sd: FloatArray

    def cut(self, nodes: slice) -> Learned:
        """Return a window of nodes."""
        return Learned(
            self.direction[nodes],
            self.direction_sd[nodes],
            self.up[nodes],
            self.up_sd[nodes],
            self.shift[nodes],
            self.shift_sd[nodes],
        )


def ask_network(track: CleanTrack, size: Size, *, step: int) -> Learned:
    """Run the network at the nodes of a fit."""
    long_side = float(max(track.width_px, track.height_px))
    lift = lift_track(track, picture_px=size.picture * long_side, world_m=size.world, step=step)
    nodes = len(track.time_s[::step])
    at = lift.rows // step

    def spread(values: FloatArray) -> FloatArray:
        whole = np.full((nodes, *values.shape[1:]), np.nan)
        whole[at] = values
        return whole

    direction = np.full((nodes, len(BONES), 3), np.nan)
    direction[:, PLACE] = spread(unit(lift.direction))
    direction_sd = np.full((nodes, len(BONES)), np.nan)
    direction_sd[:, PLACE] = spread(lift.direction_sd)
    return Learned(
        direction,
        direction_sd,
        spread(lift.up),
        spread(lift.up_sd),
        spread(lift.shift),
        spread(lift.shift_sd),
    )


def add_learned(evidence: Evidence, learned: Learned) -> Evidence:
    """Return evidence in which the network's word replaces the model's raw depth."""
    roll, pitch, roll_sd, pitch_sd = _camera(learned)
    mean, sd = evidence.camera_mean.copy(), evidence.camera_sd.copy()
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
    known = np.isfinite(learned.up_sd)
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
