"""What a line of the standard reads: which sides, and one number with its half-width."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from motioncheck.checks.moments import ANY_TIME, MISSING, Reading, Span, read_measure
from motioncheck.checks.timing import read_event_time
from motioncheck.measures import REGISTRY
from motioncheck.records import CameraView, Event, MeasureTable
from motioncheck.records.result import Source
from motioncheck.skeleton import Side
from motioncheck.standards import Judgement


def list_sides(judgement: Judgement, event: Event, view: CameraView) -> tuple[Side, ...]:
    """Return the sides that a judgement looks at in an event; ``both`` for none in particular."""
    kind = judgement.side
    if kind in ("none", "difference"):
        return ("both",)
    if kind == "working":
        return (event.side,) if event.side != "both" else ("left", "right")
    if kind == "opposite":
        return ("right",) if event.side == "left" else ("left",)
    if kind == "near" and view.near_side != "both":
        return ("left",) if view.near_side == "left" else ("right",)
    return ("left", "right")


def read_judgement(
    judgement: Judgement, side: Side, event: Event, table: MeasureTable, free_s: Span = ANY_TIME
) -> Reading:
    """Read what a judgement is about on one side; ``free_s`` as in `read_measure`."""
    measure = judgement.measure
    if REGISTRY[measure].compute is None:
        reading = read_event_time(measure, event, table)
    elif judgement.side == "difference":
        reading = _read_difference(judgement, event, table, free_s)
    else:
        column = measure if side == "both" else f"{measure}_{side}"
        reading = _read_column(judgement, column, event, table, free_s)
    if not judgement.absolute:
        return reading
    return Reading(abs(reading.value), reading.uncertainty, reading.source)


def _read_column(
    judgement: Judgement, column: str, event: Event, table: MeasureTable, free_s: Span = ANY_TIME
) -> Reading:
    """Read a column at the moment of a judgement; MISSING where the event lacks its phase."""
    within = find_part(judgement, event)
    if within is None:
        return MISSING
    return read_measure(
        table,
        column,
        event,
        judgement.moment,
        free_s=free_s,
        bears=judgement.bearable,
        within=within,
    )


def find_part(judgement: Judgement, event: Event) -> Span | None:
    """Return the stretch of an event that a judgement is about; None without its phase."""
    first, last = event.start_s, event.end_s
    if judgement.phase is not None:
        named = [p for p in event.phases if p.name == judgement.phase]
        if not named:
            return None
        first, last = named[0].start_s, named[-1].end_s
    length = last - first
    return first + judgement.part[0] * length, first + judgement.part[1] * length


def _read_difference(
    judgement: Judgement, event: Event, table: MeasureTable, free_s: Span
) -> Reading:
    left, right = (
        _read_column(judgement, f"{judgement.measure}_{s}", event, table, free_s)
        for s in ("left", "right")
    )
    width = math.hypot(left.uncertainty, right.uncertainty)
    return Reading(abs(left.value - right.value), width, _together([left, right]))


def read_working_side(
    events: Sequence[Event], judgement: Judgement, table: MeasureTable, side: str
) -> list[Reading]:
    """Return the known readings of the events of one working side."""
    column = f"{judgement.measure}_{side}"
    readings = [_read_column(judgement, column, e, table) for e in events if e.side == side]
    return [r for r in readings if math.isfinite(r.value)]


def read_side_difference(
    events: Sequence[Event], judgement: Judgement, table: MeasureTable
) -> Reading:
    """Read the size of the difference between the medians of left and right events.

    The uncertainty is the half-width of one side (both are seen by the same camera, so a good
    part of the error is shared) combined with the scatter of the reps.
    """
    means, variances, widths, seen = [], [], [], []
    for side in ("left", "right"):
        readings = read_working_side(events, judgement, table, side)
        if len(readings) < 2:
            return MISSING
        values = np.array([r.value for r in readings])
        means.append(float(np.median(values)))
        variances.append(float(np.var(values, ddof=1) / len(values)))
        widths.append(float(np.mean([r.uncertainty for r in readings])))
        seen += readings
    scatter = 2.0 * math.sqrt(sum(variances))
    return Reading(abs(means[0] - means[1]), math.hypot(max(widths), scatter), _together(seen))


def _together(readings: Sequence[Reading]) -> Source:
    """Return the source of most of some readings."""
    from_body = sum(r.source == "body" for r in readings)
    return "body" if 2 * from_body > len(readings) else "image"
