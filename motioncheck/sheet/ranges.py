"""Range of motion and rungs of a ladder, worked out before they are printed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from motioncheck.records import RangeResult, Rung, Sheet
from motioncheck.sheet.words import decimals, lower_first, number_text, span_text, unit_suffix
from motioncheck.wording import join_words

DASH = "–"


@dataclass(frozen=True, slots=True)
class RangeRow:
    """One side of a line: numbers in words, a dash where there is none."""

    side: str
    best: str
    mean: str
    band: str
    trials: int


@dataclass(frozen=True, slots=True)
class RangeGroup:
    """One line of the range of motion: its sides, what is usual, what change says something."""

    title: str
    rows: tuple[RangeRow, ...]
    norms: tuple[str, ...]
    change: str


@dataclass(frozen=True, slots=True)
class RungRow:
    """One way up an ordered sequence and back down, in words."""

    number: int
    side: str
    time: str
    reached: str
    visited: str
    skipped: str
    rushed: str
    text: str


def range_groups(ranges: Sequence[RangeResult]) -> tuple[RangeGroup, ...]:
    """Return the range of motion with the sides of a line together."""
    groups = []
    for _, found in groupby(ranges, key=lambda r: (r.measure, r.title)):
        sides = list(found)
        first = sides[0]
        rows = tuple(_range_row(r) for r in sides)
        groups.append(RangeGroup(first.title, rows, first.norms, first.change))
    return tuple(groups)


def _range_row(result: RangeResult) -> RangeRow:
    side = "" if result.side == "both" else str(result.side)
    numbers = [_number(n, result.unit) for n in (result.best, result.mean_of_three)]
    band = _number(result.uncertainty, result.unit)
    return RangeRow(
        side or DASH,
        numbers[0],
        numbers[1],
        band if band == DASH else f"± {band}",
        result.trials,
    )


def _number(value: float | None, unit: str) -> str:
    if value is None:
        return DASH
    return f"{number_text(value, decimals(unit))}{unit_suffix(unit)}"


def range_lines(ranges: Iterable[RangeResult]) -> tuple[str, ...]:
    """Return the range of motion as short sentences for the terminal."""
    lines = []
    for r in ranges:
        row = _range_row(r)
        title = r.title if r.side == "both" else f"{r.title}, {r.side}"
        if r.best is None:
            lines.append(f"{title}: not measured.")
            continue
        mean = f", mean of three {row.mean}" if r.mean_of_three is not None else ""
        lines.append(f"{title}: best {row.best}{mean} ({row.band}, trials: {r.trials}).")
    return tuple(lines)


def rung_rows(sheet: Sheet) -> tuple[RungRow, ...]:
    """Return the rungs with the stages by their names where the events tell them."""
    names = {e.stage: e.name for e in sheet.events if e.stage is not None and e.name}
    return tuple(_rung_row(rung, names) for rung in sheet.summary.rungs)


def _rung_row(rung: Rung, names: dict[int, str]) -> RungRow:
    top = f"{rung.reached} of {rung.stages}"
    if rung.reached in names:
        top += f", {lower_first(names[rung.reached])}"
    return RungRow(
        number=rung.number,
        side=DASH if rung.side == "both" else str(rung.side),
        time=span_text(rung.start_s, rung.end_s),
        reached=top,
        visited=" ".join(str(n) for n in rung.visited),
        skipped=_stages(rung.skipped, names),
        rushed=_stages(rung.rushed, names),
        text=rung.text,
    )


def _stages(numbers: Sequence[int], names: dict[int, str]) -> str:
    """Return stages by number, and by name where it is known."""
    words = [f"{n} ({lower_first(names[n])})" if n in names else str(n) for n in numbers]
    return join_words(words) or "none"
