"""Writing results so that a folder never holds half of them."""

from __future__ import annotations

import errno
import os
import re
import shutil
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from motioncheck.errors import OutputError
from motioncheck.sheet.form import read_object

Content = bytes | str | Path

_SCHEMA_START: Final = "motioncheck/sheet/"
_GENERATOR: Final = re.compile(rb'<meta name="generator" content="motioncheck[ "]')
_CLIP: Final = re.compile(rb'<meta name="clip-sha256" content="([0-9a-f]*)">')
_HEAD_BYTES: Final = 4096
_SHEETS: Final = ("sheet.json", "sheet.html")
_REPLACE_HINT: Final = "Choose another folder with --out, or allow replacing it."


def write_outputs(
    folder: Path | str,
    files: Mapping[str, Content],
    *,
    replace: bool = False,
    outdated: Sequence[str] = (),
) -> None:
    """Write a set of result files into a folder, all of them or none.

    Parameters
    ----------
    folder : Path or str
        Made, readable by its owner only, when it is not there.
    files : mapping of file name to bytes, str or Path
        Text is written as UTF-8 without changing line ends; a path is copied.
    replace : bool
        Also overwrite files of another clip, or files this program did not write.
    outdated : sequence of str
        Files of an earlier check that are removed because they would not fit to the new ones, if
        a sheet of this program is in the folder.

    Raises
    ------
    OutputError
        If the folder cannot be made or written, the disk is full, or the folder holds other
        people's results. Whatever was there before is then unchanged.

    Notes
    -----
    Everything is first written and flushed to the disk in a hidden folder inside ``folder``
    (inside, so that moving into place never crosses a file system). Then each file is moved into
    place in one step. When a move fails, those already done are taken back.
    """
    target = Path(folder)
    _check_names((*files, *outdated))
    made = _make_folder(target)
    try:
        with plain_errors(target):
            if not replace:
                _refuse_foreign(target, files)
            _write_all(target, files, outdated if _holds_a_sheet(target) else ())
    except BaseException:
        # Also after Ctrl-C. Only folders made here go, and only while they are empty.
        for path in reversed(made):
            _remove_if_empty(path)
        raise


def require_place(folder: Path) -> None:
    """Raise `OutputError` if it is clear already that results cannot go there; makes nothing."""
    place = next(p for p in (folder, *folder.absolute().parents) if os.path.lexists(p))
    if not place.is_dir():
        raise OutputError(f"Expected a folder at {folder}, found a file at {place}.")
    if not os.access(place, os.W_OK | os.X_OK):
        raise OutputError(f"Expected to write into {place}, found that it is not allowed.")


def _check_names(names: Iterable[str]) -> None:
    for name in names:
        if name in {"", ".", ".."} or Path(name).name != name or "\\" in name:
            raise ValueError(f"Expected a plain file name, found {name!r}.")


def _make_folder(target: Path) -> list[Path]:
    """Make the folder and the parents it lacks; return what was made, outermost first."""
    if target.exists() and not target.is_dir():
        raise OutputError(f"Expected a folder at {target}, found a file.")
    missing = [p for p in (target, *target.parents) if not p.exists()][::-1]
    made: list[Path] = []
    try:
        with plain_errors(target):
            for path in missing:
                path.mkdir(mode=0o700, exist_ok=True)
                made.append(path)
    except OutputError:
        for path in reversed(made):
            _remove_if_empty(path)
        raise
    return made


def _remove_if_empty(path: Path) -> None:
    try:
        path.rmdir()
    except OSError:
        return


@contextmanager
def plain_errors(target: Path) -> Iterator[None]:
    """Turn what the system says into one sentence a person can act on."""
    try:
        yield
    except OSError as error:
        raise OutputError(_sentence(target, error)) from error


def _sentence(target: Path, error: OSError) -> str:
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return f"Expected room for the results in {target}, found the disk full."
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return f"Expected to write into {target}, found that it is not allowed."
    if error.errno in {errno.ENOTDIR, errno.EEXIST}:
        return f"Expected a folder at {target}, found a file on the way to it."
    return f"Expected to write into {target}, found: {error.strerror or error}."


