"""Sessions that are older than they are to be kept."""

from __future__ import annotations

import datetime as dt

from motioncheck.errors import UsageError
from motioncheck.history import History
from motioncheck.history import erase as rows
from motioncheck.records.history import SessionRecord

KEEP_DAYS = "keep days"
_MOST_DAYS = 36_500


def find_expired(
    history: History, days: int, *, today: dt.date | None = None
) -> tuple[SessionRecord, ...]:
    """Return the sessions of everybody that are more than some days old, oldest first.

    Raises
    ------
    UsageError
        If the days are not from 1 to 36 500.
    """
    require_days(days)
    last = (today or dt.date.today()) - dt.timedelta(days=days)
    found = [
        session
        for person in history.list_people()
        for session in history.list_sessions(person.code)
        if dt.date.fromisoformat(session.day) < last
    ]
    return tuple(sorted(found, key=lambda s: (s.day, s.person, s.name)))


def require_days(days: int) -> None:
    """Raise `UsageError` unless it is a number of days that something can be kept."""
    if not 1 <= days <= _MOST_DAYS:
        raise UsageError(f"Expected from 1 to {_MOST_DAYS} days, found {days}.")


def get_keep_days(history: History) -> int | None:
    """Return how many days sessions are to be kept, None when nothing was set."""
    with history.database.reading() as connection:
        text = rows.get_setting(connection, KEEP_DAYS)
    return int(text) if text.isdecimal() else None


def set_keep_days(history: History, days: int | None) -> None:
    """Remember how many days sessions are to be kept; None forgets it. Removes nothing."""
    if days is not None:
        require_days(days)
    text = "" if days is None else str(days)
    history.database.write(lambda c: rows.set_setting(c, KEEP_DAYS, text))
