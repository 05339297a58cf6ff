"""Many clips at a glance: the content of the group sheet.

Everything here is plain data. Numbers that are not known are None, never 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from motioncheck.records.result import EventKind, Verdict

ClipState = Literal["checked", "failed", "skipped", "waiting"]
GROUP_SCHEMA_ID = "motioncheck/group/1"


@dataclass(frozen=True, slots=True)
class GroupCell:
    """One check of one athlete: how many reps have which verdict, and the worst of them.

    ``worst`` is the verdict that is shown first: a miss before too close to call before meets
    before not visible. ``value`` is the median of the measured values. ``reps`` are the numbers
    of the events that miss. ``scope`` is ``set`` for a check of the whole set, which has one
    verdict only.
    """

    check: str
    worst: Verdict
    meets: int
    misses: int
    close: int
    unseen: int
    value: float | None
    unit: str
    reps: tuple[int, ...] = ()
    scope: Literal["rep", "set"] = "rep"


@dataclass(frozen=True, slots=True)
class GroupRow:
    """One clip of one athlete.

    ``reason`` says in one sentence why there is no result, empty for a checked clip. ``sheet`` is
    the relative link to the feedback sheet, empty when there is none. ``score`` sorts the rows:
    the higher, the sooner to be looked at. ``look`` says in a few words why, empty when nobody
    needs to look. ``corrected`` counts the verdicts and events a person changed by hand.
    """

    person: str
    clip: str
    movement: str
    movement_title: str
    state: ClipState
    reason: str
    sheet: str
    view: str
    events: int
    events_to_fix: int
    cells: tuple[GroupCell, ...]
    cue: str
    look: str
    score: float
    session: str = ""
    notes: tuple[str, ...] = ()
    event_kind: EventKind = "rep"
    corrected: int = 0


@dataclass(frozen=True, slots=True)
class GroupColumn:
    """One check of one movement: its title and what is asked, in words."""

    movement: str
    check: str
    title: str
    asked: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Shared:
    """What many athletes of the group have in common, most widespread first.

    ``of`` counts the athletes for whom the check could be judged.
    """

    movement: str
    check: str
    title: str
    athletes: int
    of: int
    cue: str
    text: str


@dataclass(frozen=True, slots=True)
class GroupSheet:
    """Everything the group sheet says.

    ``rows`` are the checked clips, sorted, worst first; all others are in ``without_result``.
    ``columns`` are grouped by movement, the most common movement first.
    """

    title: str
    made_at: str
    rows: tuple[GroupRow, ...]
    columns: tuple[GroupColumn, ...]
    shared: tuple[Shared, ...]
    without_result: tuple[GroupRow, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...] = ()
    schema: str = GROUP_SCHEMA_ID
