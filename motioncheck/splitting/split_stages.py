"""From visited stages to events: stages with their side, and the way up they belong to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from motioncheck.records import Event, MeasureTable, Phase
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.skeleton import Side
from motioncheck.splitting.events import CUT_NOTE, Timeline
from motioncheck.splitting.motion import Motion
from motioncheck.splitting.poses import PoseWindow, follow_side, measure_misfit
from motioncheck.splitting.rungs import Rung, find_rungs
from motioncheck.splitting.stages import (
    StageRule,
    StageShape,
    StageVisit,
    StageWindow,
    find_stages,
)

# The working side may change between two ways up, not faster than this.
SIDE_SPAN_S = 12.0


@dataclass(frozen=True, slots=True)
class StageSplitRule:
    """How stages are found; the values come from the standard.

    ``windows`` are those of each stage, in order. ``side_from`` names a sided measure: the side on
    which it is lower (with ``side_higher``: higher) is the working one.
    """

    names: tuple[str, ...]
    windows: tuple[tuple[PoseWindow, ...], ...]
    side_from: str
    side_higher: bool
    stage: StageRule
    side_level: float | None = None


def split_stages(table: MeasureTable, motion: Motion, rule: StageSplitRule) -> Timeline:
    """Split a clip into the stages of an ordered sequence.

    Parameters
    ----------
    table : MeasureTable
        Measures over time.
    motion : Motion
        Speeds on the same time axis.
    rule : StageSplitRule
        From the standard.

    Returns
    -------
    Timeline
        Stages in time order; one that the body swept through without any rest was left out, one
        with a short rest was rushed. ``group`` numbers the ways up and back from 1. A stop at the
        first stage that ends one way and begins the next is divided in its middle. Stops that the
        clip cuts off are among the events all the same, with a note: the order of the others
        hangs on them.
    """
    left = follow_side(
        table.time_s,
        table,
        rule.side_from,
        higher=rule.side_higher,
        span_s=SIDE_SPAN_S,
        level=rule.side_level,
    )
    shapes, signals = _lay_out(table, rule, left)
    passed = find_stages(table.time_s, signals, motion.body, shapes, rule.stage)
    # On the way to another pose a body sweeps through much; without any rest that is no stage.
    visits = [visit for visit in passed if visit.end_s > visit.start_s or not visit.complete]
    events = [
        _event(visits[n], rung, rule, _name_side(table.time_s, left, visits[n]))
        for rung in find_rungs(visits)
        for n in rung.visits
    ]
    events = _divide_shared(sorted(events, key=lambda e: (e.start_s, e.group or 0)))
    return Timeline(tuple(replace(e, number=n) for n, e in enumerate(events, start=1)), ())


def _lay_out(
    table: MeasureTable, rule: StageSplitRule, left: BoolArray
) -> tuple[tuple[StageShape, ...], FloatArray]:
    """Return the stages and what their windows look at: misfits on the working side, (T, K)."""
    columns: list[FloatArray] = []
    shapes = []
    for windows in rule.windows:
        numbers = []
        for window in windows:
            misfit = [measure_misfit(table, window, side) for side in ("left", "right")]
            numbers.append(len(columns))
            columns.append(np.where(left, *misfit))
        shapes.append(
            StageShape(tuple(StageWindow(n, -np.inf, 0.0, tolerance=1.0) for n in numbers))
        )
    return tuple(shapes), np.stack(columns, axis=1)


def _name_side(time_s: FloatArray, left: BoolArray, visit: StageVisit) -> Side:
    inside = (time_s >= visit.start_s) & (time_s <= visit.end_s)
    if not inside.any():
        inside[int(np.argmin(np.abs(time_s - visit.start_s)))] = True
    return "left" if left[inside].mean() > 0.5 else "right"


def _event(visit: StageVisit, rung: Rung, rule: StageSplitRule, side: Side) -> Event:
    name = rule.names[visit.stage - 1]
    return Event(
        "stage",
        0,
        side,
        visit.start_s,
        (visit.start_s + visit.end_s) / 2.0,
        visit.end_s,
        phases=(Phase(name, visit.start_s, visit.end_s),),
        notes=() if visit.complete else (CUT_NOTE,),
        stage=visit.stage,
        group=rung.number,
        name=name,
    )


def _divide_shared(events: Sequence[Event]) -> list[Event]:
    """Divide a stop that ends one way up and begins the next."""
    found: list[Event] = []
    for event in events:
        if found and found[-1].start_s == event.start_s and found[-1].group != event.group:
            middle_s = event.turn_s
            found[-1] = _cut(found[-1], found[-1].start_s, middle_s)
            event = _cut(event, middle_s, event.end_s)
        found.append(event)
    return found


def _cut(event: Event, start_s: float, end_s: float) -> Event:
    phases = tuple(replace(p, start_s=start_s, end_s=end_s) for p in event.phases)
    middle_s = (start_s + end_s) / 2.0
    return replace(event, start_s=start_s, turn_s=middle_s, end_s=end_s, phases=phases)
