"""Bodies as a perfect fit would give them, from the synthetic bodies whose joints are known."""

from __future__ import annotations

from collections.abc import Callable
from types import MappingProxyType

import numpy as np

from motioncheck.bodyfit import JOINTS
from motioncheck.measures import Columns, measure_joints
from motioncheck.pipeline.fitting import FittedBody
from motioncheck.records import CleanTrack

CAMERA = {
    "azimuth_sd_deg": 1.0,
    "tilt_deg": 0.0,
    "tilt_sd_deg": 1.0,
    "pitch_deg": -2.0,
    "pitch_sd_deg": 2.0,
}


def true_joints(points: dict[str, np.ndarray]) -> np.ndarray:
    """Return (T, 16, 3) along forward, up, right from points along forward, left, up."""
    body = np.stack([points[name] for name in JOINTS], axis=1)
    return np.stack([body[..., 0], body[..., 2], -body[..., 1]], axis=-1)


def make_fitted(
    time_s: np.ndarray, joints_m: np.ndarray, *, spread: float = 1.0, azimuth_deg: float = 0.0
) -> FittedBody:
    """Return a fitted body whose measures all have the same standard error (ratios: 1/100)."""
    values = measure_joints(time_s, joints_m)
    spreads = {
        c: np.where(np.isfinite(v), spread / (100.0 if "_ratio" in c else 1.0), np.nan)
        for c, v in values.items()
    }
    columns = Columns(MappingProxyType(values), MappingProxyType(spreads))
    return FittedBody(time_s, joints_m, columns, azimuth_deg=azimuth_deg, **CAMERA)


def true_fit(
    points: dict[str, np.ndarray], azimuth_deg: float, *, spread: float = 1.0
) -> Callable[[CleanTrack], FittedBody]:
    """Return what fits the true body to any track of its length."""

    def fit(track: CleanTrack) -> FittedBody:
        joints = true_joints(points)
        return make_fitted(track.time_s, joints, spread=spread, azimuth_deg=azimuth_deg)

    return fit
