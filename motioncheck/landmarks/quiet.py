"""Keep the start-up chatter of the native pose library off the terminal.

The library is C++ and writes straight to file descriptor 2, whatever Python's logging says, and
offers no switch for it. So the descriptor is pointed at a temporary file while the library starts,
and everything in that file that is not known chatter is written out afterwards: messages of this
program, of other threads, and real errors of the library are delayed, never lost.
"""

from __future__ import annotations

import contextlib
import os
import re
import sys
import tempfile
import threading
from collections.abc import Iterator
from typing import Final

STDERR: Final = 2

CHATTER: Final = re.compile(
    rb"INFO: Created TensorFlow Lite XNNPACK delegate"
    rb"|WARNING: All log messages before absl::InitializeLog"
    # Level, month and day, time, thread, place: information and warnings only, errors pass.
    rb"|[IW]\d{4} [\d:.]+ +\d+ [\w./]+:\d+\] "
)

_lock = threading.Lock()
_holders = 0
_kept: int | None = None
_held: int | None = None


@contextlib.contextmanager
def native_chatter_held_back() -> Iterator[None]:
    """Hold back what arrives on standard error, and pass on all but known chatter at the end.

    May be nested and used from several threads: the first one in redirects, the last one out
    restores. Where standard error is closed there is nothing to keep clean and nothing is done.
    """
    global _holders
    with _lock:
        if _holders == 0:
            _redirect()
        _holders += 1
    try:
        yield
    finally:
        with _lock:
            _holders -= 1
            if _holders == 0:
                _restore()


def drop_chatter(text: bytes) -> bytes:
    """Return ``text`` without the lines that are known chatter.

    Parameters
    ----------
    text : bytes
        What was written to standard error.
    """
    return b"".join(line for line in text.splitlines(keepends=True) if not CHATTER.match(line))


def _redirect() -> None:
    global _kept, _held
    _flush()
    try:
        kept = os.dup(STDERR)
    except OSError:  # Standard error is closed.
        return
    try:
        with tempfile.TemporaryFile() as file:
            held = os.dup(file.fileno())
        os.dup2(held, STDERR)
    except OSError:  # No room for a temporary file: chatter is the lesser evil.
        os.close(kept)
        return
    _kept, _held = kept, held


def _restore() -> None:
    global _kept, _held
    if _kept is None or _held is None:
        return
    _flush()
    os.dup2(_kept, STDERR)
    os.close(_kept)
    os.lseek(_held, 0, os.SEEK_SET)
    with os.fdopen(_held, "rb") as file:
        remainder = drop_chatter(file.read())
    _kept = _held = None
    with contextlib.suppress(OSError):  # The reader of a pipe may be gone.
        while remainder:
            remainder = remainder[os.write(STDERR, remainder) :]


def _flush() -> None:
    with contextlib.suppress(OSError, ValueError, AttributeError):
        sys.stderr.flush()
