"""Samples that leap away from their neighbours and straight back."""

from __future__ import annotations

import numpy as np

from motioncheck.cleaning.runs import BoolArray
from motioncheck.records.arrays import FloatArray

HALF_WINDOW_FRAMES = 3
TOLERANCE = 3.0
# Makes the median absolute deviation of normal noise equal to its standard deviation.
MAD_TO_SD = 1.4826
FEWEST_IN_WINDOW = 4


def find_outliers(
    values: FloatArray,
    *,
    floor: float,
    half_window: int = HALF_WINDOW_FRAMES,
    tolerance: float = TOLERANCE,
) -> BoolArray:
    """Find samples that leap away from their path (Hampel identifier on the bare deviations).

    The deviation of a sample is its distance from the middle between its neighbours on either
    side: the median of the nearest three such pairs, so that one wild neighbour does not matter.
    Steady movement has no deviation, whatever its speed; on the values themselves the identifier
    would hardly see a leap during a fast movement.

    Parameters
    ----------
    values : ndarray, shape (T, C)
        Columns over time; NaN = missing.
    floor : float
        Deviations up to this size, in the unit of ``values``, are never outliers. Without it half
        of the tremble of somebody standing still would be.
    half_window : int
        Neighbours on either side, in frames: the errors meant here last one or two frames
        whatever the frame rate.
    tolerance : float
        An outlier deviates from the median deviation by more than this many standard deviations
        (estimated by the median absolute deviation), and by more than this many times the usual
        way from one frame to the next: a foot that hits the floor also turns within a frame. It
        is as far from the median value.

    Returns
    -------
    ndarray of bool, shape (T, C)
        False where missing, and where fewer than 4 deviations of the window are known.

    Notes
    -----
    Source: F. R. Hampel, The influence curve and its role in robust estimation, JASA 69 (1974);
    window and tolerance as in R. K. Pearson, Outliers in process modeling and identification,
    IEEE Trans. Control Syst. Technol. 10 (2002). The limit by speed is project judgement.
    """
    edge = np.full((half_window, values.shape[1]), np.nan)
    padded = np.concatenate([edge, values, edge])
    count = len(values)
    pairs = [
        padded[half_window - k :][:count] + padded[half_window + k :][:count]
        for k in range(1, half_window + 1)
    ]
    deviation = values - 0.5 * _sorted_median(np.stack(pairs))
    # Windows are looked at only where the floor is passed, which is rare.
    # Comparisons with NaN are False, which is the answer for missing samples.
    outlying: BoolArray = np.abs(deviation) > floor
    row, column = np.nonzero(outlying)
    window = row + np.arange(2 * half_window + 1)[:, None]
    around = np.concatenate([edge, deviation, edge])[window, column]
    nearby = padded[window, column]
    spread = np.abs(around - _sorted_median(around))
    steps = np.abs(np.diff(nearby, axis=0))
    # Without the two steps of the leap itself.
    usual_step = _sorted_median(np.delete(steps, [half_window - 1, half_window], axis=0))
    limit = tolerance * np.fmax(MAD_TO_SD * _sorted_median(spread), usual_step)
    limit = np.maximum(limit, floor)
    enough = np.count_nonzero(np.isfinite(around), axis=0) >= FEWEST_IN_WINDOW
    # Where a movement sets in or ends within a frame, its neighbours deviate, yet do not leap.
    leap = np.abs(nearby[half_window] - _sorted_median(nearby))
    outlying[row, column] = (spread[half_window] > limit) & (leap > limit) & enough
    return outlying


def _sorted_median(window: FloatArray) -> FloatArray:
    """Median over the first axis of what is known (NaN where nothing is); NaN sorts to the end."""
    ordered = np.sort(window, axis=0)
    known = len(window)
    median: FloatArray = 0.5 * (ordered[(known - 1) // 2] + ordered[known // 2])
    short = np.isnan(ordered[-1])
    few = ordered[:, short]
    counts = np.count_nonzero(np.isfinite(few), axis=0)
    column = np.arange(few.shape[1])
    lower, upper = few[np.maximum(counts - 1, 0) // 2, column], few[counts // 2, column]
    median[short] = 0.5 * (lower + upper)
    return median
