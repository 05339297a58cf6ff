"""Banded equations against dense algebra (truth: analytic)."""

from __future__ import annotations

import numpy as np

from motioncheck.bodyfit.banded import Normal, draw_samples, factorise, solve

FRAMES, SIZE, SHARED = 6, 3, 2
TOTAL = FRAMES * SIZE


def make_equations() -> tuple[Normal, np.ndarray]:
    """Random positive definite equations with the structure of a fit, banded and dense."""
    rng = np.random.default_rng(3)
    dense = np.zeros((TOTAL + SHARED, TOTAL + SHARED))
    for t in range(FRAMES - 2):
        columns = np.r_[t * SIZE : (t + 3) * SIZE, TOTAL : TOTAL + SHARED]
        rows = rng.normal(size=(14, len(columns)))
        dense[np.ix_(columns, columns)] += rows.T @ rows
    normal = Normal.empty(FRAMES, SIZE, SHARED)
    for t in range(FRAMES):
        at = slice(t * SIZE, (t + 1) * SIZE)
        normal.here[t] = dense[at, at]
        normal.border[t] = dense[at, TOTAL:]
        if t + 1 < FRAMES:
            normal.next1[t] = dense[(t + 1) * SIZE : (t + 2) * SIZE, at]
        if t + 2 < FRAMES:
            normal.next2[t] = dense[(t + 2) * SIZE : (t + 3) * SIZE, at]
    normal.corner[:] = dense[TOTAL:, TOTAL:]
    normal.right[:] = rng.normal(size=(FRAMES, SIZE))
    normal.right_shared[:] = rng.normal(size=SHARED)
    return normal, dense


def test_solve_agrees_with_dense_algebra() -> None:
    normal, dense = make_equations()
    frames, shared = solve(normal, factorise(normal))
    expected = np.linalg.solve(dense, np.r_[normal.right.ravel(), normal.right_shared])
    assert np.allclose(np.r_[frames.ravel(), shared], expected)


def test_samples_have_the_inverse_of_the_equations_as_covariance() -> None:
    normal, dense = make_equations()
    frames, shared = draw_samples(factorise(normal), 40_000, seed=1)
    drawn = np.concatenate([frames.reshape(len(frames), -1), shared], axis=1)
    expected = np.linalg.inv(dense)
    sd = np.sqrt(np.diag(expected))
    # Scatter of a covariance from n draws is at most sqrt(2 / n) of the variances: 0.7 %.
    assert np.allclose(np.cov(drawn.T) / np.outer(sd, sd), expected / np.outer(sd, sd), atol=0.03)
    assert np.abs(drawn.mean(axis=0) / sd).max() < 0.03
