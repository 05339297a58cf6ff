"""Copies of clips that somebody asked to keep, beside the history."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from motioncheck.errors import InputError, StoreError

_CHUNK: Final = 1 << 20
_SUFFIX: Final = re.compile(r"\.[a-z0-9]{1,5}")


@contextmanager
def kept_copy(clip: Path, sha256: str, folder: Path) -> Iterator[Path]:
    """Copy a clip for the owner only; the copy goes again when the block fails.

    Parameters
    ----------
    clip : Path
    sha256 : str
        What the content must be; also the name of the copy.
    folder : Path
        Made when it is not there.

    Raises
    ------
    InputError
        If the clip cannot be read, or is not the one that was checked.
    StoreError
        If the copy cannot be written.
    """
    target = folder / f"{sha256}{_suffix_of(clip)}"
    there = target.is_file()
    if not there:
        _copy(clip, sha256, target)
    try:
        yield target
    except BaseException:
        if not there:
            target.unlink(missing_ok=True)
        raise


def _suffix_of(clip: Path) -> str:
    """Return the ending of the file name if it is a plain one: players go by it."""
    suffix = clip.suffix.lower()
    return suffix if _SUFFIX.fullmatch(suffix) else ""


def _copy(clip: Path, sha256: str, target: Path) -> None:
    part: Path | None = None
    try:
        # Only the last two folders are ours; the one of the history is there.
        for folder in (target.parent.parent, target.parent):
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        # Readable by the owner only from the first byte on.
        handle, name = tempfile.mkstemp(prefix=".copy-", dir=target.parent)
        part = Path(name)
        with os.fdopen(handle, "wb") as stream:
            found = _pour(clip, stream.write)
            stream.flush()
            os.fsync(stream.fileno())
        if found != sha256:
            raise InputError(
                f"Expected {clip.name} as it was checked, found that it has changed since.",
                hint="Check the clip again.",
            )
        part.replace(target)
        part = None
    except OSError as error:
        raise StoreError(
            f"Expected to keep a copy of {clip.name} in {target.parent}, found: "
            f"{error.strerror or error}.",
            hint="Leave --keep-clip out, or free some space.",
        ) from error
    finally:
        if part is not None:
            part.unlink(missing_ok=True)


def _pour(clip: Path, write: object) -> str:
    assert callable(write)
    digest = hashlib.sha256()
    try:
        with clip.open("rb") as source:
            while chunk := source.read(_CHUNK):
                digest.update(chunk)
                write(chunk)
    except FileNotFoundError as error:
        raise InputError(f"Expected the clip at {clip}, found none.") from error
    return digest.hexdigest()
