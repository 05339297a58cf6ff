"""Room: naming. Which movement is done when, told from the track alone."""

from motioncheck.naming.decide import Decision, decide
from motioncheck.naming.evidence import Candidate, find_candidates, score_event
from motioncheck.naming.name import NAMING_CUTOFF_HZ, name_movements
from motioncheck.naming.stretches import OTHER, Stretch, find_stretches

__all__ = [
    "NAMING_CUTOFF_HZ",
    "OTHER",
    "Candidate",
    "Decision",
    "Stretch",
    "decide",
    "find_candidates",
    "find_stretches",
    "name_movements",
    "score_event",
]
