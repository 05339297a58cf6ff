"""The reps and the angles as CSV files that spreadsheets and statistics programs open."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from motioncheck.records import Event, MeasureTable, Sheet
from motioncheck.records.arrays import FloatArray
from motioncheck.sheet.corrected import event_remarks, event_state
from motioncheck.sheet.words import worst_verdict

Cell = str | int | float | bool | None

TIME_PLACES: Final = 4
VALUE_PLACES: Final = 3
ROWS_AT_ONCE: Final = 500
# A spreadsheet runs a cell that starts with one of these as a formula; some look behind blanks,
# and some read the wide forms of East Asian keyboards as the plain ones.
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
_BREAKS: Final = ("\t", "\r", "\n")


def safe_cell(text: str) -> str:
    """Return text that no spreadsheet takes for a formula; for words only, never for numbers."""
    risky = text.startswith(_BREAKS) or text.lstrip().startswith(_FORMULA_STARTS)
    return "'" + text if risky else text


def csv_text(rows: Iterable[Iterable[str]]) -> str:
    """Return rows of cells as CSV; lines end in a bare newline."""
    buffer = io.StringIO(newline="")
    csv.writer(buffer, lineterminator="\n").writerows(rows)
    return buffer.getvalue()


def cell_text(value: Cell) -> str:
    """Return a cell of a summary: empty where nothing is known, numbers to three decimals."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        text = f"{value:.{VALUE_PLACES}f}".rstrip("0").rstrip(".")
        return "" if not math.isfinite(value) else "0" if text == "-0" else text
    return safe_cell(value)


def _number(value: float | None, places: int) -> str:
    if value is None or not math.isfinite(value):
        return ""
    text = f"{value:.{places}f}"
    return text.lstrip("-") if float(text) == 0.0 else text


def reps_csv(sheet: Sheet) -> str:
    """Return a row an event: times, each measure with its uncertainty, each verdict.

    Parameters
    ----------
    sheet : Sheet

    Returns
    -------
    str
        Lines end in a bare newline. Seconds have four decimals, measures three; a number that
        could not be measured is an empty cell, and so is the verdict of a check that does not
        apply to the event. ``stage`` and ``group`` are empty unless the event is a stage of an
        ordered sequence. Where an event has a finding for each side, ``<check>_verdict`` is the
        more urgent one, and ``<check>_left_verdict``, ``<check>_right_verdict`` follow.

        Verdicts are the measured ones. A sheet with corrections has more columns at the end:
        ``state`` (``struck``, ``added`` or empty), ``<check>_corrected`` with the verdict that
        holds where it was changed, and who corrected what and why.
    """
    measures = list(dict.fromkeys(m for event in sheet.events for m in event.measures))
    checks = _check_columns(sheet)
    header = ["kind", "number", "side", "start_s", "turn_s", "end_s", "stage", "group", "name"]
    for measure in measures:
        header += [safe_cell(measure), safe_cell(f"{measure}_uncertainty")]
    header += [safe_cell(f"{c}_{s}_verdict" if s else f"{c}_verdict") for c, s in checks]
    rows = [_rep_row(event, measures, checks) for event in sheet.events]
    if sheet.corrections:
        own = [name for name, side in checks if not side]
        header += ["state", *(safe_cell(f"{c}_corrected") for c in own), "corrections"]
        for row, event in zip(rows, sheet.events, strict=True):
            row += _correction_cells(sheet, event, own)
    return csv_text([header, *rows])


def _correction_cells(sheet: Sheet, event: Event, checks: Sequence[str]) -> list[str]:
    cells = [event_state(event)]
    for check in checks:
        own = [f for f in event.findings if f.check == check]
        changed = any(f.corrected is not None for f in own)
        cells.append(safe_cell(worst_verdict(own)) if changed else "")
    return [*cells, safe_cell("; ".join(event_remarks(sheet, event)))]


def _check_columns(sheet: Sheet) -> list[tuple[str, str]]:
    """Return check and side of each verdict column; side is empty for the check as a whole."""
    names = [c.check for c in sheet.movement.checks if c.scope == "rep"]
    names += [f.check for event in sheet.events for f in event.findings]
    columns: list[tuple[str, str]] = []
    for name in dict.fromkeys(names):
        columns.append((name, ""))
        if any(sum(f.check == name for f in event.findings) > 1 for event in sheet.events):
            columns += [(name, "left"), (name, "right")]
    return columns


def _rep_row(event: Event, measures: Sequence[str], checks: Sequence[tuple[str, str]]) -> list[str]:
    row = [event.kind, str(event.number), event.side]
    row += [_number(t, TIME_PLACES) for t in (event.start_s, event.turn_s, event.end_s)]
    row += ["" if n is None else str(n) for n in (event.stage, event.group)]
    row.append(safe_cell(event.name))
    for measure in measures:
        value = event.measures.get(measure)
        row += [
            _number(value.value if value else None, VALUE_PLACES),
            _number(value.uncertainty if value else None, VALUE_PLACES),
        ]
    for check, side in checks:
        own = [
            replace(f, corrected=None)
            for f in event.findings
            if f.check == check and side in {"", f.side}
        ]
        row.append(safe_cell(worst_verdict(own)) if own else "")
    return row


def angles_csv(table: MeasureTable) -> str:
    """Return a row a frame: ``time_s``, then every measure, empty where not measurable.

    Parameters
    ----------
    table : MeasureTable

    Returns
    -------
    str
        Lines end in a bare newline; time has four decimals, measures three.
    """
    header = ["time_s", *(safe_cell(name) for name in table.values)]
    parts = [csv_text([header])]
    # A Python string takes ten times the room of its number, so only some rows are strings at once.
    for first in range(0, len(table.time_s), ROWS_AT_ONCE):
        rows = slice(first, first + ROWS_AT_ONCE)
        columns = [_column(table.time_s[rows], TIME_PLACES)]
        columns += [_column(values[rows], VALUE_PLACES) for values in table.values.values()]
        parts.append(csv_text(zip(*columns, strict=True)))
    return "".join(parts)


def _column(values: FloatArray, places: int) -> list[str]:
    # Adding zero turns a rounded -0.0 into 0.0. Formatting whole columns at once keeps the
    # per-cell work to one comparison and one format.
    rounded = np.round(np.where(np.isfinite(values), values, np.nan), places) + 0.0
    shape = f"%.{places}f"
    return ["" if v != v else shape % v for v in rounded.tolist()]
