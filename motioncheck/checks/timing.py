"""Measures of time, which come from the events instead of the picture."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from motioncheck.checks.moments import MISSING, Reading
from motioncheck.checks.rungs import find_skipped
from motioncheck.measures import REGISTRY
from motioncheck.records import Event, MeasureTable, Value
from motioncheck.records.arrays import FloatArray

# Length of the timed count, and by how much a clip may end too soon for it.
COUNTED_S = 30.0
END_SLACK_S = 0.1
FIVE = 5


def read_event_time(measure: str, event: Event, table: MeasureTable) -> Reading:
    """Read a time measure of one event; NaN where it does not apply.

    Parameters
    ----------
    measure : str
        ``rep_time_s``, ``hold_time_s``, ``in_position_s``, ``flight_time_s``,
        ``lowering_time_s``, ``rising_time_s`` or ``arm_leg_lag_s``. The last one is read off the
        picture: what the fit gets wrong would shift the widest positions.
    """
    guard = REGISTRY[measure].guard
    if measure in event.measures:
        return _known(event.measures[measure])
    if measure in ("in_position_s", "flight_time_s"):
        return MISSING
    if (measure == "hold_time_s") != (event.kind != "rep"):
        return MISSING
    if measure in ("rep_time_s", "hold_time_s"):
        return Reading(event.end_s - event.start_s, guard)
    if measure == "arm_leg_lag_s":
        lag_s = _arm_leg_lag_s(event, table.picture or table)
        return MISSING if math.isnan(lag_s) else Reading(lag_s, guard)
    if len(event.phases) < 3:
        return MISSING
    phase = event.phases[0 if measure == "lowering_time_s" else 2]
    return Reading(phase.end_s - phase.start_s, guard)


def _known(value: Value) -> Reading:
    """Return what was measured when the clip was split."""
    if value.value is None or value.uncertainty is None:
        return MISSING
    return Reading(value.value, value.uncertainty)


def read_set_time(
    measure: str,
    events: Sequence[Event],
    table: MeasureTable,
    cut_off: Sequence[Event] = (),
) -> Reading:
    """Read a time measure of the whole set; NaN where it does not apply.

    Parameters
    ----------
    measure : str
        ``rate_per_min``, ``rhythm_cv_percent`` (from three events on), ``reps_in_30_s``,
        ``time_of_five_s`` or ``stages_skipped``.
    cut_off : sequence of Event
        Reps cut off by the edge of the clip; one of them can be the last of a timed count.
    """
    if measure == "reps_in_30_s":
        return _read_timed_count(events, table, cut_off)
    return read_rhythm(measure, events)


def read_rhythm(measure: str, events: Sequence[Event]) -> Reading:
    """Read a time measure of the set that the events alone tell: all but ``reps_in_30_s``."""
    guard = REGISTRY[measure].guard
    if measure == "stages_skipped":
        return Reading(float(count_skipped(events)), guard) if events else MISSING
    if measure == "time_of_five_s":
        reps = [e for e in events if e.kind == "rep"]
        if len(reps) < FIVE:
            return MISSING
        return Reading(reps[FIVE - 1].end_s - reps[0].start_s, guard)
    turns = np.array([e.turn_s for e in events])
    if len(turns) < 3:
        return MISSING
    steps = np.diff(turns)
    # A pause of more than twice the usual time is a rest (or an empty stretch), not rhythm.
    steps = steps[steps < 2.0 * np.median(steps)]
    if measure == "rate_per_min":
        return Reading(float(60.0 / np.median(steps)), guard)
    if len(steps) < 3:
        return MISSING
    return Reading(float(100.0 * np.std(steps, ddof=1) / np.mean(steps)), guard)


def explain_set_time(measure: str, events: Sequence[Event], table: MeasureTable) -> str:
    """Say why a time measure of the set does not apply to a clip; empty when it is not known."""
    reps = [e for e in events if e.kind == "rep"]
    if measure == "time_of_five_s" and len(reps) < FIVE:
        return f"five reps are needed, {len(reps)} {'was' if len(reps) == 1 else 'were'} finished"
    if measure == "reps_in_30_s" and reps:
        seen_s = float(table.time_s[-1]) - reps[0].start_s
        return (
            f"the clip ends {seen_s:.1f} s after the first rep began, and the count takes "
            f"{COUNTED_S:.0f} s"
        )
    return ""


def count_skipped(events: Sequence[Event]) -> int:
    """Count the stages passed over between neighbouring stages of one way up and back."""
    stages = [(e.group, e.stage) for e in events if e.kind == "stage" and e.stage is not None]
    return sum(
        len(find_skipped([stage for _, stage in way]))
        for _, way in itertools.groupby(stages, key=lambda pair: pair[0])
    )


def _read_timed_count(
    events: Sequence[Event], table: MeasureTable, cut_off: Sequence[Event]
) -> Reading:
    """Count the reps of 30 s; one that is more than half-way to its turn at the end counts.

    The rule of the 30-second chair stand (Rikli and Jones 1999). Unknown when the clip ends
    before the 30 s are over.
    """
    reps = [e for e in events if e.kind == "rep"]
    if not reps:
        return MISSING
    over_s = reps[0].start_s + COUNTED_S
    if table.time_s[-1] < over_s - END_SLACK_S:
        return MISSING
    count = sum(e.turn_s <= over_s for e in reps)
    under_way = [e for e in reps if e.start_s < over_s < e.turn_s]
    under_way += [e for e in cut_off if reps[-1].end_s <= e.start_s < over_s]
    usual = _usual_rise(reps, table)
    count += sum(is_half_way(e, over_s, table, usual) for e in under_way)
    return Reading(float(count), REGISTRY["reps_in_30_s"].guard)


def _usual_rise(reps: Sequence[Event], table: MeasureTable) -> float:
    """Return by how much the hips usually rise (or fall) in a rep, leg lengths; NaN if unseen."""
    hips = table.values["hip_height_ratio"]
    known = np.isfinite(hips)
    if not known.any():
        return math.nan
    rows = [
        np.interp([e.start_s for e in reps], table.time_s[known], hips[known]),
        np.interp([e.turn_s for e in reps], table.time_s[known], hips[known]),
    ]
    return float(np.median(np.abs(rows[1] - rows[0])))


def is_half_way(event: Event, at_s: float, table: MeasureTable, usual: float) -> bool:
    """Tell whether the hips have come more than half of the usual way to the turn by a time.

    Parameters
    ----------
    event : Event
        Begun before ``at_s``; it may be cut off.
    at_s : float
    table : MeasureTable
    usual : float
        Usual rise of the hips in a rep; NaN where the hips were not seen, and then half of the
        time to the turn decides.
    """
    hips = table.values["hip_height_ratio"]
    inside = np.isfinite(hips) & (table.time_s >= event.start_s) & (table.time_s <= at_s)
    if math.isnan(usual) or not inside.any():
        return at_s > (event.start_s + event.turn_s) / 2.0
    way = np.abs(hips[inside] - hips[inside][0])
    return bool(np.max(way) > usual / 2.0)


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
