"""The two sources of every measure, the picture and the fitted body, brought together."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from motioncheck.camera import refine_view
from motioncheck.cleaning import clean_track
from motioncheck.errors import NoPersonError
from motioncheck.measures import (
    REGISTRY,
    BodyPicture,
    Calibration,
    Plane,
    build_body,
    compute_table,
    find_invented,
)
from motioncheck.pipeline.fitting import Fit, FittedBody
from motioncheck.records import CameraView, CleanTrack, LandmarkTrack, MeasureTable
from motioncheck.records.arrays import BoolArray
from motioncheck.standards import Standard

# A joint that was not found for longer is not measured from the fitted body; project judgement.
LONGEST_INVENTED_S = 0.5
NO_FIT_NOTE = (
    "No body could be fitted to the landmarks, so everything is measured in the picture alone."
)


@dataclass(frozen=True, slots=True)
class Sources:
    """View and measures from both sources, and the fitted body if there is one."""

    view: CameraView
    table: MeasureTable
    fitted: FittedBody | None = None
    notes: tuple[str, ...] = ()


def combine_sources(
    track: LandmarkTrack,
    body: BodyPicture,
    standard: Standard,
    fit: Fit | None,
    calibration: Calibration,
) -> Sources:
    """Fit a body and take each measure from the source that knows it better.

    Parameters
    ----------
    track : LandmarkTrack
        With the landmarks outside the picture marked as hidden.
    body : BodyPicture
        From the same track, cleaned.
    standard : Standard
    fit : callable, optional
        None uses the picture alone.
    calibration : Calibration
    """
    planes = wanted_planes(standard)
    if fit is None:
        table = compute_table(body, calibration=calibration, planes=planes)
        return Sources(body.view, table)
    dense = prepare_for_fit(track, body.track)
    try:
        fitted = fit(dense)
    except (NoPersonError, np.linalg.LinAlgError):
        table = compute_table(body, calibration=calibration, planes=planes)
        return Sources(body.view, table, notes=(NO_FIT_NOTE,))
    view = refine_view(
        body.view,
        azimuth_deg=fitted.azimuth_deg,
        azimuth_sd_deg=fitted.azimuth_sd_deg,
        tilt_deg=fitted.tilt_deg,
        tilt_sd_deg=fitted.tilt_sd_deg,
    )
    picture = body if view == body.view else build_body(body.track, view)
    missing = find_missing(dense)
    table = compute_table(picture, fitted.columns, calibration, missing=missing, planes=planes)
    return Sources(view, table, fitted, fitted.notes)


def prepare_for_fit(track: LandmarkTrack, clean: CleanTrack) -> CleanTrack:
    """Clean a track for the fit: hidden landmarks stay, what was left out as a whole goes.

    Parameters
    ----------
    track : LandmarkTrack
    clean : CleanTrack
        The same track, cleaned for the picture. It is empty where the athlete walked, where the
        model lost the body, and where nothing of it could be seen.
    """
    dense = clean_track(track, cutoff_hz=clean.cutoff_hz, visibility_gate=0.0)
    left_out = ~np.isfinite(clean.image_px[..., 0]).any(axis=1)
    if not left_out.any():
        return dense
    image, world = np.array(dense.image_px), np.array(dense.world_m)
    image[left_out] = np.nan
    world[left_out] = np.nan
    return replace(dense, image_px=image, world_m=world)


def find_missing(dense: CleanTrack) -> dict[str, BoolArray]:
    """Find where the body was made up by the fit; see `motioncheck.measures.find_invented`."""
    return find_invented(dense.image_px, dense.rate_hz, longest_s=LONGEST_INVENTED_S)


def wanted_planes(standard: Standard) -> dict[str, Plane]:
    """Return the plane in which a standard wants each measure that any camera sees somehow."""
    wanted: dict[str, Plane] = {}
    for check in standard.check:
        for form in (check, *check.instead):
            if REGISTRY[form.measure].plane == "any" and form.plane != "any":
                wanted.setdefault(form.measure, form.plane)
    return wanted
