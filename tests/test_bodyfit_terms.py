"""Each term's derivatives against finite differences (truth: property)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from bodyfit_figure import film_squat

from motioncheck.bodyfit import fit, grounding, terms
from motioncheck.bodyfit.banded import Normal
from motioncheck.bodyfit.evidence import FLOOR_PAIRS, FLOOR_RISE_M
from motioncheck.bodyfit.model import BONES, COUNT, PRIOR_LOG, SIZE
from motioncheck.bodyfit.terms import SHARED, State

FRAMES = 4
Add = Callable[[Normal, State], None]
RNG = np.random.default_rng(5)
UNITS = np.array([1.0, 0.2, 0.1])
AXIS = np.array([[1.0, 0.1, 0.2]] * FRAMES)
PICTURE = RNG.normal(0, 0.2, (FRAMES, COUNT, 2))
PICTURE[1, 3] = np.nan
DEPTH = RNG.normal(0, 0.1, (FRAMES, len(BONES)))
DEPTH[2, 4] = np.nan
DIRECTION = RNG.normal(0, 0.6, (FRAMES, len(BONES), 3))
DIRECTION_SD = np.full((FRAMES, len(BONES)), 0.8)
DIRECTION[1, 5] = DIRECTION_SD[1, 5] = np.nan
SD = np.array([0.05, np.inf, 0.08, 0.06])


def make_state(seed: int = 1) -> State:
    scene = film_squat(35.0, seconds=4.0, noise_m=0.0)
    rng = np.random.default_rng(seed)
    joints = scene.joints[20 : 20 + FRAMES] + rng.normal(0, 0.02, (FRAMES, COUNT, 3))
    joints = joints[..., [2, 1, 0]] * [1.0, -1.0, 1.0] + [0.0, 0.8, 3.0]
    return State(joints, PRIOR_LOG + rng.normal(0, 0.05, len(PRIOR_LOG)), 0.2, 0.03, -0.07)


def shifted(state: State, index: int, amount: float) -> State:
    step = np.zeros(FRAMES * SIZE + SHARED)
    step[index] = amount
    return state.moved(step[: FRAMES * SIZE].reshape(FRAMES, SIZE), step[FRAMES * SIZE :])


def equations(add: Add, state: State) -> Normal:
    normal = Normal.empty(FRAMES, SIZE, SHARED)
    add(normal, state)
    return normal


def downhill(normal: Normal) -> np.ndarray:
    return np.concatenate([normal.right.ravel(), normal.right_shared])


def matrix(normal: Normal) -> np.ndarray:
    size = FRAMES * SIZE
    full = np.zeros((size + SHARED, size + SHARED))
    for t in range(FRAMES):
        rows = slice(t * SIZE, (t + 1) * SIZE)
        full[rows, rows] = normal.here[t]
        full[rows, size:] = normal.border[t]
        full[size:, rows] = normal.border[t].T
        for ahead, blocks in ((1, normal.next1), (2, normal.next2)):
            if t + ahead < FRAMES:
                later = slice((t + ahead) * SIZE, (t + ahead + 1) * SIZE)
                full[later, rows] = blocks[t]
                full[rows, later] = blocks[t].T
    full[size:, size:] = normal.corner
    return full


MOVED = make_state(9).joints - make_state(1).joints
TERMS: dict[str, Add] = {
    "projection": lambda n, s: terms.add_projection(
        n, s, PICTURE, np.full((FRAMES, COUNT), 0.05), 0.01 * MOVED
    ),
    "bones": terms.add_bones,
    "length prior": terms.add_length_prior,
    "camera prior": lambda n, s: terms.add_camera_prior(n, s, 0.1 * UNITS, UNITS),
    "shared prior": lambda n, s: terms.add_shared_prior(
        n, s, np.full(SHARED, 0.1), np.eye(SHARED) + 0.1
    ),
    "depth prior": lambda n, s: terms.add_depth_prior(
        n, s, DEPTH, np.full((FRAMES, len(BONES)), 0.1)
    ),
    "direction": lambda n, s: terms.add_direction(n, s, DIRECTION, DIRECTION_SD),
    "smoothness": lambda n, s: terms.add_smoothness(n, s, np.linspace(0.01, 0.05, COUNT)),
    "contact": lambda n, s: grounding.add_contact(n, s, np.eye(FRAMES - 1, COUNT), 0.02),
    "floor": lambda n, s: grounding.add_floor(
        n, s, FLOOR_PAIRS, np.ones((FRAMES, 5)), FLOOR_RISE_M, np.full(5, 0.02)
    ),
    "balance": lambda n, s: grounding.add_balance(n, s, fit.BALANCE, SD, 0.04 * AXIS),
    "camera height": lambda n, s: grounding.add_camera_height(n, s, fit.FEET_WEIGHTS, 1.0, SD),
    "reach": lambda n, s: grounding.add_reach(
        n, s, fit.LEGS, 0.9985, np.stack([SD, SD[::-1]], axis=1)
    ),
    "hinge walls": lambda n, s: grounding.add_hinge_walls(n, s, fit.KNEES, -AXIS, 0.05),
    "back walls": lambda n, s: grounding.add_back_walls(n, s, fit.BACKS, AXIS, -0.3, 0.08),
}


@pytest.mark.parametrize("name", TERMS)
def test_gradient_is_the_slope_of_the_cost(name: str) -> None:
    add, state, h = TERMS[name], make_state(), 1e-6
    expected = -downhill(equations(add, state))
    assert np.abs(expected).max() > 0, "the term must be active for the test to say anything"
    for index in np.flatnonzero(expected)[::3]:
        slope = (
            equations(add, shifted(state, index, h)).cost
            - equations(add, shifted(state, index, -h)).cost
        ) / (2 * h)
        assert slope == pytest.approx(expected[index], rel=2e-5, abs=2e-5 * np.abs(expected).max())


@pytest.mark.parametrize("name", TERMS)
def test_matrix_is_symmetric_and_not_negative(name: str) -> None:
    full = matrix(equations(TERMS[name], make_state()))
    assert np.allclose(full, full.T, atol=1e-9 * np.abs(full).max())
    assert np.linalg.eigvalsh(full).min() > -1e-8 * np.abs(full).max()


@pytest.mark.parametrize(
    "name", ["length prior", "camera prior", "shared prior", "smoothness", "contact", "back walls"]
)
def test_matrix_of_a_linear_term_is_the_slope_of_its_gradient(name: str) -> None:
    add, state, h = TERMS[name], make_state(), 1e-4
    full = matrix(equations(add, state))
    for index in range(0, len(full), 7):
        ahead = downhill(equations(add, shifted(state, index, h)))
        behind = downhill(equations(add, shifted(state, index, -h)))
        slope = -(ahead - behind) / (2 * h)
        assert np.allclose(slope, full[:, index], atol=1e-5 * np.abs(full).max())


def test_matrix_of_projection_without_residual_is_the_slope_of_its_gradient() -> None:
    state, h = make_state(), 1e-6
    spot = np.exp(state.log_focal) * state.joints[..., :2] / state.joints[..., 2:]

    def add(normal: Normal, at: State) -> None:
        terms.add_projection(normal, at, spot, np.full((FRAMES, COUNT), 0.05))

    full = matrix(equations(add, state))
    for index in [*range(0, FRAMES * SIZE, 11), FRAMES * SIZE + terms.FOCAL]:
        slope = (
            downhill(equations(add, shifted(state, index, -h)))
            - downhill(equations(add, shifted(state, index, h)))
        ) / (2 * h)
        assert np.allclose(slope, full[:, index], atol=1e-4 * np.abs(full).max())
