"""The people of the history."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any, cast

from sqlalchemy import Connection, RowMapping, func, insert, select, update

from motioncheck.errors import UsageError
from motioncheck.history.codes import now, validate_code, validate_person
from motioncheck.history.tables import check_run, clip, person, session
from motioncheck.records.history import PersonRecord, Sex

_FIELDS = tuple(field.name for field in dataclasses.fields(PersonRecord))
_COLUMNS = tuple(person.c[name] for name in _FIELDS)


@dataclass(frozen=True, slots=True)
class PersonLine:
    """A person with how many sessions and current checks there are, and the day of the last."""

    person: PersonRecord
    sessions: int
    checks: int
    last_day: str


def insert_person(connection: Connection, record: PersonRecord) -> None:
    """Add a person; raises `UsageError` when there is one of this code already."""
    validate_person(record)
    known = find_code(connection, record.code)
    if known is not None:
        raise UsageError(
            f"Expected a new code, found that there is a {known} already.",
            hint="Change the person with `motioncheck person set`, or choose another code.",
        )
    connection.execute(insert(person).values(**_values(record), added_at=now()))


def change_person(connection: Connection, code: str, fields: dict[str, Any]) -> PersonRecord:
    """Change some fields of a person; returns the new record."""
    allowed = set(_FIELDS) - {"code"}
    if not set(fields) <= allowed:
        raise TypeError(f"expected fields of {sorted(allowed)}, found {sorted(fields)}")
    record = dataclasses.replace(read_person(connection, code), **fields)
    validate_person(record)
    if fields:
        connection.execute(update(person).where(person.c.code == code).values(**fields))
    return record


def read_person(connection: Connection, code: str) -> PersonRecord:
    """Return a person; raises `UsageError` when there is none of this code."""
    validate_code(code)
    row = connection.execute(select(*_COLUMNS).where(person.c.code == code)).mappings().first()
    if row is None:
        raise unknown_person(code, find_code(connection, code))
    return _record(row)


def unknown_person(code: str, alike: str | None) -> UsageError:
    """Return the error for a code that nobody has; ``alike`` differs by capitals only."""
    if alike is not None:
        return UsageError(
            f"Expected the code of a person, found {code} where there is only {alike}.",
            hint="Capital and small letters are kept apart; write the code as it was added.",
        )
    return UsageError(
        f"Expected the code of a person, found nobody called {code}.",
        hint="See `motioncheck person list`, or add one with `motioncheck person add`.",
    )


def read_people(connection: Connection) -> tuple[PersonRecord, ...]:
    """Return all people by code."""
    rows = connection.execute(select(*_COLUMNS).order_by(person.c.code)).mappings()
    return tuple(_record(row) for row in rows)


def read_person_lines(connection: Connection) -> tuple[PersonLine, ...]:
    """Return all people by code, with their sessions and checks counted."""
    checks = (
        select(session.c.person_id, func.count(check_run.c.id).label("checks"))
        .join_from(session, clip, clip.c.session_id == session.c.id)
        .join(check_run, check_run.c.clip_id == clip.c.id)
        .where(check_run.c.current)
        .group_by(session.c.person_id)
        .subquery()
    )
    days = (
        select(
            session.c.person_id,
            func.count().label("sessions"),
            func.max(session.c.day).label("last_day"),
        )
        .group_by(session.c.person_id)
        .subquery()
    )
    query = (
        select(*_COLUMNS, days.c.sessions, days.c.last_day, checks.c.checks)
        .join_from(person, days, days.c.person_id == person.c.id, isouter=True)
        .join(checks, checks.c.person_id == person.c.id, isouter=True)
        .order_by(person.c.code)
    )
    return tuple(
        PersonLine(_record(row), row["sessions"] or 0, row["checks"] or 0, row["last_day"] or "")
        for row in connection.execute(query).mappings()
    )


def find_code(connection: Connection, code: str) -> str | None:
    """Return the code of a person as it was added, whatever its capitals; None for nobody."""
    query = select(person.c.code).where(func.lower(person.c.code) == code.lower())
    return connection.execute(query).scalar()


def require_id(connection: Connection, code: str) -> int:
    """Return the row of a person; raises `UsageError` when there is none of this code."""
    validate_code(code)
    found = connection.execute(select(person.c.id).where(person.c.code == code)).scalar()
    if found is None:
        raise unknown_person(code, find_code(connection, code))
    return int(found)


def _values(record: PersonRecord) -> dict[str, Any]:
    return {name: getattr(record, name) for name in _FIELDS}


def _record(row: RowMapping) -> PersonRecord:
    sex = cast("Sex | None", row["sex"])
    rest = {name: row[name] for name in _FIELDS if name != "sex"}
    return PersonRecord(**rest, sex=sex)
