"""Corrections in the history: reading, adding, withdrawing. Nothing is ever deleted here.

Each function works in the transaction of the connection it is given; the caller commits.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, insert, or_, select, update

from motioncheck.errors import UsageError
from motioncheck.history.people import require_id
from motioncheck.history.read import LARGEST
from motioncheck.history.tables import clip, correction, person, session
from motioncheck.records import VERDICTS
from motioncheck.records.history import CORRECTION_KINDS, Correction

if TYPE_CHECKING:
    from sqlalchemy import Connection, RowMapping, Select

SIDES = ("left", "right", "both")
EVENT_KINDS = ("rep", "hold", "stage", "bout")
# Long enough for a reason, short enough for a line of the sheet.
MAX_TEXT = 500
MAX_AUTHOR = 80


def list_corrections(
    connection: Connection,
    *,
    code: str | None = None,
    clip_sha256: str | None = None,
    withdrawn: bool = False,
) -> tuple[Correction, ...]:
    """Return corrections in the order in which they were made.

    Parameters
    ----------
    connection : Connection
    code : str, optional
        Only those of clips that are recorded for this person, and about nobody else.
    clip_sha256 : str, optional
        Only those of this clip.
    withdrawn : bool
        Also those that were withdrawn.
    """
    wanted = _with_person()
    if clip_sha256 is not None:
        wanted = wanted.where(correction.c.clip_sha256 == clip_sha256)
    if code is not None:
        own = (
            select(clip.c.sha256)
            .join(session, clip.c.session_id == session.c.id)
            .join(person, session.c.person_id == person.c.id)
            .where(person.c.code == code)
            .correlate(None)
        )
        theirs = or_(correction.c.person_id.is_(None), person.c.code == code)
        wanted = wanted.where(correction.c.clip_sha256.in_(own), theirs)
    if not withdrawn:
        wanted = wanted.where(correction.c.withdrawn_at == "")
    rows = connection.execute(wanted.order_by(correction.c.id))
    return tuple(_record(row) for row in rows.mappings())


def _with_person() -> Select[Any]:
    """Return a query for corrections with the code of whom they are about."""
    code = func.coalesce(person.c.code, "").label("person")
    return select(correction, code).join_from(
        correction, person, person.c.id == correction.c.person_id, isouter=True
    )


def get_correction(connection: Connection, number: int) -> Correction:
    """Return one correction; raises `UsageError` when there is none of this number."""
    row = None
    if 0 < number < LARGEST:
        query = _with_person().where(correction.c.id == number)
        row = connection.execute(query).mappings().first()
    if row is None:
        raise UsageError(
            f"Expected the number of a correction, found no correction {number}.",
            hint="Run `motioncheck correct list` for those on record.",
        )
    return _record(row)


def insert_correction(connection: Connection, new: Correction) -> Correction:
    """Add a correction and return it with its number.

    Raises
    ------
    UsageError
        If it says nothing that can be applied, or is about nobody who is known: see the message.
    """
    validate_correction(new)
    person_id = require_id(connection, new.person) if new.person else None
    row = {**_row(new), "person_id": person_id}
    done = connection.execute(insert(correction).values(**row).returning(correction.c.id))
    return get_correction(connection, int(done.scalar_one()))


def mark_withdrawn(
    connection: Connection, number: int, by: str, at: str | None = None
) -> Correction:
    """Withdraw a correction and return it; one that is withdrawn already stays as it is.

    Parameters
    ----------
    number : int
    by : str
        Who withdraws it.
    at : str, optional
        When, ISO 8601; now by default.

    Raises
    ------
    UsageError
        If there is none of this number, or nobody is named.
    """
    found = get_correction(connection, number)
    _require_name(by)
    if found.withdrawn_at:
        return found
    connection.execute(
        update(correction)
        .where(correction.c.id == number, correction.c.withdrawn_at == "")
        .values(withdrawn_at=at or now_utc(), withdrawn_by=by)
    )
    return get_correction(connection, number)


def now_utc() -> str:
    """Return the instant in UTC, to the microsecond, so that corrections sort by it as text."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def validate_correction(new: Correction) -> None:
    """Check that a correction can be kept and applied; raises `UsageError` when it cannot."""
    if new.kind not in CORRECTION_KINDS:
        raise _refuse(f"one of {', '.join(CORRECTION_KINDS)}", f"{new.kind!r}")
    if new.event_kind not in EVENT_KINDS or new.side not in SIDES:
        raise _refuse("an event and a side that are known", f"{new.event_kind!r}, {new.side!r}")
    if not (new.clip_sha256 and new.movement and new.made_at):
        raise _refuse("the clip, the movement and when it was made", "one of them missing")
    _require_name(new.by)
    if len(new.text) > MAX_TEXT:
        raise _refuse(f"a reason of at most {MAX_TEXT} characters", f"{len(new.text)}")
    if "\0" in new.text + new.by + new.check:
        raise _refuse("readable text", "a character that no database keeps")
    if any(t is not None and not math.isfinite(t) for t in (new.at_s, new.start_s, new.end_s)):
        raise _refuse("times in seconds", "one that is no number")
    if new.kind in ("strike", "add") and new.at_s is None:
        raise _refuse("the instant of the event", "none")
    if new.kind == "verdict" and (new.verdict not in VERDICTS or not new.check):
        raise _refuse(f"a check and one of {', '.join(VERDICTS)}", f"{new.verdict!r}")
    if new.kind == "note" and not new.text.strip():
        raise _refuse("a note with words in it", "none")


def _require_name(by: str) -> None:
    if not by.strip() or len(by) > MAX_AUTHOR:
        raise UsageError(
            f"Expected who corrects, a name or code of 1 to {MAX_AUTHOR} characters; found "
            f"{len(by.strip())}.",
            hint="Say --by WHO, or set MOTIONCHECK_AUTHOR.",
        )


def _refuse(expected: str, found: str) -> UsageError:
    return UsageError(
        f"Expected a correction with {expected}; found {found}.",
        hint="Run `motioncheck correct --help` for what can be corrected.",
    )


def _row(record: Correction) -> dict[str, Any]:
    return {
        "clip_sha256": record.clip_sha256,
        "movement": record.movement,
        "kind": record.kind,
        "event_kind": record.event_kind,
        "at_s": record.at_s,
        "start_s": record.start_s,
        "end_s": record.end_s,
        "side": record.side,
        "check_name": record.check,
        "verdict": record.verdict,
        "text": record.text,
        "author": record.by,
        "made_at": record.made_at,
        "withdrawn_at": record.withdrawn_at,
        "withdrawn_by": record.withdrawn_by,
    }


def _record(row: RowMapping) -> Correction:
    return Correction(
        kind=row["kind"],
        clip_sha256=row["clip_sha256"],
        movement=row["movement"],
        by=row["author"],
        made_at=row["made_at"],
        event_kind=row["event_kind"],
        at_s=row["at_s"],
        start_s=row["start_s"],
        end_s=row["end_s"],
        side=row["side"],
        check=row["check_name"],
        verdict=row["verdict"],
        text=row["text"],
        withdrawn_at=row["withdrawn_at"],
        id=row["id"],
        withdrawn_by=row["withdrawn_by"],
        person=row["person"],
    )
