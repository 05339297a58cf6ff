"""What a database says when something goes wrong, as one sentence a person can act on."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError, SQLAlchemyError

from motioncheck.errors import MotionCheckError, StoreError

# Result codes of SQLite (https://www.sqlite.org/rescode.html); the low byte is the primary code.
_PRIMARY = 0xFF
_BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_NOT_ALLOWED = {
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_PERM,
    sqlite3.SQLITE_AUTH,
}
_DAMAGED = {sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT}
_TAKEN = {sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY}
# States of PostgreSQL (appendix A of its manual): a unique key that is taken, a transaction that
# could not be put in order with another, a deadlock, a lock that was not to be had.
_PG_CONFLICTS = {"23505", "40001", "40P01", "55P03"}
_PG_NOT_ALLOWED = {"42501", "25006"}
_PG_FULL = "53100"


@contextmanager
def plain_failures(where: str) -> Iterator[None]:
    """Turn errors of the database into `StoreError`; ``where`` names the history."""
    try:
        yield
    except DBAPIError as error:
        raise explain(error, where) from error
    except SQLAlchemyError as error:
        raise StoreError(
            f"Expected to use the history {where}, found: {type(error).__name__}."
        ) from error


def is_conflict(error: DBAPIError) -> bool:
    """Tell whether another program was in the way, so that the same transaction may work now."""
    code = _sqlite_code(error)
    if code is not None:
        return code & _PRIMARY in _BUSY or code in _TAKEN
    return _state(error) in _PG_CONFLICTS


def is_busy(error: DBAPIError) -> bool:
    """Tell whether an SQLite file is locked by another program."""
    code = _sqlite_code(error)
    return code is not None and code & _PRIMARY in _BUSY


def explain(error: DBAPIError, where: str) -> MotionCheckError:
    """Return the error to raise for what the database said."""
    code = _sqlite_code(error)
    if code is not None:
        return _explain_sqlite(code & _PRIMARY, where)
    return _explain_server(error, where)


def _explain_sqlite(code: int, where: str) -> StoreError:
    if code in _BUSY:
        return StoreError(
            f"Expected to write to the history {where}, found another program at it for too long.",
            hint="Wait until it has finished and run the same command again.",
        )
    if code in _NOT_ALLOWED:
        return not_allowed(where)
    if code in _DAMAGED:
        return StoreError(f"Expected a history at {where}, found a file that is damaged or none.")
    if code == sqlite3.SQLITE_FULL:
        return _full(where)
    if code == sqlite3.SQLITE_CONSTRAINT:
        return _broken_rule(where)
    return StoreError(f"Expected to use the history {where}, found an error of SQLite ({code}).")


def _explain_server(error: DBAPIError, where: str) -> StoreError:
    state = _state(error)
    if state in _PG_CONFLICTS and not isinstance(error, IntegrityError):
        return StoreError(
            f"Expected to write to the history {where}, found other programs in the way.",
            hint="Run the same command again.",
        )
    if state in _PG_NOT_ALLOWED:
        return not_allowed(where)
    if state == _PG_FULL:
        return _full(where)
    if isinstance(error, IntegrityError):
        return _broken_rule(where)
    if isinstance(error, OperationalError):
        return StoreError(
            f"Expected a PostgreSQL server with the history {where}, found none that lets us in.",
            hint="Check the address, name and password, and that the server runs.",
        )
    return StoreError(
        f"Expected to use the history {where}, found an error of the server "
        f"({state or type(error.orig).__name__})."
    )


def not_allowed(where: str) -> StoreError:
    """Return the error for a place that must not be written."""
    return StoreError(
        f"Expected to read and write the history {where}, found that it is not allowed.",
        hint="Choose another place with --history, or mend the permissions.",
    )


def _full(where: str) -> StoreError:
    return StoreError(
        f"Expected room to write the history {where}, found the disk full.",
        hint="Free some space and run the same command again.",
    )


def _broken_rule(where: str) -> StoreError:
    return StoreError(f"Expected rows that fit together in the history {where}, found others.")


def _sqlite_code(error: DBAPIError) -> int | None:
    """Return the extended result code of SQLite, 0 when it gave none; None for other databases."""
    if not isinstance(error.orig, sqlite3.Error):
        return None
    code = getattr(error.orig, "sqlite_errorcode", 0)
    return int(code)


def _state(error: DBAPIError) -> str:
    return str(getattr(error.orig, "sqlstate", "") or "")
