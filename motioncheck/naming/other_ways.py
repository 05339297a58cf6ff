"""Repetitions in other signals than that of the movement's own split, whichever leg is which."""

from __future__ import annotations

import itertools

import numpy as np

from motioncheck.measures import REGISTRY
from motioncheck.records import Event, MeasureTable
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.splitting import CycleRule
from motioncheck.splitting.cycles import BRIDGE_S, find_cycles
from motioncheck.standards import CycleSplit, Standard


def find_reps(
    table: MeasureTable, standard: Standard, present: BoolArray
) -> list[tuple[Event, bool]]:
    """Find the repetitions in the signals for naming.

    Parameters
    ----------
    table : MeasureTable
    standard : Standard
    present : ndarray of bool, shape (T,)
        Where the body is in the picture.

    Returns
    -------
    list of (Event, whole)
        Without sides; not ``whole`` are those cut off by the edge of what was filmed.
    """
    split = standard.split
    if not isinstance(split, CycleSplit):
        return []
    found = []
    for other in standard.naming_signal:
        low = other.turn == "lowest"
        signal = _join_sides(table, other.signal, low=low)
        rule = CycleRule(other.min_change, split.min_time_s, split.max_time_s, split.min_share)
        cycles = find_cycles(table.time_s, -signal if low else signal, rule=rule, present=present)
        found += [
            (Event("rep", n, "both", c.start_s, c.turn_s, c.end_s), c.complete)
            for n, c in enumerate(cycles, start=1)
        ]
    return found


def _join_sides(table: MeasureTable, measure: str, *, low: bool) -> FloatArray:
    """Return the smaller or the larger of both sides, or the one that is seen.

    A side that is lost for a moment is bridged, or the other one would speak in its place.
    """
    columns = [_bridge(table.time_s, table.values[c]) for c in REGISTRY[measure].ids()]
    return np.asarray((np.fmin if low else np.fmax).reduce(columns))


def _bridge(time_s: FloatArray, values: FloatArray) -> FloatArray:
    known = np.flatnonzero(np.isfinite(values))
    filled = values.copy()
    for before, after in itertools.pairwise(known):
        if after - before > 1 and time_s[after] - time_s[before] <= BRIDGE_S:
            at = slice(before, after + 1)
            filled[at] = np.interp(time_s[at], time_s[[before, after]], values[[before, after]])
    return filled
