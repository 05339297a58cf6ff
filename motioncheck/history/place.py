"""Where a history is: an SQLite file, or a PostgreSQL database by URL."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

HISTORY_VARIABLE = "MOTIONCHECK_HISTORY"
FILE_NAME = "history.db"
CLIPS_FOLDER = "clips"


@dataclass(frozen=True, slots=True)
class Place:
    """A place of a history: ``path`` of a file, or else ``url`` of a server.

    ``chosen`` tells that somebody asked for this place; else it is the default.
    """

    path: Path | None
    url: str = ""
    chosen: bool = True

    @property
    def exists(self) -> bool:
        """Whether there may be a history already; a server is asked only when it is opened."""
        return self.path is None or self.path.exists()

    @property
    def folder(self) -> Path:
        """Folder for copies of clips, beside the file; in the data folder for a server."""
        return (data_folder() if self.path is None else self.path.parent) / CLIPS_FOLDER


def find_place(place: str | Path | None = None) -> Place:
    """Return the place that is meant; nothing is opened or made.

    Parameters
    ----------
    place : str or Path, optional
        A path or a URL. Left out, that of the environment variable ``MOTIONCHECK_HISTORY``, else
        ``history.db`` in the user's data folder.
    """
    text = str(place) if place is not None else os.environ.get(HISTORY_VARIABLE, "")
    if not text:
        return Place(data_folder() / FILE_NAME, chosen=False)
    if "://" in text and not isinstance(place, Path):
        file = _file_in(text)
        return Place(None, url=text) if file is None else Place(file)
    return Place(Path(text).expanduser().absolute())


def _file_in(url: str) -> Path | None:
    """Return the file that a URL of SQLite names, so that it is treated as its path would be.

    None for a server, and for one with options, which are refused when it is opened.
    """
    kind, found, file = url.partition(":///")
    if not found or kind.partition("+")[0] != "sqlite" or "?" in file:
        return None
    return None if file in ("", ":memory:") else Path(file).expanduser().absolute()


def data_folder() -> Path:
    """Return the folder in which the program keeps what the user wants to keep."""
    from platformdirs import user_data_path

    return user_data_path("motioncheck", appauthor=False)
