"""The history as other rooms see it: everything that can be asked of it, everything written."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import fields
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from motioncheck.checks.corrected import apply_corrections
from motioncheck.errors import UsageError
from motioncheck.history import corrections as stored
from motioncheck.history import people, read, record
from motioncheck.history.backup import back_up
from motioncheck.history.clips import kept_copy
from motioncheck.history.engine import Database
from motioncheck.history.measures import MeasureRow, aggregate_measures
from motioncheck.history.people import PersonLine, require_id
from motioncheck.history.place import Place
from motioncheck.history.upgrade import prepare
from motioncheck.records.history import (
    CheckRecord,
    Correction,
    PersonRecord,
    Recorded,
    SessionRecord,
    Trial,
)
from motioncheck.records.result import Sheet
from motioncheck.standards import find_standard

if TYPE_CHECKING:
    from sqlalchemy import Connection


class History:
    """An open history; see `motioncheck.history.open_history`.

    Every method that writes does so in one transaction: all of it or nothing. Errors of the
    database are `StoreError`. Use it in a ``with`` statement, or close it.

    Attributes
    ----------
    database : Database
        For the modules of this room.
    folder : Path
        Where copies of clips go, a folder for each person.
    """

    def __init__(self, place: Place) -> None:
        self.database = Database(place)
        self.folder = place.folder
        if self.database.path is not None:
            self.folder = self.database.path.parent / place.folder.name
        try:
            prepare(self.database)
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections; nothing is lost without it."""
        self.database.close()

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with self.database.reading() as connection:
            yield connection

    # People

    def add_person(self, person: PersonRecord) -> PersonRecord:
        """Add a person; raises `UsageError` if a field is unusable or the code is taken."""
        self.database.write(lambda c: people.insert_person(c, person))
        return person

    def set_person(self, code: str, **fields: Any) -> PersonRecord:
        """Change fields of `PersonRecord` of a person, all but the code; return the new record."""
        return self.database.write(lambda c: people.change_person(c, code, fields))

    def get_person(self, code: str) -> PersonRecord:
        """Return a person; raises `UsageError` when there is none of this code."""
        with self._reading() as connection:
            return people.read_person(connection, code)

    def has_person(self, code: str) -> bool:
        """Whether there is a person of exactly this code."""
        with self._reading() as connection:
            return people.find_code(connection, code) == code

    def find_person(
        self, code: str, *, session: str | None = None, day: str | None = None
    ) -> PersonRecord | None:
        """Return a person, None where `record` would add one.

        Raises
        ------
        UsageError
            If `record` would refuse the code, the session or the day.
        """
        entry = record.require_valid(record.Entry(code, session, day))
        with self._reading() as connection:
            record.require_fits(connection, entry)
            known = people.find_code(connection, code) is not None
            return people.read_person(connection, code) if known else None

    def list_people(self) -> tuple[PersonRecord, ...]:
        """Return all people by code."""
        with self._reading() as connection:
            return people.read_people(connection)

    def list_person_lines(self) -> tuple[PersonLine, ...]:
        """Return all people by code, with the number of sessions and the day of the last."""
        with self._reading() as connection:
            return people.read_person_lines(connection)

    # Sessions and checks

    def list_sessions(self, code: str) -> tuple[SessionRecord, ...]:
        """Return the sessions of a person by day."""
        with self._reading() as connection:
            return read.read_sessions(connection, code)

    def record(
        self,
        sheet: Sheet,
        *,
        person: str,
        session: str | None = None,
        day: str | None = None,
        clip_path: Path | None = None,
        folder: Path | None = None,
        plan: tuple[str, str] | None = None,
        keep_clip: bool = False,
        part: int = 0,
    ) -> Recorded:
        """Record a check.

        Parameters
        ----------
        sheet : Sheet
            As measured, without corrections.
        person : str
            Code; added, without anything else, when nobody has it.
        session : str, optional
            Name, unique for the person. Left out, the session that the clip is in already; else
            the day.
        day : str, optional
            ISO 8601 date. Left out, that of the session; for a new one the day it is named after,
            or today.
        clip_path, folder : Path, optional
            Where the clip is and where its sheet was written.
        plan : (str, str), optional
            Name and text of the plan of the session.
        keep_clip : bool
            Copy the clip into `folder`.
        part : int
            Which stretch of the movement in the clip it is, from 1, where there are several.

        Returns
        -------
        Recorded
            ``known`` when the same clip was recorded for the same movement, standard, model,
            program version, calibration and athlete: nothing changes. ``newer`` when only the
            clip and movement are the same: this check is then the current one of them.

        Raises
        ------
        UsageError
            If a name or day is unusable, or the session is on another day.
        InputError
            If the clip to keep is not the one that was checked.
        StoreError
            If it cannot be written; nothing of it is then there.
        """
        if sheet.corrections:
            raise ValueError("Expected a sheet as measured, found one with corrections in it.")
        entry = record.require_valid(
            record.Entry(
                person=person,
                session=session,
                day=day,
                clip_path=record.path_text(clip_path),
                folder=record.path_text(folder),
                plan=plan,
                part=part,
            )
        )
        if not keep_clip:
            return self.database.write(lambda c: record.write_check(c, sheet, entry))
        if clip_path is None:
            raise UsageError("Expected the clip to keep a copy of, found none.")
        home = self.folder / entry.person
        with kept_copy(Path(clip_path), sheet.clip.sha256, home) as copy:
            kept = record.as_kept(entry, copy)
            return self.database.write(lambda c: record.write_check(c, sheet, kept))

    def checks(
        self,
        code: str | None = None,
        session: str | None = None,
        *,
        clip_sha256: str | None = None,
        current_only: bool = True,
    ) -> tuple[CheckRecord, ...]:
        """Return checks by person, day and time of recording; all people without a code."""
        with self._reading() as connection:
            return read.read_checks(
                connection, code, session, clip_sha256=clip_sha256, current_only=current_only
            )

    def sheet_of(self, check_id: int) -> Sheet:
        """Return the sheet of a check as it was measured."""
        with self._reading() as connection:
            return read.read_sheet(connection, check_id)

    def corrected_sheet(self, check_id: int) -> Sheet:
        """Return the sheet of a check with the corrections of its clip that hold."""
        with self._reading() as connection:
            return _corrected_sheet(connection, check_id)

    def trials(
        self,
        code: str,
        *,
        movement: str | None = None,
        measure: str | Collection[str] | None = None,
        current_only: bool = True,
    ) -> tuple[Trial, ...]:
        """Return what was measured of a person, by day and time of recording.

        Parameters
        ----------
        code : str
        movement : str, optional
            Only checks of this movement.
        measure : str or collection of str, optional
            Only these measures, by id without side.
        current_only : bool
            Leave out checks that were replaced by newer ones of the same clip.

        Notes
        -----
        A check that somebody corrected is summed up anew: struck events do not count.
        """
        wanted = {measure} if isinstance(measure, str) else measure
        with self._reading() as connection:
            checks = read.read_checks(connection, code, current_only=current_only)
            rows = read.read_measures(
                connection, code, movement=movement, measures=wanted, current_only=current_only
            )
            corrected = read.read_corrected(connection, require_id(connection, code))
            trials: list[Trial] = []
            for check in checks:
                values: Iterable[tuple[Any, ...]] = rows.get(check.id, ())
                if values and check.id in corrected:
                    values = _sum_up_again(connection, check.id, wanted)
                trials.extend(_make_trials(check, values, corrected=check.id in corrected))
        return tuple(trials)

    # Corrections

    def corrections(
        self,
        code: str | None = None,
        clip_sha256: str | None = None,
        *,
        withdrawn: bool = False,
    ) -> tuple[Correction, ...]:
        """Return the corrections of a person, of a clip, or of both; all without either."""
        with self._reading() as connection:
            return tuple(
                stored.list_corrections(
                    connection, code=code, clip_sha256=clip_sha256, withdrawn=withdrawn
                )
            )

    def add_correction(self, correction: Correction) -> Correction:
        """Store a correction; returns it with its number."""
        return self.database.write(lambda c: stored.insert_correction(c, correction))

    def withdraw_correction(self, number: int, by: str) -> Correction:
        """Take a correction back; it stays in the history with who took it back and when."""
        return self.database.write(lambda c: stored.mark_withdrawn(c, number, by))

    # The whole

    def backup(self, path: Path, *, replace: bool = False) -> None:
        """Copy the history into a file; see `motioncheck.history.backup.back_up`."""
        back_up(self.database, Path(path), replace=replace)


