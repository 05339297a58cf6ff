"""From the split section of a standard to the rules of the splitting room."""

from __future__ import annotations

from collections.abc import Sequence

from motioncheck.measures import REGISTRY
from motioncheck.records import MeasureTable
from motioncheck.splitting import (
    BoolArray,
    CycleRule,
    HoldRule,
    HoldSplitRule,
    Motion,
    PoseWindow,
    SplitRule,
    StageRule,
    StageSplitRule,
    Timeline,
    split_holds,
    split_reps,
    split_stages,
)
from motioncheck.standards import CycleSplit, HoldSplit, StageSplit, Standard, Window


def split_table(
    table: MeasureTable, motion: Motion, standard: Standard, present: BoolArray
) -> Timeline:
    """Split a clip into the events of a standard.

    Parameters
    ----------
    table : MeasureTable
    motion : Motion
        Speeds on the same time axis.
    standard : Standard
    present : ndarray of bool, shape (T,)
        Where the body is in the picture.
    """
    split = standard.split
    if isinstance(split, CycleSplit):
        return split_reps(table, make_cycle_rule(split), present=present)
    if isinstance(split, HoldSplit):
        return split_holds(table, motion, make_hold_rule(split))
    return split_stages(table, motion, make_stage_rule(split))


def make_cycle_rule(split: CycleSplit) -> SplitRule:
    """Translate repetitions."""
    return SplitRule(
        signal=split.signal,
        sided=REGISTRY[split.signal].sided,
        alternating=split.sides == "alternating",
        turns_low=split.turn == "lowest",
        cycle=CycleRule(split.min_change, split.min_time_s, split.max_time_s, split.min_share),
        phase_names=split.phases,
        side_from=split.side_from,
        side_higher=split.side_is == "higher",
        reach=split.reach,
        flight=split.flight,
        lowers_last=split.lowering == "second",
        side_level=split.side_level,
        at_turn_from=split.at_turn_from,
    )


def make_hold_rule(split: HoldSplit) -> HoldSplitRule:
    """Translate holds."""
    return HoldSplitRule(
        angles=split.angles,
        position=make_windows(split.position),
        each_side=split.sides == "each",
        hold=HoldRule(
            angle_tolerance_deg=split.tolerance_deg,
            speed_limit=split.max_speed,
            min_time_s=split.min_time_s,
        ),
    )


def make_stage_rule(split: StageSplit) -> StageSplitRule:
    """Translate stages."""
    return StageSplitRule(
        names=tuple(stage.name for stage in split.stage),
        windows=tuple(make_windows(stage.window) for stage in split.stage),
        side_from=split.side_from,
        side_higher=split.side_is == "higher",
        stage=StageRule(min_time_s=split.min_time_s, speed_limit=split.max_speed),
        side_level=split.side_level,
    )


def make_windows(windows: Sequence[Window]) -> tuple[PoseWindow, ...]:
    """Translate the windows of a pose."""
    return tuple(PoseWindow(w.measure, w.side, w.low, w.high, w.doubt) for w in windows)


def split_measures(standard: Standard) -> tuple[str, ...]:
    """Return the measures that must be seen for a standard to be split at all."""
    split = standard.split
    if isinstance(split, CycleSplit):
        return (split.signal,)
    if isinstance(split, HoldSplit):
        return split.angles
    return tuple(w.measure for stage in split.stage for w in stage.window)
