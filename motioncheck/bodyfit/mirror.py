"""Mirrored limbs: one camera cannot tell whether a bone points towards it or away.

For each leg both signs of depth of both bones are weighed against the joint's limits, the
model's own depth, contact and continuity, and the cheapest path through time is taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from motioncheck.bodyfit.axes import find_ahead, find_right
from motioncheck.bodyfit.evidence import Evidence
from motioncheck.bodyfit.model import BONES, GROUP_OF, JOINT
from motioncheck.bodyfit.terms import State
from motioncheck.records.arrays import FloatArray

IndexArray = npt.NDArray[np.intp]

SIGNS: Final = ((-1, -1), (-1, 1), (1, -1), (1, 1))
WALL_SD: Final = 0.02
BACK_SD_M: Final = 0.08
BACK_REACH_M: Final = 0.15
# How far a joint may travel in depth in a second at ease, metres.
DRIFT_M_S: Final = 1.0
PLANTED_DRIFT_M_S: Final = 0.2
HIGHEST_COST: Final = 30.0


@dataclass(frozen=True, slots=True)
class Limb:
    """Three joints from the trunk outwards, and joints that move along with the last."""

    first: int
    middle: int
    last: int
    led: tuple[int, ...]


def _limbs() -> tuple[Limb, ...]:
    """Return the legs; for arms the model's own depth is the better guide (rendered bodies)."""
    return tuple(
        Limb(
            JOINT[f"{s}_hip"],
            JOINT[f"{s}_knee"],
            JOINT[f"{s}_ankle"],
            (JOINT[f"{s}_heel"], JOINT[f"{s}_toe"]),
        )
        for s in ("left", "right")
    )


LIMBS: Final = _limbs()


def choose_mirrors(evidence: Evidence, state: State) -> State:
    """Return the state with every leg on the cheaper side of each mirror.

    Positions in the picture stay; only depths of knees, ankles and feet change.
    """
    joints = state.joints.copy()
    right, ahead = find_right(joints), find_ahead(joints, state.up())
    for limb in LIMBS:
        _place_limb(evidence, state, joints, limb, right, ahead)
    return State(joints, state.log_length, state.log_focal, state.roll, state.pitch)


def _place_limb(
    evidence: Evidence,
    state: State,
    joints: FloatArray,
    limb: Limb,
    right: FloatArray,
    ahead: FloatArray,
) -> None:
    upper, lower = _bone(limb.first, limb.middle), _bone(limb.middle, limb.last)
    tries, costs = [], []
    for sign in SIGNS:
        middle = _step_out(state, joints[:, limb.first], joints[:, limb.middle], upper, sign[0])
        last = _step_out(state, middle, joints[:, limb.last], lower, sign[1])
        tries.append((middle, last))
        cost = _depth_cost(evidence, joints[:, limb.first], middle, upper)
        cost += _depth_cost(evidence, middle, last, lower)
        cost += _wall_cost(joints[:, limb.first], middle, last, right, ahead)
        costs.append(np.minimum(cost, HIGHEST_COST))
    depths = np.array([[m[:, 2], e[:, 2]] for m, e in tries])  # (4, 2, T)
    path = find_path(np.array(costs).T, depths.transpose(2, 0, 1), _drift(evidence, limb))
    rows = np.arange(len(joints))
    middle = np.array([m for m, _ in tries])[path, rows]
    last = np.array([e for _, e in tries])[path, rows]
    shift = last - joints[:, limb.last]
    joints[:, limb.middle], joints[:, limb.last] = middle, last
    for joint in limb.led:
        joints[:, joint] += shift


def _bone(a: int, b: int) -> int:
    return int(np.flatnonzero((BONES[:, 0] == a) & (BONES[:, 1] == b))[0])


def _step_out(
    state: State, start: FloatArray, seen: FloatArray, bone: int, sign: int
) -> FloatArray:
    """Put the end of a bone on the ray on which it is seen, nearer (-1) or farther (+1)."""
    ray = seen / seen[:, 2:]
    length = float(np.exp(state.log_length[GROUP_OF[bone]]))
    # |ray z - start|^2 = length^2 is a quadratic in z.
    a = np.sum(ray**2, axis=-1)
    b = np.sum(ray * start, axis=-1)
    c = np.sum(start**2, axis=-1) - length**2
    root = np.sqrt(np.maximum(b**2 - a * c, 0.0))
    return np.asarray(ray * ((b + sign * root) / a)[:, None])


def _depth_cost(evidence: Evidence, start: FloatArray, end: FloatArray, bone: int) -> FloatArray:
    sd = evidence.depth_sd[:, bone]
    gap = (start[:, 2] - end[:, 2] - np.nan_to_num(evidence.depth[:, bone])) / sd
    known = np.isfinite(evidence.depth[:, bone])
    return np.where(known, 2.0 * np.log1p((gap / 2.0) ** 2), 0.0)


def _wall_cost(
    first: FloatArray,
    middle: FloatArray,
    last: FloatArray,
    right: FloatArray,
    ahead: FloatArray,
) -> FloatArray:
    behind = np.einsum("ta,ta->t", middle - first, ahead) + BACK_REACH_M
    cost = 0.5 * (np.minimum(behind, 0.0) / BACK_SD_M) ** 2
    bend = np.einsum("ta,ta->t", np.cross(first - middle, last - middle), right)
    return np.asarray(cost + 0.5 * (np.minimum(bend + 0.003, 0.0) / WALL_SD) ** 2)


def _drift(evidence: Evidence, limb: Limb) -> FloatArray:
    """Return the sd of the steps in depth of the middle and the last joint, (T - 1, 2)."""
    gap = np.diff(evidence.time_s)
    planted = evidence.planted[:, limb.last] > 0
    last = np.where(planted, PLANTED_DRIFT_M_S, DRIFT_M_S)
    return np.stack([DRIFT_M_S * gap, last * gap], axis=1)


def find_path(costs: FloatArray, depths: FloatArray, drift: FloatArray) -> IndexArray:
    """Find the cheapest path through states over time (dynamic programming).

    Parameters
    ----------
    costs : ndarray, shape (T, S)
        Cost of each state in each frame.
    depths : ndarray, shape (T, S, D)
        Depths that should not jump.
    drift : ndarray, shape (T - 1, D)
        Standard deviation of their steps.

    Returns
    -------
    path : ndarray of int, shape (T,)
    """
    frames, states = costs.shape
    total = costs[0].copy()
    came = np.zeros((frames, states), dtype=np.intp)
    for t in range(1, frames):
        step = (depths[t][None, :, :] - depths[t - 1][:, None, :]) / drift[t - 1]
        through = total[:, None] + 0.5 * np.minimum((step**2).sum(axis=-1), 2 * HIGHEST_COST)
        came[t] = np.argmin(through, axis=0)
        total = through[came[t], np.arange(states)] + costs[t]
    path = np.empty(frames, dtype=np.intp)
    path[-1] = int(np.argmin(total))
    for t in range(frames - 1, 0, -1):
        path[t - 1] = came[t, path[t]]
    return path
