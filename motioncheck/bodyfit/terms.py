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
CAUCHY = 2.0
FOCAL = len(GROUPS)  # place of the logarithm of the focal length among the shared unknowns
ROLL, PITCH = FOCAL + 1, FOCAL + 2  # of the camera, radians
SHARED = len(GROUPS) + 3
SCALE_GROUPS = [i for i, g in enumerate(GROUPS) if g.name in ("thigh", "shank", "trunk")]
SCALE_SD = 0.002


@dataclass(slots=True)
class State:
    """Unknowns of the fit.

    Attributes
    ----------
    joints : ndarray, shape (T, K, 3)
        Metres.
    log_length : ndarray, shape (G,)
        Logarithms of the lengths of the groups of bones, metres.
    log_focal : float
        Logarithm of the focal length in longer sides of the picture.
    roll, pitch : float
        Of the camera, radians. Roll is positive when the picture must be turned clockwise to
        stand upright, pitch when the lens looks up.
    """

    joints: FloatArray
    log_length: FloatArray
    log_focal: float
    roll: float = 0.0
    pitch: float = 0.0

    def moved(self, frames: FloatArray, shared: FloatArray) -> State:
        """Return the state after a step."""
        return State(
            self.joints + frames.reshape(self.joints.shape),
            self.log_length + shared[:FOCAL],
            self.log_focal + float(shared[FOCAL]),
            self.roll + float(shared[ROLL]),
            self.pitch + float(shared[PITCH]),
        )

    def up(self) -> FloatArray:
        """Return the vertical in camera axes, shape (3,)."""
        return up_vector(self.roll, self.pitch)

    def up_slopes(self) -> FloatArray:
        """Return the derivatives of the vertical by roll and pitch, shape (3, 2)."""
        sr, cr, sp, cp = *_sin_cos(self.roll), *_sin_cos(self.pitch)
        return np.array([[-cr * cp, sr * sp], [sr * cp, cr * sp], [0.0, cp]])


def _sin_cos(angle: float) -> tuple[float, float]:
    return float(np.sin(angle)), float(np.cos(angle))


def up_vector(roll: float, pitch: float) -> FloatArray:
    """Return the vertical in axes of a camera with this roll and pitch (radians), shape (3,)."""
    sr, cr, sp, cp = *_sin_cos(roll), *_sin_cos(pitch)
    return np.array([-sr * cp, -cr * cp, sp])


def _rows(joint: int) -> slice:
    return slice(3 * joint, 3 * joint + 3)


def _huber(residual: FloatArray) -> tuple[FloatArray, float]:
    """Return the weight of each residual (or residual vector along the last axis) and the cost."""
    size = np.linalg.norm(residual, axis=-1)
    weight = np.where(size <= HUBER, 1.0, HUBER / np.maximum(size, 1e-12))
    cost = np.where(size <= HUBER, 0.5 * size**2, HUBER * size - 0.5 * HUBER**2)
    return weight, float(cost.sum())


def _cauchy(residual: FloatArray) -> tuple[FloatArray, float]:
    """Return weights and cost that let go of residuals far off altogether."""
    ratio = 1.0 + (residual / CAUCHY) ** 2
    return 1.0 / ratio, 0.5 * CAUCHY**2 * float(np.log(ratio).sum())


def add_projection(
    normal: Normal,
    state: State,
    picture: FloatArray,
    sd: FloatArray,
    offset: FloatArray | None = None,
) -> None:
    """Joints appear where their landmarks are.

    Parameters
    ----------
    picture : ndarray, shape (T, K, 2)
        Landmarks from the middle of the picture, in picture heights; NaN = not seen.
    sd : ndarray, shape (T, K)
        Standard deviation, same unit.
    offset : ndarray, shape (T, K, 3), optional
        From each joint to what its landmark marks, metres; held fixed during a step.
    """
    place = state.joints if offset is None else state.joints + offset
    x, z = place[..., :2], place[..., 2:]
    focal = float(np.exp(state.log_focal))
    seen = np.asarray(np.isfinite(picture).all(axis=-1))
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


def add_length_prior(normal: Normal, state: State) -> None:
    """Lengths follow body proportions."""
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


def add_camera_prior(normal: Normal, state: State, means: FloatArray, sds: FloatArray) -> None:
    """Focal length, roll and pitch are those of a phone on a shelf or in a hand.

    Parameters
    ----------
    means, sds : ndarray, shape (3,)
        Of the logarithm of the focal length, of roll and of pitch (radians).
    """
    gap = (np.array([state.log_focal, state.roll, state.pitch]) - means) / sds
    index = np.array([FOCAL, ROLL, PITCH])
    normal.cost += 0.5 * float(gap @ gap)
    normal.corner[index, index] += 1.0 / sds**2
    normal.right_shared[index] -= gap / sds


def add_shared_prior(
    normal: Normal, state: State, mean: FloatArray, information: FloatArray
) -> None:
    """Lengths and camera are those found in earlier windows of the same clip.

    Parameters
    ----------
    mean : ndarray, shape (S,)
    information : ndarray, shape (S, S)
        Inverse covariance of the mean.
    """
    gap = shared_vector(state) - mean
    pull = information @ gap
    normal.cost += 0.5 * float(gap @ pull)
    normal.corner += information
    normal.right_shared -= pull


def shared_vector(state: State) -> FloatArray:
    """Return the unknowns that all frames share, shape (S,)."""
    return np.concatenate([state.log_length, [state.log_focal, state.roll, state.pitch]])


def add_depth_prior(normal: Normal, state: State, depth: FloatArray, sd: FloatArray) -> None:
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
    weight, cost = _cauchy(residual)
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


def add_direction(normal: Normal, state: State, direction: FloatArray, sd: FloatArray) -> None:
    """Bones of their length point where the lifting network says.

    Parameters
    ----------
    direction : ndarray, shape (T, B, 3)
        Unit vectors from the first end of each bone to the second; NaN = unknown.
    sd : ndarray, shape (T, B)
        Standard deviation of each component; NaN = unknown.
    """
    a, b = BONES[:, 0], BONES[:, 1]
    known = np.isfinite(sd)
    length = np.exp(state.log_length)[GROUP_OF]
    usual = np.exp(PRIOR_LOG)[GROUP_OF]
    scale = np.where(known, 1.0 / (np.where(known, sd, 1.0) * usual), 0.0)
    wanted = np.nan_to_num(direction) * length[:, None]
    line = state.joints[:, b] - state.joints[:, a] - wanted
    weight, cost = _huber(line * scale[..., None])
    normal.cost += cost
    strength = weight * scale**2
    pull = strength[..., None] * line
    to_length = -strength[..., None] * wanted
    axes = np.arange(3)
    for i, (p, q) in enumerate(BONES):
        s, group = strength[:, i, None], GROUP_OF[i]
        normal.here[:, 3 * p + axes, 3 * p + axes] += s
        normal.here[:, 3 * q + axes, 3 * q + axes] += s
        normal.here[:, 3 * p + axes, 3 * q + axes] -= s
        normal.here[:, 3 * q + axes, 3 * p + axes] -= s
        normal.right[:, _rows(q)] -= pull[:, i]
        normal.right[:, _rows(p)] += pull[:, i]
        normal.border[:, _rows(q), group] += to_length[:, i]
        normal.border[:, _rows(p), group] -= to_length[:, i]
        normal.corner[group, group] -= float((to_length[:, i] * wanted[:, i]).sum())
        normal.right_shared[group] += float((pull[:, i] * wanted[:, i]).sum())


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
