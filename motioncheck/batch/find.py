"""Finding the clips of a batch, and what the folders they lie in tell about them."""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from motioncheck.batch.items import BatchItem
from motioncheck.errors import InputError, UsageError
from motioncheck.history.codes import validate_code, validate_day, validate_session

CLIP_SUFFIXES: Final = (
    ".mp4", ".mov", ".m4v", ".mkv", ".webm", ".avi", ".3gp", ".mts", ".m2ts", ".mpg", ".mpeg",
    ".wmv",
)  # fmt: skip
# Folders that hold one of these were written by this program: clips in them are results.
RESULT_MARKS: Final = ("sheet.json", "batch.json", "session.json")


@dataclass(frozen=True, slots=True)
class Given:
    """What was said on the command line for all clips; it goes before what a folder tells."""

    person: str = ""
    movement: str | None = None
    session: str = ""
    day: str = ""


def find_clips(place: Path, *, leave_out: Path | None = None) -> list[Path]:
    """Return the clips in a folder and below it, sorted by path; a file is returned as it is.

    Parameters
    ----------
    place : Path
    leave_out : Path, optional
        A folder that is not searched: that of the results.

    Notes
    -----
    Hidden files and folders, and folders with results of this program, are passed over.

    Raises
    ------
    InputError
        If there is nothing at that place.
    """
    if place.is_file():
        return [place]
    if not place.is_dir():
        raise InputError(
            f"Expected a folder or a clip at {place}, found none.", hint="Check the path."
        )
    return sorted(_walk(place, leave_out.resolve() if leave_out else None))


def _walk(place: Path, leave_out: Path | None) -> Iterator[Path]:
    for folder, below, files in os.walk(place):
        here = Path(folder)
        if here.resolve() == leave_out or (here != place and _holds_results(files)):
            below.clear()
            continue
        below[:] = sorted(name for name in below if not name.startswith("."))
        for name in files:
            if not name.startswith(".") and name.lower().endswith(CLIP_SUFFIXES):
                yield here / name


def _holds_results(files: Collection[str]) -> bool:
    return any(mark in files for mark in RESULT_MARKS)


def make_items(
    places: Iterable[Path],
    given: Given,
    movements: Collection[str],
    *,
    leave_out: Path | None = None,
) -> list[BatchItem]:
    """Return a clip for each file that is found, with what the layout of the folders tells.

    Parameters
    ----------
    places : iterable of Path
        Folders and clips.
    given : Given
        What holds for all of them.
    movements : collection of str
        Ids of the known standards: a folder of that name tells the movement.
    leave_out : Path, optional
        As in `find_clips`.

    Raises
    ------
    InputError
        If a place does not exist.
    """
    items: dict[Path, BatchItem] = {}
    for place in places:
        for clip in find_clips(place, leave_out=leave_out):
            path = clip.resolve()
            if path not in items:
                items[path] = _make_item(place, clip, given, movements)
    return list(items.values())


def _make_item(place: Path, clip: Path, given: Given, movements: Collection[str]) -> BatchItem:
    below = clip.relative_to(place) if clip != place else Path(clip.name)
    folders = list(below.parts[:-1])
    movement = next((f for f in folders if f in movements), None)
    others = [f for f in folders if f not in movements]
    person = others[0] if others else ""
    session = others[1] if len(others) > 1 else ""
    session = given.session or session
    return BatchItem(
        clip=clip.resolve(),
        name=below.as_posix(),
        person=given.person or person,
        movement=given.movement or movement,
        session=session,
        day=given.day or (session if is_day(session) else ""),
    )


def is_day(text: str) -> bool:
    """Tell whether a text is a day in the form 2026-03-01."""
    return _is_valid(validate_day, text)


def is_code(text: str) -> bool:
    """Tell whether a text can be the code of a person."""
    return _is_valid(validate_code, text)


def is_session(text: str) -> bool:
    """Tell whether a text can be the name of a session."""
    return _is_valid(validate_session, text)


def _is_valid(validate: Callable[[str], str], text: str) -> bool:
    try:
        validate(text)
    except UsageError:
        return False
    return True


def require_codes(codes: Sequence[str]) -> None:
    """Raise `UsageError` when one of them is neither empty nor the code of a person."""
    wrong = sorted({code for code in codes if code and not is_code(code)})
    if wrong:
        raise UsageError(
            f"Expected codes of people, found {', '.join(map(repr, wrong))}.",
            hint="A code has 1 to 40 letters (A to Z), digits, '-', '_' or '.' and begins with a "
            "letter, a digit or '_'. Rename the folder, or give a manifest.",
        )


def describe_unreadable(clip: Path, error: OSError) -> str:
    """Say what is wrong with a clip that cannot be read, and what to do about it."""
    if not isinstance(error, FileNotFoundError):
        return f"The clip cannot be read: {error.strerror or error}."
    # A table may say `img_1.MP4` where the file is `IMG_1.mp4`, or write an umlaut another way.
    near = [name for name in _list_names(clip.parent) if _fold(name) == _fold(clip.name)]
    if near:
        return f"No such file, yet there is {near[0]}: write the name exactly so, and run it again."
    return "No such file. Check its name and folder in the manifest, and run the same again."


def _list_names(folder: Path) -> list[str]:
    try:
        return sorted(path.name for path in folder.iterdir())
    except OSError:
        return []


def _fold(name: str) -> str:
    return unicodedata.normalize("NFC", name).casefold()
