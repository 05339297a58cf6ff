"""Body fit: bones of constant length seen by one camera."""

from motioncheck.bodyfit.body import Body, fit_track
from motioncheck.bodyfit.model import JOINTS

__all__ = ["JOINTS", "Body", "fit_track"]
