"""Where the camera stood: direction of the body to the lens, and tilt of the phone."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from motioncheck.records import CameraView, CleanTrack
from motioncheck.records.arrays import FloatArray
from motioncheck.records.view import name_view
from motioncheck.units import wrap_deg

# Weights of the cues for the direction of the body. On rendered bodies the model's own 3-D
# shoulder line and ears are within 8 degrees of the truth in every view; its hip line falls short
# by 13 degrees in side views, and its feet by more, so feet are not used.
CUE_WEIGHTS = {"shoulder": 1.0, "ear": 0.7, "hip": 0.3}
# What remains when all cues agree: systematic error of the model's own depth. With it, errors on
# 81 rendered clips from every side are as large as stated (tests/validation).
BASE_UNCERTAINTY_DEG = 6.5
STANDING_SHARE = 0.97
# Scatter of a standing body's plumb line: symmetric from the front, leaning a little from the side.
PLUMB_FRONT_DEG = 1.2
PLUMB_SIDE_DEG = 3.0
MIN_STANDING_FRAMES = 5
# A plumb line needs a body on straight legs: of somebody who kneels, the line from the ankles to
# the shoulders leans by 20 degrees, of somebody who lies by 90. On 204 rendered clips of standing
# people the model's own body reaches from ankle to shoulder over 0.907 and more of the way along
# its bones, on kneeling ones over 0.84 at most; and no standing line leans by more than 12 degrees.
STRAIGHT_SHARE = 0.88
MOST_LEAN_DEG = 25.0
SIDE_VIEW_SINE = 0.85
# What the standard errors of the fitted body do not know of, degrees: with it, its errors on
# rendered bodies are as large as stated.
FIT_AZIMUTH_ERROR_DEG = 3.5
FIT_TILT_ERROR_DEG = 1.3


def estimate_view(track: CleanTrack) -> CameraView:
    """Estimate direction and tilt from a cleaned track.

    Parameters
    ----------
    track : CleanTrack
        Landmarks in the picture and the model's own 3-D estimate.

    Returns
    -------
    CameraView
        Azimuth and tilt are NaN where nothing could be told. The tilt is marked as corrected only
        when it is larger than twice its uncertainty.
    """
    standing = _standing(track)
    azimuth, uncertainty = _estimate_azimuth(track, standing)
    if math.isnan(azimuth):
        return CameraView("unknown", math.nan, math.nan, math.nan, math.nan)
    view = name_view(azimuth)
    tilt, tilt_uncertainty = _estimate_tilt(track, standing, azimuth)
    sure = math.isfinite(tilt) and abs(tilt) > 2.0 * tilt_uncertainty
    return CameraView(view, azimuth, uncertainty, tilt, tilt_uncertainty, tilt_corrected=sure)


def refine_view(
    view: CameraView,
    *,
    azimuth_deg: float,
    azimuth_sd_deg: float,
    tilt_deg: float,
    tilt_sd_deg: float,
) -> CameraView:
    """Take direction and tilt from the fitted body where it knows them at least as well.

    Parameters
    ----------
    view : CameraView
        From the landmarks alone.
    azimuth_deg, azimuth_sd_deg, tilt_deg, tilt_sd_deg : float
        From the fit, with its own standard errors; NaN where it knows nothing.

    Returns
    -------
    CameraView
        Direction and tilt are chosen each by itself. The uncertainty of what comes from the fit
        includes what its standard errors do not know of.
    """
    azimuth = (view.azimuth_deg, view.azimuth_uncertainty_deg)
    tilt = (view.tilt_deg, view.tilt_uncertainty_deg)
    azimuth = _surer(azimuth, (azimuth_deg, math.hypot(FIT_AZIMUTH_ERROR_DEG, azimuth_sd_deg)))
    tilt = _surer(tilt, (tilt_deg, math.hypot(FIT_TILT_ERROR_DEG, tilt_sd_deg)))
    if math.isnan(azimuth[0]):
        return view
    sure = math.isfinite(tilt[0]) and abs(tilt[0]) > 2.0 * tilt[1]
    return CameraView(name_view(azimuth[0]), *azimuth, *tilt, tilt_corrected=sure, notes=view.notes)


def _surer(present: tuple[float, float], fitted: tuple[float, float]) -> tuple[float, float]:
    if not all(map(math.isfinite, fitted)):
        return present
    return fitted if math.isnan(present[0]) or fitted[1] <= present[1] else present


def _standing(track: CleanTrack) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Frames in which the shoulders are as high above both ankles as they get.

    Hips would not do: in a deep fold over straight legs they stay up.
    """
    shoulders = np.fmin(track.point("left_shoulder")[:, 1], track.point("right_shoulder")[:, 1])
    feet = np.fmin(track.point("left_ankle")[:, 1], track.point("right_ankle")[:, 1])
    height = feet - shoulders
    if not np.isfinite(height).any():
        return np.isfinite(shoulders)
    top = np.nanpercentile(height, 95.0)
    standing = np.nan_to_num(height, nan=-1.0) >= STANDING_SHARE * top
    return np.asarray(standing, dtype=np.bool_)


