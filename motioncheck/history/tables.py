"""The tables of the history, as they are at the newest revision.

What changes here changes in a new script of ``migrations/versions`` as well; a test compares the
two. Text that people typed is only ever a bound parameter.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    func,
    text,
)

# Names for every constraint, so that a later migration can name what it changes.
METADATA = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _key() -> Column[int]:
    return Column("id", Integer, primary_key=True)


def _parent(name: str, table: str, *, index: bool = True) -> Column[int]:
    """Return the column of a row's parent: when the parent goes, so does the row."""
    return Column(
        name,
        Integer,
        ForeignKey(f"{table}.id", ondelete="CASCADE"),
        nullable=False,
        index=index,
    )


def _word(name: str, default: str = "") -> Column[str]:
    return Column(name, Text, nullable=False, server_default=default)


def _number(name: str) -> Column[float]:
    """Return a column of a number that may be unknown."""
    return Column(name, Float(53))


person = Table(
    "person",
    METADATA,
    _key(),
    Column("code", String(40), nullable=False, unique=True),
    _word("name"),
    Column("birth_year", Integer),
    Column("sex", String(10)),
    _number("stature_m"),
    _word("notes"),
    Column("added_at", String(40), nullable=False),
)
# Seat3 and seat3 would share a folder where file names know no case, so they are one code.
Index("ux_person_code_any_case", func.lower(person.c.code), unique=True)

plan = Table(
    "plan",
    METADATA,
    _key(),
    Column("sha256", String(64), nullable=False, unique=True),
    _word("name"),
    _word("text"),
)

session = Table(
    "session",
    METADATA,
    _key(),
    _parent("person_id", "person", index=False),
    Column("name", Text, nullable=False),
    Column("day", String(10), nullable=False),
    _word("notes"),
    Column("plan_id", Integer, ForeignKey("plan.id"), index=True),
    UniqueConstraint("person_id", "name"),
    Index("ix_session_person_day", "person_id", "day"),
)

clip = Table(
    "clip",
    METADATA,
    _key(),
    _parent("session_id", "session", index=False),
    Column("sha256", String(64), nullable=False, index=True),
    _word("name"),
    _word("path"),
    Column("kept", Boolean, nullable=False),
    Column("duration_s", Float(53), nullable=False),
    Column("width_px", Integer, nullable=False),
    Column("height_px", Integer, nullable=False),
    UniqueConstraint("session_id", "sha256"),
)

check_run = Table(
    "check_run",
    METADATA,
    _key(),
    _parent("clip_id", "clip", index=False),
    Column("movement", Text, nullable=False),
    _word("title"),
    Column("event_kind", String(10), nullable=False),
    _word("view"),
    _number("azimuth_deg"),
    _word("model"),
    _word("model_sha256"),
    _word("standard_hash"),
    _word("program_version"),
    _word("calibration"),
    # Whom the program was told to follow, empty when it chose: another body, another check.
    _word("athlete"),
    # Which stretch of the movement in the clip, from 1; 0 for the whole clip.
    Column("part", Integer, nullable=False, server_default="0"),
    _word("folder"),
    Column("recorded_at", String(40), nullable=False),
    Column("current", Boolean, nullable=False),
    Column("events", Integer, nullable=False, server_default="0"),
    Column("misses", Integer, nullable=False, server_default="0"),
    # The sheet as measured, JSON compressed with zlib.
    Column("sheet", LargeBinary, nullable=False),
    UniqueConstraint(
        "clip_id",
        "movement",
        "standard_hash",
        "model_sha256",
        "program_version",
        "calibration",
        "athlete",
        "part",
        name="uq_check_run_what",
    ),
)
# At most one check of a clip, movement and part is the current one, whoever writes at once.
Index(
    "ux_check_run_current",
    check_run.c.clip_id,
    check_run.c.movement,
    check_run.c.part,
    unique=True,
    sqlite_where=text('"current"'),
    postgresql_where=text('"current"'),
)

event = Table(
    "event",
    METADATA,
    _key(),
    _parent("check_id", "check_run"),
    Column("kind", String(10), nullable=False),
    Column("number", Integer, nullable=False),
    Column("side", String(10), nullable=False),
    Column("start_s", Float(53), nullable=False),
    Column("turn_s", Float(53), nullable=False),
    Column("end_s", Float(53), nullable=False),
    Column("stage", Integer),
    Column("rung", Integer),
    _word("name"),
)

finding = Table(
    "finding",
    METADATA,
    _key(),
    _parent("check_id", "check_run"),
    # Kind and number of the event; both empty for a finding of the whole set.
    _word("event_kind"),
    Column("event_number", Integer),
    Column("check_name", Text, nullable=False),
    Column("measure", Text, nullable=False),
    Column("side", String(10), nullable=False),
    Column("verdict", String(20), nullable=False),
    _number("value"),
    Column("threshold", Float(53), nullable=False),
    Column("comparison", String(10), nullable=False),
    _word("unit"),
    _number("uncertainty"),
    _word("source"),
)

measure = Table(
    "measure",
    METADATA,
    _key(),
    _parent("check_id", "check_run", index=False),
    Column("measure", Text, nullable=False),
    Column("side", String(10), nullable=False),
    Column("moment", String(20), nullable=False),
    _word("unit"),
    Column("count", Integer, nullable=False),
    Column("mean", Float(53), nullable=False),
    Column("lowest", Float(53), nullable=False),
    Column("highest", Float(53), nullable=False),
    _number("sd"),
    _number("mean_of_first"),
    _number("uncertainty"),
    _word("source"),
    UniqueConstraint("check_id", "measure", "side", "moment", name="uq_measure_what"),
)

range_result = Table(
    "range_result",
    METADATA,
    _key(),
    _parent("check_id", "check_run"),
    Column("measure", Text, nullable=False),
    _word("title"),
    _word("unit"),
    Column("side", String(10), nullable=False),
    Column("moment", String(20), nullable=False),
    Column("best_is", String(10), nullable=False),
    Column("trials", Integer, nullable=False),
    _number("best"),
    _number("mean_of_three"),
    _number("uncertainty"),
)

correction = Table(
    "correction",
    METADATA,
    _key(),
    Column("clip_sha256", String(64), nullable=False),
    Column("movement", Text, nullable=False),
    Column("kind", String(10), nullable=False),
    Column("event_kind", String(10), nullable=False),
    _number("at_s"),
    _number("start_s"),
    _number("end_s"),
    Column("side", String(10), nullable=False),
    _word("check_name"),
    Column("verdict", String(20)),
    _word("text"),
    Column("author", Text, nullable=False),
    Column("made_at", String(40), nullable=False),
    _word("withdrawn_at"),
    _word("withdrawn_by"),
    # Whose check was corrected; none: that of everybody who is recorded with this clip.
    Column("person_id", Integer, ForeignKey("person.id", ondelete="CASCADE"), index=True),
    Index("ix_correction_clip_sha256_movement", "clip_sha256", "movement"),
)

setting = Table(
    "setting",
    METADATA,
    Column("name", String(60), primary_key=True),
    _word("value"),
)

Row = dict[str, Any]
