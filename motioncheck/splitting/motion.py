"""How fast the body moves in the picture, in statures a second."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motioncheck.measures.body import BodyPicture
from motioncheck.records.arrays import FloatArray, sealed
from motioncheck.splitting.stillness import compute_speed

# What the whole body is judged by: the joints that hold still when a pose is held. Of the legs the
# middle between left and right: folded under a body, the pose model exchanges them now and then. Of
# the arms the higher one: the other is often hidden behind the body, and leaps when it comes out.
PARTS = ("shoulder", "hip")
MIDDLES = ("knee", "ankle")
ARM = ("elbow", "wrist")
# One joint that leaps does not make the body fast.
MOST = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Speeds over time, shape (T,) each, statures a second; NaN where nothing was seen.

    ``hip`` is that of the mid-hip, ``body`` the mean over the joints of trunk, legs and the
    higher arm.
    """

    hip: FloatArray
    body: FloatArray


def compute_motion(body: BodyPicture) -> Motion:
    """Compute the speeds of a body in the picture."""
    time_s = body.track.time_s
    hip = compute_speed(time_s, body.mid("hip") / body.stature_px)
    joints = [
        compute_speed(time_s, body.at(f"{side}_{part}") / body.stature_px)
        for part in PARTS
        for side in ("left", "right")
    ]
    joints += [compute_speed(time_s, body.mid(part) / body.stature_px) for part in MIDDLES]
    joints += [_speed_of_higher(body, part) for part in ARM]
    return Motion(sealed(hip), sealed(_mean_known(np.minimum(np.stack(joints), MOST))))


def _speed_of_higher(body: BodyPicture, part: str) -> FloatArray:
    """Speed of the left or the right one of a pair, whichever is higher, or alone seen."""
    places = [body.at(f"{side}_{part}") for side in ("left", "right")]
    left, right = (compute_speed(body.track.time_s, p / body.stature_px) for p in places)
    # Picture coordinates go down.
    take_left = np.isnan(right) | (np.isfinite(left) & (places[0][:, 1] < places[1][:, 1]))
    return np.where(take_left, left, right)


def _mean_known(speeds: FloatArray) -> FloatArray:
    """Mean over the joints (J, T) that are known; NaN where none is."""
    known = np.isfinite(speeds)
    total = np.where(known, speeds, 0.0).sum(axis=0)
    return np.where(known.any(axis=0), total / np.maximum(known.sum(axis=0), 1), np.nan)
