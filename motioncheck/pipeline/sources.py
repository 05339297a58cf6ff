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
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.skeleton import INDEX
from motioncheck.standards import Standard

# The model places what it cannot see somewhere outside the picture, often sure of it. A landmark
# this far outside, as a share of the picture's height, is not one at the very edge.
EDGE_RATIO = 0.01
# Some landmark is at least this visible where there is a body to be seen.
SEEN_FROM = 0.5
# A joint that was not found for longer is not measured from the fitted body; project judgement.
LONGEST_INVENTED_S = 0.5
# An arm is held by nothing: where the elbow is hidden the pose model puts the arm near the other
# one, and the fit would follow it. A leg that is hidden still stands on the floor. On rendered
# people who lift the arm far from the camera the elbow has a visibility of 0.03 to 0.38 there.
HIDDEN_ELBOW = 0.5
ARMS = {INDEX[f"{s}_elbow"]: [INDEX[f"{s}_elbow"], INDEX[f"{s}_wrist"]] for s in ("left", "right")}
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
        As the pose model gave it: the lifting network knows how far to trust its visibilities,
        also outside the picture.
    body : BodyPicture
        From the same track, cleaned.
    standard : Standard
    fit : callable, optional
        None uses the picture alone.
    calibration : Calibration
    """
    planes = wanted_planes(standard)

    def take_picture(*notes: str) -> Sources:
        table = compute_table(body, calibration=calibration, planes=planes, planar=standard.planar)
        return Sources(body.view, table, notes=notes)

    if fit is None:
        return take_picture()
    dense = prepare_for_fit(track, body.track)
    try:
        fitted = fit(dense)
    except (NoPersonError, np.linalg.LinAlgError):
        return take_picture(NO_FIT_NOTE)
    view = refine_view(
        body.view,
        azimuth_deg=fitted.azimuth_deg,
        azimuth_sd_deg=fitted.azimuth_sd_deg,
        tilt_deg=fitted.tilt_deg,
        tilt_sd_deg=fitted.tilt_sd_deg,
    )
    picture = body if view == body.view else build_body(body.track, view)
    missing = find_missing(dense)
    table = compute_table(
        picture,
        fitted.columns,
        calibration,
        missing=missing,
        planes=planes,
        planar=standard.planar,
    )
    return Sources(view, table, fitted, fitted.notes)


def prepare_for_fit(track: LandmarkTrack, clean: CleanTrack) -> CleanTrack:
    """Clean a track for the fit: hidden and doubtful landmarks stay, absent bodies go.

    Parameters
    ----------
    track : LandmarkTrack
    clean : CleanTrack
        The same track, cleaned for the picture. It is empty and unseen where the athlete walked or
        nothing could be seen. Where it is empty because the model lost a body that is there, the
        landmarks stay: the lifting network has met such failures, and on rendered bodies makes
        more of them than a bridge over the gap would.
    """
    dense = clean_track(track, cutoff_hz=clean.cutoff_hz, visibility_gate=0.0)
    empty = ~np.isfinite(clean.image_px[..., 0]).any(axis=1)
    left_out = empty & ~(clean.visibility > SEEN_FROM).any(axis=1)
    if not left_out.any():
        return dense
    image, world = np.array(dense.image_px), np.array(dense.world_m)
    image[left_out] = np.nan
    world[left_out] = np.nan
    return replace(dense, image_px=image, world_m=world)


def hide_outside(track: LandmarkTrack) -> LandmarkTrack:
    """Return the track with the landmarks outside the picture marked as not visible."""
    outside = find_outside(track.image_px, track.width_px, track.height_px)
    if not outside.any():
        return track
    return replace(track, visibility=np.where(outside, 0.0, track.visibility))


def find_outside(image_px: FloatArray, width_px: int, height_px: int) -> BoolArray:
    """Find the landmarks outside the picture, shape (T, 33); who was not found is not outside."""
    x, y = image_px[..., 0], image_px[..., 1]
    edge = EDGE_RATIO * height_px
    # Comparisons with NaN are False.
    beside = (x < -edge) | (x > width_px + edge)
    return np.asarray(beside | (y < -edge) | (y > height_px + edge))


def find_missing(dense: CleanTrack) -> dict[str, BoolArray]:
    """Find where the body was made up by the fit; see `motioncheck.measures.find_invented`.

    What lies outside the picture was not found either: it is a guess of the pose model. So is an
    arm that is surely hidden.
    """
    guessed = find_outside(dense.image_px, dense.width_px, dense.height_px)
    for elbow, arm in ARMS.items():
        guessed[:, arm] |= dense.visibility[:, [elbow]] < HIDDEN_ELBOW
    found = np.where(guessed[..., None], np.nan, dense.image_px)
    return find_invented(found, dense.rate_hz, longest_s=LONGEST_INVENTED_S)


def wanted_planes(standard: Standard) -> dict[str, Plane]:
    """Return the plane in which a standard wants each measure that any camera sees somehow."""
    wanted: dict[str, Plane] = {}
    for check in standard.check:
        for form in (check, *check.instead):
            if REGISTRY[form.measure].plane == "any" and form.plane != "any":
                wanted.setdefault(form.measure, form.plane)
    plane: Plane = "sagittal" if standard.camera.best_view == "side" else "frontal"
    return wanted | {m: plane for m in standard.planar if REGISTRY[m].plane == "any"}
