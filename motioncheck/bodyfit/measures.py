"""Angles of a fitted body with their standard errors.

Every measure is computed from the body itself and from each of its samples; the standard error is
the root mean square of the samples about the body. Degrees.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from motioncheck.bodyfit.body import Body
from motioncheck.bodyfit.model import JOINT
from motioncheck.errors import UsageError
from motioncheck.records.arrays import FloatArray

Side = Literal["left", "right"]
Angle = Callable[[FloatArray, str], FloatArray]
FORWARD, UP, RIGHT = 0, 1, 2


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """A measure over time: value and standard error, both shape (T,), degrees."""

    value: FloatArray
    se: FloatArray


def _at(joints: FloatArray, side: str, part: str) -> FloatArray:
    return joints[..., JOINT[f"{side}_{part}"], :]


def _middle(joints: FloatArray, part: str) -> FloatArray:
    return (_at(joints, "left", part) + _at(joints, "right", part)) / 2.0


def _angle_between(u: FloatArray, v: FloatArray) -> FloatArray:
    cross = np.linalg.norm(np.cross(u, v), axis=-1)
    return np.asarray(np.degrees(np.arctan2(cross, np.sum(u * v, axis=-1))))


def _bend(joints: FloatArray, side: str, parts: tuple[str, str, str]) -> FloatArray:
    a, b, c = (_at(joints, side, part) for part in parts)
    return _angle_between(b - a, c - b)


def knee_flexion(joints: FloatArray, side: str) -> FloatArray:
    """Return 180 - angle hip, knee, ankle in 3-D: 0 straight, 180 folded."""
    return _bend(joints, side, ("hip", "knee", "ankle"))


def hip_flexion(joints: FloatArray, side: str) -> FloatArray:
    """Return 180 - angle shoulder, hip, knee in 3-D: about 8 to 16 in quiet standing."""
    return _bend(joints, side, ("shoulder", "hip", "knee"))


def elbow_flexion(joints: FloatArray, side: str) -> FloatArray:
    """Return 180 - angle shoulder, elbow, wrist in 3-D: 0 straight."""
    return _bend(joints, side, ("shoulder", "elbow", "wrist"))


def shoulder_elevation(joints: FloatArray, side: str) -> FloatArray:
    """Return the 3-D angle between shoulder-to-hip and shoulder-to-elbow: 0 hanging, 0 to 180."""
    shoulder = _at(joints, side, "shoulder")
    return _angle_between(
        _at(joints, side, "hip") - shoulder, _at(joints, side, "elbow") - shoulder
    )


def thigh_inclination(joints: FloatArray, side: str) -> FloatArray:
    """Return knee-to-hip above the horizontal: 90 standing, 0 level, negative hip below knee."""
    line = _at(joints, side, "hip") - _at(joints, side, "knee")
    level = np.hypot(line[..., FORWARD], line[..., RIGHT])
    return np.degrees(np.arctan2(line[..., UP], level))


def shank_inclination(joints: FloatArray, side: str) -> FloatArray:
    """Return ankle-to-knee from vertical in the sagittal plane: forward positive."""
    line = _at(joints, side, "knee") - _at(joints, side, "ankle")
    return np.degrees(np.arctan2(line[..., FORWARD], line[..., UP]))


def frontal_plane_knee_angle(joints: FloatArray, side: str) -> FloatArray:
    """Return 180 - angle hip, knee, ankle seen square from the front: positive knee medial.

    It has no steady meaning when the thigh points at the viewer.
    """
    hip, knee, ankle = (_at(joints, side, p)[..., UP:] for p in ("hip", "knee", "ankle"))
    u, v = knee - hip, ankle - knee
    cross = u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
    bend = np.degrees(np.arctan2(cross, np.sum(u * v, axis=-1)))
    # With axes up and right, going down and turning to the right is negative.
    return np.asarray(-bend if side == "right" else bend)


def trunk_inclination(joints: FloatArray, side: str = "") -> FloatArray:
    """Return mid hip to mid shoulder from vertical in the sagittal plane: forward positive."""
    line = _middle(joints, "shoulder") - _middle(joints, "hip")
    return np.degrees(np.arctan2(line[..., FORWARD], line[..., UP]))


def trunk_lateral_inclination(joints: FloatArray, side: str = "") -> FloatArray:
    """Return mid hip to mid shoulder from vertical in the frontal plane: to the right positive."""
    line = _middle(joints, "shoulder") - _middle(joints, "hip")
    return np.degrees(np.arctan2(line[..., RIGHT], line[..., UP]))


SIDED: Final[dict[str, Angle]] = {
    "knee_flexion": knee_flexion,
    "hip_flexion": hip_flexion,
    "thigh_inclination": thigh_inclination,
    "shank_inclination": shank_inclination,
    "shoulder_elevation": shoulder_elevation,
    "elbow_flexion": elbow_flexion,
    "frontal_plane_knee_angle": frontal_plane_knee_angle,
}
WHOLE: Final[dict[str, Angle]] = {
    "trunk_inclination": trunk_inclination,
    "trunk_lateral_inclination": trunk_lateral_inclination,
}


def measure(body: Body, column: str) -> Measured:
    """Compute a measure with its standard error for every frame.

    Parameters
    ----------
    body : Body
    column : str
        ``trunk_inclination`` or a sided measure such as ``knee_flexion_left``.

    Raises
    ------
    UsageError
        If there is no such measure.

    Notes
    -----
    Angles wrap: differences of samples are taken the short way round.
    """
    side = next((s for s in ("left", "right") if column.endswith("_" + s)), "")
    angle = SIDED.get(column.removesuffix("_" + side)) if side else WHOLE.get(column)
    if angle is None:
        known = [f"{m}_left" for m in SIDED] + list(WHOLE)
        raise UsageError(f"no measure {column!r}; expected one such as {', '.join(known)}.")
    value = angle(body.joints_m, side)
    drawn = angle(body.samples.astype(np.float64), side)
    gap = (drawn - value + 180.0) % 360.0 - 180.0
    return Measured(value, np.sqrt(np.mean(gap**2, axis=0)))


def measure_all(body: Body) -> dict[str, Measured]:
    """Compute every measure of a body, by column name."""
    columns = [f"{m}_{s}" for m in SIDED for s in ("left", "right")] + list(WHOLE)
    return {column: measure(body, column) for column in columns}
