"""From cycles to events: numbered repetitions with side and phases."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motioncheck.records import Event, MeasureTable, Phase
from motioncheck.records.arrays import FloatArray
from motioncheck.skeleton import Side
from motioncheck.splitting.cycles import BoolArray, Cycle, CycleRule, find_cycles

# A pause shorter than this is part of the turn (common practice, no source).
MIN_PAUSE_S = 0.2
# Two sides cannot turn at the same time in an alternating drill; the smaller one is a ghost.
GHOST_SHARE_OF_MIN_TIME = 0.35


@dataclass(frozen=True, slots=True)
class SplitRule:
    """How a movement is split; the values come from its standard.

    ``signal`` is the measure id without side; ``turns_low`` is True when the rep turns at the
    lowest value of the signal. ``side_from`` names a sided measure: the side on which it is lower
    is the working one.
    """

    signal: str
    sided: bool
    alternating: bool
    turns_low: bool
    cycle: CycleRule
    phase_names: tuple[str, str, str]
    side_from: str | None = None


@dataclass(frozen=True, slots=True)
class Timeline:
    """Events found in a clip: finished ones in time order, and those cut off."""

    events: tuple[Event, ...]
    partial: tuple[Event, ...]


def split_reps(
    table: MeasureTable, rule: SplitRule, *, present: BoolArray | None = None
) -> Timeline:
    """Split a clip into repetitions.

    Parameters
    ----------
    table : MeasureTable
        Measures over time.
    rule : SplitRule
        From the standard.
    present : ndarray of bool, shape (T,), optional
        Where the body is in the picture; see `find_cycles`.

    Returns
    -------
    Timeline
        Events are numbered from 1 in time order over all sides; those cut off by the start or end
        of the clip, or of a stretch in which the body is seen, are in ``partial`` and not counted.
    """
    pairs = _find_pairs(table, rule, present)
    finished = [p for p in pairs if p[0].complete]
    cut = [p for p in pairs if not p[0].complete]
    return Timeline(
        tuple(_event(n, c, s, rule) for n, (c, s) in enumerate(finished, start=1)),
        tuple(_event(n, c, s, rule) for n, (c, s) in enumerate(cut, start=1)),
    )


def _find_pairs(
    table: MeasureTable, rule: SplitRule, present: BoolArray | None
) -> list[tuple[Cycle, Side]]:
    def find(signal: FloatArray) -> list[Cycle]:
        turned = -signal if rule.turns_low else signal
        return find_cycles(table.time_s, turned, rule=rule.cycle, present=present)

    if rule.alternating and rule.side_from is None:
        sides: tuple[Side, ...] = ("left", "right")
        pairs = [(c, s) for s in sides for c in find(table.values[f"{rule.signal}_{s}"])]
        return _drop_ghosts(sorted(pairs, key=lambda p: p[0].turn_s), rule)
    cycles = find(_both_sides(table, rule))
    return [(c, _working_side(table, c, rule.side_from)) for c in cycles]


def _working_side(table: MeasureTable, cycle: Cycle, side_from: str | None) -> Side:
    """Return the side on which a measure is lower, on average over the middle of the rep."""
    if side_from is None:
        return "both"
    quarter = (cycle.end_s - cycle.start_s) / 4.0
    middle = (table.time_s >= cycle.start_s + quarter) & (table.time_s <= cycle.end_s - quarter)
    left, right = (table.values[f"{side_from}_{s}"][middle] for s in ("left", "right"))
    difference = (left - right)[np.isfinite(left - right)]
    if len(difference) == 0:
        return "both"
    return "left" if float(np.mean(difference)) < 0 else "right"


def _both_sides(table: MeasureTable, rule: SplitRule) -> FloatArray:
    if not rule.sided:
        return table.values[rule.signal]
    left, right = (table.values[f"{rule.signal}_{s}"] for s in ("left", "right"))
    mean = (left + right) / 2.0
    return np.where(np.isfinite(mean), mean, np.where(np.isfinite(left), left, right))


def _drop_ghosts(pairs: list[tuple[Cycle, Side]], rule: SplitRule) -> list[tuple[Cycle, Side]]:
    """Of two sides that turn at nearly the same time keep the larger movement."""
    kept: list[tuple[Cycle, Side]] = []
    too_close = GHOST_SHARE_OF_MIN_TIME * rule.cycle.min_time_s
    for cycle, side in pairs:
        if kept and side != kept[-1][1] and cycle.turn_s - kept[-1][0].turn_s < too_close:
            if cycle.size > kept[-1][0].size:
                kept[-1] = (cycle, side)
            continue
        kept.append((cycle, side))
    return kept


def _event(number: int, cycle: Cycle, side: Side, rule: SplitRule) -> Event:
    out, turn, back = rule.phase_names
    if cycle.hold_to_s - cycle.hold_from_s >= MIN_PAUSE_S:
        phases = (
            Phase(out, cycle.start_s, cycle.hold_from_s),
            Phase(turn, cycle.hold_from_s, cycle.hold_to_s),
            Phase(back, cycle.hold_to_s, cycle.end_s),
        )
    else:
        phases = (
            Phase(out, cycle.start_s, cycle.turn_s),
            Phase(turn, cycle.turn_s, cycle.turn_s),
            Phase(back, cycle.turn_s, cycle.end_s),
        )
    notes = () if cycle.complete else ("It was cut off by the edge of what was filmed.",)
    return Event("rep", number, side, cycle.start_s, cycle.turn_s, cycle.end_s, phases, notes=notes)
