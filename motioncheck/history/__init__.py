"""The history between sessions: people, sessions, checks and corrections in one database.

`open_history` opens it, `History` is what it gives. Importing this room loads no database
library; opening a history does.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from motioncheck.history.codes import validate_code
from motioncheck.history.place import find_place

if TYPE_CHECKING:
    from motioncheck.history.store import History as History

__all__ = ["History", "find_place", "open_history", "validate_code"]


def open_history(place: str | Path | None = None) -> History:
    """Open a history, made and migrated to the newest revision where needed.

    Parameters
    ----------
    place : str or Path, optional
        Path of an SQLite file, or a URL of a PostgreSQL database. Left out, the environment
        variable ``MOTIONCHECK_HISTORY``, else a file in the user's data folder.

    Returns
    -------
    History
        Use it in a ``with`` statement, or close it.

    Raises
    ------
    UsageError
        If the place is a URL that cannot be read, or of another kind of database.
    StoreError
        If it cannot be opened: damaged, no history, newer than the program, not allowed, no server.
    MissingPartError
        If the driver for PostgreSQL is not installed.
    """
    from motioncheck.history.store import History

    return History(find_place(place))


def __getattr__(name: str) -> object:
    """Load `History` when it is asked for: it needs the database library."""
    if name == "History":
        from motioncheck.history.store import History

        return History
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
