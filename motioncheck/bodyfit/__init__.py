"""Body fit: bones of constant length seen by one camera."""

from motioncheck.bodyfit.body import Body, fit_track
from motioncheck.bodyfit.measures import Measured, measure, measure_all

__all__ = ["Body", "Measured", "fit_track", "measure", "measure_all"]