def _corrected_sheet(connection: Connection, check_id: int) -> Sheet:
    sheet = read.read_sheet(connection, check_id)
    whose = read.read_owner(connection, check_id)
    found = stored.list_corrections(connection, code=whose, clip_sha256=sheet.clip.sha256)
    return apply_corrections(sheet, found, find_standard(sheet.provenance.standard_hash))


def _sum_up_again(
    connection: Connection, check_id: int, wanted: Collection[str] | None
) -> list[tuple[Any, ...]]:
    """Return the rows of measures of a corrected check, as `read_measures` returns them."""
    rows = aggregate_measures(_corrected_sheet(connection, check_id))
    names = [field.name for field in fields(MeasureRow)]
    return [
        tuple(getattr(row, name) for name in names)
        for row in rows
        if wanted is None or row.measure in wanted
    ]


def _make_trials(
    check: CheckRecord, rows: Iterable[tuple[Any, ...]], *, corrected: bool
) -> list[Trial]:
    """Put what is known of a check around the values of its rows, in the order of `Trial`."""
    before: tuple[Any, ...] = (
        check.id,
        check.session,
        check.day,
        check.recorded_at,
        check.clip,
        check.movement,
    )
    after: tuple[Any, ...] = (
        check.view,
        check.azimuth_deg,
        check.model,
        check.model_sha256,
        check.standard_hash,
        check.program_version,
        check.calibration,
        corrected,
        check.clip_number,
        check.clip_sha256,
    )
    return [Trial(*(*before, *row, *after)) for row in rows]
