"""Unbroken stretches of known samples."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.intp]


class Runs(NamedTuple):
    """Stretches of True in the columns of a table, ordered by column, then by start.

    Attributes
    ----------
    column, start, stop : ndarray, shape (R,)
        Each run covers the rows ``start`` to ``stop`` (excluded) of its column.
    """

    column: IntArray
    start: IntArray
    stop: IntArray

    @property
    def length(self) -> IntArray:
        """Number of samples of each run, shape (R,)."""
        return self.stop - self.start


def find_runs(known: BoolArray) -> Runs:
    """Find every stretch of True along the first axis.

    Parameters
    ----------
    known : ndarray of bool, shape (T, C)
        True where a sample is known.
    """
    edges = np.zeros((known.shape[1], known.shape[0] + 1), dtype=np.int8)
    edges[:, :-1] += known.T
    edges[:, 1:] -= known.T
    column, start = np.nonzero(edges == 1)
    # Starts and stops come in the same order, column by column, so they pair up.
    _, stop = np.nonzero(edges == -1)
    return Runs(column, start, stop)
