"""Poses as ranges of measures: how far a body is from one, at every moment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from motioncheck.records import MeasureTable
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.skeleton import Side

# With a level to go by, two sides are compared only if both are seen in this share of the frames.
MIN_PAIRED = 0.25
OTHER: dict[str, str] = {"left": "right", "right": "left"}
PoseSide = Literal["none", "working", "opposite", "both", "either"]


@dataclass(frozen=True, slots=True)
class PoseWindow:
    """A range of one measure; ``doubt`` is how far outside counts as one unit of misfit.

    ``side`` is relative to the working side of the pose; ``both`` must lie inside, of ``either``
    one is enough.
    """

    measure: str
    side: PoseSide
    low: float
    high: float
    doubt: float


def measure_misfit(table: MeasureTable, window: PoseWindow, side: str) -> FloatArray:
    """Return how far outside a window the body is, in units of doubt, shape (T,).

    Parameters
    ----------
    table : MeasureTable
    window : PoseWindow
    side : str
        Working side, ``left`` or ``right``.

    Returns
    -------
    ndarray, shape (T,)
        0 inside the window; NaN where the measure is not known. Of ``either`` a side that is
        outside leaves it open while the other one is not known.
    """
    if window.side == "none":
        return _outside(table.values[window.measure], window)
    if window.side in ("both", "either"):
        sides = [_outside(table.values[f"{window.measure}_{s}"], window) for s in OTHER]
        return np.fmax(*sides) if window.side == "both" else _least(*sides)
    wanted = side if window.side == "working" else OTHER[side]
    return _outside(table.values[f"{window.measure}_{wanted}"], window)


def _least(left: FloatArray, right: FloatArray) -> FloatArray:
    """Return the smaller misfit; one that is outside says nothing while the other is not seen."""
    least = np.fmin(left, right)
    return np.asarray(np.where((least > 0.0) & np.isnan(left + right), np.nan, least))


def _outside(values: FloatArray, window: PoseWindow) -> FloatArray:
    beyond = np.maximum(window.low - values, values - window.high)
    return np.asarray(np.where(np.isfinite(values), np.maximum(beyond, 0.0), np.nan) / window.doubt)


def measure_pose(
    table: MeasureTable, windows: Sequence[PoseWindow], side: str
) -> tuple[FloatArray, FloatArray]:
    """Return the largest and the mean misfit of a pose, shape (T,) each.

    Windows that are not known at a moment do not count there; NaN where none is.
    """
    misfits = np.stack([measure_misfit(table, w, side) for w in windows])
    known = np.isfinite(misfits)
    count = known.sum(axis=0)
    worst = np.where(known, misfits, -np.inf).max(axis=0)
    mean = np.where(known, misfits, 0.0).sum(axis=0) / np.maximum(count, 1)
    return np.where(count > 0, worst, np.nan), np.where(count > 0, mean, np.nan)


def find_side(
    table: MeasureTable,
    measure: str,
    *,
    higher: bool,
    inside: BoolArray,
    level: float | None = None,
) -> Side:
    """Return the side on which a measure is higher (or lower), on average over some frames.

    With a ``level`` a side that is not seen is told by the other one: that one works when it is
    beyond the level. ``both`` when it cannot be told.
    """
    left, right = (table.values[f"{measure}_{s}"][inside] for s in ("left", "right"))
    difference = (left - right)[np.isfinite(left - right)]
    enough = 0.0 if level is None else MIN_PAIRED * len(left)
    if len(difference) > enough:
        return "left" if (float(np.mean(difference)) > 0) == higher else "right"
    if level is None:
        return "both"
    seen = {side: v[np.isfinite(v)] for side, v in (("left", left), ("right", right))}
    side: Side = "left" if len(seen["left"]) > len(seen["right"]) else "right"
    if len(seen[side]) == 0:
        return "both"
    works = (float(np.median(seen[side])) > level) == higher
    return side if works else ("right" if side == "left" else "left")


def follow_side(
    time_s: FloatArray,
    table: MeasureTable,
    measure: str,
    *,
    higher: bool,
    span_s: float,
    level: float | None = None,
) -> BoolArray:
    """Return where the left side is the working one, shape (T,), from a running mean.

    With a ``level``, a side that is not seen is taken to be at the level, which the working side
    is beyond.
    """
    left, right = (table.values[f"{measure}_{s}"] for s in ("left", "right"))
    if level is not None:
        beyond = [np.isfinite(x) & ((x > level) == higher) for x in (left, right)]
        left = np.where(np.isnan(left) & beyond[1], level, left)
        right = np.where(np.isnan(right) & beyond[0], level, right)
    difference = left - right
    known = np.isfinite(difference)
    if not known.any():
        return np.zeros(len(time_s), dtype=np.bool_)
    filled = np.interp(time_s, time_s[known], difference[known])
    total = np.concatenate([[0.0], np.cumsum(filled)])
    first = np.searchsorted(time_s, time_s - span_s / 2.0)
    last = np.searchsorted(time_s, time_s + span_s / 2.0, side="right")
    mean = (total[last] - total[first]) / np.maximum(last - first, 1)
    return np.asarray((mean > 0) == higher, dtype=np.bool_)
