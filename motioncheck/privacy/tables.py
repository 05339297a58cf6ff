"""What is held about a person as tables: the same for the full export and the one for sharing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from motioncheck.records import Event, Finding, Sheet
from motioncheck.records.history import CheckRecord, Correction, SessionRecord, Trial
from motioncheck.sheet.tables import Cell, csv_text, safe_cell


def make_csv(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """Return a table as CSV: None is an empty cell, text can never be taken for a formula."""
    return csv_text([map(safe_cell, header), *(map(_cell, row) for row in rows)])


def _cell(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return safe_cell(value)
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def records_csv(rows: Sequence[Any], names: Sequence[str]) -> str:
    """Return some fields of records of one kind as CSV."""
    return make_csv(names, ([getattr(row, name) for name in names] for row in rows))


SESSION_FIELDS = ("name", "day", "notes", "plan_sha256", "checks")
CHECK_FIELDS = (
    "id", "session", "day", "clip", "clip_sha256", "clip_path", "clip_kept", "folder", "movement",
    "title", "view", "azimuth_deg", "model", "model_sha256", "standard_hash", "program_version",
    "calibration", "recorded_at", "current", "events", "misses",
)  # fmt: skip
TRIAL_FIELDS = (
    "check_id", "session", "day", "movement", "measure", "side", "moment", "unit", "count", "mean",
    "lowest", "highest", "sd", "mean_of_first", "uncertainty", "source", "corrected",
)  # fmt: skip
CORRECTION_FIELDS = (
    "id", "kind", "clip_sha256", "movement", "event_kind", "at_s", "start_s", "end_s", "side",
    "check", "verdict", "text", "by", "made_at", "withdrawn_at",
)  # fmt: skip
EVENT_HEADER = (
    "check_id", "kind", "number", "side", "start_s", "turn_s", "end_s", "stage", "group", "name",
    "struck",
)  # fmt: skip
FINDING_HEADER = (
    "check_id", "event_kind", "event_number", "check", "measure", "side", "verdict", "corrected",
    "value", "uncertainty", "unit", "comparison", "threshold", "source", "reason",
)  # fmt: skip


def render_tables(
    sessions: Sequence[SessionRecord],
    checks: Sequence[CheckRecord],
    trials: Sequence[Trial],
    corrections: Sequence[Correction],
    sheets: Sequence[tuple[int, Sheet]],
    *,
    leave_out: Sequence[str] = (),
) -> dict[str, str]:
    """Return all tables by file name.

    Parameters
    ----------
    sheets : sequence of (int, Sheet)
        Number of the check and its sheet.
    leave_out : sequence of str
        Fields that must not be handed out.
    """

    def kept(names: Sequence[str]) -> list[str]:
        return [name for name in names if name not in leave_out]

    events = [_event_row(number, e) for number, sheet in sheets for e in sheet.events]
    findings = [row for number, sheet in sheets for row in _finding_rows(number, sheet)]
    return {
        "sessions.csv": records_csv(sessions, kept(SESSION_FIELDS)),
        "checks.csv": records_csv(checks, kept(CHECK_FIELDS)),
        "values.csv": records_csv(trials, kept(TRIAL_FIELDS)),
        "corrections.csv": records_csv(corrections, kept(CORRECTION_FIELDS)),
        "events.csv": make_csv(EVENT_HEADER, events),
        "findings.csv": make_csv(FINDING_HEADER, findings),
    }


def _event_row(number: int, e: Event) -> list[Cell]:
    times = (e.start_s, e.turn_s, e.end_s)
    return [number, e.kind, e.number, e.side, *times, e.stage, e.group, e.name, e.struck]


def _finding_rows(number: int, sheet: Sheet) -> Iterable[list[Cell]]:
    for e in sheet.events:
        yield from (_finding_row(number, e.kind, e.number, f) for f in e.findings)
    yield from (_finding_row(number, "", None, f) for f in sheet.summary.set_findings)


def _finding_row(number: int, kind: str, event: int | None, f: Finding) -> list[Cell]:
    return [
        number, kind, event, f.check, f.measure, f.side, f.verdict, f.corrected, f.value,
        f.uncertainty, f.unit, f.comparison, f.threshold, f.source, f.reason,
    ]  # fmt: skip
