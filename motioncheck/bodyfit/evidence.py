"""What the fit is told: landmarks at its nodes, weak depth, contacts, smoothness, camera."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from motioncheck.bodyfit.model import (
    BONES,
    DEPTH_SD_M,
    GROUP_OF,
    GROUPS,
    JOINT,
    LANDMARK_OF,
    PRIOR_LOG,
    STATURE_M,
)
from motioncheck.bodyfit.support import find_on_feet
from motioncheck.bodyfit.terms import State
from motioncheck.records import CleanTrack
from motioncheck.records.arrays import FloatArray

BoolArray = npt.NDArray[np.bool_]

# Error of a landmark that is well seen, as a share of stature; tuned on rendered bodies.
LANDMARK_SD: Final = 0.010
HIDDEN_SD: Final = 0.05
# Depth by which the hips of the model's own standing body lie behind its ankles is the pitch of
# the camera, all but this; rendered bodies, calibration half: intercept, slope, scatter, degrees.
PITCH_CUE: Final = (4.2, 1.15, 4.0)
# Scatter of the line from ankles to shoulders of a standing body about the vertical, degrees, seen
# from the front and from the side, where it leans a little.
PLUMB_FRONT_DEG: Final = 1.2
PLUMB_SIDE_DEG: Final = 3.0
# Height of the lens above the feet.
CAMERA_HEIGHT_M: Final = 1.0
CAMERA_HEIGHT_SD_M: Final = 0.4
# Logarithm of the focal length in longer sides of the picture (phones: 0.75 for the main lens of
# many, to 1.6 and more zoomed in); roll and pitch in radians.
CAMERA_MEAN: Final = (float(np.log(1.2)), 0.0, 0.0)
CAMERA_SD: Final = (0.25, float(np.radians(4.0)), float(np.radians(8.0)))
# A joint of a foot is planted when it moves less than this, in statures a second, and is as low
# in the picture as it gets, within a share of stature.
STILL_SPEED: Final = 0.10
LOW_SHARE: Final = 0.05
# Feet one step apart along the line of sight differ by this much in the picture at most (0.8 m
# filmed from 3 m away and 1 m high: 0.16 of stature).
STEP_SHARE: Final = 0.2
# A leg looks stretched when its ends are as far apart as they get; this much less is no longer it.
STRETCHED_SHARE: Final = 0.985
REACH_SD_M: Final = 0.006
# Upright: hips and shoulders within 3 % of the highest they get; at least so many nodes to
# learn from.
UPRIGHT_SHARE: Final = 0.97
MIN_UPRIGHT: Final = 4
# Share of the bend of a joint's path in the picture that is movement; tuned on the calibration
# clips, like the next.
BEND_SHARE: Final = 0.7
BALANCE_SD_M: Final = 0.2
FLOOR_PAIRS: Final = np.array(
    [(JOINT[f"left_{p}"], JOINT[f"right_{p}"]) for p in ("heel", "toe", "ankle")]
    + [(JOINT[f"{s}_heel"], JOINT[f"{s}_toe"]) for s in ("left", "right")]
)
FLOOR_RISE_M: Final = np.array([0.0, 0.0, 0.0, 0.015, 0.015])
FLOOR_SD_M: Final = np.array([0.02, 0.02, 0.02, 0.2, 0.2])
FEET: Final = tuple(JOINT[f"{s}_{p}"] for s in ("left", "right") for p in ("ankle", "heel", "toe"))
# Hands, knees and the seat carry weight too, where they are about as low as the lowest joint.
PROPS: Final = tuple(JOINT[f"{s}_{p}"] for s in ("left", "right") for p in ("wrist", "knee", "hip"))
PROP_SHARE: Final = 0.07
STRAIGHTENED: Final = tuple(i for i, g in enumerate(GROUPS) if g.name in ("thigh", "shank"))


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """Everything the terms need; shapes as in `motioncheck.bodyfit.terms`.

    ``upright`` (T,) marks nodes of standing, from which the facing is told; ``on_feet`` (T,) those
    at which the feet carry the body, see `motioncheck.bodyfit.support`. ``marks_joints``:
    the picture shows the joints themselves, not landmarks beside them.
    """

    time_s: FloatArray
    picture: FloatArray
    picture_sd: FloatArray
    depth: FloatArray
    depth_sd: FloatArray
    bend_sd: FloatArray
    planted: FloatArray
    level: FloatArray
    balance_sd: FloatArray
    height_sd: FloatArray
    reach_sd: FloatArray
    camera_mean: FloatArray
    camera_sd: FloatArray
    stature_units: float
    upright: BoolArray
    on_feet: BoolArray
    direction: FloatArray
    direction_sd: FloatArray
    marks_joints: bool = False


@dataclass(frozen=True, slots=True)
class Size:
    """Stature of the person in longer sides of the picture, and in the model's own metres."""

    picture: float
    world: float


