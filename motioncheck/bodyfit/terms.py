"""The terms of the fit: each adds its residuals and exact derivatives to the equations.

Frames are in camera axes: x to the right of the picture, y down, z away from the lens, metres up
to scale. All residuals are divided by their standard deviation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motioncheck.bodyfit.banded import Normal
from motioncheck.bodyfit.model import BONES, COUNT, GIVE_M, GROUP_OF, GROUPS, PRIOR_LOG, PRIOR_SD
from motioncheck.records.arrays import FloatArray

HUBER = 2.0
FOCAL = len(GROUPS)  # place of the logarithm of the focal length among the shared unknowns
SHARED = len(GROUPS) + 1
SCALE_GROUPS = [i for i, g in enumerate(GROUPS) if g.name in ("thigh", "shank", "trunk")]
SCALE_SD = 0.002


@dataclass(slots=True)
class State:
    """Unknowns: joints (T, K, 3) in metres, logarithms of lengths (G,), of the focal length."""

    joints: FloatArray
    log_length: FloatArray
    log_focal: float

    def moved(self, frames: FloatArray, shared: FloatArray) -> State:
        """Return the state after a step."""
        return State(
            self.joints + frames.reshape(self.joints.shape),
            self.log_length + shared[:FOCAL],
            self.log_focal + float(shared[FOCAL]),
        )


def _rows(joint: int) -> slice:
    return slice(3 * joint, 3 * joint + 3)


def _huber(residual: FloatArray) -> tuple[FloatArray, float]:
    """Return the weight of each residual (or residual vector along the last axis) and the cost."""
    size = np.linalg.norm(residual, axis=-1)
    weight = np.where(size <= HUBER, 1.0, HUBER / np.maximum(size, 1e-12))
    cost = np.where(size <= HUBER, 0.5 * size**2, HUBER * size - 0.5 * HUBER**2)
    return weight, float(cost.sum())


def add_projection(
    normal: Normal, state: State, picture: FloatArray, sd: FloatArray
) -> None:
    """Joints appear where their landmarks are.

    Parameters
    ----------
    picture : ndarray, shape (T, K, 2)
        Landmarks from the middle of the picture, in picture heights; NaN = not seen.
    sd : ndarray, shape (T, K)
        Standard deviation, same unit.
    """
    x, z = state.joints[..., :2], state.joints[..., 2:]
    focal = np.exp(state.log_focal)
    seen = np.isfinite(picture).all(axis=-1)
    spot = focal * x / z
    residual = np.where(seen[..., None], (spot - np.nan_to_num(picture)) / sd[..., None], 0.0)
    weight, cost = _huber(residual)
    normal.cost += cost
    scale = 1.0 / sd[..., None]
    jac = np.zeros((*seen.shape, 2, 3))
    jac[..., 0, 0] = jac[..., 1, 1] = (focal / z * scale)[..., 0]
    jac[..., :, 2] = -spot / z * scale
    jac_focal = spot * scale
    weight = np.where(seen, weight, 0.0)
    weighted = jac * weight[..., None, None]
    hessian = np.einsum("tkia,tkib->tkab", weighted, jac)
    right = -np.einsum("tkia,tki->tka", weighted, residual)
    border = np.einsum("tkia,tki->tka", weighted, jac_focal)
    for k in range(COUNT):
        normal.here[:, _rows(k), _rows(k)] += hessian[:, k]
        normal.right[:, _rows(k)] += right[:, k]
        normal.border[:, _rows(k), FOCAL] += border[:, k]
    normal.corner[FOCAL, FOCAL] += float((weight[..., None] * jac_focal**2).sum())
    normal.right_shared[FOCAL] -= float((weight[..., None] * jac_focal * residual).sum())


def add_bones(normal: Normal, state: State) -> None:
    """Bones keep their lengths."""
    a, b = BONES[:, 0], BONES[:, 1]
    line = state.joints[:, a] - state.joints[:, b]
    length = np.linalg.norm(line, axis=-1)
    unit = line / np.maximum(length, 1e-9)[..., None]
    wanted = np.exp(state.log_length)[GROUP_OF]
    residual = (length - wanted) / GIVE_M
    weight, cost = _huber(residual[..., None])
    normal.cost += cost
    jac = unit / GIVE_M[:, None]
    outer = np.einsum("tba,tbc->tbac", jac * weight[..., None], jac)
    right = -(weight * residual)[..., None] * jac
    to_length = -wanted / GIVE_M
    for i, (p, q) in enumerate(BONES):
        normal.here[:, _rows(p), _rows(p)] += outer[:, i]
        normal.here[:, _rows(q), _rows(q)] += outer[:, i]
        normal.here[:, _rows(p), _rows(q)] -= outer[:, i]
        normal.here[:, _rows(q), _rows(p)] -= outer[:, i]
        normal.right[:, _rows(p)] += right[:, i]
        normal.right[:, _rows(q)] -= right[:, i]
        group = GROUP_OF[i]
        across = weight[:, i, None] * jac[:, i] * to_length[i]
        normal.border[:, _rows(p), group] += across
        normal.border[:, _rows(q), group] -= across
        normal.corner[group, group] += float(weight[:, i].sum()) * to_length[i] ** 2
        normal.right_shared[group] -= float((weight[:, i] * residual[:, i]).sum()) * to_length[i]


def add_length_prior(normal: Normal, state: State, *, focal_prior: tuple[float, float]) -> None:
    """Lengths follow body proportions, the focal length that of phones."""
    residual = (state.log_length - PRIOR_LOG) / PRIOR_SD
    normal.cost += 0.5 * float((residual**2).sum())
    index = np.arange(FOCAL)
    normal.corner[index, index] += 1.0 / PRIOR_SD**2
    normal.right_shared[:FOCAL] -= residual / PRIOR_SD
    # One camera cannot tell the scale: thigh, shank and trunk together set it.
    drift = float(residual[SCALE_GROUPS] @ PRIOR_SD[SCALE_GROUPS]) / len(SCALE_GROUPS)
    share = 1.0 / (len(SCALE_GROUPS) * SCALE_SD)
    normal.cost += 0.5 * (drift / SCALE_SD) ** 2
    normal.corner[np.ix_(SCALE_GROUPS, SCALE_GROUPS)] += share**2
    normal.right_shared[SCALE_GROUPS] -= drift / SCALE_SD * share
    mean, sd = focal_prior
    gap = (state.log_focal - mean) / sd
    normal.cost += 0.5 * gap**2
    normal.corner[FOCAL, FOCAL] += 1.0 / sd**2
    normal.right_shared[FOCAL] -= gap / sd


def add_depth_prior(
    normal: Normal, state: State, depth: FloatArray, sd: FloatArray
) -> None:
    """Differences of depth along bones follow the model's own, weakly.

    Parameters
    ----------
    depth : ndarray, shape (T, B)
        Expected depth of the first end of each bone minus that of the second; NaN = unknown.
    sd : ndarray, shape (T, B)
    """
    a, b = BONES[:, 0], BONES[:, 1]
    known = np.isfinite(depth)
    gap = state.joints[:, a, 2] - state.joints[:, b, 2]
    residual = np.where(known, (gap - np.nan_to_num(depth)) / sd, 0.0)
    weight, cost = _huber(residual[..., None])
    normal.cost += cost
    strength = np.where(known, weight / sd**2, 0.0)
    right = -np.where(known, weight * residual / sd, 0.0)
    for i, (p, q) in enumerate(BONES):
        zp, zq = 3 * p + 2, 3 * q + 2
        normal.here[:, zp, zp] += strength[:, i]
        normal.here[:, zq, zq] += strength[:, i]
        normal.here[:, zp, zq] -= strength[:, i]
        normal.here[:, zq, zp] -= strength[:, i]
        normal.right[:, zp] += right[:, i]
        normal.right[:, zq] -= right[:, i]


def add_smoothness(normal: Normal, state: State, sd: FloatArray) -> None:
    """Joints move smoothly: second differences are small.

    Parameters
    ----------
    sd : ndarray, shape (K,)
        Standard deviation of the second difference of each joint, metres.
    """
    x = state.joints.reshape(len(state.joints), -1)
    strength = np.repeat(1.0 / sd**2, 3)
    bend = x[2:] - 2.0 * x[1:-1] + x[:-2]
    normal.cost += 0.5 * float((bend**2 * strength).sum())
    pull = bend * strength
    normal.right[:-2] -= pull
    normal.right[1:-1] += 2.0 * pull
    normal.right[2:] -= pull
    index = np.arange(x.shape[1])
    normal.here[:-2, index, index] += strength
    normal.here[1:-1, index, index] += 4.0 * strength
    normal.here[2:, index, index] += strength
    normal.next1[:-2, index, index] -= 2.0 * strength
    normal.next1[1:-1, index, index] -= 2.0 * strength
    normal.next2[:-2, index, index] += strength


def add_contact(normal: Normal, state: State, planted: FloatArray, sd: float) -> None:
    """Joints that do not move in the picture while carrying weight do not move at all.

    Parameters
    ----------
    planted : ndarray, shape (T - 1, K)
        1 where a joint stays put from a frame to the next, 0 elsewhere.
    sd : float
        Standard deviation of what it may still move, metres.
    """
    x = state.joints.reshape(len(state.joints), -1)
    strength = np.repeat(planted, 3, axis=1) / sd**2
    step = x[1:] - x[:-1]
    normal.cost += 0.5 * float((strength * step**2).sum())
    pull = strength * step
    normal.right[:-1] += pull
    normal.right[1:] -= pull
    index = np.arange(x.shape[1])
    normal.here[:-1, index, index] += strength
    normal.here[1:, index, index] += strength
    normal.next1[:-1, index, index] -= strength


def add_floor(
    normal: Normal, state: State, pairs: list[tuple[int, int]], on: FloatArray, up: FloatArray,
    sd: float,
) -> None:
    """Planted feet are on one level floor.

    Parameters
    ----------
    pairs : list of (joint, joint)
        Joints that are equally high when both are planted.
    on : ndarray, shape (T, P)
        1 where both joints of a pair are planted.
    up : ndarray, shape (3,)
        Vertical in camera axes.
    """
    outer = np.outer(up, up) / sd**2
    for i, (p, q) in enumerate(pairs):
        gap = (state.joints[:, p] - state.joints[:, q]) @ up
        normal.cost += 0.5 * float((on[:, i] * gap**2).sum()) / sd**2
        block = on[:, i, None, None] * outer
        right = -(on[:, i] * gap / sd**2)[:, None] * up
        normal.here[:, _rows(p), _rows(p)] += block
        normal.here[:, _rows(q), _rows(q)] += block
        normal.here[:, _rows(p), _rows(q)] -= block
        normal.here[:, _rows(q), _rows(p)] -= block
        normal.right[:, _rows(p)] += right
        normal.right[:, _rows(q)] -= right


def add_hinge_walls(
    normal: Normal, state: State, chains: list[tuple[int, int, int]], axis: FloatArray, sd: float
) -> None:
    """Knees do not bend backwards: a soft wall just beyond straight.

    Parameters
    ----------
    chains : list of (proximal, middle, distal)
    axis : ndarray, shape (T, 3)
        The person's right, held fixed during a step.
    """
    for p, m, d in chains:
        upper = state.joints[:, p] - state.joints[:, m]
        lower = state.joints[:, d] - state.joints[:, m]
        bend = np.einsum("ta,ta->t", np.cross(upper, lower), axis)
        beyond = np.minimum(bend + 0.003, 0.0)
        residual = beyond / sd
        normal.cost += 0.5 * float((residual**2).sum())
        active = (beyond < 0.0)[:, None] / sd
        # (upper x lower) . axis has the gradients axis x upper and lower x axis.
        by_lower = np.cross(axis, upper) * active
        by_upper = np.cross(lower, axis) * active
        grads = {p: by_upper, m: -(by_upper + by_lower), d: by_lower}
        for i, gi in grads.items():
            normal.right[:, _rows(i)] -= residual[:, None] * gi
            for j, gj in grads.items():
                normal.here[:, _rows(i), _rows(j)] += gi[:, :, None] * gj[:, None, :]
