"""Writing a check into the history, in one transaction and only once."""

from __future__ import annotations

import hashlib
import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, RowMapping, Table, insert, select, update

from motioncheck.errors import UsageError
from motioncheck.history.codes import (
    now,
    today,
    validate_code,
    validate_day,
    validate_session,
)
from motioncheck.history.measures import aggregate_measures
from motioncheck.history.people import find_code, unknown_person
from motioncheck.history.tables import (
    Row,
    check_run,
    clip,
    event,
    finding,
    measure,
    person,
    plan,
    range_result,
    session,
)
from motioncheck.records.history import Recorded, RecordStatus
from motioncheck.records.result import Finding, Sheet
from motioncheck.sheet.json import sheet_to_json

# What makes a check of a clip and a movement another one than those before.
_WHAT = ("standard_hash", "model_sha256", "program_version", "calibration", "athlete", "part")


@dataclass(frozen=True, slots=True)
class Entry:
    """What is recorded beside the sheet; see `History.record`."""

    person: str
    session: str | None = None
    day: str | None = None
    clip_path: str = ""
    kept: bool = False
    folder: str = ""
    plan: tuple[str, str] | None = None
    part: int = 0


def require_valid(entry: Entry) -> Entry:
    """Return the entry with its names in order; raises `UsageError` where one is unusable."""
    validate_code(entry.person)
    if entry.day is not None:
        validate_day(entry.day)
    name = None if entry.session is None else validate_session(entry.session)
    return replace(entry, session=name)


def require_fits(connection: Connection, entry: Entry) -> None:
    """Raise what `write_check` would raise for these names, without writing."""
    alike = find_code(connection, entry.person)
    if alike is None:
        return
    if alike != entry.person:
        raise unknown_person(entry.person, alike)
    name = entry.session or entry.day
    query = (
        select(session.c.day)
        .join(person, person.c.id == session.c.person_id)
        .where(person.c.code == entry.person, session.c.name == name)
    )
    _require_day(entry, name or "", connection.execute(query).scalar())


def _require_day(entry: Entry, name: str, day: str | None) -> None:
    if None not in (day, entry.day) and day != entry.day:
        raise UsageError(
            f"Expected session {name!r} of {entry.person} on {day}, found {entry.day}.",
            hint="Give the session of another day another name, or leave the day out.",
        )


def write_check(connection: Connection, sheet: Sheet, entry: Entry) -> Recorded:
    """Write a sheet as measured; nothing changes where the same is there already."""
    person_id = _person_row(connection, entry.person)
    place = _session_row(connection, person_id, sheet, entry)
    clip_id = _clip_row(connection, place["id"], sheet, entry)
    check_id, status = _check_row(connection, clip_id, sheet, entry)
    if status != "known":
        _refer(connection, place, clip_id, check_id, entry)
    if entry.kept:
        _update(connection, clip, clip_id, path=entry.clip_path, kept=True)
    return Recorded(check_id, entry.person, place["name"], status)


def _person_row(connection: Connection, code: str) -> int:
    # Whoever records for a person holds the row: two programs take turns.
    query = select(person.c.id).where(person.c.code == code).with_for_update()
    found = connection.execute(query).scalar()
    if found is not None:
        return int(found)
    alike = find_code(connection, code)
    if alike is not None and alike != code:
        raise unknown_person(code, alike)
    return _insert(connection, person, code=code, added_at=now())


def _session_row(
    connection: Connection, person_id: int, sheet: Sheet, entry: Entry
) -> RowMapping | Row:
    """Return id, name and plan of the session, added when it is a new one.

    Without a name and a day, a clip that is known stays in its session, on whatever day it is
    checked again.
    """
    if entry.session is None and entry.day is None:
        known = _session_of_clip(connection, person_id, sheet.clip.sha256)
        if known is not None:
            return known
    name = entry.session or entry.day or today()
    columns = (session.c.id, session.c.name, session.c.day, session.c.plan_id)
    query = select(*columns).where(session.c.person_id == person_id, session.c.name == name)
    found = connection.execute(query).mappings().first()
    if found is None:
        day = entry.day or _day_named(name) or today()
        new = _insert(connection, session, person_id=person_id, name=name, day=day)
        return {"id": new, "name": name, "plan_id": None}
    _require_day(entry, name, found["day"])
    return found


