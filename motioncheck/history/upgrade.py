"""Telling what a database is, and bringing an older history up to date."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, inspect
from sqlalchemy.exc import DBAPIError

from motioncheck.errors import StoreError
from motioncheck.history.engine import BUSY_TIMEOUT_S, Database, writing_alone
from motioncheck.history.failures import is_busy, plain_failures
from motioncheck.history.tables import METADATA

# Revisions that this program knows, oldest first; one script each in `migrations/versions`.
REVISIONS: Final = ("0001", "0002", "0003")
HEAD: Final = REVISIONS[-1]
VERSION_TABLE: Final = "history_version"
# "mchk"; marks an SQLite file as ours.
APPLICATION_ID: Final = 0x6D63686B
_PAUSE_S: Final = 0.02


def prepare(database: Database, *, revision: str = HEAD) -> None:
    """Bring a database up to a revision; an empty one becomes a history.

    Raises
    ------
    StoreError
        If it is no history, or of a newer program.
    """
    with plain_failures(database.where):
        with database.engine.connect() as connection:
            if _find_revision(connection, database.where) == revision:
                return
        if database.is_sqlite:
            _write_ahead(database)
        with writing_alone(database) as connection:
            # Another program may have done it while this one waited for the lock.
            if _find_revision(connection, database.where) != revision:
                _migrate(connection, revision)
                if database.is_sqlite:
                    connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")


def _find_revision(connection: Connection, where: str) -> str:
    """Return the revision of a history, empty for an empty database."""
    tables = set(inspect(connection).get_table_names())
    foreign = connection.dialect.name == "sqlite" and tables and not _is_marked(connection)
    if VERSION_TABLE not in tables or foreign:
        # A server may hold other tables beside ours, but none of our names.
        if foreign or tables & set(METADATA.tables):
            raise StoreError(
                f"Expected a history at {where}, found a database of something else.",
                hint="Point to another place with --history.",
            )
        return ""
    found = connection.exec_driver_sql(f"SELECT version_num FROM {VERSION_TABLE}").scalar()
    if found not in REVISIONS:
        raise StoreError(
            f"Expected a history of revision {HEAD} or older at {where}, found {found}: a newer "
            "version of this program wrote it.",
            hint="Update the program, or point to another history.",
        )
    return str(found)


def _is_marked(connection: Connection) -> bool:
    return connection.exec_driver_sql("PRAGMA application_id").scalar() == APPLICATION_ID


def _write_ahead(database: Database) -> None:
    """Switch a file to the write-ahead log, which lets others read while one writes.

    SQLite does not wait for its busy timeout here, so two programs that open a new file at once
    need another try.
    """
    until = time.monotonic() + BUSY_TIMEOUT_S
    while True:
        try:
            # Outside of a transaction, hence not through SQLAlchemy.
            raw = database.engine.raw_connection()
            try:
                raw.cursor().execute("PRAGMA journal_mode=WAL")
                return
            finally:
                raw.close()
        except Exception as error:
            wrapped = DBAPIError("PRAGMA journal_mode=WAL", None, error)
            if not is_busy(wrapped):
                raise wrapped from error
            if time.monotonic() > until:
                raise wrapped from error
        time.sleep(_PAUSE_S)


def _migrate(connection: Connection, revision: str) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    folder = str(Path(__file__).parent / "migrations")
    # The settings are those of configparser, to which a percent sign means something.
    config.set_main_option("script_location", folder.replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, revision)
