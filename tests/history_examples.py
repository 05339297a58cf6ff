"""Made-up sheets for the tests of the history, and what a history holds as plain rows."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from functools import cache

from sheet_examples import squat_sheet

from motioncheck.records import RangeResult, Value


@cache
def _squats():
    return squat_sheet(pictures=False).sheet


def make_sheet(
    clip="a", *, version="0.1.0", standard="cd" * 32, athlete=None, movement="air-squat", ranges=()
):
    """Return a sheet of seven squats; ``clip`` tells clips apart."""
    sheet = _squats()
    source = sheet.provenance
    return replace(
        sheet,
        clip=replace(
            sheet.clip, name=f"{clip}.mp4", sha256=hashlib.sha256(clip.encode()).hexdigest()
        ),
        movement=replace(sheet.movement, id=movement, source_hash=standard),
        summary=replace(sheet.summary, ranges=tuple(ranges)),
        provenance=replace(
            source,
            version=version,
            standard_hash=standard,
            options={**source.options, "athlete_px": athlete},
        ),
    )


def make_range(side, values, *, moment="turn", best_is="highest", measure="hip_flexion"):
    """Return a line of the range of motion with these trials."""
    best = (max if best_is == "highest" else min)(values)
    return RangeResult(
        measure, "Hip flexion", "deg", side, len(values), best,
        sum(values[:3]) / 3 if len(values) >= 3 else None, 5.0,
        moment=moment, best_is=best_is, events=tuple(range(1, len(values) + 1)),
        values=tuple(Value(v, "deg", 5.0, "body") for v in values),
    )  # fmt: skip


def dump(history):
    """Return every row of every table, for comparing two states."""
    from sqlalchemy import select

    from motioncheck.history.tables import METADATA

    with history.database.reading() as connection:
        return {
            table.name: [
                tuple(row) for row in connection.execute(select(table).order_by(*table.primary_key))
            ]
            for table in METADATA.sorted_tables
        }
