"""What the trend pages print, worked out before it is laid out: rows, words, numbers, marks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from motioncheck.records.history import PersonRecord
from motioncheck.records.trend import (
    CHANGE_WORDS,
    Change,
    ChangeWord,
    SideLine,
    Statistic,
    Trend,
    TrendPoint,
    TrendReport,
)
from motioncheck.sheet.trend_words import (
    DASH,
    ORIGINS,
    WordMark,
    band_of,
    change_texts,
    day_text,
    letter_of,
    mdc_of,
    side_text,
    span_of,
    statistic_of,
    value_of,
    with_band,
    word_mark,
)
from motioncheck.sheet.words import plural

# More rows than anybody reads on paper; the CSV has them all.
MOST_ROWS: Final = 40
MOST_MARKS: Final = 12


@dataclass(frozen=True, slots=True)
class GlanceRow:
    """One side of one measure in a line: from where to where, and what that says."""

    title: str
    movement: str
    anchor: str
    side: str
    first: str
    first_day: str
    last: str
    last_day: str
    change: str
    needed: str
    origin: str
    mark: WordMark
    word: ChangeWord
    statistic: str


@dataclass(frozen=True, slots=True)
class Cell:
    """The numbers of one side in one session."""

    best: str
    mean: str
    counts: str
    corrected: bool


@dataclass(frozen=True, slots=True)
class SessionRow:
    """One session in the table of a measure; ``cells`` are in the order of its sides."""

    session: str
    show_name: bool
    day: str
    view: str
    cells: tuple[Cell | None, ...]
    mark: str
    stretch: str
    break_before: bool


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that differs from the session before; ``breaks`` when the line is broken there."""

    number: int
    session: str
    day: str
    texts: tuple[str, ...]
    breaks: bool

    @property
    def day_words(self) -> str:
        """Return the day as it is printed."""
        return day_text(self.day)


def glance_rows(report: TrendReport) -> list[GlanceRow]:
    """Return a row for each side of each measure, in the order of the page."""
    return [
        _glance(trend, line, f"t{number}")
        for number, trend in enumerate(report.trends, 1)
        for line in trend.lines
        if line.points
    ]


def _glance(trend: Trend, line: SideLine, anchor: str) -> GlanceRow:
    statistic = statistic_of(line)
    change = line.changes[0] if line.changes else _nothing_to_compare(line, statistic)
    first = _point_on(line, change.from_day, change.from_value, statistic)
    last = _point_on(line, change.to_day, change.to_value, statistic)
    difference, needed = change_texts(change, trend.unit)
    return GlanceRow(
        title=trend.title,
        movement=trend.movement_title,
        anchor=anchor,
        side=side_text(line),
        first=with_band(change.from_value, first, trend.unit),
        first_day=day_text(change.from_day),
        last=with_band(change.to_value, last, trend.unit),
        last_day=day_text(change.to_day),
        change=difference,
        needed=needed if needed == DASH else f"± {needed}",
        origin=ORIGINS[mdc_of(trend, line).origin] if change.needed is not None else "",
        mark=word_mark(change),
        word=change.word,
        statistic=statistic,
    )


def _nothing_to_compare(line: SideLine, statistic: Statistic) -> Change:
    point = line.points[-1]
    return Change(
        statistic, "", point.day, None, value_of(point, statistic), None, None,
        "one session so far", None, "Only one session has this measure.",
    )  # fmt: skip


def _point_on(line: SideLine, day: str, value: float | None, statistic: Statistic) -> float | None:
    for point in line.points:
        if point.day == day and value_of(point, statistic) == value:
            return band_of(point, statistic)
    return None


def headline(rows: Sequence[GlanceRow]) -> str:
    """Return how many lines changed and how many did not, in the words of the table."""
    if not rows:
        return "No measure to show."
    counts = {word: sum(row.word == word for row in rows) for word in CHANGE_WORDS}
    if counts["changed"] == 0 and counts["no change that this method can see"] == len(rows):
        return "No change that this method can see."
    if counts["one session so far"] == len(rows):
        return "One session so far: there is nothing to compare yet."
    told = [f"Changed: {counts['changed']} of {plural(len(rows), 'line')}."]
    told += [
        f"{word[0].upper()}{word[1:]}: {counts[word]}." for word in CHANGE_WORDS[1:] if counts[word]
    ]
    return " ".join(told)


def facts(report: TrendReport) -> list[str]:
    """Return sessions, span and what is known of the person that bears on the numbers."""
    span = span_of(report.first_day, report.last_day)
    return [plural(report.sessions, "session"), span, *person_facts(report.person)]


