"""`motioncheck person export`, `person erase` and `history expire`."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from itertools import groupby
from pathlib import Path

from motioncheck.cli.listing import printable
from motioncheck.cli.person import open_existing
from motioncheck.errors import UsageError
from motioncheck.history import History, validate_code
from motioncheck.pipeline.options import default_cache
from motioncheck.privacy import (
    Erased,
    erase_person,
    erase_sessions,
    export_for_sharing,
    export_person,
    find_expired,
)
from motioncheck.privacy.expire import get_keep_days, set_keep_days
from motioncheck.records.history import SessionRecord


def run_export(
    code: str,
    out: Path | None,
    *,
    for_sharing: bool,
    pictures: bool,
    place: str | None,
    replace: bool,
) -> None:
    """Write the file and say where it is."""
    if pictures and not for_sharing:
        raise UsageError(
            "Expected --pictures with --for-sharing; without it the export has them anyway."
        )
    validate_code(code)
    target = out or Path(f"{code}.zip")
    with open_existing(place) as history:
        if for_sharing:
            files = export_for_sharing(history, code, target, pictures=pictures, replace=replace)
        else:
            files = export_person(history, code, target, replace=replace)
    print(f"{files} files about {code}: {target}")
    if for_sharing:
        print("Look through it before you hand it out.")
    else:
        print("It may hold a name and uncovered faces; see --for-sharing for what to hand out.")


def run_erase(code: str, session: str | None, *, place: str | None, yes: bool) -> None:
    """Ask, erase a person or one session, and say what was removed and what was left."""
    validate_code(code)
    with open_existing(place) as history:
        if session is not None:
            _erase_one(history, code, session, yes=yes)
            return
        sessions = len(history.list_sessions(code))
        checks = len(history.checks(code, current_only=False))
        _ask(
            f"Erase {code} with {_count(sessions, 'session')} and {_count(checks, 'check')}, "
            "their sheets and whatever the cache has of them?",
            yes=yes,
        )
        erased = erase_person(history, code, cache_folder=default_cache())
    print(f"{code} is erased: {_sum_up(erased)}.")
    _print_left(erased.left)


def _erase_one(history: History, code: str, session: str, *, yes: bool) -> None:
    names = [s.name for s in history.list_sessions(code)]
    if session not in names:
        raise UsageError(
            f"Expected one of the sessions of {code}, found none called {session!r}.",
            hint=f"See `motioncheck history show {code}`.",
        )
    checks = len(history.checks(code, session, current_only=False))
    _ask(f"Erase session {session} of {code} with {_count(checks, 'check')}?", yes=yes)
    erased = erase_sessions(history, code, {session}, cache_folder=default_cache())
    print(f"Session {session} of {code} is erased: {_sum_up(erased)}.")
    _print_left(erased.left)


def run_expire(
    older_than: int | None, keep_days: int | None, *, dry_run: bool, place: str | None, yes: bool
) -> None:
    """Erase old sessions, list them, or remember how old they may become."""
    with open_existing(place) as history:
        if keep_days is not None:
            if older_than is not None or dry_run:
                raise UsageError("Expected --keep-days alone: it only remembers a number.")
            set_keep_days(history, keep_days)
            print(f"Sessions are to be kept for {keep_days} days; `history expire` erases older.")
            return
        days = older_than if older_than is not None else get_keep_days(history)
        if days is None:
            raise UsageError(
                "Expected how old sessions may become, found nothing set.",
                hint="Give --older-than DAYS, or set it with --keep-days DAYS.",
            )
        found = find_expired(history, days)
        for session in found:
            print(f"{session.person}  {session.day}  {session.name}")
        if not found or dry_run:
            verb = "would be erased" if dry_run else "to erase"
            print(f"{_count(len(found), 'session')} older than {days} days {verb}.")
            return
        _ask(f"Erase {_count(len(found), 'session')} older than {days} days?", yes=yes)
        _erase_each(history, found)


def _erase_each(history: History, found: Sequence[SessionRecord]) -> None:
    by_person = sorted(found, key=lambda s: s.person)
    for code, sessions in groupby(by_person, key=lambda s: s.person):
        names = {session.name for session in sessions}
        erased = erase_sessions(history, code, names, cache_folder=default_cache())
        print(f"{code}: erased {_sum_up(erased)}.")
        _print_left(erased.left)


def _sum_up(erased: Erased) -> str:
    return (
        f"{_count(erased.sessions, 'session')}, {_count(erased.checks, 'check')}, "
        f"{_count(erased.results, 'folder')} of results, "
        f"{_count(erased.cache_files, 'file')} of the cache, "
        f"{_count(erased.clips, 'kept clip')}"
    )


def _print_left(left: Sequence[str]) -> None:
    for line in left:
        print(printable(line))
    print(
        "Not known here and yours to delete: trend pages, group sheets, exports, backups, "
        "landmarks saved with --keep-track, and results of checks that were never recorded or, "
        "made again, went to a second folder."
    )


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _ask(question: str, *, yes: bool) -> None:
    """Go on only after a yes; without a terminal only with ``--yes``."""
    if yes:
        return
    if not sys.stdin.isatty():
        raise UsageError(f"Expected --yes where nobody can be asked: {question}")
    print(f"{question} This cannot be undone. Type yes to go on: ", end="", flush=True)
    if sys.stdin.readline().strip().lower() != "yes":
        raise UsageError("Nothing was erased.", hint="Answer yes, or give --yes.")