def measure_size(track: CleanTrack) -> Size:
    """Measure how large the person is in a whole clip; NaN where nobody was found."""
    picture = track.image_px[:, LANDMARK_OF] / max(track.width_px, track.height_px)
    world = track.world_m[:, LANDMARK_OF]
    return Size(estimate_stature(picture), estimate_stature(world))


def collect_evidence(track: CleanTrack, size: Size, *, step: int) -> Evidence:
    """Sample a cleaned track at the nodes of the fit and derive the rest.

    Parameters
    ----------
    track : CleanTrack
        Cleaned with a low visibility gate: hidden landmarks still help, with a large uncertainty.
    size : Size
        Of the whole clip that the track is part of.
    step : int
        Every how many frames there is a node.
    """
    rows = slice(0, None, step)
    time_s = track.time_s[rows]
    long_side = float(max(track.width_px, track.height_px))
    middle = np.array([track.width_px, track.height_px]) / 2.0
    picture = (track.image_px[rows][:, LANDMARK_OF] - middle) / long_side
    world = track.world_m[rows][:, LANDMARK_OF]
    seen = track.visibility[rows][:, LANDMARK_OF]
    stature = size.picture
    hidden = np.clip((0.9 - seen) / 0.8, 0.0, 1.0)
    planted = find_planted(picture, time_s, stature)
    carried = np.vstack([planted[:1], planted])
    both = carried[:, JOINT["left_ankle"]] * carried[:, JOINT["right_ankle"]]
    on_feet = find_on_feet(picture, time_s, stature)
    both = both * (carried[:, PROPS].max(axis=1) == 0) * on_feet
    scale = STATURE_M / size.world
    upright = find_upright(picture) & on_feet
    pitch, pitch_sd = expected_pitch(world, upright)
    camera_mean, camera_sd = np.array(CAMERA_MEAN), np.array(CAMERA_SD)
    camera_mean[2], camera_sd[2] = pitch, pitch_sd
    camera_mean[1], camera_sd[1] = expected_roll(picture, world, upright)
    on = int(both.sum())
    bone_hidden = np.maximum(hidden[:, BONES[:, 0]], hidden[:, BONES[:, 1]])
    return Evidence(
        time_s=time_s,
        picture=picture,
        picture_sd=stature * (LANDMARK_SD + (HIDDEN_SD - LANDMARK_SD) * hidden**2),
        depth=expected_depth(world, upright, pitch) * scale,
        depth_sd=DEPTH_SD_M * (1.0 + bone_hidden),
        bend_sd=estimate_bend(picture, stature),
        planted=planted,
        level=np.stack([carried[:, p] * carried[:, q] * on_feet for p, q in FLOOR_PAIRS], axis=1),
        balance_sd=np.where(both > 0, BALANCE_SD_M, np.inf),
        height_sd=np.where(both > 0, CAMERA_HEIGHT_SD_M * np.sqrt(max(on, 1)), np.inf),
        reach_sd=find_stretched(picture, stature),
        camera_mean=camera_mean,
        camera_sd=camera_sd,
        stature_units=stature,
        upright=upright,
        on_feet=on_feet,
        direction=np.full((len(time_s), len(BONES), 3), np.nan),
        direction_sd=np.full((len(time_s), len(BONES)), np.nan),
    )


def find_upright(picture: FloatArray) -> BoolArray:
    """Find nodes of upright standing, shape (T,).

    There hips and shoulders are as high above both feet as they get.
    """
    y = picture[..., 1]
    feet = np.fmin(y[:, JOINT["left_ankle"]], y[:, JOINT["right_ankle"]])
    upright = np.ones(len(y), dtype=np.bool_)
    for part in ("hip", "shoulder"):
        middle = (y[:, JOINT[f"left_{part}"]] + y[:, JOINT[f"right_{part}"]]) / 2.0
        height = np.nan_to_num(feet - middle, nan=-np.inf)
        known = height[np.isfinite(height)]
        highest = float(np.percentile(known, 95.0)) if len(known) else np.inf
        upright &= height >= UPRIGHT_SHARE * highest
    return upright


