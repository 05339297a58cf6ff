"""The sources of each measure side by side, for the comparison page."""

from __future__ import annotations

import numpy as np

from motioncheck.bodyfit.body import person_axes
from motioncheck.bodyfit.evidence import find_upright
from motioncheck.bodyfit.model import LANDMARK_OF
from motioncheck.measures import (
    REGISTRY,
    Plane,
    build_body,
    compute_table,
    measure_joints,
    read_body,
)
from motioncheck.measures.registry import PLANES
from motioncheck.pipeline.options import CheckResult
from motioncheck.pipeline.sources import find_missing, prepare_for_fit
from motioncheck.records import CleanTrack, Sheet
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.sheet.compare import Compared, render_comparison

UP_OF_PICTURE = np.array([0.0, -1.0, 0.0])


def render_compared(result: CheckResult) -> str:
    """Render the comparison page of a check."""
    return render_comparison(result.sheet, compare_sources(result))


def compare_sources(result: CheckResult) -> list[Compared]:
    """Return every measure of the standard that was used, from all sources over time."""
    analysis = result.analysis
    dense = prepare_for_fit(result.track, analysis.clean)
    planes = _planes(result.sheet)
    body = build_body(analysis.clean, analysis.view)
    picture = compute_table(body, None, analysis.calibration, planes=planes)
    model, missing = measure_model(dense), find_missing(dense)
    nothing = np.full(len(dense.time_s), np.nan)
    found = []
    for measure in list_measures(result.sheet):
        for column in REGISTRY[measure].ids():
            fitted, width = nothing, nothing
            if analysis.fitted is not None:
                known = read_body(
                    analysis.fitted.columns,
                    column,
                    analysis.calibration,
                    analysis.view.azimuth_deg,
                    missing=missing,
                )
                fitted, width = known.value, known.half_width
            found.append(
                Compared(
                    column=column,
                    title=REGISTRY[measure].title,
                    unit=REGISTRY[measure].unit,
                    time_s=dense.time_s,
                    picture=picture.values[column],
                    model=model[column],
                    body=fitted,
                    half_width=width,
                    from_body=analysis.table.from_body[column],
                )
            )
    return found


def list_measures(sheet: Sheet) -> list[str]:
    """Return the measures over time that a sheet is about, the charted one first."""
    wanted = [sheet.movement.chart_measure, *(c.measure for c in sheet.movement.checks)]
    return [m for m in dict.fromkeys(wanted) if REGISTRY[m].compute is not None]


def _planes(sheet: Sheet) -> dict[str, Plane]:
    checks = sheet.movement.checks
    return {c.measure: c.plane for c in checks if c.plane in PLANES}


def measure_model(dense: CleanTrack) -> dict[str, FloatArray]:
    """Measure the pose model's own 3-D landmarks, with up taken along the picture.

    Parameters
    ----------
    dense : CleanTrack
        Cleaned with a visibility gate of 0.

    Returns
    -------
    dict
        Column to ndarray of shape (T,); NaN where nobody was found.
    """
    joints = dense.world_m[:, LANDMARK_OF]
    known: BoolArray = np.asarray(np.isfinite(joints).all(axis=(1, 2)))
    if not known.any():
        return measure_joints(dense.time_s, joints)
    upright = find_upright(dense.image_px[:, LANDMARK_OF]) & known
    rows = upright if upright.any() else known
    axes = person_axes(joints[known], UP_OF_PICTURE, rows[known])
    return measure_joints(dense.time_s, joints @ axes.T)
