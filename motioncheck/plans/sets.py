"""What was done of each set, from the parts that the alignment gave it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from motioncheck.plans.align import Alignment, group_extra
from motioncheck.plans.amounts import (
    Done,
    amount_of,
    count_verdicts,
    judge_amount,
    list_units,
    measure_done,
)
from motioncheck.plans.parts import Part, on_session_clock
from motioncheck.plans.slots import Slot
from motioncheck.records import Event
from motioncheck.records.session import Amount, Prescribed, SetResult, SetStatus, Tally

Titles = Mapping[str, str]
WORDS: Mapping[Amount, str] = {"reps": "reps", "hold": "holds", "stages": "stages"}


def build_sets(
    slots: Sequence[Slot], alignment: Alignment, titles: Titles
) -> tuple[SetResult | None, ...]:
    """Describe every slot; None for circuits, which have their own result.

    Parameters
    ----------
    slots : sequence of Slot
    alignment : Alignment
    titles : mapping of str to str
        Movement id to its title; an id without one is its own title.
    """
    last = -1
    results: list[SetResult | None] = []
    for k, slot in enumerate(slots):
        mine = alignment.taken[k]
        late = bool(mine) and mine[0].index < last
        last = max([last, *(part.index for part in mine)])
        described = _describe(slot, mine, titles, joined=k in alignment.joined, out_of_order=late)
        results.append(described if slot.circuit is None else None)
    return tuple(results)


def build_extra(alignment: Alignment, titles: Titles) -> tuple[SetResult, ...]:
    """Describe what was done beyond the plan, short pauses within."""
    return tuple(_result(None, group, titles, ()) for group in group_extra(alignment.extra))


def _describe(
    slot: Slot,
    mine: Sequence[Part],
    titles: Titles,
    *,
    joined: bool,
    out_of_order: bool,
) -> SetResult:
    notes = []
    if joined:
        notes.append("No rest was found between this set and the one before it.")
    if out_of_order:
        notes.append("Done out of order.")
    asked, events = slot.prescribed, [e for p in mine for e in p.events]
    done = measure_done(events, asked)
    if events and not list_units(events, asked):
        what = WORDS[asked.amount]
        notes.append(f"The plan asks for {what}, and none were found in what was done.")
    notes += _side_notes(asked, done)
    if asked.amount == "stages" and events:
        notes += _stage_notes(asked, events)
    return _result(slot, mine, titles, tuple(notes))


def _side_notes(asked: Prescribed, done: Done) -> list[str]:
    if not asked.each_side or done.left == done.right or done.left + done.right == 0:
        return []
    return ["The sides were not done equally often."]


def _stage_notes(asked: Prescribed, events: Sequence[Event]) -> list[str]:
    if any(e.stage is None for e in events):
        return ["The stages could not be told apart; they are counted without their order."]
    reached = max(e.stage or 0 for e in events)
    if asked.rung is not None and reached != asked.rung:
        word = "short of" if reached < asked.rung else "beyond"
        return [f"It went up to stage {reached}, {word} the {asked.rung} asked for."]
    return []


def _result(
    slot: Slot | None,
    mine: Sequence[Part],
    titles: Titles,
    notes: tuple[str, ...],
) -> SetResult:
    asked = None if slot is None else slot.prescribed
    events = [e for p in mine for e in p.events]
    done = measure_done(events, asked)
    movement = slot.movement if slot is not None else mine[0].movement
    holds = any(e.kind == "hold" for e in events)
    duration = _duration_s(mine)
    return SetResult(
        block=0 if slot is None else slot.block,
        number=0 if slot is None else slot.number,
        item=0 if slot is None else slot.item,
        label="Extra" if slot is None else slot.label,
        movement=movement,
        title=titles.get(movement, movement),
        status=_status(asked, mine, done),
        amount=amount_of(events) if asked is None else asked.amount,
        prescribed=asked,
        done=done.count,
        left=done.left,
        right=done.right,
        hold_s=round(done.hold_s, 3) if holds else None,
        hold_left_s=round(done.hold_left_s, 3) if holds and done.hold_left_s else None,
        hold_right_s=round(done.hold_right_s, 3) if holds and done.hold_right_s else None,
        tally=count_verdicts(events),
        pieces=tuple(part.piece for part in mine),
        rest_before_s=round_s(mine[0].rest_s) if mine else None,
        duration_s=duration,
        pace_per_min=_pace(events, duration),
        notes=notes,
    )


def _status(asked: Prescribed | None, mine: Sequence[Part], done: Done) -> SetStatus:
    if asked is None:
        return "extra"
    return judge_amount(asked, done) if mine else "missing"


def _duration_s(mine: Sequence[Part]) -> float | None:
    """Seconds from the first event to the last, None when its parts share no clock."""
    if not mine or not all(mine[0].bout.shares_clock(part.bout) for part in mine):
        return None
    starts = [on_session_clock(part.bout, part.start_s) for part in mine]
    ends = [on_session_clock(part.bout, part.end_s) for part in mine]
    return round(max(ends) - min(starts), 3)


def _pace(events: Sequence[Event], duration_s: float | None) -> float | None:
    reps = sum(e.kind == "rep" for e in events)
    if reps < 2 or not duration_s:
        return None
    return round(60.0 * reps / duration_s, 1)


def round_s(seconds: float | None) -> float | None:
    """Return seconds to the millisecond, None for None."""
    return None if seconds is None else round(seconds, 3)


def join_tallies(tallies: Sequence[Tally]) -> Tally:
    """Add up tallies."""
    names = ("done", "to_standard", "close", "missed", "unjudged", "partly_seen")
    return Tally(*(sum(getattr(t, name) for t in tallies) for name in names))
