"""From still stretches to events: numbered holds with their side and time in position."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motioncheck.measures import REGISTRY
from motioncheck.records import Event, MeasureTable, Phase, Value
from motioncheck.records.arrays import FloatArray
from motioncheck.skeleton import Side
from motioncheck.splitting.events import CUT_NOTE, Timeline
from motioncheck.splitting.holds import Hold, HoldRule, find_holds
from motioncheck.splitting.motion import Motion
from motioncheck.splitting.poses import PoseWindow, measure_pose

# A pose fits as long as no window is missed by more than this many units of doubt.
FITS = 1.0
SIDES: tuple[Side, Side] = ("left", "right")


@dataclass(frozen=True, slots=True)
class HoldSplitRule:
    """How holds are found; the values come from the standard.

    ``angles`` are measure ids that must keep still, ``position`` says what the pose is. With
    ``each_side`` the working side of a hold is the one on which the position fits better.
    """

    angles: tuple[str, ...]
    position: tuple[PoseWindow, ...]
    each_side: bool
    hold: HoldRule


def split_holds(table: MeasureTable, motion: Motion, rule: HoldSplitRule) -> Timeline:
    """Split a clip into holds.

    Parameters
    ----------
    table : MeasureTable
        Measures over time.
    motion : Motion
        Speeds on the same time axis.
    rule : HoldSplitRule
        From the standard.

    Returns
    -------
    Timeline
        Holds in time order; those cut off by the clip or by a stretch in which the body is not
        seen are in ``partial``. ``in_position_s`` is among the measures of each.
    """
    columns = [c for measure in rule.angles for c in REGISTRY[measure].ids()]
    angles = np.stack([table.values[c] for c in columns], axis=1)
    misfits = {side: measure_pose(table, rule.position, side) for side in SIDES}
    fits = [_fits(worst) for worst, _ in misfits.values()]
    holds = find_holds(table.time_s, angles, motion.hip, np.fmax(*fits), rule.hold)

    def name_side(hold: Hold) -> Side:
        if not rule.each_side:
            return "both"
        inside = (table.time_s >= hold.start_s) & (table.time_s <= hold.end_s)
        return _better_side({side: mean[inside] for side, (_, mean) in misfits.items()})

    pairs = [(hold, name_side(hold)) for hold in holds]
    done = [p for p in pairs if p[0].complete]
    cut = [p for p in pairs if not p[0].complete]
    return Timeline(
        tuple(_event(n, *p) for n, p in enumerate(done, start=1)),
        tuple(_event(n, *p) for n, p in enumerate(cut, start=1)),
    )


def _fits(worst: FloatArray) -> FloatArray:
    return np.where(np.isfinite(worst), (worst <= FITS).astype(np.float64), np.nan)


def _better_side(misfits: dict[Side, FloatArray]) -> Side:
    means = {side: _mean(values) for side, values in misfits.items()}
    known = {side: mean for side, mean in means.items() if np.isfinite(mean)}
    if not known:
        return "both"
    return min(known, key=lambda side: known[side])


def _mean(values: FloatArray) -> float:
    finite = values[np.isfinite(values)]
    return float(finite.mean()) if len(finite) else float("nan")


def _event(number: int, hold: Hold, side: Side) -> Event:
    middle_s = (hold.start_s + hold.end_s) / 2.0
    guard = REGISTRY["in_position_s"].guard
    return Event(
        "hold",
        number,
        side,
        hold.start_s,
        middle_s,
        hold.end_s,
        phases=(Phase("hold", hold.start_s, hold.end_s),),
        measures={"in_position_s": Value(round(hold.in_position_s, 3), "s", guard, "")},
        notes=() if hold.complete else (CUT_NOTE,),
    )
