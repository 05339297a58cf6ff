"""Findings: every check of a standard for every event, and for the set as a whole."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from motioncheck.checks.moments import ANY_TIME, MISSING, Reading, Span, read_measure
from motioncheck.checks.timing import read_event_time, read_set_time
from motioncheck.checks.verdict import Ruling, judge_value
from motioncheck.measures import REGISTRY, judge_plane
from motioncheck.records import (
    BlindSpot,
    CameraView,
    Event,
    Finding,
    MeasureTable,
    Value,
    Verdict,
)
from motioncheck.skeleton import Side
from motioncheck.standards import Check, Judgement, Standard

# Worst first: of two sides the one that needs more attention speaks for the check.
SEVERITY: dict[Verdict, int] = {
    "misses": 0,
    "too close to call": 1,
    "meets": 2,
    "not visible": 3,
}
# Left and right knee reading opposite by at least this much points at the camera.
OPPOSITE_DEG = 5.0


def check_events(
    events: Sequence[Event], standard: Standard, table: MeasureTable, view: CameraView
) -> tuple[Event, ...]:
    """Return the events with their measures and findings filled in.

    Every event gets one finding per enabled check of scope ``rep``, in the order of the standard.
    """
    checks = [c for c in standard.check if c.enabled and c.scope == "rep"]
    return tuple(
        replace(
            event,
            measures=read_all(table, event),
            findings=tuple(check_event(event, c, table, view, free_s=free) for c in checks),
        )
        for event, free in zip(events, find_free_spans(events), strict=True)
    )


def find_free_spans(events: Sequence[Event]) -> list[Span]:
    """Return for each event the end of the one before and the start of the one after."""
    before = [ANY_TIME[0], *(e.end_s for e in events[:-1])]
    after = [*(e.start_s for e in events[1:]), ANY_TIME[1]]
    return list(zip(before[: len(events)], after[: len(events)], strict=True))


def read_all(table: MeasureTable, event: Event) -> dict[str, Value]:
    """Read every measure that can be seen at the turn of an event, and its times."""
    found: dict[str, Value] = {}
    for column in table.values:
        reading = read_measure(table, column, event, "turn")
        if math.isfinite(reading.value):
            found[column] = _value(reading, REGISTRY.column_spec(column).unit)
    for measure in ("rep_time_s", "lowering_time_s", "rising_time_s"):
        found[measure] = _value(read_event_time(measure, event, table), "s")
    return found


def _value(reading: Reading, unit: str) -> Value:
    return Value(_round(reading.value), unit, _round(reading.uncertainty))


def _round(number: float) -> float | None:
    return round(number, 3) if math.isfinite(number) else None


def check_event(
    event: Event, check: Check, table: MeasureTable, view: CameraView, *, free_s: Span = ANY_TIME
) -> Finding:
    """Check one event against one line of the standard; ``free_s`` as in `read_measure`."""
    judgement, blind = choose_judgement(check, view)
    if blind is not None:
        return _finding(check, judgement, "both", MISSING, Ruling("not visible", blind.reason))
    sides = _sides(judgement, event, view)
    readings = [_read(judgement, side, event, table, free_s) for side in sides]
    ruled = [(s, r, _rule(judgement, r)) for s, r in zip(sides, readings, strict=True)]
    side, reading, ruling = min(ruled, key=lambda item: SEVERITY[item[2].verdict])
    ruling = _suspect_camera(judgement, event, table, ruling)
    return _finding(check, judgement, side, reading, ruling)


def choose_judgement(check: Check, view: CameraView) -> tuple[Judgement, BlindSpot | None]:
    """Return the first form of a check whose plane this camera can show.

    When there is none: the first form, and why it cannot be seen and how to film it.
    """
    for judgement in (check, *check.instead):
        if judge_plane(judgement.plane, view).ok:
            return judgement, None
    seen = judge_plane(check.plane, view)
    return check, BlindSpot(check.id, check.title, seen.reason, seen.advice)


def find_blind_spots(standard: Standard, view: CameraView) -> tuple[BlindSpot, ...]:
    """List the checks that this camera cannot show at all."""
    chosen = [choose_judgement(c, view)[1] for c in standard.check if c.enabled]
    return tuple(spot for spot in chosen if spot is not None)


def _sides(judgement: Judgement, event: Event, view: CameraView) -> tuple[Side, ...]:
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


def _read(
    judgement: Judgement, side: Side, event: Event, table: MeasureTable, free_s: Span
) -> Reading:
    measure = judgement.measure
    if REGISTRY[measure].compute is None:
        reading = read_event_time(measure, event, table)
    elif judgement.side == "difference":
        pair = [
            read_measure(table, f"{measure}_{s}", event, judgement.moment, free_s=free_s)
            for s in ("left", "right")
        ]
        reading = Reading(
            abs(pair[0].value - pair[1].value), math.hypot(*(p.uncertainty for p in pair))
        )
    else:
        column = measure if side == "both" else f"{measure}_{side}"
        reading = read_measure(table, column, event, judgement.moment, free_s=free_s)
    return Reading(abs(reading.value), reading.uncertainty) if judgement.absolute else reading


def _rule(judgement: Judgement, reading: Reading) -> Ruling:
    return judge_value(
        reading.value,
        reading.uncertainty,
        comparison=judgement.comparison,
        threshold=judgement.threshold,
        clear_miss=judgement.clear_miss,
        unit=judgement.unit,
    )


def _suspect_camera(
    judgement: Judgement, event: Event, table: MeasureTable, ruling: Ruling
) -> Ruling:
    """Withdraw a knee-line miss when left and right read about equal and opposite.

    A turned camera makes one knee look valgus and the other varus by the same amount.
    """
    if judgement.measure != "frontal_plane_knee_angle" or ruling.verdict != "misses":
        return ruling
    inside = (table.time_s >= event.start_s) & (table.time_s <= event.end_s)
    sides = [table.values[f"{judgement.measure}_{s}"][inside] for s in ("left", "right")]
    peaks = [float(x[np.nanargmax(np.abs(x))]) for x in sides if np.isfinite(x).any()]
    if len(peaks) < 2 or peaks[0] * peaks[1] >= 0:
        return ruling
    small, large = sorted(abs(p) for p in peaks)
    if small < OPPOSITE_DEG or large > 2.5 * small:
        return ruling
    return Ruling(
        "too close to call",
        "left and right knee read opposite by about the same amount, which points at a turned "
        "camera and not at the knees",
    )


def _finding(
    check: Check, judgement: Judgement, side: Side, reading: Reading, ruling: Ruling
) -> Finding:
    return Finding(
        check=check.id,
        title=check.title,
        measure=judgement.measure,
        side=side,
        verdict=ruling.verdict,
        value=_round(reading.value),
        threshold=judgement.threshold,
        comparison=judgement.comparison,
        unit=judgement.unit,
        uncertainty=_round(reading.uncertainty),
        reason=ruling.reason,
        cue=check.cue if ruling.verdict == "misses" else "",
    )


def check_set(
    events: Sequence[Event], standard: Standard, table: MeasureTable, view: CameraView
) -> tuple[Finding, ...]:
    """Check the set as a whole: rate, rhythm, and left against right."""
    findings = []
    for check in standard.check:
        if not check.enabled or check.scope == "rep":
            continue
        judgement, blind = choose_judgement(check, view)
        if blind is not None:
            reading, ruling = MISSING, Ruling("not visible", blind.reason)
        else:
            reading = (
                read_set_time(judgement.measure, events)
                if check.scope == "set"
                else read_side_difference(events, judgement, table)
            )
            ruling = _rule(judgement, reading)
            if ruling.verdict == "not visible":
                ruling = Ruling("not visible", "too few reps were seen well enough")
        findings.append(_finding(check, judgement, "both", reading, ruling))
    return tuple(findings)


def read_side_difference(
    events: Sequence[Event], judgement: Judgement, table: MeasureTable
) -> Reading:
    """Read the size of the difference between the medians of left and right events.

    The uncertainty is the guard band of one side (both are seen by the same camera, so a good
    part of the error is shared) combined with the scatter of the reps.
    """
    means, variances, bands = [], [], []
    for side in ("left", "right"):
        readings = [
            read_measure(table, f"{judgement.measure}_{side}", e, judgement.moment)
            for e in events
            if e.side == side
        ]
        seen = [r for r in readings if math.isfinite(r.value)]
        if len(seen) < 2:
            return MISSING
        values = np.array([r.value for r in seen])
        means.append(float(np.median(values)))
        variances.append(float(np.var(values, ddof=1) / len(values)))
        bands.append(float(np.mean([r.uncertainty for r in seen])))
    scatter = 2.0 * math.sqrt(sum(variances))
    return Reading(abs(means[0] - means[1]), math.hypot(max(bands), scatter))
