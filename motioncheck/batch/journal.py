"""What a batch remembers between two runs: what was done, and checksums of clips.

One small file lies beside each sheet and is written after everything else in its folder, in one
step: as long as it is not there, the clip counts as not done.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import re
import shutil
import time
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Final

from motioncheck.batch.items import BatchItem
from motioncheck.landmarks.store import write_whole
from motioncheck.records.group import ClipState
from motioncheck.sheet.form import read_object
from motioncheck.sheet.write import Content, plain_errors, write_outputs
from motioncheck.video.probe import hash_file

ENTRY_NAME: Final = "batch-clip.json"
ENTRY_SCHEMA: Final = "motioncheck/batch-clip/1"
HASHES_NAME: Final = ".hashes.json"
HASHES_SCHEMA: Final = "motioncheck/batch-hashes/1"
MAX_STEM: Final = 40
# A file changed so recently may change again without a new time stamp.
FRESH_NS: Final = 2_000_000_000
_ODD: Final = re.compile(r"[^A-Za-z0-9_.-]+")
_WORK: Final = ".motioncheck-*"

Key = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Entry:
    """What was done with a clip, and with what: ``key`` holds all that the result depends on."""

    key: dict[str, Any]
    state: ClipState
    reason: str
    files: dict[str, int]


def identify(item: BatchItem, clip_sha256: str) -> str:
    """Return what a clip is told from others by: content, person, session, movement asked for."""
    what = json.dumps([clip_sha256, item.person, item.session, item.movement or ""])
    return hashlib.sha256(what.encode("utf-8")).hexdigest()[:12]


def name_folder(item: BatchItem, identity: str) -> str:
    """Return the name of the folder of a clip's sheet.

    It is made of the letters and digits of the clip's own name and of ``identity``, never of the
    name or code of a person.
    """
    stem = _ODD.sub("-", item.clip.stem)[:MAX_STEM].strip(".-")
    return f"{stem or 'clip'}-{identity}"


def read_entry(folder: Path) -> Entry | None:
    """Return what was done, None when nothing was finished or a file of it is gone."""
    try:
        content = read_object((folder / ENTRY_NAME).read_bytes())
        if content.pop("schema", "") != ENTRY_SCHEMA:
            return None
        entry = Entry(**content)
        sizes = {name: (folder / name).stat().st_size for name in entry.files}
    except (OSError, TypeError):
        return None
    return entry if sizes == entry.files else None


def write_entry(folder: Path, key: Key, files: Mapping[str, Content]) -> None:
    """Write the results of a checked clip, then the entry that says that it is done.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    with plain_errors(folder):
        _reopen(folder)
        write_outputs(folder, files, replace=True)
        sizes = {name: (folder / name).stat().st_size for name in files}
        _finish(folder, Entry(dict(key), "checked", "", sizes))


@contextlib.contextmanager
def rewriting(folder: Path) -> Iterator[None]:
    """Let the files of a clip that is done be written anew, as after a correction.

    The clip stays done, with the sizes that the files then have. In a folder of no batch this does
    nothing.
    """
    entry = read_entry(folder)
    if entry is None:
        yield
        return
    (folder / ENTRY_NAME).unlink(missing_ok=True)
    try:
        yield
    finally:
        sizes = {n: (folder / n).stat().st_size for n in entry.files if (folder / n).is_file()}
        _finish(folder, replace(entry, files=sizes))


def write_failure(folder: Path, key: Key, reason: str) -> None:
    """Remember that a clip has no result and never will with this key.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    with plain_errors(folder):
        _reopen(folder)
        for name in ("sheet.html", "sheet.json", "reps.csv", "angles.csv"):
            (folder / name).unlink(missing_ok=True)
        folder.mkdir(mode=0o700, exist_ok=True)
        _finish(folder, Entry(dict(key), "failed", reason, {}))


def _reopen(folder: Path) -> None:
    """Make a folder count as not done, and clear what a stopped program left half-written."""
    (folder / ENTRY_NAME).unlink(missing_ok=True)
    for left in folder.glob(_WORK):
        shutil.rmtree(left, ignore_errors=True)
    for left in folder.glob(f"{ENTRY_NAME}?*"):
        left.unlink(missing_ok=True)


def _finish(folder: Path, entry: Entry) -> None:
    text = json.dumps({"schema": ENTRY_SCHEMA, **asdict(entry)}, indent=1)
    write_whole(folder / ENTRY_NAME, text.encode("utf-8"))


class Hashes:
    """Checksums of clips, kept with size and time of change so that a second look is quick.

    Parameters
    ----------
    path : Path
        File to keep them in; whatever is wrong with it, they are computed anew.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._changed = False
        self._known: dict[str, list[Any]] = {}
        with contextlib.suppress(OSError):
            content = read_object(path.read_bytes())
            clips = content.get("clips")
            if content.get("schema") == HASHES_SCHEMA and isinstance(clips, dict):
                self._known = {k: v for k, v in clips.items() if _is_sound(v)}

    def get(self, clip: Path) -> str:
        """Return the SHA-256 of a clip; raises `OSError` when it cannot be read."""
        stat = clip.stat()
        stamp = [stat.st_size, stat.st_mtime_ns]
        known = self._known.get(str(clip))
        if known is not None and known[:2] == stamp:
            return str(known[2])
        digest = hash_file(clip)
        # A file that may still be changing is hashed again next time.
        if time.time_ns() - stat.st_mtime_ns > FRESH_NS and _stamp(clip) == stamp:
            self._known[str(clip)] = [*stamp, digest]
            self._changed = True
        return digest

    def save(self) -> None:
        """Keep what was computed; a failure costs only time later."""
        if self._changed:
            content = {"schema": HASHES_SCHEMA, "clips": self._known}
            with contextlib.suppress(OSError):
                write_whole(self._path, json.dumps(content).encode("utf-8"))
            self._changed = False


def _stamp(clip: Path) -> list[int]:
    stat = clip.stat()
    return [stat.st_size, stat.st_mtime_ns]


def _is_sound(value: object) -> bool:
    return (
        isinstance(value, list)
        and len(value) == 3
        and isinstance(value[0], int)
        and isinstance(value[1], int)
        and isinstance(value[2], str)
    )