def _session_of_clip(connection: Connection, person_id: int, sha256: str) -> RowMapping | None:
    query = (
        select(session.c.id, session.c.name, session.c.plan_id)
        .join_from(session, clip, clip.c.session_id == session.c.id)
        .where(session.c.person_id == person_id, clip.c.sha256 == sha256)
        .order_by(session.c.id.desc())
    )
    return connection.execute(query).mappings().first()


def _day_named(name: str) -> str | None:
    """Return the day that a session is named after, None for any other name."""
    try:
        return validate_day(name)
    except UsageError:
        return None


def _clip_row(connection: Connection, session_id: int, sheet: Sheet, entry: Entry) -> int:
    info = sheet.clip
    query = select(clip.c.id).where(clip.c.session_id == session_id, clip.c.sha256 == info.sha256)
    found = connection.execute(query).scalar()
    if found is not None:
        return int(found)
    return _insert(
        connection,
        clip,
        session_id=session_id,
        sha256=info.sha256,
        name=_storable(info.name),
        path=entry.clip_path,
        kept=entry.kept,
        duration_s=info.duration_s,
        width_px=info.width_px,
        height_px=info.height_px,
    )


def _check_row(
    connection: Connection, clip_id: int, sheet: Sheet, entry: Entry
) -> tuple[int, RecordStatus]:
    """Return the check and whether it is new; it is the current one of its clip afterwards."""
    same_clip = (check_run.c.clip_id == clip_id, check_run.c.movement == sheet.movement.id)
    what = {**_describe(sheet), "part": entry.part}
    same = (check_run.c[name] == what[name] for name in _WHAT)
    query = select(check_run.c.id, check_run.c.current).where(*same_clip, *same)
    found = connection.execute(query).first()
    if found is not None and found.current:
        return found.id, "known"
    older = update(check_run).where(*same_clip, check_run.c.current).values(current=False)
    if entry.part:
        # The whole clip takes the place of all parts, a part that of itself and of the whole.
        older = older.where(check_run.c.part.in_((0, entry.part)))
    newer = connection.execute(older).rowcount > 0 or found is not None
    status: RecordStatus = "newer" if newer else "new"
    if found is not None:
        # An older program or standard again: what it found then is there, and holds again.
        _update(connection, check_run, found.id, current=True, recorded_at=now())
        return found.id, status
    check_id = _insert(
        connection,
        check_run,
        clip_id=clip_id,
        **what,
        folder=entry.folder,
        recorded_at=now(),
        current=True,
        sheet=pack_sheet(sheet),
    )
    _insert_parts(connection, check_id, sheet)
    return check_id, status


def _describe(sheet: Sheet) -> Row:
    source = sheet.provenance
    return {
        "movement": sheet.movement.id,
        "title": sheet.movement.title,
        "event_kind": sheet.movement.event_kind,
        "view": sheet.camera.view,
        "azimuth_deg": sheet.camera.azimuth_deg,
        "model": sheet.track.model,
        "model_sha256": source.model_sha256,
        "standard_hash": source.standard_hash,
        "program_version": source.version,
        "calibration": source.calibration,
        "athlete": str(source.options.get("athlete_px") or ""),
        "events": len(sheet.events),
        "misses": sheet.summary.verdicts.get("misses", 0),
    }


