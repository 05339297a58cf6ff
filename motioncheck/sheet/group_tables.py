"""The group as one CSV file for spreadsheets: a row a clip, a few columns a check."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from motioncheck.records.group import GroupCell, GroupColumn, GroupRow, GroupSheet
from motioncheck.sheet.tables import Cell, cell_text, csv_text, safe_cell

ROW_COLUMNS: Final = (
    "person", "session", "clip", "movement", "state", "reason", "needs_a_look", "why", "cue",
    "view", "event_kind", "events", "events_to_fix", "corrections", "sheet",
)  # fmt: skip


def group_csv(group: GroupSheet) -> str:
    """Return a row a clip, in the order of the group sheet, those without a result at the end.

    Parameters
    ----------
    group : GroupSheet

    Returns
    -------
    str
        Lines end in a bare newline. For each check of each movement there are
        ``<movement>.<check>_verdict`` (the most urgent one), ``_misses`` (events that miss),
        ``_of`` (events that have the check) and ``_median`` with its unit, such as
        ``_median_deg``. They are empty for clips of another movement; a value that could not be
        measured is empty too, never 0. Texts that a spreadsheet would take for a formula begin
        with an apostrophe.
    """
    header = [*ROW_COLUMNS, *(name for column in group.columns for name in _names(column))]
    rows = [_row(row, group.columns) for row in (*group.rows, *group.without_result)]
    return csv_text([map(safe_cell, header), *(map(cell_text, row) for row in rows)])


def _names(column: GroupColumn) -> list[str]:
    start = f"{column.movement}.{column.check}"
    unit = {"%": "percent", "1/min": "per_min"}.get(column.unit, column.unit)
    median = f"{start}_median_{unit}" if unit else f"{start}_median"
    return [f"{start}_verdict", f"{start}_misses", f"{start}_of", median]


def _row(row: GroupRow, columns: Sequence[GroupColumn]) -> list[Cell]:
    checked = row.state == "checked"
    values: list[Cell] = [
        row.person, row.session, row.clip, row.movement, row.state, row.reason,
        ("yes" if row.look else "no") if checked else None, row.look, row.cue, row.view,
        row.event_kind if checked else None, row.events if checked else None,
        row.events_to_fix if checked else None, row.corrected if checked else None, row.sheet,
    ]  # fmt: skip
    cells = {(row.movement, cell.check): cell for cell in row.cells}
    for column in columns:
        values += _cells(cells.get((column.movement, column.check)))
    return values


def _cells(cell: GroupCell | None) -> list[Cell]:
    if cell is None:
        return [None] * 4
    total = cell.meets + cell.misses + cell.close + cell.unseen
    return [cell.worst, cell.misses, total, cell.value]
