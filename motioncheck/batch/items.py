"""What a batch works on and what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from motioncheck.records import Sheet
from motioncheck.records.group import ClipState

# Size and time of change of a file, in nanoseconds.
Stamp = tuple[int, int]


@dataclass(frozen=True, slots=True)
class BatchItem:
    """One clip of a batch.

    Parameters
    ----------
    clip : Path
        The file, absolute.
    name : str
        How it is called in lists: its path below the folder that was given, with forward slashes.
    person : str
        Code of the person, empty when not known.
    movement : str or None
        Id of its standard; None lets the program tell it.
    session, day : str
        Name of the session and its day (ISO 8601), empty when not known.
    """

    clip: Path
    name: str
    person: str = ""
    movement: str | None = None
    session: str = ""
    day: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """What came of one clip.

    Attributes
    ----------
    item : BatchItem
    state : str
        ``checked``, ``failed`` (with ``reason``), ``skipped`` (with ``reason``) or ``waiting``.
    reason : str
        One or two sentences for people, empty for a checked clip.
    folder : str
        Folder of its sheet below that of the group sheet, of letters, digits, ``.``, ``_`` and
        ``-``; empty when there is none.
    sheet : Sheet or None
        None unless checked.
    """

    item: BatchItem
    state: ClipState
    reason: str = ""
    folder: str = ""
    sheet: Sheet | None = None


def read_stamp(path: Path) -> Stamp | None:
    """Return size and time of change of a file, None when it is gone."""
    try:
        stat = path.stat()
    except OSError:
        return None
    return stat.st_size, stat.st_mtime_ns
