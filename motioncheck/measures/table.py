"""All measures of the picture over time, with a guard band for every value."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from motioncheck.measures.body import BodyPicture
from motioncheck.measures.catalog import REGISTRY
from motioncheck.measures.geometry import compute_valgus_leak_deg
from motioncheck.measures.registry import MeasureSpec, Plane
from motioncheck.measures.visible import judge_plane, turn_out_of_plane_deg
from motioncheck.records import MeasureTable
from motioncheck.records.arrays import FloatArray, sealed
from motioncheck.skeleton import INDEX

# Full trust from this visibility up; at the gate of 0.5 the guard band is half as wide again.
TRUSTED_VISIBILITY = 0.8
HIDDEN_FACTOR = 0.5
NO_PLANES: Mapping[str, Plane] = MappingProxyType({})


def compute_picture_table(
    body: BodyPicture, *, planes: Mapping[str, Plane] = NO_PLANES
) -> MeasureTable:
    """Compute every registered measure over time from the picture alone.

    Parameters
    ----------
    body : BodyPicture
        Cleaned, tilt-corrected landmarks.
    planes : mapping of measure id to plane
        For angles that any camera sees somehow: the plane in which they are wanted. Arms raised
        sideways read as something else from the side.

    Returns
    -------
    MeasureTable
        A column per measure and side. Columns whose plane this camera cannot show are all NaN.
    """
    values: dict[str, FloatArray] = {}
    bands: dict[str, FloatArray] = {}
    hidden = sealed(np.full(len(body.track.time_s), np.nan))
    for spec in REGISTRY:
        if spec.compute is None:
            continue
        plane = wanted_plane(spec, planes)
        visible = judge_plane(plane, body.view).ok
        for column in spec.ids():
            side = column.rsplit("_", 1)[1] if spec.sided else "both"
            if not visible:
                values[column] = bands[column] = hidden
                continue
            value = spec.compute(body, side)
            band = compute_guard_band(spec, body, side, turned_out_of=plane)
            values[column] = sealed(value)
            bands[column] = sealed(np.where(np.isfinite(value), band, np.nan))
    return MeasureTable(body.track.time_s, values, bands)


def wanted_plane(spec: MeasureSpec, planes: Mapping[str, Plane]) -> Plane:
    """Return the plane in which a measure is wanted: its own, unless any would do.

    Heights read the same from everywhere, so no plane is wanted of them.
    """
    if spec.plane != "any" or spec.per_turn == 0.0:
        return spec.plane
    return planes.get(spec.id, spec.plane)


def compute_guard_band(
    spec: MeasureSpec, body: BodyPicture, side: str, *, turned_out_of: Plane
) -> FloatArray:
    """Compute the half-width of the band in which a verdict is too close to call, shape (T,).

    Combines (root of the sum of squares) the measure's guard band, widened where its landmarks
    are half hidden, with the error caused by the turn out of its plane.
    """
    band = spec.guard * _hidden_widening(spec, body, side)
    turn_deg = turn_out_of_plane_deg(turned_out_of, body.view)
    if spec.id == "frontal_plane_knee_angle":
        return np.asarray(np.hypot(band, _valgus_leak(body, side, turn_deg)))
    return np.asarray(np.hypot(band, spec.per_turn * (1.0 - np.cos(np.radians(turn_deg)))))


def _hidden_widening(spec: MeasureSpec, body: BodyPicture, side: str) -> FloatArray:
    columns = [INDEX[p.replace("*", side)] for p in spec.points]
    if not columns:
        return np.ones(len(body.track.time_s))
    worst = body.track.visibility[:, columns].min(axis=1)
    share = np.clip((TRUSTED_VISIBILITY - worst) / (TRUSTED_VISIBILITY - 0.5), 0.0, 1.0)
    return np.asarray(1.0 + HIDDEN_FACTOR * share)


def _valgus_leak(body: BodyPicture, side: str, turn_deg: float) -> FloatArray:
    """Return the false valgus for the likely turn, with the slopes read from the foreshortening."""
    hip, knee, ankle = (body.at(f"{side}_{n}")[:, 1] for n in ("hip", "knee", "ankle"))
    thigh = np.degrees(np.arcsin(np.clip((knee - hip) / body.thigh_px, -1.0, 1.0)))
    shank = np.degrees(np.arccos(np.clip((ankle - knee) / body.shank_px, 0.0, 1.0)))
    return compute_valgus_leak_deg(thigh, shank, turn_deg)
