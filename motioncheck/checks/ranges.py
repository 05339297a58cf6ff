"""Range of motion: best and mean of three trials a side, beside what is usual."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from motioncheck.checks.moments import Reading, read_measure
from motioncheck.measures import REGISTRY
from motioncheck.records import Event, MeasureTable, RangeResult, Value
from motioncheck.skeleton import Side
from motioncheck.standards import ANYONE, Person, Range, Standard
from motioncheck.standards.norms import NO_NORM as NO_NORM
from motioncheck.standards.norms import describe_amount
from motioncheck.standards.norms import describe_norm as describe_norm
from motioncheck.standards.norms import describe_norms as describe_norms

TRIALS = 3


def compute_ranges(
    events: Sequence[Event],
    standard: Standard,
    table: MeasureTable,
    *,
    person: Person = ANYONE,
) -> tuple[RangeResult, ...]:
    """Return the range of motion of each side that was worked.

    Best and mean are None when no trial could be measured well enough to be judged. The mean is
    that of the first three measured trials; None with fewer. The usual values are those that fit
    the person.
    """
    rows = []
    for line in standard.range_of_motion:
        for side in _sides(events, line):
            own = [e for e in events if e.side in (side, "both")]
            rows.append(_summarise(line, side, _read_trials(own, line, side, table), person))
    return tuple(rows)


def _sides(events: Sequence[Event], line: Range) -> list[Side]:
    if not REGISTRY[line.measure].sided:
        return ["both"] if events else []
    sides: tuple[Side, ...] = ("left", "right")
    return [s for s in sides if any(e.side in (s, "both") for e in events)]


def _read_trials(
    events: Sequence[Event], line: Range, side: Side, table: MeasureTable
) -> list[tuple[int, Reading]]:
    """Return the trials known well enough, each with the number of its event.

    There are none where most of them are not known well, as for a check.

    The knee line is reported only where the camera could show it: from elsewhere the fitted body
    is surer of it than it should be.
    """
    column = line.measure if side == "both" else f"{line.measure}_{side}"
    strict = REGISTRY[line.measure].plane == "frontal strict"
    if strict and table.picture and not np.isfinite(table.picture.values[column]).any():
        return []
    read = [
        (e.number, read_measure(table, column, e, line.moment, bears=line.bearable)) for e in events
    ]
    known = [(n, r) for n, r in read if math.isfinite(r.uncertainty)]
    if not known or float(np.median([r.uncertainty for _, r in known])) > line.bearable:
        return []
    return [(n, r) for n, r in known if r.uncertainty <= line.bearable]


def _summarise(
    line: Range, side: Side, trials: Sequence[tuple[int, Reading]], person: Person
) -> RangeResult:
    unit = REGISTRY[line.measure].unit
    readings = [r for _, r in trials]
    numbers = np.array([r.value for r in readings], dtype=np.float64)
    best = math.nan
    if len(numbers):
        best = float(numbers.max() if line.best == "highest" else numbers.min())
    mean = float(numbers[:TRIALS].mean()) if len(numbers) >= TRIALS else math.nan
    widths = [r.uncertainty for r in readings]
    return RangeResult(
        measure=line.measure,
        title=line.title,
        unit=unit,
        side=side,
        trials=len(numbers),
        best=_rounded(best),
        mean_of_three=_rounded(mean),
        uncertainty=round(float(np.median(widths)), 3) if widths else None,
        norms=describe_norms(line.norm, unit, person),
        change=describe_change(line, unit),
        moment=line.moment,
        best_is=line.best,
        events=tuple(number for number, _ in trials),
        values=tuple(
            Value(round(r.value, 3), unit, round(r.uncertainty, 3), r.source) for r in readings
        ),
    )


def _rounded(number: float) -> float | None:
    return round(number, 3) if math.isfinite(number) else None


def describe_change(line: Range, unit: str) -> str:
    """Say what change between sessions is more than the method's error; empty without a source."""
    if line.change is None:
        return ""
    size = describe_amount(line.change, unit)
    return (
        f"Between sessions only a change of more than {size} says something. {line.change_source}"
    )
