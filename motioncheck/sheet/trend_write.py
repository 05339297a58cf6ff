"""Writing the trend pages, without touching what belongs to somebody else."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import Final

from motioncheck.errors import OutputError
from motioncheck.records.trend import TrendReport
from motioncheck.sheet.form import read_object
from motioncheck.sheet.trend_html import render_trend
from motioncheck.sheet.trend_json import trend_to_json
from motioncheck.sheet.trend_note import render_note
from motioncheck.sheet.trend_tables import trend_csv
from motioncheck.sheet.write import write_outputs

TREND_HTML, TREND_JSON, TREND_CSV = "trend.html", "trend.json", "trend.csv"
NOTE_HTML: Final = "note.html"
_NAMES: Final = (TREND_HTML, TREND_JSON, TREND_CSV, NOTE_HTML)
_SCHEMA_START: Final = "motioncheck/trend/"
_HINT: Final = "Choose another folder with --out, or allow replacing it with --replace."


def without_name(report: TrendReport) -> TrendReport:
    """Return the report with the code of the person only: no name, no notes about them."""
    return replace(report, person=replace(report.person, name="", notes=""))


def render_trend_files(report: TrendReport, *, note: bool = False) -> dict[str, str]:
    """Render trend.html, trend.json and trend.csv, and note.html when it is asked for."""
    files = {
        TREND_HTML: render_trend(report),
        TREND_JSON: trend_to_json(report),
        TREND_CSV: trend_csv(report),
    }
    if note:
        files[NOTE_HTML] = render_note(report)
    return files


def write_trend(
    folder: Path, report: TrendReport, *, note: bool = False, replace_all: bool = False
) -> None:
    """Write the trend pages into a folder, all of the files or none.

    Parameters
    ----------
    folder : Path
        Made, readable by its owner only, when it is not there.
    report : TrendReport
        Written as it is; see `without_name`.
    note : bool
        Also write the progress note. A note of an earlier run is otherwise left alone; it
        carries its own date.
    replace_all : bool
        Overwrite the trends of another person, or files this program did not write.

    Raises
    ------
    OutputError
        If the folder cannot take the files; what was there before is unchanged.
    """
    if not replace_all:
        require_own_trend(folder, report.person.code)
    write_outputs(folder, render_trend_files(report, note=note), replace=True)


def require_own_trend(folder: Path, code: str) -> None:
    """Raise unless a folder is free for trends, or holds those of this person.

    Raises
    ------
    OutputError
        If it holds the trends of somebody else, or files that belong to no trend.
    """
    present = [name for name in _NAMES if os.path.lexists(folder / name)]
    if not present:
        return
    try:
        content = read_object((folder / TREND_JSON).read_bytes())
    except OSError:
        content = {}
    if not str(content.get("schema", "")).startswith(_SCHEMA_START):
        raise OutputError(
            f"Expected no {present[0]} in {folder}, found one that belongs to no trend.",
            hint=_HINT,
        )
    person = content.get("person")
    if not isinstance(person, dict) or person.get("code") != code:
        raise OutputError(
            f"Expected the trends of {code} in {folder}, found those of somebody else.", hint=_HINT
        )
