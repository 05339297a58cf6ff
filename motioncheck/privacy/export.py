"""All that is held about one person in one file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from motioncheck.history import History
from motioncheck.privacy.archive import Content, write_archive
from motioncheck.privacy.tables import render_tables
from motioncheck.records import Sheet
from motioncheck.records.history import CheckRecord
from motioncheck.sheet import sheet_to_json
from motioncheck.sheet.form import plain, to_text
from motioncheck.sheet.remove import RESULT_FILES, holds_results

PERSON_SCHEMA = "motioncheck/person/1"
ABOUT = """All that this history holds about one person.

person.json       the person, sessions, checks, values and corrections, for programs
*.csv             the same as tables, for spreadsheets
checks/NUMBER/    measured.json: the sheet as it was measured; corrected.json: with corrections,
                  where there are any; and the files of the check that are still where they were
                  written
plans/            plans of sessions
clips/            copies of clips that the history keeps

It holds a name and notes where they were given. Keep it as you keep a letter about the person.
The numbers were measured by a program, with the uncertainty given beside them; no diagnosis.
"""


def export_person(history: History, code: str, target: Path, *, replace: bool = False) -> int:
    """Write all that is held about a person into a ZIP file.

    Parameters
    ----------
    history : History
    code : str
    target : Path
        Written for its owner only, all or nothing.
    replace : bool
        Overwrite a file that is there.

    Returns
    -------
    files : int
        Number of files in it.

    Raises
    ------
    UsageError
        If there is nobody of this code.
    OutputError
        If it cannot be written.
    """
    history.get_person(code)
    return write_archive(target, _collect(history, code), replace=replace)


def _collect(history: History, code: str) -> Iterator[tuple[str, Content]]:
    checks = history.checks(code, current_only=False)
    measured = [(check.id, history.sheet_of(check.id)) for check in checks]
    corrections = history.corrections(code, withdrawn=True)
    trials = history.trials(code, current_only=False)
    sessions = history.list_sessions(code)
    yield "about.txt", ABOUT
    yield (
        "person.json",
        to_text(
            {
                "schema": PERSON_SCHEMA,
                "person": plain(history.get_person(code)),
                "sessions": [plain(s) for s in sessions],
                "checks": [plain(c) for c in checks],
                "values": [plain(t) for t in trials],
                "corrections": [plain(c) for c in corrections],
            }
        ),
    )
    yield from render_tables(sessions, checks, trials, corrections, measured).items()
    for session in sessions:
        if session.plan:
            yield f"plans/{session.plan_sha256[:12]}.toml", session.plan
    for check, (_, sheet) in zip(checks, measured, strict=True):
        yield from _collect_check(history, check, sheet)
    kept = {c.clip_path for c in checks if c.clip_kept}
    yield from ((f"clips/{Path(p).name}", Path(p)) for p in sorted(kept) if Path(p).is_file())


def _collect_check(
    history: History, check: CheckRecord, sheet: Sheet
) -> Iterator[tuple[str, Content]]:
    place = f"checks/{check.id:05d}"
    yield f"{place}/measured.json", sheet_to_json(sheet)
    corrected = history.corrected_sheet(check.id)
    if corrected.corrections:
        yield f"{place}/corrected.json", sheet_to_json(corrected)
    folder = Path(check.folder) if check.folder else None
    if folder is not None and folder.is_dir() and holds_results(folder, check.clip_sha256):
        for name in RESULT_FILES:
            if (folder / name).is_file():
                yield f"{place}/{name}", folder / name
