"""Least squares with blocks along time and a small dense border.

The normal matrix has one block a frame, coupled to the next two frames (smoothness), and a border
of a few unknowns shared by all frames (bone lengths, camera). Cost and memory are linear in time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motioncheck.records.arrays import FloatArray


@dataclass(slots=True)
class Normal:
    """Normal equations in the making.

    Attributes
    ----------
    here : ndarray, shape (T, n, n)
        Blocks on the diagonal.
    next1, next2 : ndarray, shape (T, n, n)
        Blocks that couple a frame (columns) with the next and the one after (rows).
    border : ndarray, shape (T, n, m)
        Coupling of each frame with the shared unknowns.
    corner : ndarray, shape (m, m)
    right : ndarray, shape (T, n)
        Right-hand side (minus the gradient) of the frames.
    right_shared : ndarray, shape (m,)
    cost : float
        Half the weighted sum of squares.
    """

    here: FloatArray
    next1: FloatArray
    next2: FloatArray
    border: FloatArray
    corner: FloatArray
    right: FloatArray
    right_shared: FloatArray
    cost: float = 0.0

    @classmethod
    def empty(cls, frames: int, size: int, shared: int) -> Normal:
        """Return zero equations."""
        blocks = (frames, size, size)
        return cls(
            np.zeros(blocks),
            np.zeros(blocks),
            np.zeros(blocks),
            np.zeros((frames, size, shared)),
            np.zeros((shared, shared)),
            np.zeros((frames, size)),
            np.zeros(shared),
        )


@dataclass(frozen=True, slots=True)
class Factor:
    """Cholesky factor of the banded part and what the border needs."""

    band: FloatArray
    border_solved: FloatArray
    schur: FloatArray
    frames: int
    size: int


def to_band(normal: Normal, damping: float) -> FloatArray:
    """Return the lower band of the frame part, shape (3 n, T n), damped on the diagonal.

    Its columns lie one after the other in memory, as LAPACK wants them: no copy is made of it.
    """
    frames, size, _ = normal.here.shape
    band = np.zeros((frames, size, 3 * size))
    for column in range(size):
        rest = size - column
        band[:, column, :rest] = normal.here[:, column:, column]
        band[:, column, rest : rest + size] = normal.next1[:, :, column]
        band[:, column, rest + size : rest + 2 * size] = normal.next2[:, :, column]
    band[:, :, 0] *= 1.0 + damping
    return band.reshape(frames * size, 3 * size).T


def factorise(normal: Normal, damping: float = 0.0) -> Factor:
    """Factorise the equations.

    Raises
    ------
    numpy.linalg.LinAlgError
        If they do not determine the unknowns.
    """
    from scipy.linalg import cho_solve_banded, cholesky_banded

    frames, size, _ = normal.here.shape
    band = cholesky_banded(
        to_band(normal, damping), lower=True, overwrite_ab=True, check_finite=False
    )
    flat = normal.border.reshape(frames * size, -1)
    solved = cho_solve_banded((band, True), flat, check_finite=False)
    corner = normal.corner * (1.0 + damping * np.eye(len(normal.corner)))
    return Factor(band, solved, corner - flat.T @ solved, frames, size)


def solve(normal: Normal, factor: Factor) -> tuple[FloatArray, FloatArray]:
    """Return the step of the frames, shape (T, n), and of the shared unknowns, shape (m,)."""
    from scipy.linalg import cho_solve_banded

    first = cho_solve_banded((factor.band, True), normal.right.ravel(), check_finite=False)
    flat = normal.border.reshape(factor.frames * factor.size, -1)
    shared = np.linalg.solve(factor.schur, normal.right_shared - flat.T @ first)
    frames = first - factor.border_solved @ shared
    return frames.reshape(factor.frames, factor.size), np.asarray(shared, dtype=np.float64)


def draw_samples(factor: Factor, count: int, seed: int) -> tuple[FloatArray, FloatArray]:
    """Draw from the normal distribution whose inverse covariance are the equations.

    Returns
    -------
    frames : ndarray, shape (count, T, n)
    shared : ndarray, shape (count, m)
    """
    from scipy.linalg.lapack import dtbtrs

    rng = np.random.default_rng(seed)
    size = factor.frames * factor.size
    noise = rng.standard_normal((size, count))
    shared_noise = rng.standard_normal((len(factor.schur), count))
    shared = np.linalg.solve(np.linalg.cholesky(factor.schur).T, shared_noise)
    # Straight from LAPACK: the transpose of the lower factor is solved with as it lies in memory.
    frames, _ = dtbtrs(factor.band, noise, uplo="L", trans="T", overwrite_b=True)
    frames -= factor.border_solved @ shared
    return frames.T.reshape(count, factor.frames, factor.size), np.asarray(shared.T)
