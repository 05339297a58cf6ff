"""Erasing people and sessions: files first, then the rows that say where the files are."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from motioncheck.errors import OutputError
from motioncheck.history import History
from motioncheck.history import erase as rows
from motioncheck.landmarks import TrackCache
from motioncheck.records.history import CheckRecord
from motioncheck.sheet.remove import holds_results, remove_results
from motioncheck.wording import join_words

# A copy of a clip is called after its content; while it is being made it has a name of its own.
_COPY = re.compile(r"[0-9a-f]{64}(\.[a-z0-9]{1,5})?|\.copy-.*")
# The group sheets of a batch and the sheet of a session lie one folder up and name the clips.
_SUMMARIES = (
    "group.html", "group.csv", "group.json", ".hashes.json",
    "session.html", "session.json", "sets.csv", "minutes.csv",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Erased:
    """What was removed, and in plain sentences what was left.

    ``results`` are folders of checks, ``cache_files`` entries of the cache, ``clips`` copies that
    the history had made.
    """

    sessions: int
    checks: int
    results: int
    cache_files: int
    clips: int
    left: tuple[str, ...]


def erase_person(history: History, code: str, *, cache_folder: Path | None = None) -> Erased:
    """Erase all that is held about a person.

    Parameters
    ----------
    history : History
    code : str
    cache_folder : Path, optional
        The cache, if there is one.

    Returns
    -------
    Erased

    Raises
    ------
    UsageError
        If there is nobody of this code.
    OutputError
        If a file cannot be removed. The rows are then still there, so that the same command goes
        on where it stopped.
    StoreError
        If the history cannot be rewritten; the same command does it then.
    """
    if rows.is_compaction_due(history.database):
        rows.compact(history.database)
    sessions = len(history.list_sessions(code))
    checks = history.checks(code, current_only=False)
    erased = _erase_files(history, code, checks, sessions, cache_folder)
    try:
        _remove_copies(history.folder / code)
    except OSError as error:
        raise _not_removed(code, error) from error
    history.database.write(lambda c: rows.delete_person(c, code))
    rows.compact(history.database)
    return erased


def erase_sessions(
    history: History, code: str, names: Collection[str], *, cache_folder: Path | None = None
) -> Erased:
    """Erase some sessions of a person; the person stays. As `erase_person`."""
    if rows.is_compaction_due(history.database):
        rows.compact(history.database)
    checks = [c for c in history.checks(code, current_only=False) if c.session in names]
    erased = _erase_files(history, code, checks, len(names), cache_folder)
    history.database.write(lambda c: rows.delete_sessions(c, code, names))
    rows.compact(history.database)
    return erased


def _erase_files(
    history: History,
    code: str,
    checks: Sequence[CheckRecord],
    sessions: int,
    cache_folder: Path | None,
) -> Erased:
    going = {check.id for check in checks}
    staying = [c for c in history.checks(current_only=False) if c.id not in going]
    still_used = {c.clip_sha256 for c in staying}
    left: list[str] = []
    clips = results = cache_files = 0
    try:
        for check in checks:
            used = {(c.folder, c.clip_sha256) for c in staying}
            if check.folder and (check.folder, check.clip_sha256) not in used:
                results += _remove_folder(check, left)
        for path in {c.clip_path for c in checks if c.clip_kept}:
            if path not in {c.clip_path for c in staying}:
                clips += _remove_clip(history, Path(path))
        for sha256 in sorted({c.clip_sha256 for c in checks}):
            if sha256 in still_used:
                left.append(
                    "A clip is recorded for other sessions as well; what the cache has of it stays."
                )
            elif cache_folder is not None:
                cache_files += TrackCache(cache_folder).forget(sha256)
    except OSError as error:
        raise _not_removed(code, error) from error
    own = sorted({c.clip_path for c in checks if c.clip_path and not c.clip_kept})
    left += [f"Your own clip is left alone: {path}" for path in own if Path(path).is_file()]
    return Erased(sessions, len(checks), results, cache_files, clips, tuple(dict.fromkeys(left)))


def _not_removed(code: str, error: OSError) -> OutputError:
    return OutputError(
        f"Expected to remove all files about {code}, found: {error.strerror or error} "
        f"({error.filename}).",
        hint="Allow it and run the same command again; the history still has the rows.",
    )


def _remove_folder(check: CheckRecord, left: list[str]) -> int:
    folder = Path(check.folder)
    if not folder.is_dir():
        return 0
    if not holds_results(folder, check.clip_sha256):
        left.append(f"Left alone, it is about another clip or not of this program: {folder}")
        return 0
    remove_results(folder, check.clip_sha256)
    if folder.is_dir():
        left.append(f"Left alone, there are other files in it: {folder}")
    pages = [name for name in _SUMMARIES if (folder.parent / name).is_file()]
    if pages:
        left.append(
            f"About a clip that is gone as well; delete or make anew: {join_words(pages)} in "
            f"{folder.parent}"
        )
    return 1


def _remove_clip(history: History, path: Path) -> int:
    """Remove a copy of a clip; only ever one inside the folder of the history."""
    if history.folder.absolute() not in path.absolute().parents or not path.is_file():
        return 0
    path.unlink()
    return 1


def _remove_copies(folder: Path) -> None:
    """Remove the folder of a person's clips, with copies that a stopped program never recorded."""
    if not folder.is_dir():
        return
    for path in folder.iterdir():
        if _COPY.fullmatch(path.name):
            path.unlink(missing_ok=True)
    if not any(folder.iterdir()):
        folder.rmdir()
