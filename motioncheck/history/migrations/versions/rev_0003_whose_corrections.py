"""Whose check a correction is about: two people may be in one clip."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the person; corrections of a clip that one person has are theirs.

    Where a clip is recorded for several, nobody knows whose it was: it stays with all of them.
    """
    with op.batch_alter_table("correction") as table:
        table.add_column(sa.Column("person_id", sa.Integer))
        table.create_foreign_key(
            "fk_correction_person_id", "person", ["person_id"], ["id"], ondelete="CASCADE"
        )
    op.create_index("ix_correction_person_id", "correction", ["person_id"])
    correction = sa.table("correction", sa.column("clip_sha256"), sa.column("person_id"))
    clip = sa.table("clip", sa.column("sha256"), sa.column("session_id"))
    session = sa.table("session", sa.column("id"), sa.column("person_id"))
    owner = (
        sa.select(sa.func.min(session.c.person_id))
        .select_from(clip.join(session, session.c.id == clip.c.session_id))
        .where(clip.c.sha256 == correction.c.clip_sha256)
        .having(sa.func.count(session.c.person_id.distinct()) == 1)
    )
    op.execute(sa.update(correction).values(person_id=owner.scalar_subquery()))


def downgrade() -> None:
    """There is no way back: what a newer program wrote would be lost."""
    raise NotImplementedError("a history is not migrated back; restore a backup")
