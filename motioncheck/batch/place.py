"""The folder of a batch: whose it is, that only one program writes to it, and what it keeps."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, Final

from motioncheck.errors import OutputError
from motioncheck.sheet.form import read_object
from motioncheck.sheet.write import plain_errors

MARK_NAME: Final = "batch.json"
MARK_SCHEMA: Final = "motioncheck/batch/1"
STAGING_NAME: Final = ".work"


@contextlib.contextmanager
def open_place(out: Path, *, replace: bool = False) -> Iterator[Path]:
    """Make the folder of a batch or go on with it; yields a folder for unfinished work.

    Only one program at a time has it; what a stopped one left half-written is removed.

    Raises
    ------
    OutputError
        If it holds something else and ``replace`` is not set, if another batch is at work there,
        or if it cannot be written.
    """
    with plain_errors(out):
        mark = _open_mark(out, replace=replace)
    with mark:
        if not _lock(mark):
            raise OutputError(
                f"Expected {out} to be free, found another batch at work in it.",
                hint="Wait for it, or choose another folder with --out.",
            )
        staging = out / STAGING_NAME
        with plain_errors(out):
            _clear(out)
            staging.mkdir(mode=0o700)
        try:
            yield staging
        finally:
            shutil.rmtree(staging, ignore_errors=True)


def _open_mark(out: Path, *, replace: bool) -> BinaryIO:
    """Return the open file that marks the folder as one of a batch; it is written if missing."""
    if out.exists() and not out.is_dir():
        raise OutputError(f"Expected a folder at {out}, found a file.")
    path = out / MARK_NAME
    known = path.is_file() and read_object(path.read_bytes()).get("schema") == MARK_SCHEMA
    # A batch that was stopped before its first word leaves an empty mark.
    begun = path.is_file() and path.stat().st_size == 0
    if not (known or begun or replace) and out.is_dir() and any(out.iterdir()):
        raise OutputError(
            f"Expected results of a batch in {out}, or nothing; found other files.",
            hint="Choose another folder with --out, or allow it with --replace.",
        )
    out.mkdir(mode=0o700, parents=True, exist_ok=True)
    handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o600)
    mark = os.fdopen(handle, "r+b")
    if not known:
        mark.truncate(0)
        mark.write(json.dumps({"schema": MARK_SCHEMA}).encode("ascii"))
        mark.flush()
    return mark


def _lock(mark: BinaryIO) -> bool:
    """Lock an open file for as long as it is open; False when another program has."""
    if sys.platform == "win32":
        import msvcrt

        try:
            mark.seek(0)
            msvcrt.locking(mark.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    import fcntl

    try:
        fcntl.flock(mark, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True  # A file system that knows no locks.
    return True


def _clear(out: Path) -> None:
    for left in (out / STAGING_NAME, *out.glob(".motioncheck-*")):
        shutil.rmtree(left, ignore_errors=True)
    # Temporary files of a whole file that never got its name.
    for left in out.glob(".hashes.json?*"):
        left.unlink(missing_ok=True)