def person_facts(person: PersonRecord) -> list[str]:
    """Return what usual values depend on."""
    born = f"born {person.birth_year}" if person.birth_year is not None else ""
    tall = f"{person.stature_m:.2f} m" if person.stature_m is not None else ""
    return [text for text in (born, str(person.sex or ""), tall) if text]


def marks_of(trend: Trend) -> list[Mark]:
    """Return what differs from the session before, both sides together, in order of time."""
    found: dict[tuple[str, str], tuple[dict[str, None], bool]] = {}
    for line in trend.lines:
        before: TrendPoint | None = None
        for point in line.points:
            broken = before is not None and before.segment != point.segment
            if point.marks or broken:
                texts, was = found.get((point.day, point.session), ({}, False))
                key = point.day, point.session
                found[key] = (texts | dict.fromkeys(point.marks), was or broken)
            before = point
    ordered = sorted(found.items(), key=lambda item: item[0][0])
    return [
        Mark(number, session, day, tuple(texts) or ("Not comparable with before.",), broken)
        for number, ((day, session), (texts, broken)) in enumerate(ordered, 1)
    ]


def session_rows(trend: Trend, most: int = MOST_ROWS) -> tuple[list[SessionRow], int]:
    """Return a row a session, at most so many, and how many sessions there are.

    When there are more, the first of each stretch that can be compared and the newest are kept.
    """
    by_session: dict[tuple[str, str], dict[str, TrendPoint]] = {}
    for line in trend.lines:
        for point in line.points:
            by_session.setdefault((point.day, point.session), {})[line.side] = point
    keys = sorted(by_session, key=lambda key: key[0])
    numbers = {(m.day, m.session): m for m in marks_of(trend)}
    kept = set(keys)
    if len(keys) > most:
        starts = [keys[0], *(k for k in keys if k in numbers and numbers[k].breaks)]
        kept = set(starts[: most // 4])
        kept |= set(keys[-(most - len(kept)) :])
    sides = [line.side for line in trend.lines]
    rows = [
        _session_row(trend, key, by_session[key], sides, numbers.get(key))
        for key in keys
        if key in kept
    ]
    return rows, len(keys)


def _session_row(
    trend: Trend,
    key: tuple[str, str],
    points: dict[str, TrendPoint],
    sides: Sequence[str],
    mark: Mark | None,
) -> SessionRow:
    views = dict.fromkeys(p.view for p in points.values() if p.view)
    return SessionRow(
        session=key[1],
        # A session without a name of its own is called after its day.
        show_name=key[1] != key[0],
        day=day_text(key[0]),
        view=", ".join(views) or DASH,
        cells=tuple(_cell(points.get(side), trend.unit) for side in sides),
        mark="" if mark is None else str(mark.number),
        stretch=letter_of(next(iter(points.values())).segment),
        break_before=mark is not None and mark.breaks,
    )


def _cell(point: TrendPoint | None, unit: str) -> Cell | None:
    if point is None:
        return None
    return Cell(
        best=with_band(point.best, point.best_uncertainty, unit),
        mean=with_band(point.mean, point.mean_uncertainty, unit),
        counts=f"{point.values} in {plural(point.trials, 'clip')}",
        corrected=point.corrected,
    )


def main_changes(trend: Trend) -> list[tuple[str, WordMark, str]]:
    """Return the first comparison of each side: the side, the word and the sentence about it."""
    return [
        (
            side_text(line),
            word_mark(line.changes[0]),
            f"{_between(line.changes[0])}: {line.changes[0].text}",
        )
        for line in trend.lines
        if line.changes
    ]


def _between(change: Change) -> str:
    return f"{change.statistic.capitalize()}, {span_of(change.from_day, change.to_day)}"


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """One comparison of two sessions, in words."""

    side: str
    statistic: str
    days: str
    difference: str
    needed: str
    mark: WordMark


def change_rows(trend: Trend) -> list[ChangeRow]:
    """Return every comparison of a measure."""
    rows = []
    for line in trend.lines:
        for change in line.changes:
            difference, needed = change_texts(change, trend.unit)
            days = span_of(change.from_day, change.to_day)
            rows.append(
                ChangeRow(
                    side_text(line) or DASH, change.statistic, days, difference,
                    needed if needed == DASH else f"± {needed}", word_mark(change),
                )
            )  # fmt: skip
    return rows


def by_movement(trends: Iterable[Trend]) -> list[tuple[str, list[tuple[str, Trend]]]]:
    """Return the measures of each movement together, each with the anchor of its place."""
    named = [(f"t{number}", trend) for number, trend in enumerate(trends, 1)]
    return [
        (title, list(found))
        for title, found in groupby(named, key=lambda pair: pair[1].movement_title)
    ]
