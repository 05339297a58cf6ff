"""Writing the group sheet of a batch, and reading the sheets it is made of."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from motioncheck.batch.group import GroupEntry, build_group
from motioncheck.batch.items import Outcome
from motioncheck.errors import InputError
from motioncheck.records import Sheet
from motioncheck.sheet.json import sheet_from_json
from motioncheck.sheet.write import write_outputs

GROUP_HTML: Final = "group.html"
SHEET: Final = "sheet.html"


def read_sheet(folder: Path) -> Sheet | None:
    """Return the sheet in the folder of a clip; None when there is none that can be read."""
    try:
        return sheet_from_json((folder / "sheet.json").read_bytes())
    except (OSError, InputError):
        return None


def write_group(out: Path, outcomes: Iterable[Outcome], *, title: str) -> Path:
    """Write the group sheet as page, table and data, all or none; return the page.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    from motioncheck.sheet.group_html import render_group_files

    made_at = dt.datetime.now().astimezone().isoformat(timespec="seconds")
    group = build_group((_make_entry(o) for o in outcomes), title=title, made_at=made_at)
    write_outputs(out, render_group_files(group), replace=True)
    return out / GROUP_HTML


def _make_entry(outcome: Outcome) -> GroupEntry:
    item = outcome.item
    return GroupEntry(
        person=item.person,
        clip=item.name,
        state=outcome.state,
        session=item.session,
        movement=item.movement or "",
        reason=outcome.reason,
        sheet=f"{outcome.folder}/{SHEET}" if outcome.sheet is not None else "",
        result=outcome.sheet,
    )
