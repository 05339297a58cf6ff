"""From the time stamps of the clip to a uniform time axis."""

from __future__ import annotations

import math

import numpy as np

from motioncheck.cleaning.gaps import TIME_SLACK_S
from motioncheck.cleaning.runs import IntArray
from motioncheck.records.arrays import FloatArray

HIGHEST_RATE_HZ = 120.0
# Intervals further from the median than this are pauses or dropped frames, not the frame rate.
REGULAR_SHARE = 0.5
# A stamp this close to its place, as a share of the interval, is in its place: containers round
# stamps to milliseconds.
IN_PLACE_SHARE = 0.02
STENCIL = 4


def compute_rate(time_s: FloatArray) -> float:
    """Compute the frame rate of a clip from its time stamps.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Strictly increasing.

    Returns
    -------
    float
        Hz; one over the mean of the intervals that are within 50 % of the median one, since the
        median alone of stamps rounded to milliseconds is off by up to 1.5 %. NaN for fewer than
        2 frames.
    """
    if len(time_s) < 2:
        return math.nan
    interval = np.diff(time_s)
    # The lower of the two middle intervals: the mean of both may be like none of them.
    median = np.sort(interval)[(len(interval) - 1) // 2]
    regular = np.abs(interval - median) <= REGULAR_SHARE * median
    return 1.0 / float(np.mean(interval[regular]))


def make_time_axis(time_s: FloatArray, rate_hz: float) -> FloatArray:
    """Lay a uniform time axis from the first time stamp to the last.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Strictly increasing, at least one.
    rate_hz : float

    Returns
    -------
    ndarray, shape (N,)
        Starts at ``time_s[0]``.
    """
    count = math.floor((time_s[-1] - time_s[0]) * rate_hz + IN_PLACE_SHARE) + 1
    return np.asarray(time_s[0] + np.arange(count) / rate_hz)


def resample(
    values: FloatArray, time_s: FloatArray, new_time_s: FloatArray, *, max_gap_s: float
) -> FloatArray:
    """Read values over time at other instants.

    Parameters
    ----------
    values : ndarray, shape (T, ...)
        NaN = missing.
    time_s : ndarray, shape (T,)
        Time of each sample, strictly increasing.
    new_time_s : ndarray, shape (N,)
        Instants wanted; NaN is returned for those outside ``time_s``.
    max_gap_s : float
        Neighbouring time stamps further apart than this are not joined.

    Returns
    -------
    ndarray, shape (N, ...)
        The cubic through the two samples on either side; the straight line between the two
        nearest where the outer ones are missing; NaN where one of the two nearest is missing,
        unless the instant is that of the other one.

    Notes
    -----
    A cubic because at 30 frames a second a straight line between two frames takes 2 % off a
    movement of 2 Hz. Source: Lagrange's formula.
    """
    table = np.asarray(values, dtype=np.float64).reshape(len(values), -1)
    shape = (len(new_time_s), *values.shape[1:])
    if len(time_s) == 1:
        near = np.abs(new_time_s - time_s[0]) <= TIME_SLACK_S
        return np.where(near[:, None], table, np.nan).reshape(shape)
    left = np.clip(np.searchsorted(time_s, new_time_s, side="right") - 1, 0, len(time_s) - 2)
    interval = time_s[left + 1] - time_s[left]
    place = (new_time_s - time_s[left]) / interval
    joined = (interval <= max_gap_s + TIME_SLACK_S)[:, None]
    out = np.where(joined, _line(table, left, place), np.nan)
    better = _cubic(table, time_s, new_time_s, left, max_gap_s=max_gap_s)
    out = np.where(np.isfinite(better) & joined, better, out)
    for offset in (0, 1):
        here = np.abs(place - offset) * interval <= IN_PLACE_SHARE * _step(new_time_s, interval)
        out = np.where(here[:, None] & np.isnan(out), table[left + offset], out)
    outside = (place < -IN_PLACE_SHARE) | (place > 1.0 + IN_PLACE_SHARE)
    out[outside] = np.nan
    return out.reshape(shape)


def is_uniform(time_s: FloatArray, rate_hz: float) -> bool:
    """Tell whether every time stamp is in its place on the uniform axis from the first one."""
    place = (time_s - time_s[0]) * rate_hz
    return bool(np.max(np.abs(place - np.arange(len(time_s)))) <= IN_PLACE_SHARE)


def _step(new_time_s: FloatArray, interval: FloatArray) -> FloatArray:
    """Return the smaller of the old and the new spacing, in seconds."""
    if len(new_time_s) < 2:
        return interval
    step: FloatArray = np.minimum(interval, new_time_s[1] - new_time_s[0])
    return step


def _line(table: FloatArray, left: IntArray, place: FloatArray) -> FloatArray:
    """Straight line between the samples ``left`` and ``left + 1``."""
    share = np.clip(place, 0.0, 1.0)[:, None]
    line: FloatArray = (1.0 - share) * table[left] + share * table[left + 1]
    return line


def _cubic(
    table: FloatArray,
    time_s: FloatArray,
    new_time_s: FloatArray,
    left: IntArray,
    *,
    max_gap_s: float,
) -> FloatArray:
    """Cubic through four neighbouring samples; NaN where one is missing or the stamps pause."""
    out = np.full((len(new_time_s), table.shape[1]), np.nan)
    if len(time_s) < STENCIL:
        return out
    first = np.clip(left - 1, 0, len(time_s) - STENCIL)
    node = time_s[first[:, None] + np.arange(STENCIL)]
    close = np.all(np.diff(node, axis=1) <= max_gap_s + TIME_SLACK_S, axis=1)
    out[close] = 0.0
    for j in range(STENCIL):
        others = [k for k in range(STENCIL) if k != j]
        over = np.prod([new_time_s - node[:, k] for k in others], axis=0)
        under = np.prod([node[:, j] - node[:, k] for k in others], axis=0)
        out += (over / under)[:, None] * table[first + j]
    return out
