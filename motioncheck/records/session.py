"""What was done of a planned session: the content of the session sheet.

Everything here is plain data, as in `motioncheck.records.result`. Numbers that are not known are
None, never 0. Times of a bout are on the clock of its clip; `Bout.starts_at` sets that clock
against the others.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from motioncheck.records.result import Event
from motioncheck.skeleton import Side

BlockKind = Literal["sets", "ladder", "superset", "circuit"]
Amount = Literal["reps", "hold", "stages"]
SetStatus = Literal["as planned", "fewer", "more", "missing", "extra"]
SET_STATUSES: tuple[SetStatus, ...] = ("as planned", "fewer", "more", "missing", "extra")
SpanKind = Literal["work", "every minute"]

SESSION_SCHEMA_ID = "motioncheck/session/1"


@dataclass(frozen=True, slots=True)
class Bout:
    """A stretch of one exercise in a clip, with its events in time order.

    Parameters
    ----------
    clip : str
        Name of the clip.
    movement : str
        Id of a standard; ``other`` or empty where it could not be told.
    start_s, end_s : float
        On the clock of the clip.
    events : tuple of Event
        Finished reps, holds or stages; times on the clock of the clip.
    starts_at : float, optional
        Seconds from the start of the session to time 0 of the clip. None when only the order of
        the clips is known: then so is no time between them.
    sheet : str
        Relative link to the feedback sheet of the clip, empty when there is none.
    clip_sha256 : str
        Tells clips of the same name apart, empty when not known.
    """

    clip: str
    movement: str
    start_s: float
    end_s: float
    events: tuple[Event, ...]
    starts_at: float | None = None
    sheet: str = ""
    clip_sha256: str = ""

    def shares_clock(self, other: Bout) -> bool:
        """Whether the times of two bouts can be compared."""
        same_clip = (self.clip, self.clip_sha256) == (other.clip, other.clip_sha256)
        return same_clip or (self.starts_at is not None and other.starts_at is not None)


@dataclass(frozen=True, slots=True)
class Tally:
    """Events by what the checks say; each event counts once, by its most urgent verdict.

    ``to_standard`` have a check that meets and none that misses or is too close to call;
    ``unjudged`` have no check that could be judged. ``partly_seen`` counts, beside that, the events
    in which some check could not be seen.
    """

    done: int = 0
    to_standard: int = 0
    close: int = 0
    missed: int = 0
    unjudged: int = 0
    partly_seen: int = 0


@dataclass(frozen=True, slots=True)
class Prescribed:
    """What the plan asks of one set.

    ``reps`` counts both sides together, ``hold_s`` is for each side where ``each_side`` is set.
    ``rest_s`` is the rest before the set, None where the plan gives none.
    """

    amount: Amount
    reps: int | None = None
    hold_s: float | None = None
    stages: int | None = None
    each_side: bool = False
    rung: int | None = None
    rest_s: float | None = None
    load: str = ""
    load_kg: float | None = None
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Piece:
    """Where a part of a set was filmed; times on the clock of the clip."""

    clip: str
    start_s: float
    end_s: float
    sheet: str = ""


@dataclass(frozen=True, slots=True)
class SetResult:
    """One prescribed set with what was done of it, or an extra one (``prescribed`` is None).

    ``amount`` is what is counted. ``done`` counts reps, holds, or the stages that were reached in
    the order asked for; ``left`` and ``right`` count those of one side only. A rep of a staged
    movement is one way up and back. ``hold_s`` is the sum over ``hold_left_s``,
    ``hold_right_s`` and holds without a side; None for anything but holds. ``duration_s`` runs
    from the start of the first event to the end of the last, pauses included.
    """

    block: int
    number: int
    item: int
    label: str
    movement: str
    title: str
    status: SetStatus
    amount: Amount
    prescribed: Prescribed | None
    done: int
    left: int
    right: int
    hold_s: float | None
    hold_left_s: float | None
    hold_right_s: float | None
    tally: Tally
    pieces: tuple[Piece, ...] = ()
    rest_before_s: float | None = None
    duration_s: float | None = None
    pace_per_min: float | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of a minute; times in seconds from the start of that minute."""

    kind: SpanKind
    movement: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class MinuteRow:
    """One minute of a clocked circuit; ``minute`` counts from 0.

    ``clock_s`` is how much of the minute belongs to the clock: 60, less in the last one. It is
    the sum of ``work_s``, ``every_minute_s`` and ``rest_s``. ``due`` is how many reps were due at
    its start, ``done`` how many of these were done, ``started_after_s`` and ``completed_after_s``
    when (seconds from its start; the second may exceed 60, the first may be a little below 0).
    ``work_reps`` are the reps of the prescribed work that ended in it, by movement;
    ``extra_reps`` those beyond. ``left`` is the work that remains at its end.
    ``pace_per_min`` is the pace so far while free for the work. ``finish_s`` is when the work is
    done at that pace, counted from the start of the clock.
    """

    minute: int
    clock_s: float
    due: int
    done: int
    started_after_s: float | None
    completed_after_s: float | None
    complete: bool
    late: bool
    work_reps: Mapping[str, int]
    extra_reps: int
    work_s: float
    every_minute_s: float
    rest_s: float
    left: int
    pace_per_min: float | None
    finish_s: float | None
    spans: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True)
