"""Range of motion: best and mean of three trials a side, beside what is usual."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from motioncheck.checks.moments import Reading, read_measure
from motioncheck.measures import REGISTRY
from motioncheck.records import Event, MeasureTable, RangeResult
from motioncheck.skeleton import Side
from motioncheck.standards import ANYONE, Norm, Person, Range, Standard
from motioncheck.wording import MINUS

TRIALS = 3
ADULT_FROM = 18
NO_NORM = "No source that is known here gives usual values for this age and sex."


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
) -> list[Reading]:
    """Return the trials known well enough; none where most of them are not, as for a check.

    The knee line is reported only where the camera could show it: from elsewhere the fitted body
    is surer of it than it should be.
    """
    column = line.measure if side == "both" else f"{line.measure}_{side}"
    strict = REGISTRY[line.measure].plane == "frontal strict"
    if strict and table.picture and not np.isfinite(table.picture.values[column]).any():
        return []
    read = [read_measure(table, column, e, line.moment, bears=line.bearable) for e in events]
    known = [r for r in read if math.isfinite(r.uncertainty)]
    if not known or float(np.median([r.uncertainty for r in known])) > line.bearable:
        return []
    return [r for r in known if r.uncertainty <= line.bearable]


def _summarise(line: Range, side: Side, readings: Sequence[Reading], person: Person) -> RangeResult:
    unit = REGISTRY[line.measure].unit
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
    )


def _rounded(number: float) -> float | None:
    return round(number, 3) if math.isfinite(number) else None


def describe_norms(norms: Sequence[Norm], unit: str, person: Person) -> tuple[str, ...]:
    """Say what is usual for a person: one sentence a norm that fits; says so when none does."""
    fitting = tuple(describe_norm(n, unit) for n in norms if n.fits(person))
    return fitting or ((NO_NORM,) if norms else ())


def describe_norm(norm: Norm, unit: str) -> str:
    """Say what is usual, for whom, how it was measured, and where it is from."""
    who = _group(norm)
    if (norm.age_from, norm.age_to) != (0, 120):
        last = "and older" if norm.age_to == 120 else f"to {norm.age_to}"
        who += f" of {norm.age_from} {last}"
    usual = []
    if norm.mean is not None:
        spread = "" if norm.sd is None else f", SD {_amount(norm.sd, unit)}"
        usual.append(f"mean {_amount(norm.mean, unit)}{spread}")
    if norm.low is not None and norm.high is not None:
        usual.append(f"the middle half {_amount(norm.low, unit)} to {_amount(norm.high, unit)}")
    elif norm.low is not None:
        usual.append(f"at least {_amount(norm.low, unit)}")
    elif norm.high is not None:
        usual.append(f"at most {_amount(norm.high, unit)}")
    tag = "" if norm.source_tag == "published" else f" ({norm.source_tag})"
    return f"{who[0].upper()}{who[1:]}: {', '.join(usual)}; {norm.how}. {norm.source}{tag}"


def _group(norm: Norm) -> str:
    if norm.sex == "any":
        return "people"
    adults, children = ("women", "girls") if norm.sex == "female" else ("men", "boys")
    if norm.age_to < ADULT_FROM:
        return children
    young = 0 < norm.age_from < ADULT_FROM
    return f"{adults} and {children}" if young else adults


def describe_change(line: Range, unit: str) -> str:
    """Say what change between sessions is more than the method's error; empty without a source."""
    if line.change is None:
        return ""
    size = _amount(line.change, unit)
    return (
        f"Between sessions only a change of more than {size} says something. {line.change_source}"
    )


def _amount(value: float, unit: str) -> str:
    """Return a number of a source as it stands there, with its unit."""
    suffix = {"deg": "°", "s": " s", "%": " %", "1/min": "/min"}.get(unit, "")
    return f"{value:g}".replace("-", MINUS) + suffix
