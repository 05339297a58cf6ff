"""The session as CSV files: a row a set, and a row a minute of the circuits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from motioncheck.records.session import BlockResult, MinuteRow, SessionSheet, SetResult
from motioncheck.sheet.tables import Cell, cell_text, csv_text

SET_COLUMNS: Final = (
    "block", "block_title", "kind", "number", "item", "label", "movement", "status", "amount",
    "planned_reps", "planned_hold_s", "planned_stages", "each_side", "rung", "load_kg", "load",
    "planned_rest_s", "done", "left", "right", "hold_s", "hold_left_s", "hold_right_s",
    "to_standard", "too_close", "missed", "not_judged", "partly_seen", "rest_before_s",
    "duration_s", "pace_per_min", "clip", "start_s", "end_s", "notes",
)  # fmt: skip
MINUTE_COLUMNS: Final = (
    "block", "minute", "clock_s", "due", "done", "started_after_s", "completed_after_s",
    "complete", "late", "extra_reps", "work_s", "every_minute_s", "rest_s", "left",
    "pace_per_min", "finish_s",
)  # fmt: skip


def sets_csv(sheet: SessionSheet) -> str:
    """Return a row a set, extra ones at the end with an empty block.

    Lines end in a bare newline; what is not known is an empty cell. ``clip``, ``start_s`` and
    ``end_s`` are those of the first part of the set.
    """
    rows = [_set_row(block, one) for block in sheet.blocks for one in block.sets]
    rows += [_set_row(None, one) for one in sheet.extra]
    return csv_text([SET_COLUMNS, *(map(cell_text, row) for row in rows)])


def _set_row(block: BlockResult | None, one: SetResult) -> list[Cell]:
    asked, tally = one.prescribed, one.tally
    first = one.pieces[0] if one.pieces else None
    where: list[Cell] = [None] * 3 if first is None else [first.clip, first.start_s, first.end_s]
    planned: list[Cell] = [None] * 8
    if asked is not None:
        planned = [
            asked.reps, asked.hold_s, asked.stages, asked.each_side, asked.rung, asked.load_kg,
            asked.load, asked.rest_s,
        ]  # fmt: skip
    return [
        None if block is None else block.number,
        None if block is None else block.title,
        "" if block is None else block.kind,
        one.number or None, one.item or None, one.label, one.movement, one.status, one.amount,
        *planned,
        one.done, one.left, one.right, one.hold_s, one.hold_left_s, one.hold_right_s,
        tally.to_standard, tally.close, tally.missed, tally.unjudged, tally.partly_seen,
        one.rest_before_s, one.duration_s, one.pace_per_min,
        *where,
        " ".join(one.notes),
    ]  # fmt: skip


def minutes_csv(sheet: SessionSheet) -> str:
    """Return a row a minute of every circuit, only the head when there is none.

    ``reps_<movement>`` are the reps of the work by movement, empty for a circuit without it.
    """
    circuits = [(block, block.circuit) for block in sheet.blocks if block.circuit is not None]
    names = list(dict.fromkeys(c.movement for _, circuit in circuits for c in circuit.counts))
    header = [*MINUTE_COLUMNS, *(f"reps_{name}" for name in names)]
    rows = [_minute_row(block, row, names) for block, circuit in circuits for row in circuit.rows]
    return csv_text([map(cell_text, header), *(map(cell_text, row) for row in rows)])


def _minute_row(block: BlockResult, row: MinuteRow, names: Sequence[str]) -> list[Cell]:
    return [
        block.number, row.minute, row.clock_s, row.due, row.done, row.started_after_s,
        row.completed_after_s, row.complete, row.late, row.extra_reps, row.work_s,
        row.every_minute_s, row.rest_s, row.left, row.pace_per_min, row.finish_s,
        *(row.work_reps.get(name) for name in names),
    ]  # fmt: skip
