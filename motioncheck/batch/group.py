"""Many sheets put together: the group sheet. Pure; no files are read or written.

What is counted is written down in ``docs/group-sheet.md``; rows are made in `group_rows`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from motioncheck.batch.group_rows import (
    LOOK_SHARE,
    GroupEntry,
    any_cue,
    counted_findings,
    make_row,
    make_unusable,
    row_key,
    unusable_key,
)
from motioncheck.records import BlindSpot, CheckInfo, Finding, Sheet
from motioncheck.records.group import GroupCell, GroupColumn, GroupRow, GroupSheet, Shared
from motioncheck.sheet.words import limit_text, lower_first, sentence
from motioncheck.wording import join_words

__all__ = ["GroupEntry", "build_group"]

# All project judgement.
# The group shares a miss when at least two athletes, and this share of those judged, have it.
SHARED_SHARE: Final = 0.25
SHARED_LEAST: Final = 2
# A check is worth filming anew when at least this share of the athletes could not be judged.
UNSEEN_SHARE: Final = 0.5


def build_group(entries: Iterable[GroupEntry], *, title: str, made_at: str) -> GroupSheet:
    """Put the sheets of a batch together.

    Parameters
    ----------
    entries : iterable of GroupEntry
        In any order; the result does not depend on it.
    title : str
    made_at : str
        ISO 8601 instant.

    Returns
    -------
    GroupSheet
        Checked clips in ``rows``, worst first; all others in ``without_result``. Struck events
        do not count, and where a verdict was corrected by hand the corrected one counts; values
        stay as measured. A value that no event has is None. A clip without a person counts as
        an athlete of its own.

    Notes
    -----
    Missing data: ``not visible`` is never a miss, and counts for nothing but itself.
    """
    entries = tuple(entries)
    known = sorted(
        ((e, e.result) for e in entries if e.state == "checked" and e.result is not None),
        key=lambda pair: (pair[0].person, pair[0].clip, pair[1].movement.id),
    )
    rows = sorted((make_row(entry, sheet) for entry, sheet in known), key=row_key)
    sheets = [sheet for _, sheet in known]
    columns = _columns(rows, sheets)
    unusable = [make_unusable(e) for e in entries if e.state != "checked" or e.result is None]
    return GroupSheet(
        title=title,
        made_at=made_at,
        rows=tuple(rows),
        columns=columns,
        shared=_shared(rows, columns, known),
        without_result=tuple(sorted(unusable, key=unusable_key)),
        cautions=_cautions(sheets),
        notes=(*_unseen_notes(rows, columns, sheets), *_standard_notes(sheets)),
    )


# The group as a whole -------------------------------------------------------------------------


def _columns(rows: Sequence[GroupRow], sheets: Sequence[Sheet]) -> tuple[GroupColumn, ...]:
    used = {(row.movement, cell.check) for row in rows for cell in row.cells}
    columns: dict[tuple[str, str], GroupColumn] = {}
    for movement, _ in _most_common(row.movement for row in rows):
        for sheet in (s for s in sheets if s.movement.id == movement):
            for info in sheet.movement.checks:
                key = (movement, info.check)
                if key in used and key not in columns:
                    columns[key] = _column(movement, info)
    return tuple(columns.values())


def _column(movement: str, info: CheckInfo) -> GroupColumn:
    asked = limit_text(info.comparison, info.threshold, info.unit, info.unit_words)
    return GroupColumn(movement, info.check, info.title, asked, info.unit)


def _most_common(names: Iterable[str]) -> list[tuple[str, int]]:
    return sorted(Counter(names).items(), key=lambda item: (-item[1], item[0]))


def _by_frequency(texts: Iterable[str]) -> tuple[str, ...]:
    """Return each text once, the most frequent first."""
    return tuple(text for text, _ in Counter(texts).most_common())


def _cautions(sheets: Sequence[Sheet]) -> tuple[str, ...]:
    """Return each caution once; one that is not for all movements says for which."""
    everything = {sheet.movement.title for sheet in sheets}
    lines = []
    for caution in _by_frequency(caution for sheet in sheets for caution in sheet.cautions):
        titles = sorted({s.movement.title for s in sheets if caution in s.cautions})
        some = len(titles) < len(everything)
        lines.append(f"{join_words(titles)}: {lower_first(caution)}" if some else caution)
    return tuple(lines)


def _shared(
    rows: Sequence[GroupRow],
    columns: Sequence[GroupColumn],
    known: Sequence[tuple[GroupEntry, Sheet]],
) -> tuple[Shared, ...]:
    """Return the checks that many athletes miss, the most widespread first."""
    found = []
    for column in columns:
        judged, missing = set(), set()
        for person, cell in _cells_of(rows, column):
            if cell.worst != "not visible":
                judged.add(person)
            if _misses_often(cell):
                missing.add(person)
        least = max(SHARED_LEAST, SHARED_SHARE * len(judged))
        if len(missing) >= least:
            cue = any_cue(_column_findings(known, column), {column.check})
            text = f"{column.title}: missed by {len(missing)} of {len(judged)} athletes"
            found.append(
                Shared(column.movement, column.check, column.title, len(missing), len(judged),
                       cue, text)
            )  # fmt: skip
    return tuple(sorted(found, key=lambda s: (-s.athletes, -s.athletes / s.of)))


def _cells_of(rows: Sequence[GroupRow], column: GroupColumn) -> Iterable[tuple[str, GroupCell]]:
    for row in rows:
        if row.movement == column.movement:
            yield from (
                (row.person or row.clip, cell) for cell in row.cells if cell.check == column.check
            )


def _column_findings(
    known: Sequence[tuple[GroupEntry, Sheet]], column: GroupColumn
) -> Iterable[Finding]:
    for _, sheet in known:
        if sheet.movement.id == column.movement:
            yield from counted_findings(sheet)


def _misses_often(cell: GroupCell) -> bool:
    judged = cell.misses + cell.close + cell.meets
    return cell.misses > 0 and cell.misses >= LOOK_SHARE * judged


def _unseen_notes(
    rows: Sequence[GroupRow], columns: Sequence[GroupColumn], sheets: Sequence[Sheet]
) -> tuple[str, ...]:
    """Say which checks the camera showed for few, with the advice most sheets give."""
    titles = {row.movement: lower_first(row.movement_title) for row in rows}
    notes = []
    for column in columns:
        all_cells = list(_cells_of(rows, column))
        people = {person for person, _ in all_cells}
        seen = {person for person, cell in all_cells if cell.worst != "not visible"}
        hidden = len(people) - len(seen)
        spots = list(_spots(sheets, column))
        if spots and hidden >= max(SHARED_LEAST, UNSEEN_SHARE * len(people)):
            which = f" ({titles[column.movement]})" if len(titles) > 1 else ""
            who = f"for {hidden} of {len(people)} athletes" if seen else "for anybody"
            advice = _by_frequency(spot.advice for spot in spots if spot.advice)
            text = (
                f"“{column.title}”{which} could not be seen {who}. {sentence(''.join(advice[:1]))}"
            )
            notes.append(text.strip())
    return tuple(notes)


def _spots(sheets: Sequence[Sheet], column: GroupColumn) -> Iterable[BlindSpot]:
    for sheet in sheets:
        if sheet.movement.id == column.movement:
            yield from (spot for spot in sheet.blind_spots if spot.check == column.check)


def _standard_notes(sheets: Sequence[Sheet]) -> tuple[str, ...]:
    """Say when clips of one movement were checked by different rules."""
    hashes: dict[str, set[str]] = {}
    versions = {sheet.provenance.version for sheet in sheets}
    for sheet in sheets:
        hashes.setdefault(sheet.movement.title, set()).add(sheet.movement.source_hash)
    mixed = [lower_first(title) for title, found in hashes.items() if len(found) > 1]
    notes = []
    if mixed:
        notes.append(
            f"Not all clips of {join_words(mixed)} were checked by the same standard; "
            "the limits in the head of the table are those of the first."
        )
    if len(versions) > 1:
        notes.append(
            f"Checked by different versions of the program: {join_words(sorted(versions))}."
        )
    return tuple(notes)
