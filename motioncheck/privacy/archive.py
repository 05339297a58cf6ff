"""Writing many files into one archive, all or nothing, for its owner only."""

from __future__ import annotations

import os
import tempfile
import zipfile
from collections.abc import Iterable
from pathlib import Path

from motioncheck.errors import OutputError

Content = str | bytes | Path
# One time for every file of an archive: when it was made says something about a person.
_NO_DATE = (1980, 1, 1, 0, 0, 0)
_OWNER_ONLY = 0o600 << 16
_PIECE = 1 << 20


def write_archive(
    target: Path, files: Iterable[tuple[str, Content]], *, replace: bool = False
) -> int:
    """Write a ZIP file; return the number of files in it.

    Parameters
    ----------
    target : Path
    files : iterable of (str, str or bytes or Path)
        Name within the archive and content; a path is copied.
    replace : bool
        Overwrite a file that is there.

    Raises
    ------
    OutputError
        If it cannot be written, or something is there already. What was there is then unchanged.
    """
    if target.is_dir() or (target.exists() and not replace):
        raise OutputError(
            f"Expected no file at {target}, found {'a folder' if target.is_dir() else 'one'}.",
            hint="Choose another place with --out, or allow it with --replace.",
        )
    part: Path | None = None
    try:
        # Readable by the owner only from the first byte on.
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.absolute().parent)
        part = Path(name)
        with os.fdopen(handle, "wb") as stream:
            count = _fill(stream, files)
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(target)
        part = None
    except OSError as error:
        raise OutputError(
            f"Expected to write {target}, found: {error.strerror or error}.",
            hint="Choose another place with --out, or free some space.",
        ) from error
    finally:
        if part is not None:
            part.unlink(missing_ok=True)
    return count


def _fill(stream: object, files: Iterable[tuple[str, Content]]) -> int:
    count = 0
    with zipfile.ZipFile(stream, "w") as archive:  # type: ignore[call-overload]
        for name, content in files:
            info = zipfile.ZipInfo(name, _NO_DATE)
            info.external_attr = _OWNER_ONLY
            info.compress_type = zipfile.ZIP_DEFLATED
            with archive.open(info, "w", force_zip64=True) as entry:
                if isinstance(content, Path):
                    with content.open("rb") as source:
                        while piece := source.read(_PIECE):
                            entry.write(piece)
                else:
                    entry.write(content.encode("utf-8") if isinstance(content, str) else content)
            count += 1
    return count
