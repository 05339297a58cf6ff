"""Which source is believed: the picture or the fitted body, for each measure and frame."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from motioncheck.measures.body import BodyPicture
from motioncheck.measures.calibration import (
    NEUTRAL,
    Z90,
    Calibration,
    Correction,
    compute_half_width,
    correct,
    relative_azimuth_deg,
)
from motioncheck.measures.catalog import REGISTRY
from motioncheck.measures.fitted import Columns
from motioncheck.measures.registry import MeasureSpec, Plane
from motioncheck.measures.table import NO_PLANES, compute_picture_table
from motioncheck.records import MeasureTable
from motioncheck.records.arrays import BoolArray, FloatArray, sealed
from motioncheck.skeleton import INDEX

# Half-widths are compared after a running median over this time, at so many instants a second, so
# that the source does not change back and forth; project judgement.
CALM_S = 1.0
CALM_HZ = 10.0
# The picture must be so much surer to be believed: what its half-width does not know of, such as
# a landmark that slipped, the body averages out. Tuned on the calibration clips.
PICTURE_HANDICAP = 0.6


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """Values and half-widths of the 90 % interval, shape (T,); NaN where there is no value."""

    value: FloatArray
    half_width: FloatArray


def compute_table(
    picture: BodyPicture,
    fitted: Columns | None = None,
    calibration: Calibration = NEUTRAL,
    *,
    missing: Mapping[str, BoolArray] | None = None,
    planes: Mapping[str, Plane] = NO_PLANES,
    planar: Collection[str] = (),
) -> MeasureTable:
    """Compute every registered measure over time from whichever source knows it better.

    Parameters
    ----------
    picture : BodyPicture
        Cleaned, tilt-corrected landmarks.
    fitted : Columns, optional
        Measures of the fitted body on the same time axis.
    calibration : Calibration
    missing : mapping of landmark to ndarray of bool, shape (T,), optional
        Where the fitted body had to be made up; see `drop_invented`.
    planes : mapping of measure id to plane
        As in `compute_picture_table`.
    planar : collection of measure id
        Measures of limbs that move in the plane of the picture in this movement. The picture is
        believed wherever it knows them well enough to be judged.

    Returns
    -------
    MeasureTable
        Both sources are corrected and given the half-width of their 90 % interval; the picture is
        taken where its own is clearly the smaller one. Where only one source has a value, it is
        taken. NaN where neither has.
    """
    table = compute_picture_table(picture, planes=planes)
    azimuth = picture.view.azimuth_deg
    values: dict[str, FloatArray] = {}
    widths: dict[str, FloatArray] = {}
    from_body: dict[str, BoolArray] = {}
    for column, seen in table.values.items():
        spec, turn = REGISTRY.column_spec(column), _turn(column, azimuth)
        correction = picture_correction(spec, calibration, planar)
        known = make_known(seen, table.uncertainty[column], correction, turn)
        use = np.zeros(len(table.time_s), dtype=np.bool_)
        if fitted is not None:
            body = read_body(fitted, column, calibration, azimuth, missing=missing)
            use = choose_body(table.time_s, known.half_width, body.half_width)
            if spec.id in planar:
                well = known.half_width <= spec.bears
                use = np.asarray(np.isfinite(body.half_width) & ~well)
            known = Known(
                np.where(use, body.value, known.value),
                np.where(use, body.half_width, known.half_width),
            )
        values[column], widths[column] = sealed(known.value), sealed(known.half_width)
        from_body[column] = use
    return MeasureTable(table.time_s, values, widths, from_body, picture=table)


def picture_correction(
    spec: MeasureSpec, calibration: Calibration, planar: Collection[str]
) -> Correction:
    """Return what is corrected in a measure of the picture.

    The calibration is from limbs that move in any direction. Where a movement keeps them in the
    plane of the picture, the picture shows the true angle: nothing is taken off, and the guard
    band holds (with the floor, for a measure that was calibrated in its own plane).
    """
    entry = calibration.of(spec.id).picture
    if spec.id not in planar:
        return entry
    return Correction(floor=0.0 if spec.plane == "any" else entry.floor)


def read_body(
    fitted: Columns,
    column: str,
    calibration: Calibration,
    azimuth_deg: float,
    *,
    missing: Mapping[str, BoolArray] | None = None,
) -> Known:
    """Return one column of the fitted body, corrected; the parameters are those of the table."""
    value, spread = fitted.values[column], fitted.spread[column]
    if missing is not None:
        value = drop_invented(value, column, missing)
    correction = calibration.of(REGISTRY.column_spec(column).id).body
    return make_known(value, Z90 * spread, correction, _turn(column, azimuth_deg))


def make_known(
    value: FloatArray, stated: FloatArray, correction: Correction, turn_deg: float
) -> Known:
    """Correct a value and give it its half-width; NaN where value or ``stated`` is."""
    known = np.isfinite(value) & np.isfinite(stated)
    half_width = compute_half_width(stated, correction, turn_deg)
    return Known(
        np.where(known, correct(value, correction), np.nan), np.where(known, half_width, np.nan)
    )


def _turn(column: str, azimuth_deg: float) -> float:
    spec = REGISTRY.column_spec(column)
    side = column.removeprefix(f"{spec.id}_") if spec.sided else ""
    return relative_azimuth_deg(azimuth_deg, side)


def drop_invented(value: FloatArray, column: str, missing: Mapping[str, BoolArray]) -> FloatArray:
    """Return a column with NaN where a landmark it needs was made up by the fit.

    Parameters
    ----------
    value : ndarray, shape (T,)
    column : str
    missing : mapping of landmark to ndarray of bool, shape (T,)
        Landmarks that are not in it were never missing.
    """
    spec = REGISTRY.column_spec(column)
    side = column.removeprefix(f"{spec.id}_") if spec.sided else ""
    needed = [missing[p] for p in (q.replace("*", side) for q in spec.points) if p in missing]
    return np.where(np.any(needed, axis=0), np.nan, value) if needed else value


def find_invented(
    image_px: FloatArray, rate_hz: float, *, longest_s: float
) -> dict[str, BoolArray]:
    """Find where a body fitted to landmarks had to be made up.

    Parameters
    ----------
    image_px : ndarray, shape (T, 33, 2)
        What the body was fitted to; NaN where a landmark was not found.
    rate_hz : float
    longest_s : float
        A single landmark may be missing that long: the rest of the body holds its joint.

    Returns
    -------
    dict
        Landmark to ndarray of bool, shape (T,): nobody was found, or the landmark was missing for
        longer. Landmarks that were never missing are left out.
    """
    gone = ~np.isfinite(image_px[..., 0])
    nobody = gone.all(axis=1)
    if not gone.any():
        return {}
    longest = longest_s * rate_hz if np.isfinite(rate_hz) else 0.0
    found = {name: nobody | _only_long(gone[:, i], longest) for name, i in INDEX.items()}
    return {name: mask for name, mask in found.items() if mask.any()}


def _only_long(mask: BoolArray, longest: float) -> BoolArray:
    """Keep runs of True of more than ``longest`` samples."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    kept = np.zeros_like(mask)
    for start, stop in edges.reshape(-1, 2):
        kept[start:stop] = stop - start > longest
    return kept


