"""What may be handed to others: values under a code, nothing that tells who, when or where."""

from __future__ import annotations

import base64
import datetime as dt
import html
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

import motioncheck
from motioncheck.checks.corrected import apply_corrections
from motioncheck.errors import InputError, OutputError
from motioncheck.history import History
from motioncheck.privacy.archive import Content, write_archive
from motioncheck.privacy.tables import render_tables
from motioncheck.records import MeasureTable, Sheet
from motioncheck.records.history import CheckRecord, PersonRecord
from motioncheck.sheet import render_html, sheet_from_json, sheet_to_json
from motioncheck.sheet.form import plain, to_text
from motioncheck.sheet.remove import holds_results
from motioncheck.standards import find_standard

SOMEBODY = "somebody"
SHARED_SCHEMA = "motioncheck/shared/1"
# Fields of any record that must not be handed out.
LEFT_OUT = (
    "clip_sha256", "clip_path", "clip_kept", "folder", "recorded_at", "notes", "plan",
    "plan_sha256", "text", "by", "made_at", "withdrawn_at", "withdrawn_by", "person",
)  # fmt: skip
ABOUT = """Values of one person for sharing.

Left out: the name, the year of birth and the age, notes, plans, file names and paths of clips,
dates (days are counted from the first session), and who corrected what. There is no clip in it, so
there is no sound, no device and no place. Landmarks and angles can still tell who it is, for
somebody who knows the person well: share it only with people who may know.

The numbers were measured by a program, with the uncertainty given beside them; no diagnosis.
"""
_PICTURE = re.compile(rb'src="data:image/jpeg;base64,([A-Za-z0-9+/=]+)"')
# Text shorter than this is in too many words to be looked for.
_SHORTEST = 3
_TEXTS = (".py", ".toml", ".j2", ".css")


@dataclass(frozen=True, slots=True)
class _Names:
    """What real names become."""

    sessions: Mapping[str, str]
    days: Mapping[str, str]
    clips: Mapping[str, str]
    forbidden: tuple[str, ...]


def export_for_sharing(
    history: History, code: str, target: Path, *, pictures: bool = False, replace: bool = False
) -> int:
    """Write what may be shared of a person into a ZIP file.

    Parameters
    ----------
    pictures : bool
        Also the stills of sheets whose faces were covered.

    Returns
    -------
    files : int

    Raises
    ------
    UsageError
        If there is nobody of this code.
    OutputError
        If it cannot be written, or something in it would tell a name: nothing is then written.
    """
    person = history.get_person(code)
    checks = history.checks(code)
    names = _rename(person, checks, history)
    files = list(_collect(history, person, checks, names, pictures=pictures))
    for name, content in files:
        _require_nameless(name, content, names.forbidden)
    return write_archive(target, files, replace=replace)


def _rename(person: PersonRecord, checks: Sequence[CheckRecord], history: History) -> _Names:
    sessions = history.list_sessions(person.code)
    days = sorted({session.day for session in sessions})
    first = dt.date.fromisoformat(days[0]) if days else None
    counted = {d: f"day {(dt.date.fromisoformat(d) - first).days}" for d in days if first}
    clips: dict[str, str] = {}
    for check in checks:
        clips.setdefault(check.clip_sha256, f"clip {len(clips) + 1}")
    told = [c.clip for c in checks] + [c.clip_path for c in checks] + [c.folder for c in checks]
    told += [*_telling_parts(person.name), str(Path.home())]
    return _Names(
        {session.name: f"session {n}" for n, session in enumerate(sessions, start=1)},
        counted,
        clips,
        tuple(sorted({_plain(text) for text in told if len(text) >= _SHORTEST})),
    )


def _telling_parts(name: str) -> list[str]:
    """Return a name and those of its parts that are no words of the program's own texts.

    Max is a moment of a rep and Robinson the author of a formula: in a sheet they tell nothing.
    """
    parts = [part for part in re.findall(r"\w+", name) if len(part) >= _SHORTEST]
    ordinary = _own_words() if parts else frozenset()
    telling = [part for part in parts if _plain(part) not in ordinary]
    return telling if name.strip() in parts else [name, *telling]


@cache
def _own_words() -> frozenset[str]:
    """Return every word of the texts of this program: standards, pages, sources."""
    root = Path(motioncheck.__file__).parent
    files = [path for ending in _TEXTS for path in root.rglob(f"*{ending}")]
    texts = (path.read_text(encoding="utf-8", errors="ignore") for path in files)
    return frozenset(word for text in texts for word in re.findall(r"\w+", _plain(text)))


