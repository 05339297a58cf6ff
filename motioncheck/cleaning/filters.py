"""Zero-phase Butterworth low-pass, and the choice of its cutoff by residual analysis.

Written out here because the closed form is eight lines, whereas importing ``scipy.signal`` alone
takes most of the second in which a saved track should be checked. The tests hold it against
``scipy.signal`` as the reference.
"""

from __future__ import annotations

import math

import numpy as np

from motioncheck.cleaning.runs import IntArray, Runs, find_runs
from motioncheck.errors import ShapeError
from motioncheck.records.arrays import FloatArray

HIGHEST_CUTOFF_RATIO = 0.45
EDGE_S = 1.0
SHORTEST_RUN = 3


def design_lowpass(
    cutoff_hz: float, rate_hz: float, *, passes: int = 2
) -> tuple[FloatArray, FloatArray]:
    """Design a second-order Butterworth low-pass in closed form.

    Each pass lowers the -3 dB point, so a filter that runs more than once is designed at a higher
    cutoff. The correction is applied to the warped frequency, which keeps the -3 dB point of all
    passes together at ``cutoff_hz`` up to the Nyquist frequency.

    Parameters
    ----------
    cutoff_hz : float
        Wanted -3 dB frequency of all passes together; above 0 and below half of ``rate_hz``.
    rate_hz : float
        Sampling rate.
    passes : int
        How often the filter will be run; 2 for forward and backward.

    Returns
    -------
    b, a : ndarray, shape (3,)
        Numerator and denominator, ``a[0] == 1``. In Winter's notation (a0, a1, a2) = b and
        (b1, b2) = -a[1:]. The gain at 0 Hz is 1.

    Raises
    ------
    ValueError
        If the cutoff is not between 0 and half the rate, or there is no pass.

    Notes
    -----
    Source: D. A. Winter, Biomechanics and Motor Control of Human Movement, 4th ed., p. 69;
    D. G. E. Robertson et al., Research Methods in Biomechanics, 2nd ed., p. 288.
    """
    if not 0.0 < cutoff_hz < rate_hz / 2.0:
        raise ValueError(
            f"Cutoff must lie between 0 and half the rate ({rate_hz / 2:g} Hz), got {cutoff_hz:g}."
        )
    if passes < 1:
        raise ValueError(f"Expected at least one pass, got {passes}.")
    correction = (2.0 ** (1.0 / passes) - 1.0) ** 0.25
    warped = math.tan(math.pi * cutoff_hz / rate_hz) / correction
    k1 = math.sqrt(2.0) * warped
    k2 = warped * warped
    b0 = k2 / (1.0 + k1 + k2)
    a1 = 2.0 * b0 * (1.0 - 1.0 / k2)
    return np.array([b0, 2.0 * b0, b0]), np.array([1.0, a1, 4.0 * b0 - 1.0 - a1])


def filter_zero_phase(
    values: FloatArray, *, cutoff_hz: float, rate_hz: float, edge_s: float = EDGE_S
) -> FloatArray:
    """Low-pass filter forward and backward, so that nothing is shifted in time.

    Parameters
    ----------
    values : ndarray, shape (T, ...)
        Uniformly sampled values; each column along the first axis is filtered by itself.
    cutoff_hz : float
        -3 dB frequency of both passes together; below half of ``rate_hz``.
    rate_hz : float
        Sampling rate.
    edge_s : float
        Each run is extended at both ends by its own odd reflection of this length (point
        reflection about the end sample), or as long as the run allows.

    Returns
    -------
    ndarray, same shape
        NaN where ``values`` is NaN: every run of known samples is filtered by itself. Runs of
        fewer than 3 samples are returned as they are.

    Notes
    -----
    Source of the method: Winter, 4th ed., section 3.4.4.2; see `design_lowpass`. With the same
    coefficients the result equals ``scipy.signal.filtfilt(..., padtype="odd")``.
    """
    b, a = design_lowpass(cutoff_hz, rate_hz)
    table = np.asarray(values, dtype=np.float64).reshape(len(values), -1)
    return _filter_runs(table, b, a, edge=round(edge_s * rate_hz)).reshape(values.shape)


