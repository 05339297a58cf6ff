"""Reps that are due at the start of every minute: which minute each of them was done for.

Rules, in this order, for the reps in time order:

- A rep that goes on right after the one before it (within `GOES_ON_S`) belongs to the same minute
  until that has all its reps, even across the minute.
- Otherwise one that starts within `EARLY_S` before a minute belongs to that minute: nobody starts
  on the stroke, and the start of a rep is known to about half a second.
- Otherwise it belongs to the minute in which it starts.
- Reps beyond those of a minute make up for those that the minute before is short of.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from motioncheck.plans.schema import EveryMinute
from motioncheck.plans.timed import MINUTE_S, Timed, minute_of_start

# Both are judgements of this project.
EARLY_S = 1.0
GOES_ON_S = 2.0


@dataclass(frozen=True, slots=True)
class DueReps:
    """What was done of the reps of one minute; times in seconds from its start, None: not yet."""

    due: int
    done: int
    started_after_s: float | None
    completed_after_s: float | None
    complete: bool
    late: bool


def assign_minutes(reps: Sequence[Timed], due: EveryMinute, minutes: int) -> dict[int, list[Timed]]:
    """Return the reps done for each minute.

    Parameters
    ----------
    reps : sequence of Timed
        Of the movement that is due, on the clock of the circuit.
    due : EveryMinute
    minutes : int
        Minutes of the clock; none is counted for a later one.
    """
    groups: dict[int, list[Timed]] = {minute: [] for minute in range(minutes)}
    current, last_end = 0, -math.inf
    for rep in sorted(reps, key=lambda r: (r.start_s, r.end_s)):
        goes_on = rep.start_s - last_end <= GOES_ON_S
        if not (goes_on and len(groups[current]) < due.reps):
            current = minute_of_start(rep.start_s)
            if MINUTE_S * (current + 1) - rep.start_s <= EARLY_S:
                current += 1
            current = min(current, minutes - 1)
        groups[current].append(rep)
        last_end = max(last_end, rep.end_s)
    _make_up(groups, due)
    return groups


def _make_up(groups: dict[int, list[Timed]], due: EveryMinute) -> None:
    """Move surplus reps of a minute to the one before, as far as that is short."""
    for minute in sorted(groups)[:-1]:
        short = due.reps - len(groups[minute])
        beyond = len(groups[minute + 1]) - due.reps
        if minute >= due.first_minute and groups[minute] and min(short, beyond) > 0:
            moved = min(short, beyond)
            groups[minute] += groups[minute + 1][:moved]
            groups[minute + 1] = groups[minute + 1][moved:]


def describe_due(
    mine: Sequence[Timed], due: EveryMinute | None, minute: int, clock_s: float
) -> DueReps:
    """Describe the reps of one minute.

    Parameters
    ----------
    mine : sequence of Timed
        Reps done for this minute, in time order.
    due : EveryMinute or None
    minute : int
        Counted from 0.
    clock_s : float
        How much of the minute belongs to the clock. Nothing is due in a minute that ended before
        the reps could be late.
    """
    if due is None:
        return DueReps(0, 0, None, None, complete=True, late=False)
    too_short = clock_s <= due.grace_s and not mine
    wanted = 0 if minute < due.first_minute or too_short else due.reps
    start = MINUTE_S * minute
    started = round(mine[0].start_s - start, 3) if mine else None
    completed = round(mine[wanted - 1].end_s - start, 3) if 0 < wanted <= len(mine) else None
    return DueReps(
        due=wanted,
        done=len(mine),
        started_after_s=started,
        completed_after_s=completed,
        complete=len(mine) >= wanted,
        late=wanted > 0 and started is not None and started > due.grace_s,
    )
