"""Splitting a clip into repetitions, holds, stages and bouts."""

from motioncheck.splitting.cycles import BoolArray, Cycle, CycleRule, find_cycles
from motioncheck.splitting.events import SplitRule, Timeline, split_reps

__all__ = ["BoolArray", "Cycle", "CycleRule", "SplitRule", "Timeline", "find_cycles", "split_reps"]