def _refer(
    connection: Connection, place: RowMapping | Row, clip_id: int, check_id: int, entry: Entry
) -> None:
    """Note where the clip and its sheet are now, and what was planned."""
    if entry.clip_path and not entry.kept:
        unkept = (clip.c.id == clip_id, ~clip.c.kept)
        connection.execute(update(clip).where(*unkept).values(path=entry.clip_path))
    if entry.folder:
        _update(connection, check_run, check_id, folder=entry.folder)
    if entry.plan is not None:
        _update(connection, session, place["id"], plan_id=_plan_row(connection, *entry.plan))


def _plan_row(connection: Connection, name: str, text: str) -> int:
    sha256 = hashlib.sha256(text.encode("utf-8")).hexdigest()
    found = connection.execute(select(plan.c.id).where(plan.c.sha256 == sha256)).scalar()
    if found is not None:
        return int(found)
    return _insert(connection, plan, sha256=sha256, name=name, text=text)


def _insert_parts(connection: Connection, check_id: int, sheet: Sheet) -> None:
    """Write the events, findings, measures and ranges of a check."""
    whole = [_finding_row(check_id, one, "", None) for one in sheet.summary.set_findings]
    single = [
        _finding_row(check_id, one, e.kind, e.number) for e in sheet.events for one in e.findings
    ]
    parts: tuple[tuple[Table, list[Row]], ...] = (
        (event, _event_rows(check_id, sheet)),
        (finding, single + whole),
        (measure, _measure_rows(check_id, sheet)),
        (range_result, _range_rows(check_id, sheet)),
    )
    for table, rows in parts:
        if rows:
            connection.execute(insert(table), rows)


def _event_rows(check_id: int, sheet: Sheet) -> list[Row]:
    return [
        {
            "check_id": check_id,
            "kind": e.kind,
            "number": e.number,
            "side": e.side,
            "start_s": e.start_s,
            "turn_s": e.turn_s,
            "end_s": e.end_s,
            "stage": e.stage,
            "rung": e.group,
            "name": e.name,
        }
        for e in sheet.events
    ]


def _finding_row(check_id: int, one: Finding, kind: str, number: int | None) -> Row:
    return {
        "check_id": check_id,
        "event_kind": kind,
        "event_number": number,
        "check_name": one.check,
        "measure": one.measure,
        "side": one.side,
        "verdict": one.verdict,
        "value": one.value,
        "threshold": one.threshold,
        "comparison": one.comparison,
        "unit": one.unit,
        "uncertainty": one.uncertainty,
        "source": one.source,
    }


def _measure_rows(check_id: int, sheet: Sheet) -> list[Row]:
    names = [c.name for c in measure.c if c.name not in ("id", "check_id")]
    return [
        {"check_id": check_id, **{name: getattr(row, name) for name in names}}
        for row in aggregate_measures(sheet)
    ]


def _range_rows(check_id: int, sheet: Sheet) -> list[Row]:
    names = [c.name for c in range_result.c if c.name not in ("id", "check_id")]
    return [
        {"check_id": check_id, **{name: getattr(line, name) for name in names}}
        for line in sheet.summary.ranges
    ]


def pack_sheet(sheet: Sheet) -> bytes:
    """Return a sheet as compressed JSON."""
    return zlib.compress(sheet_to_json(sheet).encode("utf-8", "replace"), 6)


def _insert(connection: Connection, table: Table, **values: Any) -> int:
    result = connection.execute(insert(table).values(**values).returning(table.c.id))
    return int(result.scalar_one())


def _update(connection: Connection, table: Table, row: int, **values: Any) -> None:
    connection.execute(update(table).where(table.c.id == row).values(**values))


def path_text(path: Path | None) -> str:
    """Return a path as it is kept, absolute; empty for none."""
    return "" if path is None else _storable(str(Path(path).absolute()))


def _storable(text: str) -> str:
    """Return a name of a file as a text that databases take: some file names are no text."""
    return text.encode("utf-8", "replace").decode("utf-8")


def as_kept(entry: Entry, copy: Path) -> Entry:
    """Return the entry for a clip of which the history has its own copy."""
    return replace(entry, clip_path=path_text(copy), kept=True)
