"""What may be called what: codes of people, days, and the facts about a person."""

from __future__ import annotations

import datetime
import math
import re
from typing import Final

from motioncheck.errors import UsageError
from motioncheck.records.history import PersonRecord

MAX_CODE: Final = 40
MAX_SESSION: Final = 120
MAX_NAME: Final = 200
MAX_NOTES: Final = 20_000
FIRST_BIRTH_YEAR: Final = 1900
STATURES_M: Final = (0.5, 2.6)
SEXES: Final = ("female", "male")
# ASCII only: two letters that look alike must not make two people. A code becomes the name of a
# folder, so neither separators nor a leading dot.
_CODE: Final = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.-]*")
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")


def validate_code(code: str) -> str:
    """Return the code of a person as it is.

    Raises
    ------
    UsageError
        If it is not 1 to 40 letters, digits, ``-``, ``_`` or ``.``, or starts with a dot or dash.
    """
    if not isinstance(code, str) or len(code) > MAX_CODE or not _CODE.fullmatch(code):
        raise UsageError(
            f"Expected a code of 1 to {MAX_CODE} letters (A to Z), digits, '-', '_' or '.', not "
            f"starting with a dash or dot; found {_shown(code)}.",
            hint="A code such as seat3 stands for the person, instead of the name.",
        )
    return code


def validate_session(name: str) -> str:
    """Return the name of a session, without blanks around it; raises `UsageError` if unusable."""
    stripped = name.strip()
    if not 1 <= len(stripped) <= MAX_SESSION or not stripped.isprintable():
        raise UsageError(
            f"Expected a session name of 1 to {MAX_SESSION} printable characters, found "
            f"{_shown(name)}.",
            hint="A name such as 'week 3' is enough; left out, the session is called by its day.",
        )
    return stripped


def validate_day(day: str) -> str:
    """Return a day as it is; raises `UsageError` unless it is an ISO 8601 date of the calendar."""
    if _DAY.fullmatch(day):
        try:
            datetime.date.fromisoformat(day)
        except ValueError:
            pass
        else:
            return day
    raise UsageError(
        f"Expected a day as YEAR-MONTH-DAY, found {_shown(day)}.", hint="Example: 2026-03-01"
    )


def today() -> str:
    """Return the day it is here as an ISO 8601 date."""
    return datetime.datetime.now().astimezone().date().isoformat()


def now() -> str:
    """Return this instant in UTC, ISO 8601 to the microsecond."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="microseconds")


def validate_person(person: PersonRecord) -> PersonRecord:
    """Return the record as it is.

    Raises
    ------
    UsageError
        If the code is none, the year of birth is not from 1900 to this year, the sex neither
        female nor male, the stature not from 0.5 to 2.6 m, or a text too long.
    """
    validate_code(person.code)
    this_year = int(today()[:4])
    year, stature = person.birth_year, person.stature_m
    if year is not None and not FIRST_BIRTH_YEAR <= year <= this_year:
        raise UsageError(
            f"Expected a year of birth from {FIRST_BIRTH_YEAR} to {this_year}, found {year}.",
            hint="Leave it out when it is not known.",
        )
    if person.sex is not None and person.sex not in SEXES:
        raise UsageError(
            f"Expected the sex to be female or male, found {_shown(person.sex)}.",
            hint="Leave it out to see the usual values of both.",
        )
    low, high = STATURES_M
    if stature is not None and not (math.isfinite(stature) and low <= stature <= high):
        raise UsageError(
            f"Expected a stature from {low} to {high} m, found {stature:g}.",
            hint="Give it in metres, such as 1.74.",
        )
    _require_text("name", person.name, MAX_NAME)
    _require_text("notes", person.notes, MAX_NOTES)
    return person


def _require_text(what: str, text: str, limit: int) -> None:
    if len(text) > limit:
        raise UsageError(
            f"Expected {what} of at most {limit} characters, found {len(text)}.",
            hint="Shorten the text.",
        )
    # No database stores the one, no encoding the other.
    if "\x00" in text or any("\ud800" <= c <= "\udfff" for c in text):
        raise UsageError(
            f"Expected {what} of readable characters, found some that are none.",
            hint="Type the text anew.",
        )


def age_on(person: PersonRecord, day: str) -> int | None:
    """Return the age a person reaches in the year of a day; None when no birth year is known.

    The birthday is not kept, so it may be a year too many. Years before birth give None.
    """
    if person.birth_year is None:
        return None
    age = int(day[:4]) - person.birth_year
    return age if age >= 0 else None


def _shown(text: object) -> str:
    """Return a text that a user typed, cut to a length that can be read."""
    shown = repr(text)
    return shown if len(shown) <= MAX_CODE + 20 else shown[: MAX_CODE + 20] + "..."
