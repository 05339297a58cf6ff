"""Writing the session sheet, without touching what belongs to somebody else."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from motioncheck.errors import OutputError
from motioncheck.records.session import SessionSheet
from motioncheck.sheet.form import read_object
from motioncheck.sheet.session_html import render_session
from motioncheck.sheet.session_json import session_to_json
from motioncheck.sheet.session_tables import minutes_csv, sets_csv
from motioncheck.sheet.write import write_outputs

SESSION_HTML, SESSION_JSON = "session.html", "session.json"
SETS_CSV, MINUTES_CSV = "sets.csv", "minutes.csv"
_SCHEMA_START: Final = "motioncheck/session/"
_HINT: Final = "Choose another folder with --out, or allow replacing it with --replace."


def render_session_files(sheet: SessionSheet, *, person: str = "") -> dict[str, str]:
    """Render all files of a session: session.html, session.json, sets.csv, minutes.csv."""
    return {
        SESSION_HTML: render_session(sheet, person=person),
        SESSION_JSON: session_to_json(sheet),
        SETS_CSV: sets_csv(sheet),
        MINUTES_CSV: minutes_csv(sheet),
    }


def write_session(
    folder: Path, sheet: SessionSheet, *, replace: bool = False, person: str = ""
) -> None:
    """Write the session sheet into a folder, all of its files or none.

    Parameters
    ----------
    folder : Path
    sheet : SessionSheet
    replace : bool
        Overwrite another session, or files this program did not write.

    Raises
    ------
    OutputError
        If the folder cannot take the files; what was there before is unchanged.
    """
    if not replace:
        require_own_session(folder, tuple(clip.sha256 for clip in sheet.clips))
    files: Mapping[str, str] = render_session_files(sheet, person=person)
    write_outputs(folder, files, replace=True)


def require_own_session(folder: Path, clips: tuple[str, ...]) -> None:
    """Raise unless a folder is free for a session, or holds one with a clip of these.

    Parameters
    ----------
    folder : Path
        May not exist yet.
    clips : tuple of str
        SHA-256 of the clips of the session that is to be written.

    Raises
    ------
    OutputError
        If it holds the session of other clips, or files that belong to no session.
    """
    names = (SESSION_HTML, SESSION_JSON, SETS_CSV, MINUTES_CSV)
    present = [name for name in names if os.path.lexists(folder / name)]
    if not present:
        return
    try:
        content = read_object((folder / SESSION_JSON).read_bytes())
    except OSError:
        content = {}
    if not str(content.get("schema", "")).startswith(_SCHEMA_START):
        raise OutputError(
            f"Expected no {present[0]} in {folder}, found one that belongs to no session sheet.",
            hint=_HINT,
        )
    listed = content.get("clips")
    found = {
        str(clip.get("sha256", "")) for clip in (listed if isinstance(listed, list) else [])
        if isinstance(clip, dict)
    }  # fmt: skip
    if not found & set(clips):
        raise OutputError(
            f"Expected the session of these clips in {folder}, found that of other clips.",
            hint=_HINT,
        )
