"""Splitting a clip into repetitions, holds, stages and bouts."""

from motioncheck.splitting.cycles import Cycle, CycleRule, find_cycles
from motioncheck.splitting.events import SplitRule, Timeline, split_reps

__all__ = ["Cycle", "CycleRule", "SplitRule", "Timeline", "find_cycles", "split_reps"]
