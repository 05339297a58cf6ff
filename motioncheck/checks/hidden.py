"""A leg that hides the other one: left and right may then be exchanged."""

from __future__ import annotations

import numpy as np

from motioncheck.measures import REGISTRY
from motioncheck.records import CameraView, MeasureTable
from motioncheck.standards import CycleSplit, Standard

# On rendered people seen square from the side: drills that were followed well lost the far leg in
# 16 and 22 % of the frames, those in which left and right were exchanged in 41 and 75 %.
HIDDEN_SHARE = 0.3
SQUARE_DEG = 20.0
LEG_POINTS = {"*_knee", "*_ankle"}
NOTE = (
    "Square from the side one leg hid the other much of the time: left and right may be "
    "exchanged here, reps may be missing, and what was read off the legs may be wrong. Film it "
    "again with the phone 20 to 30 degrees further to the front."
)


def note_hidden_leg(standard: Standard, table: MeasureTable, view: CameraView) -> str:
    """Say that the sides of a drill of the legs cannot be relied on; empty where they can.

    Parameters
    ----------
    standard : Standard
    table : MeasureTable
        What the picture alone shows.
    view : CameraView
    """
    split = standard.split
    if not isinstance(split, CycleSplit) or split.sides != "alternating":
        return ""
    spec = REGISTRY[split.side_from or split.signal]
    if not LEG_POINTS & set(spec.points) or not view.off_sagittal_deg <= SQUARE_DEG:
        return ""
    hidden = [float(np.mean(~np.isfinite(table.values[column]))) for column in spec.ids()]
    return NOTE if max(hidden) >= HIDDEN_SHARE else ""
