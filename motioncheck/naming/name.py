"""Naming the movements of a clip."""

from __future__ import annotations

from collections.abc import Sequence

from motioncheck.naming.evidence import find_candidates
from motioncheck.naming.stretches import Stretch, find_stretches
from motioncheck.records import MeasureTable
from motioncheck.records.arrays import BoolArray
from motioncheck.splitting import Motion
from motioncheck.standards import Standard

# Landmarks are smoothed alike for all movements before they are told apart; their own checks use
# the cutoff of their standard.
NAMING_CUTOFF_HZ = 6.0


def name_movements(
    table: MeasureTable, motion: Motion, present: BoolArray, standards: Sequence[Standard]
) -> tuple[Stretch, ...]:
    """Tell which movement is done when.

    Parameters
    ----------
    table : MeasureTable
        What the picture shows, from landmarks smoothed at `NAMING_CUTOFF_HZ`.
    motion : Motion
        Speeds on the same time axis.
    present : ndarray of bool, shape (T,)
        Where the body is in the picture.
    standards : sequence of Standard
        The movements to choose from; those without a signature are left out.

    Returns
    -------
    tuple of Stretch
        From the first to the last frame, without gaps.
    """
    if len(table.time_s) < 2:
        return ()
    known = [s for s in standards if s.signature]
    candidates = [c for s in known for c in find_candidates(table, motion, present, s)]
    return find_stretches(candidates, float(table.time_s[0]), float(table.time_s[-1]))
