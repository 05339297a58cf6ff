"""What Alembic runs: every missing revision, on the connection and in the transaction it is given.

The caller holds the lock and commits, so that two programs never migrate at once and a migration
that breaks off leaves the old revision. Foreign keys are not enforced meanwhile on SQLite, where
changing a table means making it anew; the caller checks them before it commits.
"""

from __future__ import annotations

from alembic import context

from motioncheck.history.tables import METADATA

# Only ours: the database of a clinic may hold other programs' tables with a version of their own.
VERSION_TABLE = "history_version"


def run_migrations() -> None:
    """Run the missing revisions."""
    connection = context.config.attributes["connection"]
    context.configure(
        connection=connection,
        target_metadata=METADATA,
        version_table=VERSION_TABLE,
        render_as_batch=connection.dialect.name == "sqlite",
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()


# Alembic loads this file while it migrates; anything else may import it and nothing happens.
if hasattr(context, "config"):
    run_migrations()
