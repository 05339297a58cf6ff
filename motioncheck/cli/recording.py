"""What `motioncheck check` has to do with the history: whose clip it is, corrections, recording."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from motioncheck.errors import MotionCheckError, UsageError
from motioncheck.history import find_place, open_history
from motioncheck.history.codes import age_on, today, validate_code
from motioncheck.pipeline import CheckResult
from motioncheck.pipeline.corrected import correct_result
from motioncheck.records.history import Correction, PersonRecord, Recorded
from motioncheck.standards import Person, find_standard
from motioncheck.wording import join_words


@dataclass(frozen=True, slots=True)
class RecordRequest:
    """What was asked for about the history; ``person`` None records nothing."""

    person: str | None = None
    session: str | None = None
    day: str | None = None
    history: str | None = None
    keep_clip: bool = False


NOTHING_RECORDED = RecordRequest()


def require_history(request: RecordRequest) -> PersonRecord | None:
    """Look, before minutes of work, whether the history can be used; return who it is about.

    Raises
    ------
    UsageError
        If a name or day is unusable, or says nothing without --person.
    StoreError
        If a history that was asked for cannot be opened.
    """
    if request.person is None:
        given = {
            "--session": request.session is not None,
            "--day": request.day is not None,
            "--keep-clip": request.keep_clip,
        }
        for option, is_given in given.items():
            if is_given:
                raise UsageError(
                    f"Expected {option} together with --person, found it alone.",
                    hint="Add --person CODE to record the check, or leave the option out.",
                )
        if request.history is not None and find_place(request.history).exists:
            open_history(request.history).close()
        return None
    # Before a history is made.
    validate_code(request.person)
    with open_history(request.history) as history:
        return history.find_person(request.person, session=request.session, day=request.day)


def complete_person(person: Person, known: PersonRecord | None, request: RecordRequest) -> Person:
    """Return age and sex for the usual values: as given, else as the history knows them."""
    if known is None:
        return person
    age = person.age_years
    if age is None:
        age = age_on(known, request.day or today())
    return Person(age, person.sex or known.sex)


def add_corrections(
    result: CheckResult, request: RecordRequest, standards: Path | None
) -> CheckResult:
    """Lay the corrections that are recorded for this clip over the result.

    Without --person and --history, a history that cannot be opened costs only its corrections.
    """
    place = find_place(request.history)
    if not place.exists:
        return result
    try:
        with open_history(request.history) as history:
            found = history.corrections(clip_sha256=result.sheet.clip.sha256)
    except MotionCheckError as error:
        if request.person is not None or request.history is not None:
            raise
        print(f"motioncheck: Corrections were not looked up. {error}", file=sys.stderr)
        return result
    own = [c for c in _about(found, request.person) if c.movement == result.sheet.movement.id]
    if not own:
        return result
    standard = find_standard(result.sheet.provenance.standard_hash, standards)
    return correct_result(result, own, standard)


def _about(found: Sequence[Correction], person: str | None) -> list[Correction]:
    """Return the corrections of a clip that are about a person.

    Without one, those about the only person there are any about: where there are several, they
    are different bodies, and nobody said which one this is.
    """
    whose = {c.person for c in found if c.person}
    if person is None and len(whose) == 1:
        return list(found)
    return [c for c in found if c.person in ("", person)]


def record_result(
    result: CheckResult, request: RecordRequest, *, clip: Path, folder: Path
) -> Recorded | None:
    """Record a result as measured; None when nobody was named."""
    if request.person is None:
        return None
    with open_history(request.history) as history:
        return history.record(
            result.sheet,
            person=request.person,
            session=request.session,
            day=request.day,
            clip_path=clip,
            folder=folder,
            keep_clip=request.keep_clip,
        )


def warn_of_slips(
    result: CheckResult, done: Recorded, request: RecordRequest, known: PersonRecord | None
) -> list[str]:
    """Say what may be a slip: a code nobody had, a day still to come, the clip of another session.

    All is recorded all the same; each line says how to take it back.
    """
    lines = []
    before = _other_sessions(result, done, request)
    if before:
        lines.append(
            f"This very clip is recorded in session {join_words(before)} of {done.person} as well; "
            "in a trend it counts once, where it was recorded first. `motioncheck person erase "
            f"{done.person} --session NAME` takes one away."
        )
    if known is None:
        lines.append(
            f"{done.person} is new in this history. Was another code meant: "
            f"`motioncheck person erase {done.person}`, and check the clip again."
        )
    if request.day is not None and request.day > today():
        lines.append(
            f"{request.day} is still to come. Was another day meant: `motioncheck person erase "
            f"{done.person} --session {shlex.quote(done.session)}`, and check the clip again."
        )
    return lines


def _other_sessions(result: CheckResult, done: Recorded, request: RecordRequest) -> list[str]:
    """Return the other sessions of the person in which the same clip was checked for the same."""
    with open_history(request.history) as history:
        same = history.checks(done.person, clip_sha256=result.sheet.clip.sha256)
    movement = result.sheet.movement.id
    return sorted({c.session for c in same if c.movement == movement} - {done.session})


def describe_recorded(done: Recorded) -> str:
    """Say in one line where a check went."""
    where = f"{done.person}, session {done.session}"
    if done.status == "known":
        return f"Recorded before: {where}; nothing changed."
    if done.status == "newer":
        return f"Recorded: {where}, in the place of the earlier check of this clip."
    return f"Recorded: {where}"
