"""Taking people and sessions out of the history so that nothing of them is left in its file."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection
from typing import Any

from sqlalchemy import Connection, Exists, Select, delete, exists, insert, select

from motioncheck.errors import StoreError
from motioncheck.history.engine import Database
from motioncheck.history.failures import plain_failures
from motioncheck.history.people import require_id
from motioncheck.history.tables import METADATA, clip, correction, person, plan, session, setting

# Set with the rows that go, taken back when their pages are gone as well.
_DUE = "compaction due"


def delete_person(connection: Connection, code: str) -> None:
    """Delete a person with all sessions, checks, values and corrections."""
    person_id = require_id(connection, code)
    connection.execute(delete(person).where(person.c.id == person_id))
    _delete_orphans(connection)


def delete_sessions(connection: Connection, code: str, names: Collection[str]) -> None:
    """Delete some sessions of a person; the person stays."""
    person_id = require_id(connection, code)
    connection.execute(
        delete(session).where(session.c.person_id == person_id, session.c.name.in_(names))
    )
    _delete_orphans(connection)


def _delete_orphans(connection: Connection) -> None:
    """Delete what only the deleted rows referred to, and note that pages have to be emptied."""
    connection.execute(delete(plan).where(plan.c.id.not_in(_used_plans())))
    connection.execute(delete(correction).where(correction.c.clip_sha256.not_in(_held_clips())))
    connection.execute(
        delete(correction).where(correction.c.person_id.is_not(None), ~_is_held_by_its_person())
    )
    set_setting(connection, _DUE, "yes")


def _used_plans() -> Select[Any]:
    return select(session.c.plan_id).where(session.c.plan_id.is_not(None))


def _held_clips() -> Select[Any]:
    return select(clip.c.sha256)


def _is_held_by_its_person() -> Exists:
    """Whether the person a correction is about still has its clip in a session."""
    return exists().where(
        clip.c.sha256 == correction.c.clip_sha256,
        session.c.id == clip.c.session_id,
        session.c.person_id == correction.c.person_id,
    )


def get_setting(connection: Connection, name: str) -> str:
    """Return a setting, empty when it was never set."""
    query = select(setting.c.value).where(setting.c.name == name)
    return connection.execute(query).scalar() or ""


def set_setting(connection: Connection, name: str, value: str) -> None:
    """Set a setting; an empty value removes it."""
    connection.execute(delete(setting).where(setting.c.name == name))
    if value:
        connection.execute(insert(setting).values(name=name, value=value))


def is_compaction_due(database: Database) -> bool:
    """Tell whether rows were deleted whose pages may still hold something."""
    with database.reading() as connection:
        return get_setting(connection, _DUE) != ""


def compact(database: Database) -> None:
    """Rewrite the database so that free pages and the journal hold nothing any more.

    Raises
    ------
    StoreError
        If another program keeps the history in use, or there is no room for a second copy.
    """
    database.write(lambda connection: set_setting(connection, _DUE, ""))
    try:
        with plain_failures(database.where):
            if database.is_sqlite:
                _compact_sqlite(database)
            else:
                _compact_server(database)
    except StoreError:
        database.write(lambda connection: set_setting(connection, _DUE, "yes"))
        raise


def _compact_sqlite(database: Database) -> None:
    raw = database.engine.raw_connection()
    try:
        cursor = raw.cursor()
        # Outside of any transaction; the journal is written into the file before and after.
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        cursor.execute("VACUUM")
        busy = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        cursor.close()
    except sqlite3.Error as error:
        raise StoreError(
            f"Expected to rewrite the history {database.where}, found: {error}.",
            hint="Close other programs that use it, free some space, and run the command again.",
        ) from error
    finally:
        raw.close()
    if busy and busy[0]:
        raise StoreError(
            f"Expected to empty the journal of the history {database.where}, found another "
            "program reading it.",
            hint="Close the other program and run the same command again.",
        )


def _compact_server(database: Database) -> None:
    names = ", ".join(table.name for table in METADATA.sorted_tables)
    with database.engine.connect() as connection:
        alone = connection.execution_options(isolation_level="AUTOCOMMIT")
        alone.exec_driver_sql(f"VACUUM (FULL) {names}")