class Count:
    """Reps of one movement in a circuit: asked for, done of them, and done beyond.

    A movement that comes more than once in a round has the load and notes of its first item.
    """

    movement: str
    title: str
    prescribed: int
    done: int
    extra: int
    tally: Tally
    load: str = ""
    load_kg: float | None = None
    notes: str = ""


@dataclass(frozen=True, slots=True)
class CircuitResult:
    """A clocked circuit.

    ``start_s`` is the start of the clock on the clock of ``clip``. ``total_s`` is the length of
    the clock: to the end of the last prescribed rep when ``finished``, else to that of the last
    rep seen. None, with no rows, when there were no reps or the clips share no clock.
    ``every_minute`` counts the reps due each minute; None when the plan asks for none.
    """

    clip: str
    start_s: float | None
    total_s: float | None
    finished: bool
    rounds: int
    rounds_done: int
    counts: tuple[Count, ...]
    every_minute: Count | None
    work_s: float | None
    every_minute_s: float | None
    rest_s: float | None
    pace_per_min: float | None
    finish_s: float | None
    rows: tuple[MinuteRow, ...] = ()
    pieces: tuple[Piece, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BlockResult:
    """A block of the plan with what was done of it."""

    number: int
    kind: BlockKind
    title: str
    notes: str
    sets: tuple[SetResult, ...] = ()
    circuit: CircuitResult | None = None


@dataclass(frozen=True, slots=True)
class Drift:
    """How one measure changes with the reps of a set (``block`` 0: of the whole session).

    ``per_ten`` is the change in ten reps, ``half_width`` that of its interval; None when there
    are too few values. ``seen`` says whether the interval leaves out zero.
    """

    block: int
    label: str
    movement: str
    check: str
    title: str
    side: Side
    unit: str
    values: int
    per_ten: float | None
    half_width: float | None
    seen: bool
    text: str


@dataclass(frozen=True, slots=True)
class FormLoss:
    """The rep from which on most reps of a set miss a check, counted from 1 in the set."""

    block: int
    label: str
    movement: str
    check: str
    title: str
    rep: int
    misses: int
    reps: int
    text: str


@dataclass(frozen=True, slots=True)
class MovementTotal:
    """One movement over the whole session; None where the plan asks for none of the kind.

    ``tally`` counts all events of it, those beyond the plan included.
    """

    movement: str
    title: str
    planned_reps: int | None
    done_reps: int
    planned_hold_s: float | None
    done_hold_s: float
    planned_stages: int | None
    done_stages: int
    tally: Tally


@dataclass(frozen=True, slots=True)
class SessionCue:
    """A coaching sentence and how many events of a movement call for it."""

    movement: str
    title: str
    text: str
    events: int
    of: int


@dataclass(frozen=True, slots=True)
class ClipLink:
    """A clip of the session, its feedback sheet, and what should be said about it."""

    name: str
    sha256: str
    movements: tuple[str, ...]
    sheet: str = ""
    starts_at: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Unmatched:
    """A stretch of a movement that the plan does not have, or in which nothing was counted."""

    movement: str
    title: str
    events: int
    piece: Piece


@dataclass(frozen=True, slots=True)
class SessionSheet:
    """Everything the session sheet says; ``form`` is the headline of what the checks say."""

    title: str
    notes: str
    plan_file: str
    plan_sha256: str
    headline: str
    form: str
    blocks: tuple[BlockResult, ...]
    extra: tuple[SetResult, ...]
    unmatched: tuple[Unmatched, ...]
    totals: tuple[MovementTotal, ...]
    cues: tuple[SessionCue, ...]
    drifts: tuple[Drift, ...]
    form_losses: tuple[FormLoss, ...]
    clips: tuple[ClipLink, ...]
    cautions: tuple[str, ...]
    how_matched: tuple[str, ...]
    version: str
    options: Mapping[str, str | float | int | bool | None] = field(default_factory=dict)
    program: str = "motioncheck"
    schema: str = SESSION_SCHEMA_ID
