"""Short gaps are bridged, long ones are left open."""

from __future__ import annotations

import numpy as np

from motioncheck.cleaning.runs import BoolArray, IntArray, Runs, find_runs
from motioncheck.records.arrays import FloatArray

# Stamps are rounded to fractions of a millisecond, so "exactly at the limit" needs some slack.
TIME_SLACK_S = 1e-6
NEIGHBOURS = 3
FEWEST_NEIGHBOURS = 2


def fill_gaps(
    values: FloatArray, time_s: FloatArray, *, max_gap_s: float
) -> tuple[FloatArray, BoolArray]:
    """Bridge gaps that are short enough by a curve through the samples on either side.

    Parameters
    ----------
    values : ndarray, shape (T, K, D)
        Points over time; a point is missing where any of its coordinates is NaN.
    time_s : ndarray, shape (T,)
        Time of each frame, strictly increasing, not necessarily uniform.
    max_gap_s : float
        Longest gap to bridge, measured from the last known sample before it to the first one
        after it. A gap of exactly this length is bridged.

    Returns
    -------
    filled : ndarray, shape (T, K, D)
        A cubic fitted to the three known samples on either side of each gap and led through the
        two at its edges; a straight line where fewer than two in a row are known on a side.
        Gaps that are longer, and those at the beginning and the end, stay NaN.
    was_filled : ndarray of bool, shape (T, K)

    Notes
    -----
    A cubic because a straight line across 0.2 s would cut the top off every fast movement.
    """
    filled = values.copy()
    known = np.all(np.isfinite(values), axis=2)
    filled[~known] = np.nan
    gaps = _inner_gaps(known)
    duration = time_s[gaps.stop] - time_s[gaps.start - 1]
    short = duration <= max_gap_s + TIME_SLACK_S
    gaps = Runs(gaps.column[short], gaps.start[short], gaps.stop[short])
    was_filled = np.zeros_like(known)
    if len(gaps.start) == 0:
        return filled, was_filled
    coefficients, origin, scale = _fit_curves(values, known, time_s, gaps)
    which = np.repeat(np.arange(len(gaps.start)), gaps.length)
    first_of_gap = np.cumsum(gaps.length) - gaps.length
    frame = gaps.start[which] + np.arange(len(which)) - first_of_gap[which]
    u = (time_s[frame] - origin[which]) / scale[which]
    powers = u[:, None] ** np.arange(4)
    filled[frame, gaps.column[which]] = np.einsum("np,npd->nd", powers, coefficients[which])
    was_filled[frame, gaps.column[which]] = True
    return filled, was_filled


def compute_filled_s(was_filled: BoolArray, time_s: FloatArray) -> FloatArray:
    """Add up the time that was filled in each column.

    Parameters
    ----------
    was_filled : ndarray of bool, shape (T, K)
    time_s : ndarray, shape (T,)

    Returns
    -------
    ndarray, shape (K,)
        Seconds; each frame counts for half of the time to the frame before and after it.
    """
    if len(time_s) < 2:
        return np.zeros(was_filled.shape[1])
    half = 0.5 * np.diff(time_s)
    share = np.concatenate([half, [0.0]]) + np.concatenate([[0.0], half])
    return np.asarray(share @ was_filled)


def _inner_gaps(known: BoolArray) -> Runs:
    """Gaps with a known sample before and after them."""
    gaps = find_runs(~known)
    inner = (gaps.start > 0) & (gaps.stop < len(known))
    return Runs(gaps.column[inner], gaps.start[inner], gaps.stop[inner])


def _fit_curves(
    values: FloatArray, known: BoolArray, time_s: FloatArray, gaps: Runs
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Fit one cubic a gap in time running from -1 to 1 across it; shape (G, 4, D)."""
    rank = np.arange(NEIGHBOURS)
    before = gaps.start[:, None] - 1 - rank
    after = gaps.stop[:, None] + rank
    use_before = _in_a_row(known, before, gaps.column)
    use_after = _in_a_row(known, after, gaps.column)
    frame = np.clip(np.concatenate([before, after], axis=1), 0, len(time_s) - 1)
    use = np.concatenate([use_before, use_after], axis=1)
    start, stop = time_s[gaps.start - 1], time_s[gaps.stop]
    origin, scale = 0.5 * (start + stop), 0.5 * (stop - start)
    u = (time_s[frame] - origin[:, None]) / scale[:, None]
    point = np.where(use[:, :, None], values[frame, gaps.column[:, None]], 0.0)
    curved = (use_before.sum(1) >= FEWEST_NEIGHBOURS) & (use_after.sum(1) >= FEWEST_NEIGHBOURS)
    return _bend(point, u, use, curved), origin, scale


def _in_a_row(known: BoolArray, frame: IntArray, column: IntArray) -> BoolArray:
    """Tell which neighbours are known with nothing missing between them and the gap."""
    inside = (frame >= 0) & (frame < len(known))
    there = known[np.clip(frame, 0, len(known) - 1), column[:, None]] & inside
    return np.logical_and.accumulate(there, axis=1)


def _bend(point: FloatArray, u: FloatArray, use: BoolArray, curved: BoolArray) -> FloatArray:
    """Line through both edges (u = -1 and 1), plus the bend that fits the other neighbours best.

    The bend (1 - u^2)(p + q u) vanishes at the edges, so only p and q are fitted.
    """
    edge_before, edge_after = point[:, 0], point[:, NEIGHBOURS]
    middle, slope = 0.5 * (edge_before + edge_after), 0.5 * (edge_after - edge_before)
    rest = point - middle[:, None] - slope[:, None] * u[:, :, None]
    weight = np.where(use & curved[:, None], 1.0 - u**2, 0.0)
    design = np.stack([weight, weight * u], axis=2)
    normal = np.einsum("gni,gnj->gij", design, design)
    normal[~curved] = np.eye(2)
    right = np.einsum("gni,gnd->gid", design, np.where(use[:, :, None], rest, 0.0))
    p, q = np.moveaxis(np.linalg.solve(normal, right), 1, 0)
    return np.stack([middle + p, slope + q, -p, -q], axis=1)