def find_stretched(picture: FloatArray, stature: float) -> FloatArray:
    """Return how far a leg that looks stretched may be from straight, metres, shape (T, 2).

    Infinite where it does not look stretched. Left leg first.
    """
    sds = []
    for side in ("left", "right"):
        line = picture[:, JOINT[f"{side}_hip"]] - picture[:, JOINT[f"{side}_ankle"]]
        length = np.nan_to_num(np.linalg.norm(line, axis=-1), nan=0.0)
        longest = float(np.percentile(length, 95.0))
        missing = np.maximum(longest - length, 0.0) / stature * STATURE_M
        known = (length >= STRETCHED_SHARE * longest) & (longest > 0.4 * stature)
        sds.append(np.where(known, REACH_SD_M + missing, np.inf))
    return np.stack(sds, axis=1)


def expected_pitch(world: FloatArray, upright: BoolArray) -> tuple[float, float]:
    """Return pitch and standard deviation, radians, from the lean of the model's standing body."""
    mean, sd = CAMERA_MEAN[2], CAMERA_SD[2]
    hips = (world[:, JOINT["left_hip"]] + world[:, JOINT["right_hip"]]) / 2.0
    ankles = (world[:, JOINT["left_ankle"]] + world[:, JOINT["right_ankle"]]) / 2.0
    line = (hips - ankles)[upright]
    line = line[np.isfinite(line).all(axis=-1)]
    if len(line) < MIN_UPRIGHT:
        return mean, sd
    intercept, slope, scatter = np.radians(PITCH_CUE[0]), PITCH_CUE[1], np.radians(PITCH_CUE[2])
    cue = intercept + slope * float(np.median(np.arctan2(line[:, 2], -line[:, 1])))
    share = sd**2 / (sd**2 + scatter**2)
    return mean + share * (cue - mean), float(scatter * np.sqrt(share))


def expected_roll(
    picture: FloatArray, world: FloatArray, upright: BoolArray
) -> tuple[float, float]:
    """Return roll and standard deviation, radians, from the plumb line of the standing body."""
    mean, sd = CAMERA_MEAN[1], CAMERA_SD[1]
    shoulders = picture[:, JOINT["left_shoulder"]] + picture[:, JOINT["right_shoulder"]]
    ankles = picture[:, JOINT["left_ankle"]] + picture[:, JOINT["right_ankle"]]
    line = (shoulders - ankles)[upright]
    across = (world[:, JOINT["left_shoulder"]] - world[:, JOINT["right_shoulder"]])[upright]
    known = np.isfinite(line).all(axis=-1) & np.isfinite(across).all(axis=-1)
    if known.sum() < MIN_UPRIGHT:
        return mean, sd
    line, across = line[known], across[known]
    side = float(
        np.median(np.abs(across[:, 2]) / np.maximum(np.linalg.norm(across, axis=-1), 1e-6))
    )
    scatter = np.radians(np.hypot(PLUMB_FRONT_DEG * np.sqrt(1 - side**2), PLUMB_SIDE_DEG * side))
    cue = float(np.median(np.arctan2(-line[:, 0], -line[:, 1])))
    share = sd**2 / (sd**2 + scatter**2)
    return mean + share * (cue - mean), float(scatter * np.sqrt(share))


def expected_depth(world: FloatArray, upright: BoolArray, pitch: float) -> FloatArray:
    """Return the depth of each bone's first end minus that of its second, shape (T, B).

    From the model's own 3-D body, whose straight legs come out bent when seen end-on: what thighs
    and shanks of a body standing upright read is replaced by what upright ones do at this pitch.
    """
    a, b = BONES[:, 0], BONES[:, 1]
    depth = world[:, a, 2] - world[:, b, 2]
    if upright.sum() < MIN_UPRIGHT:
        return np.asarray(depth)
    plumb = np.tan(pitch) * (world[:, b, 1] - world[:, a, 1])
    surplus = (depth - plumb)[upright]
    offset = [np.median(c[np.isfinite(c)]) if np.isfinite(c).any() else 0.0 for c in surplus.T]
    return np.asarray(depth - np.where(np.isin(GROUP_OF, STRAIGHTENED), offset, 0.0))


