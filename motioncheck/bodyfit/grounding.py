"""Terms that tie the body to the ground, to gravity and to the limits of its joints.

Axes, units and conventions as in `motioncheck.bodyfit.terms`.
"""

from __future__ import annotations

import numpy as np

from motioncheck.bodyfit.banded import Normal
from motioncheck.bodyfit.terms import PITCH, ROLL, State, _huber, _rows
from motioncheck.records.arrays import FloatArray

TURNS = slice(ROLL, PITCH + 1)


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
    normal: Normal,
    state: State,
    pairs: FloatArray,
    on: FloatArray,
    rise: FloatArray,
    sd: FloatArray,
) -> None:
    """Planted feet stand on one level floor.

    Parameters
    ----------
    pairs : ndarray of int, shape (P, 2)
        Two joints of the feet each.
    on : ndarray, shape (T, P)
        1 where both joints of a pair are planted.
    rise : ndarray, shape (P,)
        How much higher the first joint of each pair is, metres.
    sd : ndarray, shape (P,)
        Metres.
    """
    up, slopes = state.up(), state.up_slopes()
    outer = np.outer(up, up)
    for i, (p, q) in enumerate(pairs.astype(int)):
        line = state.joints[:, p] - state.joints[:, q]
        gap = line @ up - rise[i]
        turn = line @ slopes  # (T, 2)
        strength = on[:, i] / sd[i] ** 2
        normal.cost += 0.5 * float((strength * gap**2).sum())
        block = strength[:, None, None] * outer
        right = -(strength * gap)[:, None] * up
        _add_pair(normal, p, q, block, right)
        across = strength[:, None, None] * up[:, None] * turn[:, None, :]
        normal.border[:, _rows(p), TURNS] += across
        normal.border[:, _rows(q), TURNS] -= across
        weighted = strength[:, None] * turn
        normal.corner[TURNS, TURNS] += weighted.T @ turn
        normal.right_shared[TURNS] -= weighted.T @ gap


def _add_pair(normal: Normal, p: int, q: int, block: FloatArray, right: FloatArray) -> None:
    """Add a residual of the difference of two joints."""
    normal.here[:, _rows(p), _rows(p)] += block
    normal.here[:, _rows(q), _rows(q)] += block
    normal.here[:, _rows(p), _rows(q)] -= block
    normal.here[:, _rows(q), _rows(p)] -= block
    normal.right[:, _rows(p)] += right
    normal.right[:, _rows(q)] -= right


def add_balance(
    normal: Normal,
    state: State,
    weights: FloatArray,
    sd: FloatArray,
    wanted: FloatArray,
) -> None:
    """Keep the centre of mass over the feet.

    Parameters
    ----------
    weights : ndarray, shape (K,)
        Of the joints in the centre of mass less those in the middle of the feet; they sum to 0.
    sd : ndarray, shape (T,)
        Metres; infinite where the feet do not carry the body.
    wanted : ndarray, shape (T, 3)
        Where the centre of mass is from the middle of the feet, level part, metres; held fixed
        during a step.
    """
    up, slopes = state.up(), state.up_slopes()
    level = np.eye(3) - np.outer(up, up)
    line = np.einsum("k,tka->ta", weights, state.joints)
    residual = (line @ level - wanted) / sd[:, None]
    weight, cost = _huber(residual)
    normal.cost += cost
    strength = weight / sd**2
    pull = (weight / sd)[:, None] * residual
    # d(level line)/d up = -(up . line) I - up line^T
    by_up = -(line @ up)[:, None, None] * np.eye(3) - up[:, None] * line[:, None, :]
    turn = by_up @ slopes  # (T, 3, 2)
    size = state.joints.shape[1] * 3
    share = np.kron(np.outer(weights, weights), level)
    normal.here += strength[:, None, None] * share
    normal.right -= np.einsum("k,ta->tka", weights, pull @ level).reshape(len(line), size)
    across = np.einsum("ab,tbc->tac", level, turn) * strength[:, None, None]
    normal.border[:, :, TURNS] += np.einsum("k,tac->tkac", weights, across).reshape(
        len(line), size, 2
    )
    normal.corner[TURNS, TURNS] += np.einsum("tac,t,tad->cd", turn, strength, turn)
    normal.right_shared[TURNS] -= np.einsum("tac,ta->c", turn, pull)


