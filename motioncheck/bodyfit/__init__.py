"""Body fit: bones of constant length seen by one camera."""

from motioncheck.bodyfit.body import Body, fit_track
from motioncheck.skeleton import JOINTS

__all__ = ["JOINTS", "Body", "fit_track"]
