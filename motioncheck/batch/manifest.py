"""The manifest of a batch: a small table that says who does what in which clip."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from motioncheck.batch.find import Given, is_code, is_day, is_session
from motioncheck.batch.items import BatchItem
from motioncheck.errors import UsageError

COLUMNS: Final = ("clip", "person", "movement", "session", "day")
MAX_BYTES: Final = 10_000_000
MAX_PROBLEMS: Final = 20
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
        A CSV file in UTF-8 with a line of column names, separated by commas or semicolons. Paths
        of clips are relative to its folder.
    movements : collection of str
        Ids of the known standards.

    Raises
    ------
    UsageError
        If it cannot be read, or something in it is wrong; every problem is named with its line
        and column.
    """
    rows = _read_rows(path)
    header = [cell.strip().lower() for cell in rows[0][1]]
    problems = _check_header(header)
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
        clip = path.parent / fields.get("clip", "")
        if fields.get("clip"):
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
    first = text.split("\n", 1)[0]
    delimiter = ";" if first.count(";") > first.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[tuple[int, list[str]]] = []
    begins = 1
    try:
        for cells in reader:
            rows.append((begins, cells))
            begins = reader.line_num + 1
    except csv.Error as error:
        _refuse(path, [f"line {begins}: {error}"])
    if not rows:
        _refuse(path, ["line 1: expected the names of the columns, found nothing"])
    return rows


def _check_header(header: list[str]) -> list[str]:
    known = ", ".join(COLUMNS)
    problems = [
        f"line 1, column {number}: expected one of {known}; found {name!r}"
        for number, name in enumerate(header, 1)
        if name not in COLUMNS
    ]
    problems += [
        f"line 1: the column {name} is there {header.count(name)} times"
        for name in COLUMNS
        if header.count(name) > 1
    ]
    if "clip" not in header:
        problems.append("line 1: the column clip is missing")
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
        wrong("person", f"expected 1 to 40 letters, digits, '-', '_' or '.'; found {person!r}")
    if movement and movement not in movements:
        wrong("movement", f"expected one of {', '.join(sorted(movements))}; found {movement!r}")
    if session and not is_session(session):
        wrong("session", f"expected a short name that can be printed, found {session!r}")
    if day and not is_day(day):
        wrong("day", f"expected a day such as 2026-03-01, found {day!r}")
    return problems


def _make_line(number: int, clip: Path, fields: dict[str, str]) -> ManifestLine:
    rest = {name: fields.get(name, "") for name in COLUMNS[1:]}
    name = fields["clip"].replace("\\", "/")
    return ManifestLine(number, clip, name, **rest)


def _refuse(path: Path, problems: list[str]) -> None:
    more = len(problems) - MAX_PROBLEMS
    shown = problems[:MAX_PROBLEMS] + ([f"and {more} more"] if more > 0 else [])
    raise UsageError(f"{path.name} is not a valid manifest: {'; '.join(shown)}.", hint=_HINT)


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
