"""How much was done: counting events against what a set asks for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from motioncheck.plans.slots import stages_of
from motioncheck.records import Event
from motioncheck.records.session import Amount, Prescribed, SetStatus, Tally

# A hold may miss its seconds by so much, a beep heard late (common practice, no source).
HOLD_SLACK_S = 1.0
# From this difference in the number of stages on, their order no longer matters.
FAR_OFF = 0.6


@dataclass(frozen=True, slots=True)
class Done:
    """Amount done: ``count`` in all, by side, and seconds of holding; a part without is 0."""

    count: int
    left: int
    right: int
    hold_s: float
    hold_left_s: float
    hold_right_s: float

    @property
    def hold_both_s(self) -> float:
        """Seconds of holds that belong to no side."""
        return self.hold_s - self.hold_left_s - self.hold_right_s


def measure_done(events: Sequence[Event], asked: Prescribed | None) -> Done:
    """Count the events of a set.

    Parameters
    ----------
    events : sequence of Event
    asked : Prescribed or None
        Decides what is counted: reps, holds, or stages reached in order; with None, what the
        events are.
    """
    holds = [e for e in events if e.kind == "hold"]
    units = list_units(events, asked)
    count = len(units)
    if asked is not None and asked.amount == "stages":
        count = stages_in_order(events, asked.rung or 1)
    return Done(
        count=count,
        left=sum(e.side == "left" for e in units),
        right=sum(e.side == "right" for e in units),
        hold_s=_seconds(holds),
        hold_left_s=_seconds([e for e in holds if e.side == "left"]),
        hold_right_s=_seconds([e for e in holds if e.side == "right"]),
    )


def _seconds(holds: Sequence[Event]) -> float:
    return math.fsum(e.end_s - e.start_s for e in holds)


def list_units(events: Sequence[Event], asked: Prescribed | None) -> list[Event]:
    """Return the events that are counted; of a way up and back through stages, the first."""
    amount = amount_of(events) if asked is None else asked.amount
    if amount == "hold":
        return [e for e in events if e.kind == "hold"]
    stages = [e for e in events if e.kind == "stage"]
    if amount == "stages":
        return stages
    starts = [e for i, e in enumerate(stages) if i == 0 or begins_a_way(stages[i - 1], e)]
    return [e for e in events if e.kind == "rep"] + starts


def amount_of(events: Sequence[Event]) -> Amount:
    """Tell what events that nobody asked for are counted in."""
    kinds = {e.kind for e in events}
    if "rep" in kinds or not kinds:
        return "reps"
    return "hold" if "hold" in kinds else "stages"


def begins_a_way(before: Event, after: Event) -> bool:
    """Whether a stage begins another way up and back than the stage before it."""
    if before.group is not None and after.group is not None and before.group != after.group:
        return True
    return before.stage == 1 and after.stage == 1


def stages_in_order(events: Sequence[Event], rung: int) -> int:
    """Return how many stages of a rung were reached in the order asked for.

    That is the longest common subsequence of the stages asked for and those seen. Where the
    events do not name their stage, it is their number, as far as it was asked for.
    """
    asked = stages_of(rung)
    seen = [e.stage for e in events if e.kind == "stage"]
    if any(stage is None for stage in seen):
        return min(len(seen), len(asked))
    row = [0] * (len(asked) + 1)
    for stage in seen:
        before = row[:]
        for j, wanted in enumerate(asked, start=1):
            row[j] = before[j - 1] + 1 if stage == wanted else max(before[j], row[j - 1])
    return row[-1]


def compute_mismatch(asked: Prescribed, events: Sequence[Event]) -> float:
    """Compute how far what was done is from what was asked for.

    Returns
    -------
    float
        0 where they are the same, towards 1 the less they have in common. With ``each_side`` it
        is the mean of both sides, if the events have sides.
    """
    done = measure_done(events, asked)
    if asked.amount == "stages":
        return _stage_mismatch(asked, events)
    if asked.amount == "hold":
        target = asked.hold_s or 0.0
        if not asked.each_side:
            return _apart(done.hold_s, target)
        if done.hold_both_s > 0:
            return _apart(done.hold_s, 2.0 * target)
        return (_apart(done.hold_left_s, target) + _apart(done.hold_right_s, target)) / 2.0
    reps = asked.reps or 0
    if asked.each_side and done.left + done.right == done.count > 0:
        return (_apart(done.left, reps / 2) + _apart(done.right, reps / 2)) / 2.0
    return _apart(done.count, reps)


def _stage_mismatch(asked: Prescribed, events: Sequence[Event]) -> float:
    wanted, seen = asked.stages or 0, sum(e.kind == "stage" for e in events)
    rough = _apart(seen, wanted)
    if rough >= FAR_OFF:
        return rough
    return 1.0 - stages_in_order(events, asked.rung or 1) / max(wanted, seen, 1)


def _apart(done: float, target: float) -> float:
    return abs(done - target) / max(done, target) if max(done, target) > 0 else 0.0


def judge_amount(asked: Prescribed, done: Done) -> SetStatus:
    """Tell whether a set was done as planned; a side that is short makes the set short."""
    if asked.amount == "stages":
        gaps = [float(done.count - (asked.stages or 0))]
        slack = 0.0
    elif asked.amount == "hold":
        slack, target = HOLD_SLACK_S, asked.hold_s or 0.0
        if asked.each_side and done.hold_both_s == 0:
            gaps = [done.hold_left_s - target, done.hold_right_s - target]
        else:
            gaps = [done.hold_s - target * (2 if asked.each_side else 1)]
    else:
        slack, reps = 0.0, asked.reps or 0
        if asked.each_side and done.left + done.right == done.count > 0:
            gaps = [done.left - reps / 2, done.right - reps / 2]
        else:
            gaps = [float(done.count - reps)]
    if min(gaps) < -slack:
        return "fewer"
    return "more" if max(gaps) > slack else "as planned"


def count_verdicts(events: Sequence[Event]) -> Tally:
    """Count events by what their checks say; see `Tally`."""
    groups = {"to_standard": 0, "close": 0, "missed": 0, "unjudged": 0}
    hidden = 0
    for event in events:
        verdicts = {finding.verdict for finding in event.findings}
        if "misses" in verdicts:
            groups["missed"] += 1
        elif "too close to call" in verdicts:
            groups["close"] += 1
        else:
            groups["to_standard" if "meets" in verdicts else "unjudged"] += 1
        hidden += "not visible" in verdicts and verdicts != {"not visible"}
    return Tally(done=len(events), partly_seen=hidden, **groups)
