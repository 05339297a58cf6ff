"""Reading sessions, checks, sheets and trials back."""

from __future__ import annotations

import zlib
from collections.abc import Collection, Mapping
from typing import Any

from sqlalchemy import Connection, Select, and_, func, or_, select

from motioncheck.errors import StoreError, UsageError
from motioncheck.history.people import require_id
from motioncheck.history.tables import (
    check_run,
    clip,
    correction,
    measure,
    person,
    plan,
    session,
)
from motioncheck.records.history import CheckRecord, SessionRecord
from motioncheck.records.result import Sheet
from motioncheck.sheet.json import sheet_from_json

# Numbers of rows are smaller; a larger one is an error of its own in some databases.
LARGEST = 2**31
_CHECK_COLUMNS = (
    check_run.c.id,
    person.c.code.label("person"),
    session.c.name.label("session"),
    session.c.day,
    clip.c.name.label("clip"),
    clip.c.sha256.label("clip_sha256"),
    clip.c.path.label("clip_path"),
    clip.c.kept.label("clip_kept"),
    check_run.c.folder,
    check_run.c.movement,
    check_run.c.title,
    check_run.c.view,
    check_run.c.azimuth_deg,
    check_run.c.model,
    check_run.c.model_sha256,
    check_run.c.standard_hash,
    check_run.c.program_version,
    check_run.c.calibration,
    check_run.c.recorded_at,
    check_run.c.current,
    check_run.c.events,
    check_run.c.misses,
    check_run.c.part,
    clip.c.id.label("clip_number"),
)
_MEASURE_COLUMNS = tuple(
    measure.c[name]
    for name in (
        "measure",
        "side",
        "moment",
        "unit",
        "count",
        "mean",
        "lowest",
        "highest",
        "sd",
        "mean_of_first",
        "uncertainty",
        "source",
    )
)


def read_sessions(connection: Connection, code: str) -> tuple[SessionRecord, ...]:
    """Return the sessions of a person by day, with their current checks counted."""
    person_id = require_id(connection, code)
    counted = (
        select(clip.c.session_id, func.count(check_run.c.id).label("checks"))
        .join_from(clip, check_run, check_run.c.clip_id == clip.c.id)
        .join(session, session.c.id == clip.c.session_id)
        .where(session.c.person_id == person_id, check_run.c.current)
        .group_by(clip.c.session_id)
        .subquery()
    )
    columns = (session.c.name, session.c.day, session.c.notes, plan.c.text, plan.c.sha256)
    query = (
        select(*columns, counted.c.checks)
        .join_from(session, plan, plan.c.id == session.c.plan_id, isouter=True)
        .join(counted, counted.c.session_id == session.c.id, isouter=True)
        .where(session.c.person_id == person_id)
        .order_by(session.c.day, session.c.id)
    )
    return tuple(
        SessionRecord(code, name, day, notes, text or "", sha256 or "", checks or 0)
        for name, day, notes, text, sha256, checks in connection.execute(query)
    )


def read_checks(
    connection: Connection,
    code: str | None = None,
    name: str | None = None,
    *,
    clip_sha256: str | None = None,
    current_only: bool = True,
) -> tuple[CheckRecord, ...]:
    """Return checks by person, day and time of recording."""
    query = _with_people(select(*_CHECK_COLUMNS))
    if code is not None:
        query = query.where(session.c.person_id == require_id(connection, code))
    if name is not None:
        query = query.where(session.c.name == name)
    if clip_sha256 is not None:
        query = query.where(clip.c.sha256 == clip_sha256)
    if current_only:
        query = query.where(check_run.c.current)
    order = (person.c.code, session.c.day, check_run.c.recorded_at, check_run.c.id)
    return tuple(CheckRecord(*row) for row in connection.execute(query.order_by(*order)))


def _with_people(query: Select[Any]) -> Select[Any]:
    return (
        query.join_from(person, session, session.c.person_id == person.c.id)
        .join(clip, clip.c.session_id == session.c.id)
        .join(check_run, check_run.c.clip_id == clip.c.id)
    )


def read_measures(
    connection: Connection,
    code: str,
    *,
    movement: str | None = None,
    measures: Collection[str] | None = None,
    current_only: bool = True,
) -> dict[int, list[tuple[Any, ...]]]:
    """Return the rows of measures of each check of a person.

    The values of a row are in the order of `MeasureRow`. ``measures`` chooses some ids.
    """
    person_id = require_id(connection, code)
    query = (
        select(measure.c.check_id, *_MEASURE_COLUMNS)
        .join_from(session, clip, clip.c.session_id == session.c.id)
        .join(check_run, check_run.c.clip_id == clip.c.id)
        .join(measure, measure.c.check_id == check_run.c.id)
        .where(session.c.person_id == person_id)
        .order_by(measure.c.check_id, measure.c.id)
    )
    if movement is not None:
        query = query.where(check_run.c.movement == movement)
    if measures is not None:
        query = query.where(measure.c.measure.in_(sorted(measures)))
    if current_only:
        query = query.where(check_run.c.current)
    found: dict[int, list[tuple[Any, ...]]] = {}
    for check_id, *values in connection.execute(query):
        found.setdefault(check_id, []).append(tuple(values))
    return found


def read_sheet(connection: Connection, check_id: int) -> Sheet:
    """Return the sheet of a check as it was measured."""
    packed = None
    if 0 < check_id < LARGEST:
        query = select(check_run.c.sheet).where(check_run.c.id == check_id)
        packed = connection.execute(query).scalar()
    if packed is None:
        raise UsageError(
            f"Expected the number of a check, found none numbered {check_id}.",
            hint="See `motioncheck history show CODE` for those there are.",
        )
    try:
        text = zlib.decompress(packed)
    except zlib.error as error:
        raise StoreError(f"Expected the sheet of check {check_id}, found it damaged.") from error
    return sheet_from_json(text)


def read_owner(connection: Connection, check_id: int) -> str | None:
    """Return the code of the person whose check it is; None for no check."""
    query = _with_people(select(person.c.code)).where(check_run.c.id == check_id)
    return connection.execute(query).scalar()


def read_corrected(connection: Connection, person_id: int) -> Mapping[int, tuple[str, str]]:
    """Return the checks of a person that somebody corrected: their clip and movement.

    Remarks alone correct nothing.
    """
    query = (
        select(check_run.c.id, clip.c.sha256, check_run.c.movement)
        .join_from(session, clip, clip.c.session_id == session.c.id)
        .join(check_run, check_run.c.clip_id == clip.c.id)
        .join(
            correction,
            and_(
                correction.c.clip_sha256 == clip.c.sha256,
                correction.c.movement == check_run.c.movement,
                or_(
                    correction.c.person_id.is_(None),
                    correction.c.person_id == session.c.person_id,
                ),
            ),
        )
        .where(
            session.c.person_id == person_id,
            correction.c.withdrawn_at == "",
            correction.c.kind != "note",
        )
    )
    return {check: (sha256, movement) for check, sha256, movement in connection.execute(query)}
