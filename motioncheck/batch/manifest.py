"""The manifest of a batch: a small table that says who does what in which clip."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from motioncheck.batch.find import Given, is_code, is_day, is_session
from motioncheck.batch.items import BatchItem, read_stamp
from motioncheck.batch.settings import OnNote, ignore_note
from motioncheck.errors import UsageError
from motioncheck.wording import find_alike, join_words

COLUMNS: Final = ("clip", "person", "movement", "session", "day")
MAX_BYTES: Final = 10_000_000
MAX_PROBLEMS: Final = 20
DELIMITERS: Final = (",", ";", "\t")
_HINT: Final = "Mend the lines named; docs/batch.md says what each column holds."


@dataclass(frozen=True, slots=True)
class ManifestLine:
    """One line: what it says about a clip, empty where it says nothing; ``name`` as written."""

    line: int
    clip: Path
    name: str
    person: str
    movement: str
    session: str
    day: str


def read_manifest(path: Path, movements: Collection[str]) -> tuple[ManifestLine, ...]:
    """Read a manifest.

    Parameters
    ----------
    path : Path
        A CSV file in UTF-8 with a line of column names, separated by commas, semicolons or tabs.
        Paths of clips are relative to its folder. Empty columns at the end are left out, and so
        is a first line such as ``sep=;``.
    movements : collection of str
        Ids of the known standards.

    Raises
    ------
    UsageError
        If it cannot be read, or something in it is wrong; every problem is named with its line
        and column.
    """
    rows = _read_rows(path)
    header = _read_header(rows)
    problems = _check_header(header, rows[0][0])
    if problems:
        _refuse(path, problems)
    lines: list[ManifestLine] = []
    seen: dict[Path, int] = {}
    for number, cells in rows[1:]:
        if not any(cell.strip() for cell in cells):
            continue
        fields = {name: cell.strip() for name, cell in zip(header, cells, strict=False)}
        found = _check_line(number, cells, header, fields, movements)
        problems += found
        name = fields.get("clip", "")
        clip = _find_clip(path.parent, name)
        if name and "\0" not in name:
            first = seen.setdefault(clip.resolve(), number)
            if first != number:
                problems.append(f"line {number}, clip: the same clip as in line {first}")
        if not found:
            lines.append(_make_line(number, clip, fields))
    if problems:
        _refuse(path, problems)
    return tuple(lines)


def _read_rows(path: Path) -> list[tuple[int, list[str]]]:
    """Return the rows, each with the number of the line it begins in; at least one."""
    try:
        if path.stat().st_size > MAX_BYTES:
            raise UsageError(
                f"Expected a manifest of at most {MAX_BYTES // 1_000_000} MB, found a larger file "
                f"at {path}.",
                hint=_HINT,
            )
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise UsageError(
            f"Expected a manifest at {path}, found none that can be read ({error.strerror}).",
            hint="Check the path.",
        ) from error
    except UnicodeDecodeError:
        raise UsageError(
            f"Expected {path.name} as text in UTF-8, found other bytes.",
            hint="Export the table again as CSV in UTF-8.",
        ) from None
    begins = 1
    # Some programs say in a line of its own what separates the cells.
    if text[:4].lower() == "sep=" and "\n" in text:
        begins, text = 2, text.split("\n", 1)[1]
    first = (text.splitlines() or [""])[0]
    delimiter = max(DELIMITERS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    skipped = begins - 1
    rows: list[tuple[int, list[str]]] = []
    try:
        for cells in reader:
            rows.append((begins, cells))
            begins = reader.line_num + 1 + skipped
    except csv.Error as error:
        # What the library says of a quotation mark that is never closed.
        open_quote = "unexpected end of data" in str(error)
        what = "a quotation mark is opened and never closed" if open_quote else str(error)
        _refuse(path, [f"line {begins}: {what}"])
    if not rows:
        _refuse(path, [f"line {begins}: expected the names of the columns, found nothing"])
    return rows


def _read_header(rows: list[tuple[int, list[str]]]) -> list[str]:
    """Return the names of the columns, without empty columns that a program left at the end."""
    header = [cell.strip().lower() for cell in rows[0][1]]
    while header and not header[-1]:
        header.pop()
    return header


def _find_clip(folder: Path, name: str) -> Path:
    """Return the file that a cell means; backslashes are those of another system's paths."""
    clip = folder / name
    if "\\" not in name or "\0" in name or read_stamp(clip) is not None:
        return clip
    return folder / name.replace("\\", "/")


def _check_header(header: list[str], line: int) -> list[str]:
    known = ", ".join(COLUMNS)
    problems = [
        f"line {line}, column {number}: expected one of {known}; found {name!r}"
        for number, name in enumerate(header, 1)
        if name not in COLUMNS
    ]
    problems += [
        f"line {line}: the column {name} is there {header.count(name)} times"
        for name in COLUMNS
        if header.count(name) > 1
    ]
    if "clip" not in header:
        problems.append(f"line {line}: the column clip is missing")
    return problems