def residual_analysis(
    values: FloatArray,
    rate_hz: float,
    *,
    step_hz: float = 0.25,
    noise_band: tuple[float, float] = (0.2, 0.4),
) -> tuple[float, float]:
    """Choose a cutoff from the signal itself and estimate its noise.

    The root mean square of what a filter removes is drawn against its cutoff. Where only noise is
    removed the curve is a straight line; continued to 0 Hz, it meets the axis at the noise level.
    The cutoff at which the curve has this height lets through as much noise as it distorts signal.

    Parameters
    ----------
    values : ndarray, shape (T,)
        One uniformly sampled signal without NaN, any unit.
    rate_hz : float
        Sampling rate.
    step_hz : float
        Spacing of the cutoffs tried, from 0.5 Hz up.
    noise_band : pair of float
        Cutoffs that remove noise only, as shares of the rate; the line is fitted there.

    Returns
    -------
    cutoff_hz : float
        The first cutoff tried whose residual is not above the noise.
    noise_rms : float
        Root mean square of the noise, unit of ``values``.

    Raises
    ------
    ShapeError
        If ``values`` is not one-dimensional, holds NaN, or is shorter than 3 samples.

    Notes
    -----
    Source: Winter, 4th ed., section 3.4.4.3. Limits: it tends to choose a lower cutoff than is
    best for accelerations (Yu et al. 1999), and it needs noise that is white in the band.
    """
    signal = np.asarray(values, dtype=np.float64)
    if signal.ndim != 1 or len(signal) < SHORTEST_RUN or not np.all(np.isfinite(signal)):
        raise ShapeError("values: expected one signal of at least 3 samples without gaps.")
    cutoffs = np.arange(0.5, noise_band[1] * rate_hz + step_hz / 2, step_hz)
    designs = [design_lowpass(float(cutoff), rate_hz) for cutoff in cutoffs]
    b = np.stack([design[0] for design in designs], axis=1)
    a = np.stack([design[1] for design in designs], axis=1)
    # One column a cutoff: all of them are filtered in the same sweep.
    columns = np.repeat(signal[:, None], len(cutoffs), axis=1)
    smooth = _filter_runs(columns, b, a, edge=round(EDGE_S * rate_hz))
    residual = np.sqrt(np.mean((columns - smooth) ** 2, axis=0))
    flat = cutoffs >= noise_band[0] * rate_hz
    noise_rms = float(np.polyfit(cutoffs[flat], residual[flat], 1)[1])
    below = np.nonzero(residual <= noise_rms)[0]
    chosen = cutoffs[below[0]] if len(below) else cutoffs[-1]
    return float(chosen), noise_rms


def _filter_runs(table: FloatArray, b: FloatArray, a: FloatArray, *, edge: int) -> FloatArray:
    """Filter every run of every column; ``b`` and ``a`` are (3,) or (3, C) for C full columns."""
    out = table.copy()
    runs = find_runs(np.isfinite(table))
    # Runs of similar length are laid side by side and swept together: one long run does not make
    # every short one as long, and many short ones do not each cost a sweep.
    size_class = np.floor(np.log2(np.maximum(runs.length, 1))).astype(int)
    size_class[runs.length < SHORTEST_RUN] = -1
    for wanted in np.unique(size_class[size_class >= 0]):
        pick = size_class == wanted
        group = Runs(runs.column[pick], runs.start[pick], runs.stop[pick])
        _filter_side_by_side(table, out, group, b, a, edge=edge)
    return out


def _filter_side_by_side(
    table: FloatArray, out: FloatArray, runs: Runs, b: FloatArray, a: FloatArray, *, edge: int
) -> None:
    """Filter runs laid out as columns and write them into ``out``.

    Columns are as long as the longest run; what lies behind the end of a shorter one is never
    read back, since each sweep goes towards it.
    """
    last = runs.length - 1
    pad = np.minimum(edge, last)
    total = runs.length + 2 * pad
    row = np.arange(int(total.max()))[:, None]
    padded = _reflect_odd(table, runs, row - pad, last)
    backward = np.maximum(total - 1 - row, 0)
    forward_pass = _sweep(padded, b, a)
    both_passes = _sweep(np.take_along_axis(forward_pass, backward, axis=0), b, a)
    result = np.take_along_axis(both_passes, backward, axis=0)
    inside = (row >= pad) & (row < pad + runs.length)
    where_row, where_run = np.nonzero(inside)
    target = runs.start[where_run] + where_row - pad[where_run]
    out[target, runs.column[where_run]] = result[where_row, where_run]


def _reflect_odd(table: FloatArray, runs: Runs, position: IntArray, last: IntArray) -> FloatArray:
    """Read runs at positions from -pad to last + pad, point-reflected about their end samples."""
    inner = np.abs(position)
    inner = np.clip(np.where(inner > last, 2 * last - inner, inner), 0, last)
    value = table[runs.start + inner, runs.column]
    first_value = table[runs.start, runs.column]
    last_value = table[runs.stop - 1, runs.column]
    value = np.where(position < 0, 2 * first_value - value, value)
    reflected: FloatArray = np.where(position > last, 2 * last_value - value, value)
    return reflected


def _sweep(columns: FloatArray, b: FloatArray, a: FloatArray) -> FloatArray:
    """Run the recursion once down the first axis, as if the first sample had lasted for ever."""
    drive = b[0] * columns
    drive += b[1] * np.concatenate([columns[:1], columns[:-1]])
    drive += b[2] * np.concatenate([columns[:1], columns[:1], columns[:-2]])
    out = np.empty_like(columns)
    older = newer = columns[0]
    a1, a2 = a[1], a[2]
    for row, driven in enumerate(drive):
        older, newer = newer, driven - a1 * newer - a2 * older
        out[row] = newer
    return out
