"""Lifting: directions of the bones in space, learned from rendered bodies."""

from motioncheck.lifting.lift import BONES, Lift, lift_track

__all__ = ["BONES", "Lift", "lift_track"]