def _check_line(
    number: int,
    cells: list[str],
    header: list[str],
    fields: dict[str, str],
    movements: Collection[str],
) -> list[str]:
    problems = []

    def wrong(column: str, sentence: str) -> None:
        problems.append(f"line {number}, {column}: {sentence}")

    if any(cell.strip() for cell in cells[len(header) :]):
        wrong(f"column {len(header) + 1}", f"expected {len(header)} cells, found {len(cells)}")
    if not fields.get("clip"):
        wrong("clip", "expected the path of a clip, found nothing")
    elif "\0" in fields["clip"]:
        wrong("clip", "expected the path of a clip, found a zero byte in it")
    person, movement = fields.get("person", ""), fields.get("movement", "")
    session, day = fields.get("session", ""), fields.get("day", "")
    if person and not is_code(person):
        wrong(
            "person",
            f"expected 1 to 40 letters (A to Z), digits, '-', '_' or '.'; found {person!r}",
        )
    if movement and movement not in movements:
        wrong("movement", _describe_movement(movement, movements))
    if session and not is_session(session):
        wrong("session", f"expected a short name that can be printed, found {session!r}")
    if day and not is_day(day):
        wrong("day", f"expected a day such as 2026-03-01, found {day!r}")
    return problems


def _describe_movement(found: str, movements: Collection[str]) -> str:
    """Say what was expected, without the whole list in every line that is wrong."""
    alike = find_alike(found, sorted(movements))
    such = f"{join_words(alike, 'or')}?" if alike else "see `motioncheck movements`"
    return f"expected the id of a movement, found {found!r} ({such})"


def _make_line(number: int, clip: Path, fields: dict[str, str]) -> ManifestLine:
    rest = {name: fields.get(name, "") for name in COLUMNS[1:]}
    name = fields["clip"].replace("\\", "/")
    return ManifestLine(number, clip, name, **rest)


def _refuse(path: Path, problems: list[str]) -> None:
    more = len(problems) - MAX_PROBLEMS
    shown = problems[:MAX_PROBLEMS] + ([f"and {more} more"] if more > 0 else [])
    raise UsageError(f"{path.name} is not a valid manifest: {'; '.join(shown)}.", hint=_HINT)


class Manifest:
    """A manifest that may be changed while its folder is followed.

    Parameters
    ----------
    path : Path, optional
        None for a batch without one.
    movements : collection of str
        Ids of the known standards.
    on_note : callable, optional
        Told once of every change that cannot be used.

    Attributes
    ----------
    lines : tuple of ManifestLine
        What it said when it was last valid.

    Raises
    ------
    UsageError
        As `read_manifest`, at the start only.
    """

    def __init__(
        self, path: Path | None, movements: Collection[str], on_note: OnNote = ignore_note
    ) -> None:
        self._path = path
        self._movements = movements
        self._on_note = on_note
        self._seen = self._read = read_stamp(path) if path else None
        self.lines = read_manifest(path, movements) if path else ()

    def follow(self) -> tuple[ManifestLine, ...]:
        """Return what it says now; what it said before where a change cannot be used."""
        if self._path is None:
            return ()
        before, self._seen = self._seen, read_stamp(self._path)
        # A file that looks as at the last look is not being written just now.
        if self._seen == before and self._seen != self._read:
            self._read = self._seen
            try:
                self.lines = read_manifest(self._path, self._movements)
            except UsageError as error:
                self._on_note(f"{error} Going on with what the manifest said before.")
        return self.lines


def apply_manifest(
    items: Iterable[BatchItem], lines: Iterable[ManifestLine], given: Given, *, add: bool
) -> list[BatchItem]:
    """Return the items with what the manifest says about them in place of what folders tell.

    Parameters
    ----------
    given : Given
        What was said for all clips; the manifest goes before it.
    add : bool
        Also return an item for each line whose clip is not among the items.
    """
    by_clip = {line.clip.resolve(): line for line in lines}
    found = []
    for item in items:
        line = by_clip.pop(item.clip, None)
        found.append(item if line is None else _fill(item, line))
    if add:
        found += [_fill(_make_item(path, line, given), line) for path, line in by_clip.items()]
    return found


def _make_item(path: Path, line: ManifestLine, given: Given) -> BatchItem:
    return BatchItem(path, line.name, given.person, given.movement, given.session, given.day)


def _fill(item: BatchItem, line: ManifestLine) -> BatchItem:
    session = line.session or item.session
    return replace(
        item,
        person=line.person or item.person,
        movement=line.movement or item.movement,
        session=session,
        day=line.day or item.day or (session if is_day(session) else ""),
    )
