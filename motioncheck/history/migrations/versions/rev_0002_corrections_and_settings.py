"""Corrections and settings; how many events and misses a check has, without reading its sheet."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the tables, and count the events and misses of every check that is there."""
    _make_corrections()
    for name in ("events", "misses"):
        column = sa.Column(name, sa.Integer, nullable=False, server_default="0")
        op.add_column("check_run", column)
    run = sa.table("check_run", *(sa.column(name) for name in ("id", "events", "misses")))
    event = sa.table("event", sa.column("check_id"))
    finding = sa.table("finding", sa.column("check_id"), sa.column("verdict"))
    events = sa.select(sa.func.count()).select_from(event).where(event.c.check_id == run.c.id)
    misses = (
        sa.select(sa.func.count())
        .select_from(finding)
        .where(finding.c.check_id == run.c.id, finding.c.verdict == "misses")
    )
    op.execute(
        sa.update(run).values(events=events.scalar_subquery(), misses=misses.scalar_subquery())
    )


def downgrade() -> None:
    """There is no way back: what a newer program wrote would be lost."""
    raise NotImplementedError("a history is not migrated back; restore a backup")


def _make_corrections() -> None:
    op.create_table(
        "correction",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("clip_sha256", sa.String(64), nullable=False),
        sa.Column("movement", sa.Text, nullable=False),
        sa.Column("kind", sa.String(10), nullable=False),
        sa.Column("event_kind", sa.String(10), nullable=False),
        *(sa.Column(name, sa.Float(53)) for name in ("at_s", "start_s", "end_s")),
        sa.Column("side", sa.String(10), nullable=False),
        _word("check_name"),
        sa.Column("verdict", sa.String(20)),
        _word("text"),
        sa.Column("author", sa.Text, nullable=False),
        sa.Column("made_at", sa.String(40), nullable=False),
        _word("withdrawn_at"),
        _word("withdrawn_by"),
        sa.PrimaryKeyConstraint("id", name="pk_correction"),
    )
    op.create_index("ix_correction_clip_sha256_movement", "correction", ["clip_sha256", "movement"])
    op.create_table(
        "setting",
        sa.Column("name", sa.String(60), nullable=False),
        _word("value"),
        sa.PrimaryKeyConstraint("name", name="pk_setting"),
    )


def _word(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=False, server_default="")
