"""Measures: one registry of named quantities and the functions that compute them over time."""

from motioncheck.measures.body import BodyPicture, build_body
from motioncheck.measures.calibration import NEUTRAL, Calibration, load_calibration
from motioncheck.measures.catalog import REGISTRY
from motioncheck.measures.choice import compute_table, find_invented, read_body
from motioncheck.measures.fitted import Columns, measure_body, measure_joints
from motioncheck.measures.registry import MeasureSpec, Plane
from motioncheck.measures.table import compute_picture_table
from motioncheck.measures.visible import Visibility, judge_plane

__all__ = [
    "NEUTRAL",
    "REGISTRY",
    "BodyPicture",
    "Calibration",
    "Columns",
    "MeasureSpec",
    "Plane",
    "Visibility",
    "build_body",
    "compute_picture_table",
    "compute_table",
    "find_invented",
    "judge_plane",
    "load_calibration",
    "measure_body",
    "measure_joints",
    "read_body",
]
