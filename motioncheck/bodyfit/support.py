"""When a body stands on its feet, and when it kneels, lies, sits, hangs or props itself up.

Much of what the fit knows of the camera comes from people who stand: their weight is over their
feet, their feet are level, and the lifting network, which has only met people on their feet, says
which way is up. Of a body on the floor all that would turn the camera, by up to 70 degrees.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from motioncheck.bodyfit.model import JOINT
from motioncheck.records.arrays import BoolArray, FloatArray

# Ankle below knee in parts of the shank's length: of the steeper shank. People on their feet bring
# it down to 0.40 for a moment, with heels kicked up (204 rendered clips).
FLAT_SHANKS: Final = 0.35
# A knee on the floor under a flat shank: how high its landmark lies above the lowest joint, in
# statures. In the 204 clips a knee comes down to 0.115 for a moment, in the others to 0.149.
LOW_KNEE: Final = 0.14
FLAT_SHANK: Final = 0.3
# So low are the hips of somebody who sits or lies, and the shoulders of somebody who lies or makes
# a bridge; in the 204 clips they come down to 0.148 and 0.203.
LOW_HIP: Final = 0.13
LOW_SHOULDER: Final = 0.17
# So low are both hands of somebody who props himself up; in the 204 clips 0.162.
LOW_HANDS: Final = 0.11
# Feet that are off the floor while something else is on it.
HIGH_FEET: Final = 0.12
# Shorter stretches are heels kicked up; between two stretches nobody stands for less than so long.
SHORTEST_S: Final = 0.4
JOIN_S: Final = 1.0
SHANK: Final = 0.240
SIDES: Final = ("left", "right")


def find_on_feet(picture: FloatArray, time_s: FloatArray, stature: float) -> BoolArray:
    """Find when the feet carry the body and the legs stand on them.

    Parameters
    ----------
    picture : ndarray, shape (T, K, 2)
        Joints, y down, in any unit.
    time_s : ndarray, shape (T,)
    stature : float
        Of the person, in the unit of the picture.

    Returns
    -------
    ndarray of bool, shape (T,)
        True where nothing tells otherwise, also where nobody was found.

    Notes
    -----
    Heights are those in the picture: a phone that looks steeply down makes a far joint high.
    """
    lowest = np.nan_to_num(picture[..., 1], nan=-np.inf).max(axis=1)
    height = (lowest[:, None] - picture[..., 1]) / stature

    def pair(part: str) -> FloatArray:
        return np.asarray(height[:, [JOINT[f"{side}_{part}"] for side in SIDES]])

    knee, drop = pair("knee"), (pair("knee") - pair("ankle")) / SHANK
    # Comparisons with NaN are False: what was not found says nothing.
    flat = (drop < FLAT_SHANKS).all(axis=1)
    kneeling = ((knee < LOW_KNEE) & (drop < FLAT_SHANK)).any(axis=1)
    low = (pair("hip") < LOW_HIP).any(axis=1) | (pair("shoulder") < LOW_SHOULDER).any(axis=1)
    propped = (pair("wrist") < LOW_HANDS).all(axis=1)
    raised = (np.fmin(pair("toe"), pair("heel")) > HIGH_FEET).all(axis=1)
    off = np.asarray(flat | kneeling | low | propped | raised)
    off = _drop_short(off, time_s, SHORTEST_S, ends=False)
    return _drop_short(~off, time_s, JOIN_S, ends=True)


def _drop_short(mask: BoolArray, time_s: FloatArray, shortest_s: float, *, ends: bool) -> BoolArray:
    """Return the mask without short runs of True; ``ends`` keeps those at the first or last."""
    kept = np.array(mask)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    for first, stop in edges.reshape(-1, 2):
        at_end = first == 0 or stop == len(mask)
        if time_s[stop - 1] - time_s[first] < shortest_s and not (ends and at_end):
            kept[first:stop] = False
    return kept


def find_body_turn(picture: FloatArray) -> FloatArray:
    """Return how far a body is turned clockwise in the picture, radians, shape (T,).

    Of the line from the ankles to the shoulders: 0 upright, NaN where they were not found.
    """
    middle = {
        part: picture[:, [JOINT[f"{side}_{part}"] for side in SIDES]].mean(axis=1)
        for part in ("shoulder", "ankle")
    }
    line = middle["shoulder"] - middle["ankle"]
    return np.asarray(np.arctan2(line[:, 0], -line[:, 1]))
