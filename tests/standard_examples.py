"""A small valid standard, and variants of it, for tests of standards and checks."""

from __future__ import annotations

from typing import Any

from motioncheck.standards import Standard


def check_data(**changes: Any) -> dict[str, Any]:
    """Return one line of a standard; a value of None leaves the key out."""
    data = {
        "id": "depth",
        "title": "Deep enough",
        "measure": "thigh_inclination",
        "moment": "turn",
        "side": "near",
        "comparison": "at most",
        "threshold": 5.0,
        "clear_miss": 15.0,
        "unit": "deg",
        "plane": "sagittal",
        "cue": "Sit lower.",
        "praise": "Good depth.",
        "source_tag": "common practice, no source",
        "source": "Common practice, no source.",
    } | changes
    return {key: value for key, value in data.items() if value is not None}


def split_data(**changes: Any) -> dict[str, Any]:
    """Return the split section."""
    data = {
        "kind": "cycle",
        "signal": "hip_height_ratio",
        "turn": "lowest",
        "sides": "both",
        "min_change": 0.12,
        "min_time_s": 0.8,
        "max_time_s": 20.0,
        "phases": ["lowering", "bottom", "rising"],
        "lowering": "first",
    } | changes
    return {key: value for key, value in data.items() if value is not None}


def standard_data(*checks: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """Return a whole standard; without checks it has one."""
    data = {
        "format": "motioncheck/standard/1",
        "id": "test-squat",
        "title": "Test squat",
        "summary": "Sit down and stand up.",
        "cutoff_hz": 5.0,
        "chart_measure": "thigh_inclination",
        "camera": {"best_view": "side", "advice": "From the side."},
        "split": split_data(),
        "check": list(checks) or [check_data()],
        "faults": ["Shallow."],
        "cautions": ["Stop at sharp pain."],
    } | changes
    return {key: value for key, value in data.items() if value is not None}


def make_standard(*checks: dict[str, Any], **changes: Any) -> Standard:
    """Return a valid standard."""
    return Standard.model_validate(standard_data(*checks, **changes))


def rate_data(**changes: Any) -> dict[str, Any]:
    """Return a check of the whole set: how often a minute."""
    return check_data(
        **{
            "id": "rate",
            "title": "Rate",
            "scope": "set",
            "measure": "rate_per_min",
            "moment": "mean",
            "side": None,
            "comparison": "at least",
            "threshold": 30.0,
            "clear_miss": None,
            "unit": "1/min",
            "plane": "any",
            "cue": "Quicker.",
            "praise": "A good rate.",
        }
        | changes
    )
