"""From cycles to events: numbered repetitions with side and phases."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motioncheck.records import Event, MeasureTable, Phase
from motioncheck.records.arrays import FloatArray
from motioncheck.skeleton import Side
from motioncheck.splitting.cycles import Cycle, CycleRule, find_cycles

# A pause shorter than this is part of the turn (common practice, no source).
MIN_PAUSE_S = 0.2
# Two sides cannot turn at the same time in an alternating drill; the smaller one is a ghost.
GHOST_SHARE_OF_MIN_TIME = 0.35


@dataclass(frozen=True, slots=True)
class SplitRule:
    """How a movement is split; the values come from its standard.

    ``signal`` is the measure id without side; ``turns_low`` is True when the rep turns at the
    lowest value of the signal.
    """

    signal: str
    sided: bool
    alternating: bool
    turns_low: bool
    cycle: CycleRule
    phase_names: tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class Timeline:
    """Events found in a clip: finished ones in time order, and those cut off."""

    events: tuple[Event, ...]
    partial: tuple[Event, ...]


def split_reps(table: MeasureTable, rule: SplitRule) -> Timeline:
    """Split a clip into repetitions.

    Parameters
    ----------
    table : MeasureTable
        Measures over time.
    rule : SplitRule
        From the standard.

    Returns
    -------
    Timeline
        Events are numbered from 1 in time order over all sides; those cut off by the start or end
        of the clip, or of a stretch in which the body is seen, are in ``partial`` and not counted.
    """
    if rule.alternating:
        sides: tuple[Side, ...] = ("left", "right")
        pairs = [(c, s) for s in sides for c in _cycles(table, rule, f"{rule.signal}_{s}")]
        pairs = _drop_ghosts(sorted(pairs, key=lambda p: p[0].turn_s), rule)
    else:
        signal = _both_sides(table, rule)
        pairs = [(c, "both") for c in _find(table.time_s, signal, rule)]
    finished = [p for p in pairs if p[0].complete]
    cut = [p for p in pairs if not p[0].complete]
    return Timeline(
        tuple(_event(n, c, s, rule) for n, (c, s) in enumerate(finished, start=1)),
        tuple(_event(n, c, s, rule) for n, (c, s) in enumerate(cut, start=1)),
    )


def _cycles(table: MeasureTable, rule: SplitRule, column: str) -> list[Cycle]:
    return _find(table.time_s, table.values[column], rule)


def _find(time_s: FloatArray, signal: FloatArray, rule: SplitRule) -> list[Cycle]:
    return find_cycles(time_s, -signal if rule.turns_low else signal, rule=rule.cycle)


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
    return Event("rep", number, side, cycle.start_s, cycle.turn_s, cycle.end_s, phases)
