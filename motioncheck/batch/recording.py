"""Results of a batch into the history: one place writes it, the main program."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from motioncheck.batch.items import BatchItem
from motioncheck.batch.settings import Recording
from motioncheck.errors import UsageError
from motioncheck.history import open_history
from motioncheck.history.codes import age_on
from motioncheck.records import Sheet
from motioncheck.records.history import SessionRecord
from motioncheck.standards import ANYONE, Person

if TYPE_CHECKING:
    from motioncheck.history import History


class Recorder:
    """Records checks of people; recording the same check again changes nothing.

    Attributes
    ----------
    recorded : int
        Checks that are in the history now.
    without_person : int
        Checks that are not, because nobody said whose they are.
    refused : list of str
        Why others are not, a sentence each.
    """

    def __init__(self, history: History, *, keep_clip: bool = False) -> None:
        self._history = history
        self._keep_clip = keep_clip
        self._clips: dict[str, set[str]] = {}
        self.recorded = 0
        self.without_person = 0
        self.refused: list[str] = []

    def describe(self, item: BatchItem) -> Person:
        """Return age and sex of the person in a clip, as far as the history knows them."""
        if not item.person or not self._is_known(item.person):
            return ANYONE
        known = self._history.get_person(item.person)
        return Person(age_on(known, item.day or find_day(item.clip)), known.sex)

    def record(self, item: BatchItem, sheet: Sheet, folder: Path) -> int | None:
        """Record a check.

        Returns
        -------
        int or None
            Its number in the history; None when it was not recorded.

        Raises
        ------
        StoreError
            If the history cannot be written.
        """
        if not item.person:
            self.without_person += 1
            return None
        if sheet.corrections:
            return self._find_measured(item, sheet)
        try:
            recorded = self._history.record(
                sheet,
                person=item.person,
                session=item.session or None,
                day=self._choose_day(item, sheet),
                clip_path=item.clip,
                folder=folder.resolve(),
                keep_clip=self._keep_clip,
            )
        except UsageError as error:  # such as a session that is on another day
            self.refused.append(f"{item.name}: {error}")
            return None
        self._clips.setdefault(item.person, set()).add(sheet.clip.sha256)
        self.recorded += 1
        return recorded.check_id

    def _find_measured(self, item: BatchItem, sheet: Sheet) -> int | None:
        """Return the check of a sheet that was written anew after a correction.

        What was measured is on record since it was corrected; it is not in this sheet any more.
        """
        whose = (item.person.lower(), sheet.movement.id)
        known = self._history.checks(clip_sha256=sheet.clip.sha256)
        own = [c.id for c in known if (c.person.lower(), c.movement) == whose]
        if not own:
            self.refused.append(
                f"{item.name}: its sheet was corrected, and what was measured is not on record "
                "here. Delete its folder and run the same again."
            )
            return None
        self._clips.setdefault(item.person, set()).add(sheet.clip.sha256)
        self.recorded += 1
        return own[-1]

    def correct(self, check_id: int | None, sheet: Sheet) -> Sheet:
        """Return the sheet with the corrections that a person made to this check."""
        if check_id is None:
            return sheet
        kept = self._history.corrections(clip_sha256=sheet.clip.sha256)
        if not kept and not sheet.corrections:
            return sheet
        return self._history.corrected_sheet(check_id)

    def _choose_day(self, item: BatchItem, sheet: Sheet) -> str | None:
        """Return the day of the session; None where the history knows it."""
        if item.day:
            return item.day
        if item.session:
            known = any(s.name == item.session for s in self._list_sessions(item.person))
        else:
            known = sheet.clip.sha256 in self._list_clips(item.person)
        return None if known else find_day(item.clip)

    def _list_sessions(self, person: str) -> tuple[SessionRecord, ...]:
        if not self._is_known(person):
            return ()
        return self._history.list_sessions(person)

    def _list_clips(self, person: str) -> set[str]:
        if person not in self._clips:
            checks = self._history.checks(person) if self._is_known(person) else ()
            self._clips[person] = {check.clip_sha256 for check in checks}
        return self._clips[person]

    def _is_known(self, person: str) -> bool:
        return self._history.has_person(person)


def find_day(clip: Path) -> str:
    """Return the day on which a file was last changed: for most clips that of the filming.

    Not today, so that a batch that is resumed on another day records into the same session.
    """
    changed = dt.datetime.fromtimestamp(clip.stat().st_mtime).astimezone()
    return changed.date().isoformat()


@contextlib.contextmanager
def open_recorder(recording: Recording) -> Iterator[Recorder]:
    """Open the history for a batch; raises as `open_history`."""
    with open_history(recording.place) as history:
        yield Recorder(history, keep_clip=recording.keep_clip)
