"""What is remembered between sessions: people, sessions, checks, corrections, trials.

Everything here is plain data, as in `motioncheck.records.result`. A person is known by a code;
everything else about them is optional. Numbers that are not known are None, never 0. Days are ISO
8601 dates (``2026-03-01``), instants ISO 8601 in UTC with a time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from motioncheck.records.result import CorrectionKind, EventKind, Verdict
from motioncheck.skeleton import Side

Sex = Literal["female", "male"]
CORRECTION_KINDS: tuple[CorrectionKind, ...] = ("strike", "add", "verdict", "note")
Better = Literal["higher", "lower", ""]
# How a check entered the history: new, the same again, or a newer check of a known clip.
RecordStatus = Literal["new", "known", "newer"]


@dataclass(frozen=True, slots=True)
class PersonRecord:
    """One person of the history. Only ``code`` is required; it must not be a name."""

    code: str
    name: str = ""
    birth_year: int | None = None
    sex: Sex | None = None
    stature_m: float | None = None
    notes: str = ""


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """One session of one person: its name (unique for the person), its day, what was planned."""

    person: str
    name: str
    day: str
    notes: str = ""
    plan: str = ""
    plan_sha256: str = ""
    checks: int = 0


@dataclass(frozen=True, slots=True)
class CheckRecord:
    """One recorded check of one clip against one standard, without its events.

    ``current`` is False when the same clip was checked again since, with another standard, model
    or program version. ``clip_path`` is where the clip was or is kept, ``folder`` where its sheet
    was written; both empty when not known. ``clip_kept`` tells that the history has its own copy.
    ``events`` and ``misses`` count, as measured, what was found and the verdicts that are misses.
    ``part`` tells stretches of one movement in one clip apart, from 1; 0 for the whole clip.
    ``clip_number`` tells in which order clips were first recorded; checking one again keeps it.
    """

    id: int
    person: str
    session: str
    day: str
    clip: str
    clip_sha256: str
    clip_path: str
    clip_kept: bool
    folder: str
    movement: str
    title: str
    view: str
    azimuth_deg: float | None
    model: str
    model_sha256: str
    standard_hash: str
    program_version: str
    calibration: str
    recorded_at: str
    current: bool
    events: int = 0
    misses: int = 0
    part: int = 0
    clip_number: int = 0


@dataclass(frozen=True, slots=True)
class Recorded:
    """Where a check went and whether that changed anything."""

    check_id: int
    person: str
    session: str
    status: RecordStatus


@dataclass(frozen=True, slots=True)
class Correction:
    """What a person who looked at the clip says against what was measured.

    Parameters
    ----------
    kind : str
        ``strike``: the event is none. ``add``: an event the program did not find.
        ``verdict``: another verdict of one check of one event (or of the set, without a time).
        ``note``: a remark, which changes nothing.
    clip_sha256, movement : str
        The clip and the movement it was checked for; a correction holds for later checks of the
        same clip as well.
    event_kind : str
        Kind of the event, ``rep`` unless said otherwise.
    at_s : float or None
        An instant inside the event, seconds on the clock of the clip: its turn. None for a verdict
        or note on the whole set. For ``add``, the turn of the new event.
    start_s, end_s : float or None
        Span of an event that is added.
    side : str
        Side of an event that is added, or of the finding whose verdict is changed.
    check : str
        Id of the check, for ``verdict``.
    verdict : str or None
        The corrected verdict.
    text : str
        Why, in the words of who corrected it.
    by, made_at : str
        Who and when. ``withdrawn_at`` and ``withdrawn_by`` are empty while the correction holds.
    id : int or None
        Number in the history, None before it is stored.
    person : str
        Code of the person whose check it is about: two people may be in one clip. Empty: that of
        everybody who is recorded with this clip.
    """

    kind: CorrectionKind
    clip_sha256: str
    movement: str
    by: str
    made_at: str
    event_kind: EventKind = "rep"
    at_s: float | None = None
    start_s: float | None = None
    end_s: float | None = None
    side: Side = "both"
    check: str = ""
    verdict: Verdict | None = None
    text: str = ""
    withdrawn_at: str = ""
    id: int | None = None
    withdrawn_by: str = ""
    person: str = ""


@dataclass(frozen=True, slots=True)
class Trial:
    """One measure of one side in one recorded clip: what a trend is made of.

    Struck events are left out, added ones have no values. ``moment`` is the moment of the event
    at which each value was read. ``count`` values have the mean ``mean``, the standard deviation
    ``sd`` (None with fewer than two), the extremes ``lowest`` and ``highest``;
    ``uncertainty`` is the median half-width of the 90 % interval of a single value, as measured.
    ``mean_of_first`` is the mean of the first three values, None with fewer. ``clip_number`` is as
    in `CheckRecord`, 0 where it is not known; so is ``clip_sha256``, empty where it is not.
    """

    check_id: int
    session: str
    day: str
    recorded_at: str
    clip: str
    movement: str
    measure: str
    side: Side
    moment: str
    unit: str
    count: int
    mean: float
    lowest: float
    highest: float
    sd: float | None
    mean_of_first: float | None
    uncertainty: float | None
    source: str
    view: str
    azimuth_deg: float | None
    model: str
    model_sha256: str
    standard_hash: str
    program_version: str
    calibration: str
    corrected: bool = False
    clip_number: int = 0
    clip_sha256: str = ""