def choose_body(time_s: FloatArray, picture: FloatArray, body: FloatArray) -> BoolArray:
    """Tell where the fitted body is believed: unless the picture is clearly surer.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    picture, body : ndarray, shape (T,)
        Half-widths; NaN where a source has no value.

    Returns
    -------
    ndarray of bool, shape (T,)
        By running medians over about a second; a missing half-width counts as endless. Where only
        one source has a value there is no choice.
    """
    has_picture, has_body = np.isfinite(picture), np.isfinite(body)
    if not (has_picture & has_body).any():
        return np.asarray(has_body & ~has_picture)
    surer = PICTURE_HANDICAP * _calm(time_s, body) < _calm(time_s, picture)
    return np.asarray(has_body & (surer | ~has_picture))


def _calm(time_s: FloatArray, half_width: FloatArray) -> FloatArray:
    """Return the running median at ten instants a second, each held until the next, (T,)."""
    frames = len(time_s)
    step_s = float(np.median(np.diff(time_s))) if frames > 1 else 1.0 / CALM_HZ
    every = max(1, round(1.0 / (CALM_HZ * step_s)))
    thin = np.where(np.isfinite(half_width), half_width, np.inf)[::every]
    half = max(1, round(CALM_S / (2.0 * every * step_s)))
    padded = np.pad(thin, half, mode="edge")
    medians = np.median(sliding_window_view(padded, 2 * half + 1), axis=1)
    return np.repeat(medians, every)[:frames]