def _longest(points: FloatArray, pairs: tuple[tuple[str, str], ...]) -> float:
    lines = [points[:, JOINT[a]] - points[:, JOINT[b]] for a, b in pairs]
    lengths = np.concatenate([np.linalg.norm(d, axis=-1) for d in lines])
    lengths = lengths[np.isfinite(lengths)]
    return float(np.percentile(lengths, 90)) if len(lengths) else float("nan")


def estimate_stature(points: FloatArray) -> float:
    """Estimate the stature from the longest legs and trunk seen, in the unit of the points.

    Thigh, shank and trunk are 0.239, 0.240 and 0.300 of it, as in the prior of the lengths; a
    part that is never seen is left out, and NaN comes back only when none is.
    """
    parts = (("hip", "knee", 0.239), ("knee", "ankle", 0.240), ("shoulder", "hip", 0.300))
    seen = [
        (_longest(points, tuple((f"{s}_{a}", f"{s}_{b}") for s in ("left", "right"))), share)
        for a, b, share in parts
    ]
    known = [(length, share) for length, share in seen if np.isfinite(length) and length > 0]
    if not known:
        return float("nan")
    return sum(length for length, _ in known) / sum(share for _, share in known)


def find_planted(picture: FloatArray, time_s: FloatArray, stature: float) -> FloatArray:
    """Find steps between nodes in which a joint on the floor stays where it is, shape (T - 1, K).

    A joint of a foot is on the floor where it is as low as it gets, and not far above the lowest
    joint of the body: a foot held up at rest is not. A hand, a knee or the seat is where it is
    about as low as the lowest joint.
    """
    step = np.linalg.norm(np.diff(picture, axis=0), axis=-1)
    speed = step / np.diff(time_s)[:, None] / stature
    lowest = np.nanmax(np.nan_to_num(picture[..., 1], nan=-np.inf), axis=1)
    still = np.zeros(speed.shape)
    for joint in (*FEET, *PROPS):
        y = picture[:, joint, 1]
        if not np.isfinite(y).any():
            continue
        if joint in PROPS:
            floor = lowest - PROP_SHARE * stature
        else:
            own = np.nanpercentile(y, 95.0) - LOW_SHARE * stature
            floor = np.maximum(own, lowest - STEP_SHARE * stature)
        low = np.nan_to_num(y, nan=-np.inf) > floor
        slow = np.nan_to_num(speed[:, joint], nan=np.inf) < STILL_SPEED
        still[:, joint] = slow & low[1:] & low[:-1]
    return still


def estimate_bend(picture: FloatArray, stature: float) -> FloatArray:
    """Estimate how much each joint's path bends between nodes, metres, from the picture itself.

    Depth moves about as briskly as the picture shows; a joint seen at rest may still move in
    depth, hence the floor. A good part of what the picture shows is noise. Shape (K,).
    """
    bend = np.linalg.norm(picture[2:] - 2 * picture[1:-1] + picture[:-2], axis=-1)
    known = np.isfinite(bend)
    total = np.where(known, bend**2, 0.0).sum(axis=0)
    typical = np.sqrt(total / np.maximum(known.sum(axis=0), 1))
    metres = np.where(known.any(axis=0), typical, 0.01 * stature) / stature * STATURE_M
    overall = float(np.median(metres))
    return np.asarray(BEND_SHARE * np.maximum(np.maximum(metres, 0.5 * overall), 0.002))


def first_guess(evidence: Evidence, track: CleanTrack, size: Size, *, step: int) -> State:
    """Place the model's own 3-D body at the depth that its size in the picture asks for."""
    world = track.world_m[::step][:, LANDMARK_OF]
    scale = STATURE_M / size.world
    focal = float(np.exp(evidence.camera_mean[0]))
    distance = focal * STATURE_M / evidence.stature_units
    depth = _fill(world[..., 2]) * scale + distance
    spot = np.stack([_fill(evidence.picture[..., i]) for i in range(2)], axis=-1)
    joints = np.concatenate([spot * depth[..., None] / focal, depth[..., None]], axis=-1)
    _, roll, pitch = evidence.camera_mean
    return State(joints, PRIOR_LOG.copy(), float(np.log(focal)), float(roll), float(pitch))


def _fill(values: FloatArray) -> FloatArray:
    """Fill missing values along time by straight lines; what was never seen is zero."""
    filled = np.array(values)
    index = np.arange(len(filled))
    for k in range(filled.shape[1]):
        ok = np.isfinite(filled[:, k])
        filled[:, k] = np.interp(index, index[ok], filled[ok, k]) if ok.any() else 0.0
    return filled
