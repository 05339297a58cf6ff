"""Splitting a clip into repetitions, holds, stages and bouts."""

from motioncheck.splitting.cycles import BoolArray, Cycle, CycleRule, find_cycles
from motioncheck.splitting.events import SplitRule, Timeline, split_reps
from motioncheck.splitting.holds import HoldRule
from motioncheck.splitting.motion import Motion, compute_motion
from motioncheck.splitting.poses import PoseWindow, measure_pose
from motioncheck.splitting.split_holds import HoldSplitRule, split_holds
from motioncheck.splitting.split_stages import StageSplitRule, split_stages
from motioncheck.splitting.stages import StageRule

__all__ = [
    "BoolArray",
    "Cycle",
    "CycleRule",
    "HoldRule",
    "HoldSplitRule",
    "Motion",
    "PoseWindow",
    "SplitRule",
    "StageRule",
    "StageSplitRule",
    "Timeline",
    "compute_motion",
    "find_cycles",
    "measure_pose",
    "split_holds",
    "split_reps",
    "split_stages",
]
