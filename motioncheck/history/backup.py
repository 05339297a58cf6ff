"""A copy of a history in one file, made while others may write to it."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path
from typing import Any

from motioncheck.errors import OutputError, StoreError, UsageError
from motioncheck.history.engine import Database

_DAMAGED = {sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT}


def back_up(database: Database, target: Path, *, replace: bool = False) -> None:
    """Copy the history into a file for the owner only, all of it or nothing.

    Parameters
    ----------
    database : Database
    target : Path
        The new file; its folder must be there.
    replace : bool
        Overwrite a file that is there.

    Raises
    ------
    StoreError
        If the history is on a server, which has its own way, or is damaged.
    UsageError
        If the file is the history itself.
    OutputError
        If the file is there already, or cannot be written.
    """
    if database.path is None:
        raise StoreError(
            f"Expected a history in a file, found one on a server ({database.where}).",
            hint="Use the server's own dump, such as `pg_dump --format=custom`.",
        )
    if target.exists() and target.resolve() == database.path.resolve():
        raise UsageError("Expected another file for the backup, found the history itself.")
    if target.is_dir() or not target.absolute().parent.is_dir():
        raise OutputError(
            f"Expected to make a file {target}, found "
            + ("a folder of that name." if target.is_dir() else "no folder for it."),
            hint="Name a file in a folder that is there.",
        )
    if target.exists() and not replace:
        raise OutputError(
            f"Expected no file at {target}, found one.",
            hint="Choose another name, or overwrite it with --replace.",
        )
    try:
        _write(database, target)
    except OSError as error:
        raise OutputError(
            f"Expected to write the backup {target}, found: {error.strerror or error}.",
            hint="Choose another place, or free some space.",
        ) from error
    except sqlite3.Error as error:
        raise _sentence(error, database, target) from error


def _sentence(error: sqlite3.Error, database: Database, target: Path) -> Exception:
    if getattr(error, "sqlite_errorcode", 0) & 0xFF in _DAMAGED:
        return StoreError(f"Expected to read the history {database.where}, found it damaged.")
    return OutputError(
        f"Expected to write the backup {target}, found: {error}.",
        hint="Choose another place, or free some space.",
    )


def _write(database: Database, target: Path) -> None:
    # Beside the target, so that it is moved into place in one step; 0600 from the start.
    handle, name = tempfile.mkstemp(prefix=".backup-", dir=target.absolute().parent)
    os.close(handle)
    part = Path(name)
    try:
        raw = database.engine.raw_connection()
        try:
            source: Any = raw.driver_connection
            with closing(sqlite3.connect(part)) as copy:
                # All pages in one step: a state between two transactions.
                source.backup(copy)
                # One file, without a log beside it.
                copy.execute("PRAGMA journal_mode=DELETE")
                if copy.execute("PRAGMA quick_check").fetchone() != ("ok",):
                    raise StoreError(
                        f"Expected to read the history {database.where}, found it damaged."
                    )
        finally:
            raw.close()
        with part.open("rb+") as stream:
            os.fsync(stream.fileno())
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
