"""What the fit is told: landmarks at its nodes, weak depth, contacts, smoothness, vertical."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motioncheck.bodyfit.model import BONES, GROUP_OF, GROUPS, JOINT, LANDMARK_OF, PRIOR_LOG, STATURE_M
from motioncheck.bodyfit.terms import State
from motioncheck.records import CleanTrack
from motioncheck.records.arrays import FloatArray

# Error of a landmark that is well seen, as a share of stature; rendered bodies, see docs.
LANDMARK_SD = 0.008
HIDDEN_SD = 0.05
# The model's own depth differences are off by about this much, metres (rendered bodies).
DEPTH_SD_M = 0.10
# Phones film with a focal length of 0.7 to 1.6 times the longer side of the picture.
FOCAL_PRIOR = (float(np.log(1.1)), 0.35)
# A foot joint is planted when it moves less than this, in statures a second.
STILL_SPEED = 0.10
# Upright: hips within 3 % of the highest they get; at least this many nodes to learn from.
UPRIGHT_SHARE = 0.97
MIN_UPRIGHT = 4
_NAMES = [g.name for g in GROUPS]
LONG_GROUPS = [_NAMES.index(n) for n in ("trunk", "thigh", "shank", "upper arm", "forearm")]
TRUNK, DIAGONAL = _NAMES.index("trunk"), _NAMES.index("trunk diagonal")
BoolArray = np.ndarray[tuple[int], np.dtype[np.bool_]]
FEET = tuple(JOINT[f"{s}_{p}"] for s in ("left", "right") for p in ("ankle", "heel", "toe"))


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """Everything the terms need; shapes as in `motioncheck.bodyfit.terms`."""

    time_s: FloatArray
    picture: FloatArray
    picture_sd: FloatArray
    depth: FloatArray
    depth_sd: FloatArray
    bend_sd: FloatArray
    planted: FloatArray
    level: FloatArray
    up: FloatArray
    focal_prior: tuple[float, float]
    stature_units: float


def collect_evidence(track: CleanTrack, *, node_hz: float, tilt_deg: float = 0.0) -> Evidence:
    """Sample a cleaned track at the nodes of the fit and derive the rest.

    Parameters
    ----------
    track : CleanTrack
        Cleaned with a low visibility gate: hidden landmarks still help, with a large uncertainty.
    node_hz : float
        Nodes a second.
    tilt_deg : float
        Roll of the phone, when sure; positive = turn the picture clockwise to stand upright.
    """
    step = max(1, round(track.rate_hz / node_hz))
    rows = slice(0, None, step)
    time_s = track.time_s[rows]
    size = float(max(track.width_px, track.height_px))
    middle = np.array([track.width_px, track.height_px]) / 2.0
    picture = (track.image_px[rows][:, LANDMARK_OF] - middle) / size
    world = track.world_m[rows][:, LANDMARK_OF]
    seen = track.visibility[rows][:, LANDMARK_OF]
    stature = estimate_stature(picture)
    sd = stature * (LANDMARK_SD + (HIDDEN_SD - LANDMARK_SD) * np.clip((0.9 - seen) / 0.8, 0, 1) ** 2)
    planted = find_planted(picture, time_s, stature)
    scale = STATURE_M / max(_world_stature(world), 1e-6)
    turn = np.radians(tilt_deg)
    return Evidence(
        time_s=time_s,
        picture=picture,
        picture_sd=sd,
        depth=expected_depth(world, find_upright(picture)) * scale,
        depth_sd=np.full((len(time_s), len(BONES)), DEPTH_SD_M),
        bend_sd=estimate_bend(picture, stature),
        planted=planted,
        level=_level(planted),
        up=np.array([-np.sin(turn), -np.cos(turn), 0.0]),
        focal_prior=FOCAL_PRIOR,
        stature_units=stature,
    )


def find_upright(picture: FloatArray) -> BoolArray:
    """Find nodes of upright standing: hips as high above both feet as they get, shape (T,)."""
    y = picture[..., 1]
    hips = (y[:, JOINT["left_hip"]] + y[:, JOINT["right_hip"]]) / 2.0
    feet = np.fmin(y[:, JOINT["left_ankle"]], y[:, JOINT["right_ankle"]])
    height = np.nan_to_num(feet - hips, nan=-1.0)
    return np.asarray(height >= UPRIGHT_SHARE * np.percentile(height, 95.0), dtype=np.bool_)


def expected_depth(world: FloatArray, upright: BoolArray) -> FloatArray:
    """Return the depth of each bone's first end minus that of its second, shape (T, B).

    From the model's own 3-D body, whose straight limbs come out bent when seen end-on: what the
    long bones of a body standing upright read is taken off, for there they are upright.
    """
    depth = world[:, BONES[:, 0], 2] - world[:, BONES[:, 1], 2]
    if upright.sum() < MIN_UPRIGHT:
        return np.asarray(depth)
    offset = np.nanmedian(np.where(np.isfinite(depth), depth, np.nan)[upright], axis=0)
    correct = np.isin(GROUP_OF, LONG_GROUPS)
    depth = depth - np.where(correct, np.nan_to_num(offset), 0.0)
    trunk = np.flatnonzero(GROUP_OF == TRUNK)
    depth[:, GROUP_OF == DIAGONAL] -= np.nanmean(np.nan_to_num(offset)[trunk])
    return np.asarray(depth)


def _longest(points: FloatArray, pairs: tuple[tuple[str, str], ...]) -> float:
    lines = [points[:, JOINT[a]] - points[:, JOINT[b]] for a, b in pairs]
    lengths = np.concatenate([np.linalg.norm(d, axis=-1) for d in lines])
    lengths = lengths[np.isfinite(lengths)]
    return float(np.percentile(lengths, 90)) if len(lengths) else float("nan")


def estimate_stature(points: FloatArray) -> float:
    """Estimate the stature from the longest legs and trunk seen, in the unit of the points.

    Thigh, shank and trunk are 0.245, 0.246 and 0.288 of it (Drillis and Contini).
    """
    parts = (("hip", "knee"), ("knee", "ankle"), ("shoulder", "hip"))
    total = sum(
        _longest(points, tuple((f"{s}_{a}", f"{s}_{b}") for s in ("left", "right")))
        for a, b in parts
    )
    return total / (0.245 + 0.246 + 0.288)


def _world_stature(world: FloatArray) -> float:
    return estimate_stature(world)


def find_planted(picture: FloatArray, time_s: FloatArray, stature: float) -> FloatArray:
    """Find steps between nodes in which a joint of a foot stays where it is, shape (T - 1, K)."""
    step = np.linalg.norm(np.diff(picture, axis=0), axis=-1)
    speed = step / np.diff(time_s)[:, None] / stature
    still = np.zeros_like(speed)
    for joint in FEET:
        still[:, joint] = np.nan_to_num(speed[:, joint], nan=np.inf) < STILL_SPEED
    return still


def _level(planted: FloatArray) -> FloatArray:
    """Where both joints of a left-right pair of feet are planted, shape (T, 3)."""
    padded = np.vstack([planted[:1], planted])
    pairs = [(JOINT[f"left_{p}"], JOINT[f"right_{p}"]) for p in ("heel", "toe", "ankle")]
    return np.stack([padded[:, a] * padded[:, b] for a, b in pairs], axis=1)


def estimate_bend(picture: FloatArray, stature: float) -> FloatArray:
    """Estimate how much each joint's path bends between nodes, metres, from the picture itself.

    Depth moves about as briskly as the picture shows; a joint seen at rest may still move in
    depth, hence the floor.
    """
    bend = np.linalg.norm(picture[2:] - 2 * picture[1:-1] + picture[:-2], axis=-1)
    typical = np.sqrt(np.nanmean(np.where(np.isfinite(bend), bend, np.nan) ** 2, axis=0))
    metres = np.nan_to_num(typical, nan=0.01 * stature) / stature * STATURE_M
    overall = float(np.median(metres))
    return np.maximum(np.maximum(metres, 0.5 * overall), 0.002)


def first_guess(evidence: Evidence, track: CleanTrack, *, node_hz: float) -> State:
    """Place the model's own 3-D body at the depth that its size in the picture asks for."""
    step = max(1, round(track.rate_hz / node_hz))
    world = track.world_m[::step][:, LANDMARK_OF]
    scale = STATURE_M / max(_world_stature(world), 1e-6)
    focal = float(np.exp(evidence.focal_prior[0]))
    distance = focal * STATURE_M / evidence.stature_units
    depth = _fill(world[..., 2]) * scale + distance
    spot = _fill_points(evidence.picture)
    joints = np.concatenate([spot * depth[..., None] / focal, depth[..., None]], axis=-1)
    return State(joints, PRIOR_LOG.copy(), float(np.log(focal)))


def _fill(values: FloatArray) -> FloatArray:
    """Fill missing values along time by straight lines, then by the mean of the others."""
    filled = np.array(values)
    index = np.arange(len(filled))
    for k in range(filled.shape[1]):
        ok = np.isfinite(filled[:, k])
        if ok.any():
            filled[:, k] = np.interp(index, index[ok], filled[ok, k])
    return np.nan_to_num(filled, nan=0.0)


def _fill_points(points: FloatArray) -> FloatArray:
    return np.stack([_fill(points[..., 0]), _fill(points[..., 1])], axis=-1)
