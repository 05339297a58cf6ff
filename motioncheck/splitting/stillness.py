"""Where a body comes to rest and where it begins to move, for holds and stages.

Everything here works on an even time axis, made by `find_stretches`, whatever the rate of the clip.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from motioncheck.errors import ShapeError
from motioncheck.records.arrays import BoolArray, FloatArray

# Holds and stages last for many frames; this rate is plenty for edges good to a tenth of a second.
AXIS_HZ = 30.0
# Width of the line that is fitted around every sample to smooth it and to tell its speed.
LINE_S = 0.3
SPEED_LINE_S = 0.4
# How far around a rough edge the end of a movement is looked for, and what lengths of it are
# tried; the shape is the smoothest one there is (minimum jerk), of which only the end matters.
LOOK_S = 0.8
FEWEST_REST_S = 0.25
MOVE_S = (0.5, 0.75, 1.1, 1.6)
# A movement is there when it makes the fit this much better than a straight line does; where the
# factor is lower, sway passes for a small movement, so that is taken only if there is no better.
BETTER_FACTOR = 6.0
LITTLE_BETTER_FACTOR = 2.5
# Times whose error is up to this much larger than the smallest are possible too: about two standard
# deviations for some twenty independent samples, which is what a low-pass of 6 Hz leaves.
SURE_FACTOR = 1.25


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A stretch of a clip in which the body is seen, on an even time axis.

    ``time_s`` has shape (N,), ``values`` (N, K) and ``speed`` (N,). Short gaps are bridged by
    straight lines; a column that is missing for longer is NaN there.
    """

    time_s: FloatArray
    values: FloatArray
    speed: FloatArray


def find_stretches(
    time_s: FloatArray, values: FloatArray, speed: FloatArray, *, bridge_s: float
) -> list[Stretch]:
    """Cut a clip where nothing is known for long, and place the rest on an even time axis.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Strictly increasing.
    values : ndarray, shape (T, K)
        Any unit; NaN where not known.
    speed : ndarray, shape (T,)
        NaN where not known. A frame counts as known when its speed and at least one value are.
    bridge_s : float
        Longest time from one known frame to the next.

    Raises
    ------
    ShapeError
        If the lengths differ.
    """
    if values.ndim != 2 or not len(time_s) == len(values) == len(speed):
        raise ShapeError(
            f"Expected values (T, K) and speed (T,) for {len(time_s)} times, found "
            f"{values.shape} and {speed.shape}."
        )
    known = np.isfinite(speed) & np.isfinite(values).any(axis=1)
    seen_s = time_s[known]
    if len(seen_s) == 0:
        return []
    cuts = np.flatnonzero(np.diff(seen_s) > bridge_s) + 1
    stretches = []
    for part_s in np.split(seen_s, cuts):
        count = math.floor((part_s[-1] - part_s[0]) * AXIS_HZ + 1e-6) + 1
        axis = part_s[0] + np.arange(count) / AXIS_HZ
        columns = [_place(time_s, column, axis, bridge_s) for column in values.T]
        stretches.append(
            Stretch(axis, np.stack(columns, axis=1), _place(time_s, speed, axis, bridge_s))
        )
    return stretches


def _place(time_s: FloatArray, column: FloatArray, axis: FloatArray, bridge_s: float) -> FloatArray:
    """Read a column at other times; NaN in long gaps and outside of what is known."""
    known = np.isfinite(column)
    if not known.any():
        return np.full(len(axis), np.nan)
    at, values = time_s[known], column[known]
    placed = np.interp(axis, at, values)
    after = np.clip(np.searchsorted(at, axis - 1e-9), 0, len(at) - 1)
    before = np.clip(after - 1, 0, None)
    lost = (at[after] - at[before] > bridge_s) & (np.abs(at[after] - axis) > 1e-9)
    lost |= (axis < at[0] - 1e-9) | (axis > at[-1] + 1e-9)
    return np.where(lost, np.nan, placed)


def fit_lines(values: FloatArray, *, width_s: float = LINE_S) -> tuple[FloatArray, FloatArray]:
    """Fit a straight line around every sample of an even axis.

    Parameters
    ----------
    values : ndarray, shape (N, K)
        On the axis of a `Stretch`; NaN is left out.
    width_s : float
        Width of the window; shorter at the ends of the stretch.

    Returns
    -------
    level, slope_per_s : ndarray, shape (N, K)
        Value of the line in the middle, and its slope. NaN where the sample is NaN; the slope is
        0 where there is no second sample.
    """
    half = max(1, round(width_s * AXIS_HZ / 2.0))
    at = np.arange(-half, half + 1) / AXIS_HZ
    padded = np.pad(values, ((half, half), (0, 0)), constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1, axis=0)
    ok = np.isfinite(windows)
    filled = np.where(ok, windows, 0.0)
    count, first, second = ok.sum(axis=2), ok @ at, ok @ at**2
    total, moment = filled.sum(axis=2), filled @ at
    spread = count * second - first**2
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = np.where(spread > 1e-12, (count * moment - first * total) / spread, 0.0)
        level = (total - slope * first) / count
    missing = ~np.isfinite(values)
    level[missing], slope[missing] = np.nan, np.nan
    return level, slope


