"""Findings: every check of a standard for every event, and for the set as a whole."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from motioncheck.checks.exchanged import withhold_exchanged
from motioncheck.checks.moments import ANY_TIME, MISSING, Reading, Span, read_measure
from motioncheck.checks.ranges import describe_norms
from motioncheck.checks.reading import list_sides, read_judgement, read_side_difference
from motioncheck.checks.seeing import (
    Choice,
    Choices,
    choose_judgements,
    explain_width,
    find_free_spans,
)
from motioncheck.checks.timing import explain_set_time, read_event_time, read_set_time
from motioncheck.checks.verdict import Ruling, judge_value
from motioncheck.measures import REGISTRY
from motioncheck.records import CameraView, Event, Finding, MeasureTable, Value, Verdict
from motioncheck.skeleton import Side
from motioncheck.standards import ANYONE, Check, Judgement, Person, Standard

# Worst first: of two sides the one that needs more attention speaks for the check.
SEVERITY: dict[Verdict, int] = {
    "misses": 0,
    "too close to call": 1,
    "meets": 2,
    "not visible": 3,
}
# Left and right knee reading opposite by at least this much points at the camera.
OPPOSITE_DEG = 5.0
TIMES = ("rep_time_s", "lowering_time_s", "rising_time_s")


def check_events(
    events: Sequence[Event],
    standard: Standard,
    table: MeasureTable,
    view: CameraView,
    *,
    choices: Choices | None = None,
) -> tuple[Event, ...]:
    """Return the events with their measures and findings filled in.

    Every event gets one finding per enabled check of scope ``rep``, in the order of the standard,
    in the form of ``choices`` (by default what can be judged in these very events). Where left and
    right arm are exchanged in a stage, what is about the arms is withheld.
    """
    chosen = choose_judgements(standard, events, table, view) if choices is None else choices
    checks = [c for c in standard.check if c.enabled and c.scope == "rep"]
    checked = tuple(
        replace(
            event,
            measures=read_all(table, event),
            findings=tuple(
                check_event(event, c, chosen[c.id], table, view, free_s=free)
                for c in checks
                if is_asked(c, event)
            ),
        )
        for event, free in zip(events, find_free_spans(events), strict=True)
    )
    return withhold_exchanged(checked, standard, table)


def is_asked(check: Check, event: Event) -> bool:
    """Tell whether a check is about an event: about its stage, where it is about stages."""
    return not check.stages or event.stage in check.stages


def read_all(table: MeasureTable, event: Event) -> dict[str, Value]:
    """Read every measure that is known at the turn of an event, and its times."""
    found: dict[str, Value] = {}
    for column in table.values:
        spec = REGISTRY.column_spec(column)
        reading = read_measure(table, column, event, "turn", bears=spec.bears)
        if math.isfinite(reading.value):
            found[column] = _value(reading, spec.unit)
    for measure in TIMES if event.kind == "rep" else ("hold_time_s",):
        found[measure] = _value(read_event_time(measure, event, table), "s")
    return found | dict(event.measures)


def _value(reading: Reading, unit: str) -> Value:
    return Value(_round(reading.value), unit, _round(reading.uncertainty), reading.source)


def _round(number: float) -> float | None:
    return round(number, 3) if math.isfinite(number) else None


def check_event(
    event: Event,
    check: Check,
    choice: Choice,
    table: MeasureTable,
    view: CameraView,
    *,
    free_s: Span = ANY_TIME,
) -> Finding:
    """Check one event against one line of the standard; ``free_s`` as in `read_measure`."""
    judgement = choice.judgement
    if choice.blind:
        return _finding(check, judgement, "both", MISSING, Ruling("not visible", choice.blind))
    ruled: list[tuple[Side, Reading, Ruling]] = []
    for side in list_sides(judgement, event, view):
        reading = read_judgement(judgement, side, event, table, free_s)
        ruling = _rule(judgement, reading)
        if reading.uncertainty > judgement.bearable:
            ruling = Ruling("not visible", explain_width(judgement, reading.uncertainty, view))
            reading = MISSING
        ruled.append((side, reading, ruling))
    side, reading, ruling = min(ruled, key=lambda item: SEVERITY[item[2].verdict])
    ruling = _suspect_camera(judgement, event, table, ruling)
    return _finding(check, judgement, side, reading, ruling)


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
        source=reading.source,
    )


def check_set(
    events: Sequence[Event],
    standard: Standard,
    table: MeasureTable,
    view: CameraView,
    *,
    choices: Choices | None = None,
    person: Person = ANYONE,
    cut_off: Sequence[Event] = (),
) -> tuple[Finding, ...]:
    """Check the set as a whole: rate, rhythm, timed counts, and left against right.

    What is usual for the ``person`` stands beside; it does not change the verdict. ``cut_off`` are
    the unfinished reps at the edges of the clip; only a timed count looks at them.
    """
    chosen = choose_judgements(standard, events, table, view) if choices is None else choices
    findings = []
    for check in standard.check:
        if not check.enabled or check.scope == "rep":
            continue
        judgement, blind = chosen[check.id].judgement, chosen[check.id].blind
        if blind:
            reading, ruling = MISSING, Ruling("not visible", blind)
        else:
            reading = (
                read_set_time(judgement.measure, events, table, cut_off)
                if check.scope == "set"
                else read_side_difference(events, judgement, table)
            )
            ruling = _rule(judgement, reading)
            if ruling.verdict == "not visible":
                why = explain_set_time(judgement.measure, events, table)
                ruling = Ruling("not visible", why or "too few reps were seen well enough")
        finding = _finding(check, judgement, "both", reading, ruling)
        norms = describe_norms(check.norm, judgement.unit, person)
        findings.append(replace(finding, norms=norms))
    return tuple(findings)
