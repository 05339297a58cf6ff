"""Checks: findings and verdicts for each event, and the summary of the set."""

from motioncheck.checks.corrected import apply_corrections
from motioncheck.checks.findings import check_events, check_set
from motioncheck.checks.hidden import note_hidden_leg
from motioncheck.checks.ranges import compute_ranges
from motioncheck.checks.seeing import (
    Choice,
    Choices,
    choose_judgement,
    choose_judgements,
    find_blind_spots,
)
from motioncheck.checks.summary import summarise
from motioncheck.checks.verdict import Ruling, judge_value

__all__ = [
    "Choice",
    "Choices",
    "Ruling",
    "apply_corrections",
    "check_events",
    "check_set",
    "choose_judgement",
    "choose_judgements",
    "compute_ranges",
    "find_blind_spots",
    "judge_value",
    "note_hidden_leg",
    "summarise",
]
