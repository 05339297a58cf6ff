"""Measures of time, which come from the events instead of the picture."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from motioncheck.checks.moments import MISSING, Reading
from motioncheck.measures import REGISTRY
from motioncheck.records import Event, MeasureTable
from motioncheck.records.arrays import FloatArray


def read_event_time(measure: str, event: Event, table: MeasureTable) -> Reading:
    """Read a time measure of one event; NaN where it does not apply.

    Parameters
    ----------
    measure : str
        ``rep_time_s``, ``lowering_time_s``, ``rising_time_s`` or ``arm_leg_lag_s``. The last one
        is read off the picture: what the fit gets wrong would shift the widest positions.
    """
    guard = REGISTRY[measure].guard
    if measure == "rep_time_s":
        return Reading(event.end_s - event.start_s, guard)
    if measure == "arm_leg_lag_s":
        lag_s = _arm_leg_lag_s(event, table.picture or table)
        return MISSING if math.isnan(lag_s) else Reading(lag_s, guard)
    if len(event.phases) != 3:
        return MISSING
    phase = event.phases[0 if measure == "lowering_time_s" else 2]
    return Reading(phase.end_s - phase.start_s, guard)


def read_set_time(measure: str, events: Sequence[Event]) -> Reading:
    """Read a time measure of the whole set; NaN with fewer than three events.

    Parameters
    ----------
    measure : str
        ``rate_per_min`` or ``rhythm_cv_percent``.
    """
    turns = np.array([e.turn_s for e in events])
    if len(turns) < 3:
        return MISSING
    steps = np.diff(turns)
    # A pause of more than twice the usual time is a rest (or an empty stretch), not rhythm.
    steps = steps[steps < 2.0 * np.median(steps)]
    guard = REGISTRY[measure].guard
    if measure == "rate_per_min":
        return Reading(float(60.0 / np.median(steps)), guard)
    if len(steps) < 3:
        return MISSING
    return Reading(float(100.0 * np.std(steps, ddof=1) / np.mean(steps)), guard)


def _arm_leg_lag_s(event: Event, table: MeasureTable) -> float:
    inside = (table.time_s >= event.start_s) & (table.time_s <= event.end_s)
    time_s = table.time_s[inside]
    left, right = (_known_well(table, f"shoulder_elevation_{s}")[inside] for s in ("left", "right"))
    arms = _middle_of_upper_half_s(time_s, (left + right) / 2.0)
    feet = _middle_of_upper_half_s(time_s, _known_well(table, "stance_width_ratio")[inside])
    return abs(arms - feet)


def _known_well(table: MeasureTable, column: str) -> FloatArray:
    """Return a column where a check could bear how well it is known, NaN elsewhere."""
    well = table.uncertainty[column] <= REGISTRY.column_spec(column).bears
    return np.where(well, table.values[column], np.nan)


def _middle_of_upper_half_s(time_s: FloatArray, signal: FloatArray) -> float:
    """Middle of the stretch in which a signal is above half of its range; NaN if unseen."""
    ok = np.isfinite(signal)
    if ok.sum() < 4:
        return float("nan")
    t, x = time_s[ok], signal[ok]
    level = (x.max() + x.min()) / 2.0
    above = np.flatnonzero(x >= level)
    first, last = int(above[0]), int(above[-1])
    return (_cross(t, x, first - 1, level) + _cross(t, x, last, level)) / 2.0


def _cross(t: FloatArray, x: FloatArray, i: int, level: float) -> float:
    if i < 0:
        return float(t[0])
    if i + 1 >= len(x) or x[i + 1] == x[i]:
        return float(t[min(i, len(t) - 1)])
    return float(t[i] + (level - x[i]) / (x[i + 1] - x[i]) * (t[i + 1] - t[i]))
