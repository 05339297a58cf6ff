"""What a batch is asked to do, what it says while it does it, and what came of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from motioncheck.batch.find import Given
from motioncheck.batch.items import Outcome
from motioncheck.pipeline.options import CheckOptions


@dataclass(frozen=True, slots=True)
class Recording:
    """That results go into the history, and which; None is that of the user.

    ``keep_clip`` copies the clips beside it.
    """

    place: str | Path | None = None
    keep_clip: bool = False


@dataclass(frozen=True, slots=True)
class Watching:
    """How to follow folders that fill.

    Attributes
    ----------
    settle_s : float
        A file has stopped growing when nothing about it has changed for so long.
    idle_exit_s : float or None
        End after so long with nothing to do; None goes on until Ctrl-C.
    look_s : float
        Time between two looks at the folders.
    """

    settle_s: float = 3.0
    idle_exit_s: float | None = None
    look_s: float = 1.0


@dataclass(frozen=True, slots=True)
class BatchRequest:
    """What to check, how, and where the results go.

    Attributes
    ----------
    places : tuple of Path
        Folders and clips; may be empty with a manifest.
    out : Path
    options : CheckOptions
    given : Given
        What holds for every clip.
    manifest : Path, optional
    jobs : int
        Workers on this machine.
    scheduler : str
        Address of a cluster, ``tcp://HOST:PORT``; empty works on this machine.
    recording : Recording, optional
    watching : Watching, optional
    replace : bool
        Also write into a folder that holds other files.
    """

    places: tuple[Path, ...]
    out: Path
    options: CheckOptions = field(default_factory=CheckOptions)
    given: Given = field(default_factory=Given)
    manifest: Path | None = None
    jobs: int = 1
    scheduler: str = ""
    recording: Recording | None = None
    watching: Watching | None = None
    replace: bool = False


@dataclass(frozen=True, slots=True)
class Step:
    """One clip is done.

    ``fresh`` is False when it was done before. ``done`` of ``total`` clips are done by now.
    ``size_bytes`` is the size of its file, ``done_bytes`` and ``total_bytes`` that of all files.
    """

    outcome: Outcome
    fresh: bool
    done: int
    total: int
    size_bytes: int
    done_bytes: int
    total_bytes: int


OnStep = Callable[[Step], None]
# A sentence for the person who waits: nothing failed, and something should be known.
OnNote = Callable[[str], None]


def ignore_step(step: Step) -> None:
    """Ignore progress."""


def ignore_note(note: str) -> None:
    """Ignore what is said meanwhile."""


@dataclass(frozen=True, slots=True)
class BatchReport:
    """What came of a batch.

    Attributes
    ----------
    checked, failed, skipped, waiting : int
        Clips by state; those that wait were not reached.
    fresh : int
        How many of the first two were done in this run.
    misses : bool
        Whether something misses its standard.
    recorded, without_person : int
        Checks that are in the history now, and checked clips of nobody, which are not.
    refused : tuple of str
        Why others are not in the history, a sentence each.
    stopped : bool
        Whether it was stopped from the keyboard.
    group : Path
        The group sheet.
    """

    checked: int
    failed: int
    skipped: int
    waiting: int
    fresh: int
    misses: bool
    recorded: int
    without_person: int
    refused: tuple[str, ...]
    stopped: bool
    group: Path
