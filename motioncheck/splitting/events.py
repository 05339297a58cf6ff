"""From cycles to events: numbered repetitions with side and phases."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motioncheck.measures import REGISTRY
from motioncheck.records import Event, MeasureTable, Phase, Value
from motioncheck.records.arrays import FloatArray
from motioncheck.skeleton import Side
from motioncheck.splitting.cycles import BoolArray, Cycle, CycleRule, find_cycles
from motioncheck.splitting.jumps import add_flights
from motioncheck.splitting.poses import find_side

# A pause shorter than this is part of the turn (common practice, no source).
MIN_PAUSE_S = 0.2
CUT_NOTE = "It was cut off by the edge of what was filmed."
# Two sides cannot turn at the same time in an alternating drill; the smaller one is a ghost.
SIDES: tuple[Side, Side] = ("left", "right")
GHOST_SHARE_OF_MIN_TIME = 0.35


@dataclass(frozen=True, slots=True)
class SplitRule:
    """How a movement is split; the values come from its standard.

    ``signal`` is the measure id without side; ``turns_low`` is True when the rep turns at the
    lowest value of the signal. ``side_from`` names a sided measure: the side on which it is lower
    (with ``side_higher``: higher) is the working one. ``reach`` is a value that the signal must
    come to at the turn. With ``flight`` jumps are looked for within each rep. ``lowers_last`` is
    True when the way back lowers the body, as in standing up and sitting down. ``side_level``
    tells the working side where the other one is not seen; see `find_side`. Beyond
    ``at_turn_from`` the body is at the turn, however far the signal goes on.
    """

    signal: str
    sided: bool
    alternating: bool
    turns_low: bool
    cycle: CycleRule
    phase_names: tuple[str, str, str]
    side_from: str | None = None
    side_higher: bool = False
    reach: float | None = None
    flight: bool = False
    lowers_last: bool = False
    side_level: float | None = None
    at_turn_from: float | None = None


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
    cut = [p for p in pairs if not p[0].complete and _is_worked(table, p, rule)]
    events = tuple(_event(n, c, s, rule) for n, (c, s) in enumerate(finished, start=1))
    return Timeline(
        add_flights(events, table) if rule.flight else events,
        tuple(_event(n, c, s, rule) for n, (c, s) in enumerate(cut, start=1)),
    )


def _find_pairs(
    table: MeasureTable, rule: SplitRule, present: BoolArray | None
) -> list[tuple[Cycle, Side]]:
    def find(signal: FloatArray) -> list[Cycle]:
        turned = -signal if rule.turns_low else signal
        if rule.at_turn_from is not None:
            turned = np.minimum(turned, -rule.at_turn_from if rule.turns_low else rule.at_turn_from)
        cycles = find_cycles(table.time_s, turned, rule=rule.cycle, present=present)
        return [c for c in cycles if _reaches(table.time_s, turned, c, rule)]

    if rule.alternating and rule.side_from is None:
        pairs = [(c, s) for s in SIDES for c in find(table.values[f"{rule.signal}_{s}"])]
        return _drop_ghosts(sorted(pairs, key=lambda p: p[0].turn_s), rule)
    cycles = find(_both_sides(table, rule))
    return [(c, _working_side(table, c, rule)) for c in cycles]


def _reaches(time_s: FloatArray, turned: FloatArray, cycle: Cycle, rule: SplitRule) -> bool:
    """Tell whether the signal, turned so that reps are hills, comes to what is asked for."""
    if rule.reach is None:
        return True
    wanted = -rule.reach if rule.turns_low else rule.reach
    inside = (time_s >= cycle.start_s) & (time_s <= cycle.end_s)
    return bool(np.nanmax(turned[inside], initial=-np.inf) >= wanted)


def _working_side(table: MeasureTable, cycle: Cycle, rule: SplitRule) -> Side:
    """Return the side that ``side_from`` tells, on average over the middle of the rep."""
    if rule.side_from is None:
        return "both"
    quarter = (cycle.end_s - cycle.start_s) / 4.0
    middle = (table.time_s >= cycle.start_s + quarter) & (table.time_s <= cycle.end_s - quarter)
    return find_side(
        table, rule.side_from, higher=rule.side_higher, inside=middle, level=rule.side_level
    )


def _is_worked(table: MeasureTable, pair: tuple[Cycle, Side], rule: SplitRule) -> bool:
    """Tell whether a rep that was cut off is one at all: standing before the set is not."""
    if rule.side_from is None or rule.side_level is None:
        return True
    cycle, _ = pair
    inside = (table.time_s >= cycle.start_s) & (table.time_s <= cycle.end_s)
    values = np.concatenate([table.values[f"{rule.side_from}_{s}"][inside] for s in SIDES])
    beyond = values > rule.side_level if rule.side_higher else values < rule.side_level
    return bool(beyond.any())


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
    notes = () if cycle.complete else (CUT_NOTE,)
    return Event(
        "rep",
        number,
        side,
        cycle.start_s,
        cycle.turn_s,
        cycle.end_s,
        phases,
        measures=_swapped_times(phases) if rule.lowers_last else {},
        notes=notes,
    )


def _swapped_times(phases: tuple[Phase, Phase, Phase]) -> dict[str, Value]:
    """Return the times of lowering and rising where the rep rises first."""
    named = zip(("rising_time_s", "lowering_time_s"), (phases[0], phases[2]), strict=True)
    return {
        name: Value(round(phase.end_s - phase.start_s, 3), "s", REGISTRY[name].guard, "")
        for name, phase in named
    }
