"""Conversions between units, kept in one place."""

from __future__ import annotations

import math

FULL_TURN_DEG = 360.0


def wrap_deg(angle_deg: float) -> float:
    """Return the same direction as an angle in (-180, 180].

    Parameters
    ----------
    angle_deg : float
        Any angle in degrees; NaN stays NaN.
    """
    if math.isnan(angle_deg):
        return angle_deg
    wrapped = math.fmod(angle_deg, FULL_TURN_DEG)
    if wrapped > 180.0:
        return wrapped - FULL_TURN_DEG
    if wrapped <= -180.0:
        return wrapped + FULL_TURN_DEG
    return wrapped
