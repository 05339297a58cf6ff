"""Cleaning: from the landmarks of the model to smooth ones on a uniform time axis."""

from motioncheck.cleaning.bones import leave_out_impossible
from motioncheck.cleaning.filters import design_lowpass, filter_zero_phase, residual_analysis
from motioncheck.cleaning.recipe import clean_track
from motioncheck.cleaning.settle import leave_out_walking

__all__ = [
    "clean_track",
    "design_lowpass",
    "filter_zero_phase",
    "leave_out_impossible",
    "leave_out_walking",
    "residual_analysis",
]
