"""The values of a checked clip as rows: one for each measure, side and moment."""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from motioncheck.measures import REGISTRY
from motioncheck.records.result import Event, RangeResult, Sheet, Value
from motioncheck.skeleton import Side

TURN = "turn"
RANGE = "range"
FIRST = 3
_SIDES: tuple[Side, ...] = ("left", "right")


@dataclass(frozen=True, slots=True)
class MeasureRow:
    """All values of one measure of one side at one moment in a clip; see `Trial`."""

    measure: str
    side: Side
    moment: str
    unit: str
    count: int
    mean: float
    lowest: float
    highest: float
    sd: float | None
    mean_of_first: float | None
    uncertainty: float | None
    source: str


@dataclass(frozen=True, slots=True)
class _Read:
    """One value and where it belongs; ``event`` keeps a value from counting twice."""

    measure: str
    side: Side
    moment: str
    event: tuple[str, int]
    value: Value


def aggregate_measures(sheet: Sheet) -> tuple[MeasureRow, ...]:
    """Sum up a sheet: what was read at the turns, what the checks read elsewhere, the ranges.

    Parameters
    ----------
    sheet : Sheet
        As measured, or corrected: struck events do not count.

    Returns
    -------
    tuple of MeasureRow
        At the moment ``turn`` every measure, at other moments those of a check, and the lines of
        the range of motion as ``range`` (``range end`` and so on where a line is not read at the
        turn). Of an event with a side, the working side only. Never a row without a value.
    """
    groups: dict[tuple[str, Side, str], dict[tuple[str, int], Value]] = {}
    for one in _read_all(sheet):
        key = (one.measure, one.side, one.moment)
        groups.setdefault(key, {}).setdefault(one.event, one.value)
    rows = (_sum_up(*key, tuple(values.values())) for key, values in groups.items())
    return tuple(row for row in rows if row is not None)


def _read_all(sheet: Sheet) -> Iterator[_Read]:
    events = sheet.held_events
    for event in events:
        yield from _at_turn(event)
        yield from _of_checks(event, sheet)
    held = {event.number for event in events}
    for line in sheet.summary.ranges:
        yield from _of_range(line, held)


def _at_turn(event: Event) -> Iterator[_Read]:
    for column, value in event.measures.items():
        measure, side = split_column(column)
        if _is_working(side, event):
            yield _Read(measure, side, TURN, (event.kind, event.number), value)


def _of_checks(event: Event, sheet: Sheet) -> Iterator[_Read]:
    """Return what the checks of a rep read at other moments than the turn."""
    checks = {check.check: check for check in sheet.movement.checks}
    for finding in event.findings:
        check = checks.get(finding.check)
        # A difference of the sides is not the measure itself.
        if check is None or check.moment == TURN or check.side == "difference":
            continue
        if _is_working(finding.side, event):
            yield _Read(
                finding.measure,
                finding.side,
                check.moment,
                (event.kind, event.number),
                Value(finding.value, finding.unit, finding.uncertainty, finding.source),
            )


def _of_range(line: RangeResult, held: set[int]) -> Iterator[_Read]:
    for number, value in zip(line.events, line.values, strict=True):
        if number in held:
            moment = range_moment(line.moment)
            yield _Read(line.measure, line.side, moment, ("range", number), value)


def range_moment(moment: str) -> str:
    """Return what the moment of a line of the range of motion is called in the history."""
    return RANGE if moment == TURN else f"{RANGE} {moment}"


def split_column(column: str) -> tuple[str, Side]:
    """Return measure and side of a column such as ``knee_flexion_left``.

    A measure that this version of the program does not know has no side.
    """
    for side in _SIDES:
        base = column.removesuffix(f"_{side}")
        if base != column and base in REGISTRY and REGISTRY[base].sided:
            return base, side
    return column, "both"


def _is_working(side: Side, event: Event) -> bool:
    return "both" in (side, event.side) or side == event.side


def _sum_up(measure: str, side: Side, moment: str, values: Iterable[Value]) -> MeasureRow | None:
    known = [v for v in values if v.value is not None and math.isfinite(v.value)]
    numbers = [v.value for v in known if v.value is not None]
    if not numbers:
        return None
    widths = [v.uncertainty for v in known if v.uncertainty is not None]
    return MeasureRow(
        measure=measure,
        side=side,
        moment=moment,
        unit=known[0].unit,
        count=len(numbers),
        mean=statistics.fmean(numbers),
        lowest=min(numbers),
        highest=max(numbers),
        sd=statistics.stdev(numbers) if len(numbers) > 1 else None,
        mean_of_first=statistics.fmean(numbers[:FIRST]) if len(numbers) >= FIRST else None,
        uncertainty=statistics.median(widths) if widths else None,
        source=Counter(v.source for v in known).most_common(1)[0][0],
    )
