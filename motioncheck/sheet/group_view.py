"""What the group sheet shows, worked out from the record before the template prints it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from motioncheck.records import Verdict
from motioncheck.records.group import ClipState, GroupCell, GroupColumn, GroupRow, GroupSheet
from motioncheck.sheet.session_view import safe_link
from motioncheck.sheet.words import MARKS, lower_first, noun_of, plural, value_text
from motioncheck.wording import join_words

# As many as can be read in a few seconds; the rest stands in the tables.
MAX_LOOKS: Final = 8
MAX_SHARED: Final = 3
MAX_REASONS: Final = 5
MAX_CODES: Final = 12
NO_CODE: Final = "no code"
# How urgent a verdict is when a column is sorted; what has no verdict comes last.
_RANKS: Final[dict[Verdict, int]] = {
    "misses": 4,
    "too close to call": 3,
    "meets": 2,
    "not visible": 1,
}

_STATES: Final[dict[ClipState, str]] = {
    "failed": "without a result",
    "skipped": "left out",
    "waiting": "not checked yet",
}


@dataclass(frozen=True, slots=True)
class CellView:
    """One cell: its mark and word, on how many events, the median, what it is sorted by."""

    symbol: str
    word: str
    count: str
    value: str
    rank: str


@dataclass(frozen=True, slots=True)
class RowView:
    """One line of a table."""

    person: str
    link: str
    detail: str
    look: bool
    todo: str
    rank: str
    cells: tuple[CellView | None, ...]


@dataclass(frozen=True, slots=True)
class TableView:
    """All clips of one movement."""

    movement: str
    title: str
    clips: str
    columns: tuple[GroupColumn, ...]
    rows: tuple[RowView, ...]
    has_sets: bool


@dataclass(frozen=True, slots=True)
class LookLine:
    """One clip that needs a look."""

    person: str
    link: str
    where: str
    why: str
    cue: str


@dataclass(frozen=True, slots=True)
class ReasonLine:
    """Why there is no result, and for whom."""

    reason: str
    people: str


@dataclass(frozen=True, slots=True)
class MissingLine:
    """One clip without a result."""

    person: str
    clip: str
    state: str
    reason: str
    others: str


def name_of(row: GroupRow) -> str:
    """Return how a row is called: the code of the athlete, or that there is none."""
    return row.person or NO_CODE


def headline(group: GroupSheet) -> str:
    """Return the sentence above everything: how many clips need a look."""
    looks = sum(bool(row.look) for row in group.rows)
    if not group.rows:
        return "No clip has a result."
    if not looks:
        return f"None of {plural(len(group.rows), 'clip')} needs a look first."
    verb = "needs" if looks == 1 else "need"
    return f"{looks} of {plural(len(group.rows), 'clip')} {verb} a look."


def facts(group: GroupSheet) -> tuple[str, ...]:
    """Return the line below the title: counts, movements, sessions, when it was made."""
    everyone = (*group.rows, *group.without_result)
    clips = plural(len(everyone), "clip")
    athletes = plural(len(_people(everyone)), "athlete")
    states = Counter(row.state for row in group.without_result)
    parts = [f"{len(group.rows)} checked"] + [
        f"{states[state]} {word}" for state, word in _STATES.items() if states[state]
    ]
    # A session of some clips only stands in their rows.
    sessions = {row.session for row in everyone}
    session = sessions.pop() if len(sessions) == 1 else ""
    said = f"session {session}" if session else ""
    line = (f"{clips} of {athletes}", ", ".join(parts), said, _day(group.made_at))
    return tuple(part for part in line if part)


def _day(instant: str) -> str:
    """Return an ISO instant as day and time to the minute."""
    text = instant.replace("T", " ")
    return f"made {text[:16]}{' UTC' if text.endswith(('Z', '+00:00')) else ''}" if text else ""


def _people(rows: Iterable[GroupRow]) -> dict[str, int]:
    """Return the athletes with the number of their clips; one without a code stands alone."""
    return Counter(row.person or f"\0{row.clip}" for row in rows)


# The top --------------------------------------------------------------------------------------


def look_lines(group: GroupSheet) -> tuple[LookLine, ...]:
    """Return the clips that need a look, worst first, as many as fit at the top."""
    clips = _people(group.rows)
    several = len({row.movement for row in group.rows}) > 1
    lines = []
    for row in [row for row in group.rows if row.look][:MAX_LOOKS]:
        where = [lower_first(row.movement_title)] if several else []
        if not row.person or clips[row.person] > 1:
            where.append(row.clip)
        # A number in brackets stays with the check it counts.
        why = row.look.replace(" (", "\N{NO-BREAK SPACE}(")
        lines.append(LookLine(name_of(row), safe_link(row.sheet), ", ".join(where), why, row.cue))
    return tuple(lines)


def more_looks(group: GroupSheet) -> int:
    """Return how many clips need a look beyond those at the top."""
    return max(sum(bool(row.look) for row in group.rows) - MAX_LOOKS, 0)


def reason_lines(group: GroupSheet) -> tuple[tuple[ReasonLine, ...], str]:
    """Return who has no usable clip by reason, most frequent first, and what was left out.

    Athletes of whom another clip was checked are only counted in the remark.
    """
    served = {row.person for row in group.rows if row.person}
    groups: dict[str, list[str]] = {}
    others = 0
    for row in group.without_result:
        if row.person in served:
            others += 1
        else:
            reason = row.reason or f"{_STATES[row.state].capitalize()}."
            groups.setdefault(reason, []).append(row.person or row.clip)
    ordered = sorted(groups.items(), key=lambda item: -len(item[1]))
    lines = tuple(ReasonLine(reason, _codes(who)) for reason, who in ordered[:MAX_REASONS])
    rest = sum(len(who) for _, who in ordered[MAX_REASONS:])
    remarks = []
    if rest:
        remarks.append(f"{plural(rest, 'more clip')} for other reasons.")
    if others:
        remarks.append(
            f"{plural(others, 'more clip')} without a result, of athletes who have another one."
        )
    return lines, " ".join(remarks)


def _codes(who: Sequence[str]) -> str:
    names = list(dict.fromkeys(who))
    if len(names) <= MAX_CODES:
        return join_words(names)
    return f"{', '.join(names[:MAX_CODES])} and {len(names) - MAX_CODES} more"


def missing_lines(group: GroupSheet) -> tuple[MissingLine, ...]:
    """Return every clip without a result."""
    checked = _people(group.rows)
    return tuple(
        MissingLine(
            name_of(row),
            row.clip,
            _STATES[row.state],
            row.reason,
            plural(checked[row.person], "other clip") + " checked" if checked[row.person] else "",
        )
        for row in group.without_result
    )


# The tables -----------------------------------------------------------------------------------


def tables(group: GroupSheet) -> tuple[TableView, ...]:
    """Return one table a movement, the most common movement first."""
    sessions = {row.session for row in (*group.rows, *group.without_result)}
    order = dict.fromkeys(column.movement for column in group.columns)
    order.update(dict.fromkeys(row.movement for row in group.rows))
    return tuple(_table(group, movement, len(sessions) > 1) for movement in order)


def _table(group: GroupSheet, movement: str, with_session: bool) -> TableView:
    rows = [row for row in group.rows if row.movement == movement]
    columns = tuple(column for column in group.columns if column.movement == movement)
    return TableView(
        movement,
        rows[0].movement_title or movement,
        plural(len(rows), "clip"),
        columns,
        tuple(_row(row, columns, with_session) for row in rows),
        any(cell.scope == "set" for row in rows for cell in row.cells),
    )


def _row(row: GroupRow, columns: Sequence[GroupColumn], with_session: bool) -> RowView:
    cells = {cell.check: cell for cell in row.cells}
    detail = [row.clip, row.view]
    if with_session:
        detail.insert(0, row.session)
    if row.corrected:
        detail.append(f"{plural(row.corrected, 'correction')} by hand")
    share = row.events_to_fix / row.events if row.events else 0.0
    return RowView(
        name_of(row),
        safe_link(row.sheet),
        " · ".join(part for part in (*detail, *row.notes) if part),
        bool(row.look),
        _todo(row),
        f"{share + bool(row.look):.3f}",
        tuple(_cell(cells[c.check]) if c.check in cells else None for c in columns),
    )


def _todo(row: GroupRow) -> str:
    noun = noun_of(row.event_kind)
    if not row.events:
        return f"no {noun.many}"
    return f"{row.events_to_fix} of {plural(row.events, noun.one)}"


def _cell(cell: GroupCell) -> CellView:
    count = {
        "misses": cell.misses,
        "too close to call": cell.close,
        "meets": cell.meets,
        "not visible": cell.unseen,
    }[cell.worst]
    total = cell.meets + cell.misses + cell.close + cell.unseen
    value = cell.value if cell.value is not None and math.isfinite(cell.value) else None
    return CellView(
        MARKS[cell.worst],
        cell.worst,
        _count_text(cell, count, total),
        f"median {value_text(value, cell.unit)}"
        if value is not None and total > 1
        else value_text(value, cell.unit),
        f"{_RANKS[cell.worst] + count / (total + 1):.3f}",
    )


def _count_text(cell: GroupCell, count: int, total: int) -> str:
    if cell.scope == "set" or total < 2:
        return ""
    if count == total:
        return f"all {total}" if cell.worst == "misses" else ""
    return f"{count} of {total}"
