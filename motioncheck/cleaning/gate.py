"""Landmarks that the model believes to be hidden are taken out."""

from __future__ import annotations

import numpy as np

from motioncheck.cleaning.runs import BoolArray, find_runs
from motioncheck.records.arrays import FloatArray

RETURN_MARGIN = 0.1


def find_visible(
    visibility: FloatArray, *, gate: float, return_margin: float = RETURN_MARGIN
) -> BoolArray:
    """Tell for each landmark when it can be seen well enough to be measured.

    A stretch above ``gate`` counts only if it rises to ``gate + return_margin`` somewhere: in side
    views the far limbs hover around the gate, and a single threshold would leave shreds that are
    neither seen nor long enough to filter. The rule is the same when time runs backward.

    Parameters
    ----------
    visibility : ndarray, shape (T, K)
        Model's belief that the landmark can be seen, 0 to 1. NaN (nobody found) is not visible.
    gate : float
        Visibility below which a landmark is hidden; 0 keeps all.
    return_margin : float
        How far above ``gate`` a stretch must rise; never above a visibility of 1.

    Returns
    -------
    ndarray of bool, shape (T, K)

    Notes
    -----
    Source: gate of 0.5 and margin of 0.1 are common practice, no source.
    """
    if gate <= 0.0:
        return np.isfinite(visibility)
    certain = min(gate + return_margin, 1.0)
    above = visibility >= gate
    runs = find_runs(above)
    # Running count of certain frames: a run holds one if the count rises from its start to stop.
    count = np.zeros((len(visibility) + 1, visibility.shape[1]), dtype=np.int32)
    np.cumsum(visibility >= certain, axis=0, out=count[1:])
    doubtful = count[runs.stop, runs.column] == count[runs.start, runs.column]
    edges = np.zeros(count.shape, dtype=np.int8)
    edges[runs.start[doubtful], runs.column[doubtful]] = 1
    edges[runs.stop[doubtful], runs.column[doubtful]] = -1
    certain_run: BoolArray = np.cumsum(edges[:-1], axis=0, dtype=np.int8) == 0
    return above & certain_run
