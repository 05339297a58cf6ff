"""The recipe that turns a clip into a sheet: the only room that mixes files and computing."""

from motioncheck.pipeline.analyse import Analysis, analyse_track
from motioncheck.pipeline.corrected import check_again, correct_result, standard_of
from motioncheck.pipeline.naming import Naming, name_track
from motioncheck.pipeline.options import CheckOptions, CheckResult, OnProgress, no_progress
from motioncheck.pipeline.outputs import (
    ANNOTATED,
    COMPARED,
    default_folder,
    render_results,
    write_results,
)
from motioncheck.pipeline.recipe import check_clip, check_track, name_clip
from motioncheck.pipeline.stretches import SessionClip, split_session_clip

__all__ = [
    "ANNOTATED",
    "COMPARED",
    "Analysis",
    "CheckOptions",
    "CheckResult",
    "Naming",
    "OnProgress",
    "SessionClip",
    "analyse_track",
    "check_again",
    "check_clip",
    "check_track",
    "correct_result",
    "default_folder",
    "name_clip",
    "name_track",
    "no_progress",
    "render_results",
    "split_session_clip",
    "standard_of",
    "write_results",
]