def compute_speed(
    time_s: FloatArray, position: FloatArray, *, width_s: float = SPEED_LINE_S
) -> FloatArray:
    """Compute how fast a point moves, from the line fitted around each frame.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Strictly increasing.
    position : ndarray, shape (T, D)
        NaN where not known.
    width_s : float
        Width of the line: the wider, the less the jitter of a resting landmark looks like speed.

    Returns
    -------
    ndarray, shape (T,)
        Unit of ``position`` per second, never negative. NaN where the point is NaN or has fewer
        than two neighbours.
    """
    half = width_s / 2.0 + 1e-9
    known = np.isfinite(position).all(axis=1)
    at, points = time_s[known], position[known]
    # Sums up to each sample give the sums of any window, however uneven the times.
    zero = at - (at[0] if len(at) else 0.0)
    sums = [np.cumsum(np.pad(x, ((1, 0), (0, 0))), axis=0) for x in _moments(zero, points)]
    first, last = np.searchsorted(at, at - half), np.searchsorted(at, at + half)
    count, t, tt, p, tp = (s[last] - s[first] for s in sums)
    spread = count * tt - t**2
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = (count * tp - t * p) / np.where((count > 2) & (spread > 1e-12), spread, np.nan)
    speed = np.full(len(time_s), np.nan)
    speed[known] = np.linalg.norm(slope, axis=1)
    return speed


def _moments(at: FloatArray, points: FloatArray) -> list[FloatArray]:
    t = at[:, None]
    middle = points - points.mean(axis=0) if len(points) else points
    return [np.ones_like(t), t, t**2, middle, t * middle]


def list_runs(mask: BoolArray) -> list[tuple[int, int]]:
    """List the stretches of True as (first, one past the last)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def find_rest(
    time_s: FloatArray,
    values: FloatArray,
    rough: int,
    *,
    sizes: FloatArray,
    rest_s: float = LOOK_S,
) -> float:
    """Find when a movement came to rest, near a rough guess.

    Parameters
    ----------
    time_s : ndarray, shape (N,)
        Even axis; values move before the guess and rest, or drift slowly, after it.
    values : ndarray, shape (N, K)
        Columns with NaN near the guess are not used.
    rough : int
        Index of the guess.
    sizes : ndarray, shape (K,)
        Smallest movement that counts, in the unit of each column; a column where that is infinite
        is not used.
    rest_s : float
        How long the rest lasts at least.

    Returns
    -------
    float
        When the columns came to rest; when one of them surely did so later than the others, then
        that time. That of the guess when no column shows a movement.

    Notes
    -----
    Each column is fitted by a slow line plus, before the time in question, the end of a movement
    of minimum jerk; the time with the smallest squared error is taken. That sees a slow arrival
    for what it is, where any threshold would cut it off early or late.
    """
    look, stay = round(LOOK_S * AXIS_HZ), max(3, round(min(rest_s, LOOK_S) * AXIS_HZ))
    first, last = max(0, rough - look), min(len(time_s), rough + stay + 1)
    t, x = time_s[first:last], values[first:last]
    usable = np.isfinite(x).all(axis=0) & np.isfinite(sizes)
    keep_s = min(FEWEST_REST_S, rest_s / 2.0)
    ends = t[(t >= t[0] + 0.1) & (t <= t[-1] - keep_s)]
    if not usable.any() or len(ends) < 3:
        return float(time_s[rough])
    x, sizes = x[:, usable], sizes[usable]
    error, size, plain = _fit_arrivals(t, x, ends)
    # An error of nothing at all would make any ratio infinite; a thousandth of a size is nothing.
    error, plain = (v + len(t) * (1e-3 * sizes) ** 2 for v in (error, plain))
    best = error.argmin(axis=0)
    at = np.arange(x.shape[1])
    better = np.where(size[best, at] >= sizes, plain / error[best, at], 0.0)
    if better.max() < LITTLE_BETTER_FACTOR:
        return float(time_s[rough])
    moved = better >= min(BETTER_FACTOR, better.max())
    error = error[:, moved]
    together = int(np.log(error).sum(axis=1).argmin())
    # A column that surely came to rest later than the others decides alone.
    earliest = (error <= SURE_FACTOR * error.min(axis=0)).argmax(axis=0)
    return float(ends[max(together, int(earliest.max()))])


def _fit_arrivals(
    t: FloatArray, x: FloatArray, ends: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Squared error and size of the movement for every end (E, K), and the error without one."""
    lengths = np.array(MOVE_S)
    share = (ends[:, None, None] - t) / lengths[None, :, None]
    shape = ease(share).reshape(-1, len(t))
    middle = t - t.mean()
    line = np.broadcast_to(np.stack([np.ones_like(t), middle]), (len(shape), 2, len(t)))
    basis = np.concatenate([line, shape[:, None, :]], axis=1)
    right = basis @ (x - x.mean(axis=0))
    normal = basis @ basis.transpose(0, 2, 1) + 1e-9 * np.eye(3)
    weights = np.linalg.solve(normal, right)
    total = np.square(x - x.mean(axis=0)).sum(axis=0)
    error = np.maximum(total - np.einsum("gik,gik->gk", weights, right), 0.0)
    size = np.abs(weights[:, 2]) * shape.max(axis=1)[:, None]
    error, size = (v.reshape(len(ends), len(lengths), -1) for v in (error, size))
    pick = error.argmin(axis=1)[:, None]
    straight = np.linalg.solve(normal[0, :2, :2], right[0, :2])
    plain = np.maximum(total - (straight * right[0, :2]).sum(axis=0), 0.0)
    chosen = [np.take_along_axis(v, pick, axis=1)[:, 0] for v in (error, size)]
    return chosen[0], chosen[1], plain


def ease(share: npt.ArrayLike) -> FloatArray:
    """Return the minimum-jerk step from 0 to 1, flat outside of that range.

    Source: T. Flash and N. Hogan, J. Neurosci. 5 (1985) 1688-1703, from memory.
    """
    s = np.clip(share, 0.0, 1.0)
    return np.asarray(s**3 * (10.0 - 15.0 * s + 6.0 * s**2), dtype=np.float64)