def _collect(
    history: History,
    person: PersonRecord,
    checks: Sequence[CheckRecord],
    names: _Names,
    *,
    pictures: bool,
) -> Iterator[tuple[str, Content]]:
    sheets = [(c, _rename_sheet(_correct_namelessly(history, c), names)) for c in checks]
    shown = [
        replace(
            c,
            session=names.sessions[c.session],
            day=names.days[c.day],
            clip=names.clips[c.clip_sha256],
        )
        for c in checks
    ]
    trials = [
        replace(t, session=names.sessions[t.session], day=names.days[t.day], clip="")
        for t in history.trials(person.code)
    ]
    sessions = [
        replace(s, name=names.sessions[s.name], day=names.days[s.day])
        for s in history.list_sessions(person.code)
    ]
    tables = render_tables(
        sessions, shown, trials, (), [(c.id, s) for c, s in sheets], leave_out=LEFT_OUT
    )
    tables.pop("corrections.csv")
    yield "about.txt", ABOUT
    yield (
        "values.json",
        to_text(
            {
                "schema": SHARED_SCHEMA,
                "code": person.code,
                "sex": person.sex,
                "sessions": [_without(s) for s in sessions],
                "checks": [_without(c) for c in shown],
                "values": [_without(t) for t in trials],
            }
        ),
    )
    yield from tables.items()
    for check, sheet in sheets:
        place = f"checks/{check.id:05d}"
        yield f"{place}/sheet.json", sheet_to_json(sheet)
        yield f"{place}/sheet.html", render_html(sheet, NO_CURVES, {}, person=person.code)
        if pictures:
            yield from _collect_pictures(check, place)


NO_CURVES = MeasureTable(time_s=np.empty(0), values={}, uncertainty={})


def _without(record: object) -> dict[str, object]:
    return {key: value for key, value in plain(record).items() if key not in LEFT_OUT}


def _correct_namelessly(history: History, check: CheckRecord) -> Sheet:
    """Return the sheet with its corrections, but not who made them, when and in what words."""
    sheet = history.sheet_of(check.id)
    found = history.corrections(check.person, check.clip_sha256)
    # Counted anew: which of two that contradict each other holds depends on their order.
    nameless = [
        replace(c, by=SOMEBODY, made_at="", text="", id=number, person="")
        for number, c in enumerate(found, start=1)
    ]
    return apply_corrections(sheet, nameless, find_standard(check.standard_hash))


def _rename_sheet(sheet: Sheet, names: _Names) -> Sheet:
    """Return a sheet without the file name and checksum of its clip, and without an exact age."""
    clip = replace(sheet.clip, name=names.clips.get(sheet.clip.sha256, "clip"), sha256="")
    options = {k: v for k, v in sheet.provenance.options.items() if k != "age_years"}
    return replace(sheet, clip=clip, provenance=replace(sheet.provenance, options=options))


def _collect_pictures(check: CheckRecord, place: str) -> Iterator[tuple[str, Content]]:
    """Return the stills of a written sheet: small, faces covered, without anything about a device.

    They were drawn and encoded by this program; nothing of the clip's own file is in them.
    """
    folder = Path(check.folder) if check.folder else None
    if folder is None or not folder.is_dir() or not holds_results(folder, check.clip_sha256):
        return
    page = folder / "sheet.html"
    if page.is_file() and _covers_faces(folder):
        for number, found in enumerate(_PICTURE.finditer(page.read_bytes()), start=1):
            yield f"{place}/picture-{number:02d}.jpg", base64.b64decode(found.group(1))


def _plain(text: str) -> str:
    """Return text as it is compared: an accent may be a letter of its own, a capital may not be."""
    return unicodedata.normalize("NFKC", text).casefold()


def _covers_faces(folder: Path) -> bool:
    """Tell whether the page in a folder has its faces covered.

    The sheet beside it says so, not the one on record: the same check may have been made again
    with faces shown, which measures nothing new and so is not recorded. Unless it says, they count
    as shown.
    """
    try:
        sheet = sheet_from_json((folder / "sheet.json").read_bytes())
    except (OSError, InputError):
        return False
    return sheet.provenance.options.get("show_face") is False


def _require_nameless(name: str, content: Content, forbidden: Sequence[str]) -> None:
    """Raise when a text still tells something it must not, such as a name within a note."""
    if not isinstance(content, str):
        return
    plain_content = _plain(html.unescape(content))
    for text in forbidden:
        if re.search(rf"(?<!\w){re.escape(text)}(?!\w)", plain_content):
            raise OutputError(
                f"Expected nothing in {name} that tells who it is, found {text!r}.",
                hint="Change the code, the name of the clip or the note that holds it.",
            )