def _estimate_azimuth(
    track: CleanTrack, standing: np.ndarray[tuple[int], np.dtype[np.bool_]]
) -> tuple[float, float]:
    rows = standing if standing.sum() >= MIN_STANDING_FRAMES else np.ones_like(standing)
    cues: list[tuple[float, complex]] = []
    for part, weight in CUE_WEIGHTS.items():
        line = track.world(f"left_{part}") - track.world(f"right_{part}")
        cues.append((weight, _mean_direction(line[rows, 0], -line[rows, 2])))
    known = [(w, z) for w, z in cues if not np.isnan(z)]
    if not known:
        return math.nan, math.nan
    total = sum(w * z for w, z in known) / sum(w for w, _ in known)
    azimuth = math.degrees(math.atan2(total.imag, total.real))
    spread = [w * wrap_deg(math.degrees(np.angle(z)) - azimuth) ** 2 for w, z in known]
    scatter = math.sqrt(sum(spread) / sum(w for w, _ in known) / len(known))
    return azimuth, math.hypot(BASE_UNCERTAINTY_DEG, scatter)


def _mean_direction(cosine: FloatArray, sine: FloatArray) -> complex:
    """Mean unit vector of directions given up to length; NaN where there are none."""
    z = cosine + 1j * sine
    z = z[np.isfinite(z) & (np.abs(z) > 0)]
    return complex(np.mean(z / np.abs(z))) if len(z) else complex(math.nan, math.nan)


def _middle(left: FloatArray, right: FloatArray, azimuth: float) -> FloatArray:
    """Middle of a pair; in side views, where the far one is often hidden, the near one will do."""
    middle = (left + right) / 2.0
    if abs(math.sin(math.radians(azimuth))) < SIDE_VIEW_SINE:
        return np.asarray(middle)
    near = left if azimuth > 0 else right
    return np.where(np.isfinite(middle), middle, near)


def _estimate_tilt(
    track: CleanTrack, standing: np.ndarray[tuple[int], np.dtype[np.bool_]], azimuth: float
) -> tuple[float, float]:
    feet, shoulders = (
        _middle(track.point(f"left_{part}"), track.point(f"right_{part}"), azimuth)
        for part in ("ankle", "shoulder")
    )
    line = (shoulders - feet)[standing & (_straightness(track) >= STRAIGHT_SHARE)]
    lean = np.degrees(np.arctan2(line[:, 0], -line[:, 1]))
    # Comparisons with NaN are False.
    lean = lean[np.abs(lean) <= MOST_LEAN_DEG]
    if len(lean) < MIN_STANDING_FRAMES:
        return math.nan, math.nan
    side_share = abs(math.sin(math.radians(azimuth)))
    plumb = math.hypot(
        PLUMB_FRONT_DEG * math.sqrt(1.0 - side_share**2), PLUMB_SIDE_DEG * side_share
    )
    return -float(np.median(lean)), math.hypot(plumb, float(np.std(lean)) / math.sqrt(len(lean)))


def _straightness(track: CleanTrack) -> FloatArray:
    """Distance from ankle to shoulder over the way along the bones, shape (T,), 1 when straight.

    In the model's own space, of the straighter side; 0 where neither side is known.
    """
    shares = []
    for side in ("left", "right"):
        chain = [track.world(f"{side}_{part}") for part in ("ankle", "knee", "hip", "shoulder")]
        way = sum(np.linalg.norm(b - a, axis=1) for a, b in pairwise(chain))
        shares.append(np.linalg.norm(chain[-1] - chain[0], axis=1) / np.maximum(way, 1e-9))
    return np.asarray(np.nan_to_num(np.fmax(*shares), nan=0.0))
