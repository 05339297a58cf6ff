"""Angle kernels on bare arrays.

Picture coordinates have x to the right and y **down**, in pixels (never normalised by width and
height separately: that would distort every angle). Missing points are NaN and stay NaN.
"""

from __future__ import annotations

import numpy as np

from motioncheck.errors import ShapeError
from motioncheck.records.arrays import FloatArray


def _same_shape(*points: FloatArray) -> None:
    if len({p.shape for p in points}) != 1:
        raise ShapeError(f"points must have one shape, found {[p.shape for p in points]}.")


def compute_interior_angle_deg(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """Compute the interior angle at ``b`` between the directions to ``a`` and ``c``.

    Parameters
    ----------
    a, b, c : ndarray, shape (T, 2) or (T, 3)
        Points in pixels or metres, the same unit for all.

    Returns
    -------
    ndarray, shape (T,)
        Degrees in [0, 180]; 180 is a straight limb. NaN where a point is NaN or two coincide.

    Raises
    ------
    ShapeError
        If the shapes differ.

    Notes
    -----
    Uses ``atan2(|u x v|, u . v)``, which keeps its precision near 0 and 180 degrees, where the
    arc cosine loses it. A 2-D angle shrinks or grows when the limb leaves the picture plane.
    """
    _same_shape(a, b, c)
    u, v = a - b, c - b
    dot = np.sum(u * v, axis=-1)
    if a.shape[-1] == 2:
        cross = np.abs(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])
    else:
        cross = np.linalg.norm(np.cross(u, v), axis=-1)
    angle = np.degrees(np.arctan2(cross, dot))
    degenerate = (np.sum(u * u, axis=-1) == 0) | (np.sum(v * v, axis=-1) == 0)
    return np.where(degenerate, np.nan, angle)


def compute_bend_deg(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """Compute how far the chain a-b-c is from straight: 180 minus the interior angle at ``b``.

    Returns degrees in [0, 180], 0 is straight; NaN rule as `compute_interior_angle_deg`.
    """
    return 180.0 - compute_interior_angle_deg(a, b, c)


def compute_signed_bend_deg(
    a: FloatArray, b: FloatArray, c: FloatArray, *, positive: int
) -> FloatArray:
    """Compute the bend at ``b`` in the picture with a sign, in (-180, 180].

    Parameters
    ----------
    a, b, c : ndarray, shape (T, 2)
        Points in pixels, from the proximal to the distal end.
    positive : int
        +1 if a clockwise turn (as seen in the picture) from a-b to b-c counts as positive,
        -1 for counter-clockwise.

    Returns
    -------
    ndarray, shape (T,)
        Degrees; 0 is straight. NaN where a point is NaN or two coincide.
    """
    _same_shape(a, b, c)
    u, v = b - a, c - b
    # With y down, a positive cross product is a clockwise turn on the screen.
    cross = u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
    dot = np.sum(u * v, axis=-1)
    degenerate = (np.sum(u * u, axis=-1) == 0) | (np.sum(v * v, axis=-1) == 0)
    return np.where(degenerate, np.nan, positive * np.degrees(np.arctan2(cross, dot)))


def compute_inclination_deg(low: FloatArray, high: FloatArray, *, forward: int) -> FloatArray:
    """Compute the inclination of the line low-high from the vertical, in the picture.

    Parameters
    ----------
    low, high : ndarray, shape (T, 2)
        Lower and upper end in pixels.
    forward : int
        +1 if "forward" is to the right of the picture, -1 if to the left.

    Returns
    -------
    ndarray, shape (T,)
        Degrees in (-180, 180]; 0 upright, positive when the upper end is ahead.
    """
    _same_shape(low, high)
    d = high - low
    return np.degrees(np.arctan2(d[..., 0] * forward, -d[..., 1]))


def compute_elevation_deg(distal: FloatArray, proximal: FloatArray) -> FloatArray:
    """Compute the angle of the line distal-proximal above the horizontal, in the picture.

    Returns
    -------
    ndarray, shape (T,)
        Degrees in [-90, 90]: +90 when the proximal end is straight above the distal one, 0 when
        level, negative when it is below.
    """
    _same_shape(distal, proximal)
    d = proximal - distal
    return np.degrees(np.arctan2(-d[..., 1], np.abs(d[..., 0])))


def compute_distance(a: FloatArray, b: FloatArray) -> FloatArray:
    """Compute the distance between two points, shape (T,), in their unit; NaN where one is NaN."""
    _same_shape(a, b)
    return np.asarray(np.linalg.norm(a - b, axis=-1))


def rotate_points(points: FloatArray, angle_deg: float, centre: tuple[float, float]) -> FloatArray:
    """Turn picture points about ``centre``, clockwise as seen on the screen for a positive angle.

    Parameters
    ----------
    points : ndarray, shape (..., 2)
        Pixels, y down.
    """
    turn = np.radians(angle_deg)
    cos, sin = np.cos(turn), np.sin(turn)
    offset = points - np.asarray(centre)
    x = offset[..., 0] * cos - offset[..., 1] * sin
    y = offset[..., 0] * sin + offset[..., 1] * cos
    return np.asarray(np.stack([x, y], axis=-1) + np.asarray(centre))


def compute_valgus_leak_deg(
    thigh_elevation_deg: FloatArray, shank_inclination_deg: FloatArray, yaw_deg: float
) -> FloatArray:
    """Compute the false frontal-plane knee angle that a turned camera sees.

    Knee flexion leaks into the frontal picture when the body is turned by ``yaw_deg``.

    Parameters
    ----------
    thigh_elevation_deg : ndarray, shape (T,)
        Thigh above the horizontal (+90 standing).
    shank_inclination_deg : ndarray, shape (T,)
        Shank from the vertical, forward positive.
    yaw_deg : float
        Turn of the body away from the lens.

    Returns
    -------
    ndarray, shape (T,)
        Degrees, never negative.

    Notes
    -----
    Source: geometry of two segments in the sagittal plane seen under a yaw; at equal slopes and
    90 degrees of flexion it gives 10.0, 19.7 and 29.0 degrees for a yaw of 5, 10 and 15 degrees.
    """
    s = abs(np.sin(np.radians(yaw_deg)))
    thigh = np.radians(np.clip(np.abs(thigh_elevation_deg), 0.0, 90.0))
    shank = np.radians(np.clip(np.abs(shank_inclination_deg), 0.0, 89.0))
    leak = np.arctan2(s * np.cos(thigh), np.sin(thigh)) + np.arctan(s * np.tan(shank))
    return np.asarray(np.degrees(leak))
