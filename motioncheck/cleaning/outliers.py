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
    """Find samples far from the median of their neighbourhood in time (Hampel identifier).

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
        Allowed deviation in standard deviations, estimated by the median absolute deviation.

    Returns
    -------
    ndarray of bool, shape (T, C)
        False where missing, and where fewer than 4 samples of the window are known.

    Notes
    -----
    Source: F. R. Hampel, The influence curve and its role in robust estimation, JASA 69 (1974);
    window and tolerance as in R. K. Pearson, Outliers in process modeling and identification,
    IEEE Trans. Control Syst. Technol. 10 (2002).
    """
    edge = np.full((half_window, values.shape[1]), np.nan)
    padded = np.concatenate([edge, values, edge])
    width = 2 * half_window + 1
    window = np.stack([padded[i : i + len(values)] for i in range(width)])
    centre = _sorted_median(window)
    # The spread is needed only where the floor is passed, which is rare: this halves the time.
    # Comparisons with NaN are False, which is the answer for missing samples.
    outlying: BoolArray = np.abs(values - centre) > floor
    suspect = np.abs(window[:, outlying] - centre[outlying])
    limit = tolerance * MAD_TO_SD * _sorted_median(suspect)
    enough = np.count_nonzero(np.isfinite(suspect), axis=0) >= FEWEST_IN_WINDOW
    outlying[outlying] = (suspect[half_window] > limit) & enough
    return outlying


def _sorted_median(window: FloatArray) -> FloatArray:
    """Median over the first axis of what is known; NaN sorts to the end."""
    ordered = np.sort(window, axis=0)
    median: FloatArray = ordered[len(window) // 2]
    short = np.isnan(ordered[-1])
    few = ordered[:, short]
    known = np.count_nonzero(np.isfinite(few), axis=0)
    column = np.arange(few.shape[1])
    lower, upper = few[np.maximum(known - 1, 0) // 2, column], few[known // 2, column]
    median[short] = 0.5 * (lower + upper)
    return median
