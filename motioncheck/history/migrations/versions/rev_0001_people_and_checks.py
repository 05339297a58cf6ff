"""People, sessions, clips, and what was found in them."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the first tables."""
    _make_people()
    _make_checks()
    _make_findings()


def downgrade() -> None:
    """There is no way back: what a newer program wrote would be lost."""
    raise NotImplementedError("a history is not migrated back; restore a backup")


def _key() -> sa.Column[int]:
    return sa.Column("id", sa.Integer, nullable=False)


def _primary(table: str) -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint("id", name=f"pk_{table}")


def _word(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=False, server_default="")


def _number(name: str, *, known: bool = False) -> sa.Column[float]:
    return sa.Column(name, sa.Float(53), nullable=not known)


def _text(name: str, size: int | None = None) -> sa.Column[str]:
    return sa.Column(name, sa.Text if size is None else sa.String(size), nullable=False)


def _whole(name: str, *, known: bool = True) -> sa.Column[int]:
    return sa.Column(name, sa.Integer, nullable=not known)


def _child(table: str, parent: str, column: str) -> sa.ForeignKeyConstraint:
    name = f"fk_{table}_{column}"
    return sa.ForeignKeyConstraint([column], [f"{parent}.id"], name=name, ondelete="CASCADE")


def _make_people() -> None:
    op.create_table(
        "person",
        _key(),
        _text("code", 40),
        _word("name"),
        _whole("birth_year", known=False),
        sa.Column("sex", sa.String(10)),
        _number("stature_m"),
        _word("notes"),
        _text("added_at", 40),
        _primary("person"),
        sa.UniqueConstraint("code", name="uq_person_code"),
    )
    op.create_index("ux_person_code_any_case", "person", [sa.text("lower(code)")], unique=True)
    op.create_table(
        "plan",
        _key(),
        _text("sha256", 64),
        _word("name"),
        _word("text"),
        _primary("plan"),
        sa.UniqueConstraint("sha256", name="uq_plan_sha256"),
    )
    op.create_table(
        "session",
        _key(),
        _whole("person_id"),
        _text("name"),
        _text("day", 10),
        _word("notes"),
        _whole("plan_id", known=False),
        _primary("session"),
        _child("session", "person", "person_id"),
        sa.ForeignKeyConstraint(["plan_id"], ["plan.id"], name="fk_session_plan_id"),
        sa.UniqueConstraint("person_id", "name", name="uq_session_person_id_name"),
    )
    op.create_index("ix_session_person_day", "session", ["person_id", "day"])
    op.create_index("ix_session_plan_id", "session", ["plan_id"])


def _make_checks() -> None:
    op.create_table(
        "clip",
        _key(),
        _whole("session_id"),
        _text("sha256", 64),
        _word("name"),
        _word("path"),
        sa.Column("kept", sa.Boolean, nullable=False),
        _number("duration_s", known=True),
        _whole("width_px"),
        _whole("height_px"),
        _primary("clip"),
        _child("clip", "session", "session_id"),
        sa.UniqueConstraint("session_id", "sha256", name="uq_clip_session_id_sha256"),
    )
    op.create_index("ix_clip_sha256", "clip", ["sha256"])
    what = ("standard_hash", "model_sha256", "program_version", "calibration", "athlete")
    op.create_table(
        "check_run",
        _key(),
        _whole("clip_id"),
        _text("movement"),
        _word("title"),
        _text("event_kind", 10),
        _word("view"),
        _number("azimuth_deg"),
        _word("model"),
        *(_word(name) for name in what),
        sa.Column("part", sa.Integer, nullable=False, server_default="0"),
        _word("folder"),
        _text("recorded_at", 40),
        sa.Column("current", sa.Boolean, nullable=False),
        sa.Column("sheet", sa.LargeBinary, nullable=False),
        _primary("check_run"),
        _child("check_run", "clip", "clip_id"),
        sa.UniqueConstraint("clip_id", "movement", *what, "part", name="uq_check_run_what"),
    )
    op.create_index(
        "ux_check_run_current",
        "check_run",
        ["clip_id", "movement", "part"],
        unique=True,
        sqlite_where=sa.text('"current"'),
        postgresql_where=sa.text('"current"'),
    )


def _make_findings() -> None:
    op.create_table(
        "event",
        _key(),
        _whole("check_id"),
        _text("kind", 10),
        _whole("number"),
        _text("side", 10),
        *(_number(name, known=True) for name in ("start_s", "turn_s", "end_s")),
        _whole("stage", known=False),
        _whole("rung", known=False),
        _word("name"),
        _primary("event"),
        _child("event", "check_run", "check_id"),
    )
    op.create_table(
        "finding",
        _key(),
        _whole("check_id"),
        _word("event_kind"),
        _whole("event_number", known=False),
        _text("check_name"),
        _text("measure"),
        _text("side", 10),
        _text("verdict", 20),
        _number("value"),
        _number("threshold", known=True),
        _text("comparison", 10),
        _word("unit"),
        _number("uncertainty"),
        _word("source"),
        _primary("finding"),
        _child("finding", "check_run", "check_id"),
    )
    op.create_table(
        "measure",
        _key(),
        _whole("check_id"),
        _text("measure"),
        _text("side", 10),
        _text("moment", 20),
        _word("unit"),
        _whole("count"),
        *(_number(name, known=True) for name in ("mean", "lowest", "highest")),
        *(_number(name) for name in ("sd", "mean_of_first", "uncertainty")),
        _word("source"),
        _primary("measure"),
        _child("measure", "check_run", "check_id"),
        sa.UniqueConstraint("check_id", "measure", "side", "moment", name="uq_measure_what"),
    )
    op.create_table(
        "range_result",
        _key(),
        _whole("check_id"),
        _text("measure"),
        _word("title"),
        _word("unit"),
        _text("side", 10),
        _text("moment", 20),
        _text("best_is", 10),
        _whole("trials"),
        *(_number(name) for name in ("best", "mean_of_three", "uncertainty")),
        _primary("range_result"),
        _child("range_result", "check_run", "check_id"),
    )
    for table in ("event", "finding", "range_result"):
        op.create_index(f"ix_{table}_check_id", table, ["check_id"])
