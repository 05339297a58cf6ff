"""Every registered measure of a fitted body, with its standard error.

The body is looked at by cameras that stand square to it: a side view for the sagittal plane, a
front view for the frontal plane, both from so far away that nothing is foreshortened. The formulas
of the picture then give the angle in its own plane, whatever the real camera saw. Angles at a
joint, which have no plane of their own, are taken in space.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from motioncheck.bodyfit import JOINTS, Body
from motioncheck.bodyfit.model import LANDMARK_OF
from motioncheck.errors import ShapeError
from motioncheck.measures.body import BodyPicture, build_body
from motioncheck.measures.catalog import REGISTRY
from motioncheck.measures.registry import MeasureSpec
from motioncheck.measures.spatial import IN_SPACE
from motioncheck.records import CameraView, CleanTrack
from motioncheck.records.arrays import FloatArray, sealed
from motioncheck.skeleton import COUNT

FORWARD, UP, RIGHT = 0, 1, 2
PX_PER_M = 1000.0
# On the person's right, looking at the profile that faces the right edge; and in front.
SIDE = CameraView("side", -90.0, 0.0, 0.0, 0.0)
FRONT = CameraView("front", 0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Values and standard errors by column, each of shape (T,), in the unit of the measure."""

    values: MappingProxyType[str, FloatArray]
    spread: MappingProxyType[str, FloatArray]


def measure_body(body: Body) -> Columns:
    """Compute every measure of a fitted body.

    Parameters
    ----------
    body : Body

    Returns
    -------
    Columns
        The standard error is the root mean square, over the bodies drawn from the uncertainty of
        the fit, of their difference from the value; angles are compared the short way round. NaN
        where the measure has no meaning for the pose.
    """
    values = measure_joints(body.time_s, body.joints_m)
    rows = body.sample_rows
    time_s = body.time_s[rows]
    totals = {column: _Total.empty(len(rows)) for column in values}
    for joints in body.samples:
        for column, drawn in measure_joints(time_s, joints.astype(np.float64)).items():
            totals[column].add(column, drawn - values[column][rows])
    spread = {
        column: sealed(np.interp(body.time_s, time_s, total.rms()))
        for column, total in totals.items()
    }
    return Columns(MappingProxyType(values), MappingProxyType(spread))


def measure_joints(time_s: FloatArray, joints_m: FloatArray) -> dict[str, FloatArray]:
    """Compute every registered measure of joints in space.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    joints_m : ndarray, shape (T, 16, 3)
        Joint centres in the order of `motioncheck.bodyfit.JOINTS`, along the person's forward, up
        and right, metres. NaN = unknown.

    Returns
    -------
    dict
        Column to ndarray of shape (T,); NaN where a joint it needs is NaN or the measure has no
        meaning for the pose.

    Raises
    ------
    ShapeError
        If the shapes do not fit.
    """
    if joints_m.shape != (len(time_s), len(JOINTS), 3):
        raise ShapeError(
            f"joints must have the shape ({len(time_s)}, {len(JOINTS)}, 3), found {joints_m.shape}."
        )
    seen_m = _see(joints_m)
    # One view after the other: of a long clip both together are the most memory of all.
    found = _measure_view(_film(time_s, joints_m, joints_m[..., FORWARD], seen_m), joints_m, SIDE)
    found |= _measure_view(_film(time_s, joints_m, -joints_m[..., RIGHT], seen_m), joints_m, FRONT)
    specs = [spec for spec in REGISTRY if spec.compute is not None]
    return {column: found[column] for spec in specs for column in spec.ids()}


def _measure_view(
    film: CleanTrack, joints_m: FloatArray, view: CameraView
) -> dict[str, FloatArray]:
    """Compute the measures that a camera on this side sees best."""
    seen = build_body(film, view)
    found: dict[str, FloatArray] = {}
    for spec in REGISTRY:
        from_side = spec.plane in ("sagittal", "any")
        if spec.compute is not None and from_side == (view is SIDE):
            for column in spec.ids():
                leg = column.rsplit("_", 1)[1] if spec.sided else "both"
                found[column] = sealed(_compute(spec, seen, joints_m, leg))
    return found


def _compute(spec: MeasureSpec, seen: BodyPicture, joints_m: FloatArray, side: str) -> FloatArray:
    assert spec.compute is not None
    if spec.picture_only:
        return np.full(len(joints_m), np.nan)
    if spec.id in IN_SPACE:
        return IN_SPACE[spec.id](seen, joints_m, side)
    return spec.compute(seen, side)


def _see(joints_m: FloatArray) -> FloatArray:
    """Return the joints as landmarks in space, (T, 33, 3); the same from every side."""
    world = np.full((len(joints_m), COUNT, 3), np.nan)
    world[:, LANDMARK_OF] = -joints_m[..., [RIGHT, UP, FORWARD]]
    return sealed(world)


def _film(
    time_s: FloatArray, joints_m: FloatArray, across_m: FloatArray, seen_m: FloatArray
) -> CleanTrack:
    """Return what a camera far away sees: ``across_m`` (T, K) to the right, up is up."""
    image = np.full((len(joints_m), COUNT, 2), np.nan)
    image[:, LANDMARK_OF, 0] = PX_PER_M * across_m
    image[:, LANDMARK_OF, 1] = -PX_PER_M * joints_m[..., UP]
    known = np.isfinite(image[..., 0]).astype(np.float64)
    # Sealed, so that no copy is made: of a long clip these are the largest arrays there are.
    return CleanTrack(time_s, sealed(image), sealed(known), seen_m, 1000, 1000, np.nan, np.nan)


@dataclass(slots=True, eq=False)
class _Total:
    """Sum of squares of what is known, and how many there were, shape (T,) each."""

    squares: FloatArray
    count: FloatArray

    @classmethod
    def empty(cls, frames: int) -> _Total:
        return cls(np.zeros(frames), np.zeros(frames))

    def add(self, column: str, gaps: FloatArray) -> None:
        """Take in differences from the value; angles the short way round."""
        if REGISTRY.column_spec(column).unit == "deg":
            gaps = (gaps + 180.0) % 360.0 - 180.0
        known = np.isfinite(gaps)
        self.squares += np.where(known, gaps**2, 0.0)
        self.count += known

    def rms(self) -> FloatArray:
        """Return the root mean square, NaN where nothing was known."""
        mean = self.squares / np.maximum(self.count, 1.0)
        return np.where(self.count > 0, np.sqrt(mean), np.nan)