def add_camera_height(
    normal: Normal, state: State, weights: FloatArray, height: float, sd: FloatArray
) -> None:
    """Keep the lens about as high above the feet as phones stand or are held.

    Parameters
    ----------
    weights : ndarray, shape (K,)
        Of the joints in the middle of the feet.
    height : float
        Of the lens above it, metres.
    sd : ndarray, shape (T,)
        Metres; infinite where the feet are not on the ground.
    """
    up, slopes = state.up(), state.up_slopes()
    feet = np.einsum("k,tka->ta", weights, state.joints)
    residual = (feet @ up + height) / sd
    normal.cost += 0.5 * float(residual @ residual)
    jac = np.kron(weights, up) / sd[:, None]
    turn = feet @ slopes / sd[:, None]
    normal.here += jac[:, :, None] * jac[:, None, :]
    normal.right -= residual[:, None] * jac
    normal.border[:, :, TURNS] += jac[:, :, None] * turn[:, None, :]
    normal.corner[TURNS, TURNS] += turn.T @ turn
    normal.right_shared[TURNS] -= turn.T @ residual


def add_reach(
    normal: Normal,
    state: State,
    limbs: tuple[tuple[int, int, int, int], ...],
    share: float,
    sd: FloatArray,
) -> None:
    """Limbs that look stretched are nearly straight.

    Parameters
    ----------
    limbs : tuple of (first joint, last joint, group, group)
        Ends of the limb and the two groups of bones between them.
    share : float
        Distance of the ends as a share of the sum of the two lengths.
    sd : ndarray, shape (T, number of limbs)
        Metres; infinite where the limb does not look stretched.
    """
    for i, (p, q, upper, lower) in enumerate(limbs):
        line = state.joints[:, p] - state.joints[:, q]
        length = np.linalg.norm(line, axis=-1)
        lengths = np.exp(state.log_length[[upper, lower]])
        residual = (length - share * lengths.sum()) / sd[:, i]
        weight, cost = _huber(residual[:, None])
        normal.cost += cost
        jac = line / (np.maximum(length, 1e-9) * sd[:, i])[:, None]
        _add_pair(
            normal,
            p,
            q,
            weight[:, None, None] * jac[:, :, None] * jac[:, None, :],
            -(weight * residual)[:, None] * jac,
        )
        to_length = -share * lengths / sd[:, i, None]
        groups = np.array([upper, lower])
        across = (weight[:, None] * jac)[:, :, None] * to_length[:, None, :]
        for k, group in enumerate(groups):
            normal.border[:, _rows(p), group] += across[:, :, k]
            normal.border[:, _rows(q), group] -= across[:, :, k]
        normal.corner[np.ix_(groups, groups)] += (weight[:, None] * to_length).T @ to_length
        normal.right_shared[groups] -= to_length.T @ (weight * residual)


def add_hinge_walls(
    normal: Normal, state: State, chains: list[tuple[int, int, int]], axis: FloatArray, sd: float
) -> None:
    """Knees do not bend backwards: a soft wall just beyond straight.

    Parameters
    ----------
    chains : list of (proximal, middle, distal)
    axis : ndarray, shape (T, 3)
        The person's right, held fixed during a step.
    sd : float
        Square metres: product of the two bones and the sine of the bend.
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


def add_back_walls(
    normal: Normal,
    state: State,
    pairs: tuple[tuple[int, int], ...],
    ahead: FloatArray,
    reach: float,
    sd: float,
) -> None:
    """Knees and elbows do not go far behind hips and shoulders.

    Parameters
    ----------
    pairs : tuple of (proximal joint, distal joint)
    ahead : ndarray, shape (T, 3)
        The person's forward, held fixed during a step.
    reach : float
        How far behind is still easy, metres.
    sd : float
        Softness of the wall, metres.
    """
    for p, q in pairs:
        gap = np.einsum("ta,ta->t", state.joints[:, q] - state.joints[:, p], ahead)
        residual = np.minimum(gap + reach, 0.0) / sd
        normal.cost += 0.5 * float((residual**2).sum())
        jac = np.where(residual[:, None] < 0.0, ahead / sd, 0.0)
        _add_pair(normal, q, p, jac[:, :, None] * jac[:, None, :], -residual[:, None] * jac)
