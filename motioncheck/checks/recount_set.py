"""Checks of the whole set, read again from a sheet after its events were corrected."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from motioncheck.checks.moments import MISSING, Reading
from motioncheck.checks.timing import COUNTED_S, FIVE, read_rhythm
from motioncheck.checks.verdict import judge_value
from motioncheck.measures import REGISTRY
from motioncheck.records import Event, Finding, Sheet, Value
from motioncheck.standards import Standard
from motioncheck.wording import with_unit

# Numbers on the sheet have three decimals; what is computed from them again may differ in the last.
ROUNDED = 0.002


def redo_set(
    sheet: Sheet,
    held: Sequence[Event],
    set_findings: Sequence[Finding],
    standard: Standard | None,
) -> tuple[Finding, ...]:
    """Judge the checks of the set anew; one that the sheet does not tell again is not visible."""
    texts = {} if standard is None else {c.id: c.cue for c in standard.check}
    texts |= {f.check: f.cue for f in set_findings if f.cue}
    redone = [_redo_finding(sheet, held, f, standard) for f in set_findings]
    return tuple(
        replace(f, cue=texts.get(f.check, "") if f.holds == "misses" else "") for f in redone
    )


def _redo_finding(
    sheet: Sheet, held: Sequence[Event], finding: Finding, standard: Standard | None
) -> Finding:
    limit = _clear_miss(finding, standard)
    before = _judge(finding, _read(finding, sheet, sheet.events), limit)
    again = before.verdict == finding.verdict and is_near(before.value, finding.value)
    after = _judge(finding, _read(finding, sheet, held), limit)
    if again and after.value is not None:
        return after
    if finding.value is None:
        return finding
    asked = with_unit(finding.value or 0.0, finding.unit, digits=1)
    return replace(
        after,
        verdict="not visible",
        value=None,
        uncertainty=None,
        reason=f"the {sheet.movement.event_kind}s were corrected, and the sheet does not hold what "
        f"is needed to measure this again; it was {asked} ({finding.verdict}) before",
    )


def is_near(a: float | None, b: float | None) -> bool:
    """Tell whether two values are the same but for rounding; two that are missing are."""
    if a is None or b is None:
        return a is b
    return abs(a - b) <= ROUNDED


def _clear_miss(finding: Finding, standard: Standard | None) -> float | None:
    """Return the value of a clear miss in the form of the check that was judged."""
    if standard is None:
        return None
    forms = [j for c in standard.check if c.id == finding.check for j in (c, *c.instead)]
    own = [j for j in forms if j.measure == finding.measure and j.threshold == finding.threshold]
    return own[0].clear_miss if own else None


def _judge(finding: Finding, reading: Reading, clear_miss: float | None) -> Finding:
    known = math.isfinite(reading.value)
    ruling = judge_value(
        reading.value,
        reading.uncertainty,
        comparison=finding.comparison,
        threshold=finding.threshold,
        clear_miss=clear_miss,
        unit=finding.unit,
    )
    return replace(
        finding,
        verdict=ruling.verdict,
        value=round(reading.value, 3) if known else None,
        uncertainty=round(reading.uncertainty, 3) if known else None,
        reason=ruling.reason,
    )


def _read(finding: Finding, sheet: Sheet, events: Sequence[Event]) -> Reading:
    """Read a check of the set from the events; MISSING where they do not tell."""
    scopes = {c.check: c for c in sheet.movement.checks}
    info = scopes.get(finding.check)
    if info is not None and info.moment in ("turn", "max", "min") and info.side == "working":
        return _read_sides(finding, info.moment, events)
    if REGISTRY[finding.measure].compute is not None:
        return MISSING
    if finding.measure == "reps_in_30_s":
        return _recount_timed(finding, sheet.events, events)
    if finding.measure == "time_of_five_s" and any(_lacks_span(e) for e in events[:FIVE]):
        return MISSING
    return read_rhythm(finding.measure, events)


def _lacks_span(event: Event) -> bool:
    return event.added and event.end_s <= event.start_s


def _recount_timed(finding: Finding, before: Sequence[Event], events: Sequence[Event]) -> Reading:
    """Count 30 s anew; unknown when the rep that started the clock is another one."""
    if finding.value is None or not before or not events:
        return MISSING
    if before[0].number != events[0].number:
        return MISSING
    over_s = before[0].start_s + COUNTED_S
    was, now = (sum(e.turn_s <= over_s for e in some) for some in (before, events))
    return Reading(finding.value + now - was, REGISTRY[finding.measure].guard)


def _read_sides(finding: Finding, moment: str, events: Sequence[Event]) -> Reading:
    """Read the difference between the medians of left and right, as from the clip."""
    sides = [_values_of(finding, moment, events, side) for side in ("left", "right")]
    if min(len(s) for s in sides) < 2:
        return MISSING
    numbers = [np.array([v for v, _ in side]) for side in sides]
    scatter = 2.0 * math.sqrt(sum(float(np.var(n, ddof=1)) / len(n) for n in numbers))
    width = max(float(np.mean([w for _, w in side])) for side in sides)
    gap = abs(float(np.median(numbers[0])) - float(np.median(numbers[1])))
    source = finding.source
    return Reading(gap, math.hypot(width, scatter), source)


def _values_of(
    finding: Finding, moment: str, events: Sequence[Event], side: str
) -> list[tuple[float, float]]:
    """Return value and half-width of each event of one working side."""
    column = f"{finding.measure}_{side}"
    own = [e for e in events if e.side == side]
    if moment == "turn":
        read: list[Value | Finding | None] = [e.measures.get(column) for e in own]
    else:
        read = [
            next((f for f in e.findings if f.measure == finding.measure and f.side == side), None)
            for e in own
        ]
    return [
        (v.value, v.uncertainty)
        for v in read
        if v is not None and v.value is not None and v.uncertainty is not None
    ]