def _refuse_foreign(target: Path, files: Mapping[str, Content]) -> None:
    """Raise when a file to be written exists and does not belong to the same clip."""
    present = [name for name in files if os.path.lexists(target / name)]
    folders = [name for name in present if (target / name).is_dir()]
    if folders:
        raise OutputError(f"Expected to write {folders[0]} in {target}, found a folder there.")
    new = _clip_of(files.get("sheet.json", b""))
    found = find_owners(target)
    for name, owner in found.items():
        if owner == "":
            raise OutputError(
                f"Expected results of this program in {target}, found a {name} it did not write.",
                hint=_REPLACE_HINT,
            )
        if owner != new:
            raise OutputError(
                f"Expected results of this clip in {target}, found those of another clip.",
                hint=_REPLACE_HINT,
            )
    if present and not found:
        raise OutputError(
            f"Expected no {present[0]} in {target}, found one that belongs to no sheet.",
            hint=_REPLACE_HINT,
        )


def find_owners(target: Path) -> dict[str, str]:
    """Return for each sheet in a folder the clip it is about; empty for one not written here."""
    owners = {name: _owner(target / name) for name in _SHEETS}
    return {name: owner for name, owner in owners.items() if owner is not None}


def _holds_a_sheet(target: Path) -> bool:
    return any(find_owners(target).values())


def _clip_of(content: Content) -> str:
    """Return the checksum of the clip that a ``sheet.json`` of this program is about."""
    raw = content.read_bytes() if isinstance(content, Path) else content
    sheet = read_object(raw)
    if not str(sheet.get("schema", "")).startswith(_SCHEMA_START):
        return ""
    clip = sheet.get("clip")
    return str(clip.get("sha256", "")) if isinstance(clip, dict) else ""


def _owner(path: Path) -> str | None:
    """Return the clip an existing sheet is about; empty if not ours, None if there is none."""
    if not path.is_file():
        return None
    if path.suffix == ".json":
        return _clip_of(path)
    with path.open("rb") as stream:
        head = stream.read(_HEAD_BYTES)
    clip = _CLIP.search(head)
    return clip.group(1).decode("ascii") if clip and _GENERATOR.search(head) else ""


@dataclass
class _Moves:
    """Files moved into place so far, and where their predecessors wait."""

    target: Path
    spare: Path
    done: list[str] = field(default_factory=list)

    def move(self, fresh: Path, name: str) -> None:
        """Put one file into place; its predecessor is kept until all are done."""
        place = self.target / name
        if os.path.lexists(place):
            _keep(place, self.spare / name)
        fresh.replace(place)
        self.done.append(name)

    def remove(self, name: str) -> None:
        """Take one file away; it is kept until all are done."""
        place = self.target / name
        if place.is_file() or place.is_symlink():
            _keep(place, self.spare / name)
            place.unlink()
            self.done.append(name)

    def undo(self) -> None:
        """Bring the folder back to what it was."""
        for name in reversed(self.done):
            old = self.spare / name
            if os.path.lexists(old):
                old.replace(self.target / name)
            else:
                (self.target / name).unlink(missing_ok=True)


def _keep(place: Path, spare: Path) -> None:
    """Keep a second name for a file, or a copy where the file system knows no second names."""
    try:
        os.link(place, spare, follow_symlinks=False)
    except OSError:
        shutil.copy2(place, spare, follow_symlinks=False)


def _write_all(target: Path, files: Mapping[str, Content], outdated: Sequence[str]) -> None:
    work = Path(tempfile.mkdtemp(prefix=".motioncheck-", dir=target))
    try:
        fresh, spare = work / "new", work / "old"
        fresh.mkdir(mode=0o700)
        spare.mkdir(mode=0o700)
        for name, content in files.items():
            _write_one(fresh / name, content)
        moves = _Moves(target, spare)
        try:
            for name in files:
                moves.move(fresh / name, name)
            for name in outdated:
                moves.remove(name)
            _flush_folder(target)
        except BaseException:
            moves.undo()
            raise
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _write_one(path: Path, content: Content) -> None:
    """Write one new file that only its owner can read, and flush it to the disk."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
    with os.fdopen(handle, "wb") as stream:
        if isinstance(content, Path):
            with content.open("rb") as source:
                shutil.copyfileobj(source, stream, 1 << 20)
        else:
            stream.write(content.encode("utf-8") if isinstance(content, str) else content)
        stream.flush()
        os.fsync(stream.fileno())


def _flush_folder(path: Path) -> None:
    """Make the new names last through a power cut, where the system lets a folder be flushed."""
    if os.name == "nt":
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
