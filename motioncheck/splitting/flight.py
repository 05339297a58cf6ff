"""Finding flights: both feet off the floor, as in a jump."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from motioncheck.errors import ShapeError
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.splitting.stillness import list_runs

GRAVITY_M_PER_S2 = 9.80665
# The floor is the level that a foot comes down to again and again within this time; it may wander
# with the distance from the camera.
FLOOR_S = 3.0
FLOOR_PERCENTILE = 20.0
# Values up to this far above that percentile are the floor and its noise, in statures.
FLOOR_BAND = 0.01
# How much standing before and after a flight is fitted along with it.
AROUND_S = 0.15
# Take-off and landing are looked for this far outside of the frames that are surely off.
LOOK_S = 0.14
GRID_S = 0.005
# 90 % of a normal distribution lie within this many standard deviations, squared.
LIKELY = 1.645**2
# What a low-pass of 6 Hz leaves: so many independent samples a second, and corners so round that
# even a perfect fit is not better than this; tried on simulated jumps.
FREE_PER_S = 10.0
FITTED = 4
LEAST_DOUBT_S = 0.01


@dataclass(frozen=True, slots=True)
class FlightRule:
    """What a flight must be. All defaults: common practice, no source.

    Attributes
    ----------
    off_ratio : float
        Both feet are at least this far above the floor, in statures.
    min_time_s, max_time_s : float
        Shortest and longest flight.
    min_fall, max_fall : float
        A body in flight falls at 9.8 m/s², which is 5 to 6.5 statures/s². Feet that rise and sink
        with less than the one, as on tiptoes, or more than the other are not in flight.
    bridge_s : float
        Gaps up to this length are bridged.
    """

    off_ratio: float = 0.02
    min_time_s: float = 0.1
    max_time_s: float = 1.2
    min_fall: float = 3.0
    max_fall: float = 14.0
    bridge_s: float = 0.2


@dataclass(frozen=True, slots=True)
class Flight:
    """One flight.

    ``takeoff_s`` is when the last foot left the floor, ``landing_s`` when the first one was back.
    ``uncertainty_s`` is the half-width of the 90 % interval of ``flight_time_s``. ``height_m`` is
    how far the body rose, from the time alone: g t² / 8, which takes it that the body lands
    stretched as it took off; landing with bent legs makes it read too high.
    """

    takeoff_s: float
    landing_s: float
    flight_time_s: float
    uncertainty_s: float
    height_m: float


def find_flights(
    time_s: FloatArray,
    left_foot_height: FloatArray,
    right_foot_height: FloatArray,
    rule: FlightRule,
) -> list[Flight]:
    """Find the flights of a clip.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Strictly increasing.
    left_foot_height, right_foot_height : ndarray, shape (T,)
        Height of the lowest point of each foot above the floor in statures; NaN where not known.
        The toe is best: the ankle rises before the foot leaves the floor. A level that wanders
        slowly is taken out.
    rule : FlightRule
        What counts as a flight.

    Returns
    -------
    list of Flight
        In time order. Flights cut off by the clip or by a gap are left out: they have no time.

    Raises
    ------
    ShapeError
        If the lengths differ.

    Notes
    -----
    The time above a height is shorter than the flight. So the lower foot is fitted by the floor,
    a parabola, and the floor again, and take-off and landing are where they meet. The fit looks at
    the shape only: the scale of the picture need not be known, apart from ``min_fall`` and
    ``max_fall``.
    """
    for foot in (left_foot_height, right_foot_height):
        if foot.shape != time_s.shape:
            raise ShapeError(f"Expected heights {time_s.shape}, found {foot.shape}.")
    left, right = (
        _raise_over_floor(time_s, foot) for foot in (left_foot_height, right_foot_height)
    )
    lower = np.minimum(left, right)
    known = np.isfinite(lower)
    t, height = time_s[known], lower[known]
    flights: list[Flight] = []
    for first, stop in list_runs(_find_off(height, rule)):
        flight = _measure(t, height, first, stop, rule)
        if flight is not None and (not flights or flight.takeoff_s >= flights[-1].landing_s):
            flights.append(flight)
    return flights


def _raise_over_floor(time_s: FloatArray, foot: FloatArray) -> FloatArray:
    """Height over the level that the foot comes down to, shape (T,)."""
    known = np.isfinite(foot)
    at, values = time_s[known], foot[known]
    raised = np.full(len(foot), np.nan)
    if len(at) < 3:
        return raised
    knots = np.arange(at[0], at[-1] + FLOOR_S / 4.0, FLOOR_S / 4.0)
    levels = np.full(len(knots), np.nan)
    for n, knot in enumerate(knots):
        near = values[np.abs(at - knot) <= FLOOR_S / 2.0]
        if len(near):
            low = np.percentile(near, FLOOR_PERCENTILE)
            levels[n] = np.median(near[near <= low + FLOOR_BAND])
    seen = np.isfinite(levels)
    raised[known] = values - np.interp(at, knots[seen], levels[seen])
    return raised


def _find_off(height: FloatArray, rule: FlightRule) -> BoolArray:
    """Frames off the floor; one that dips below the limit for a single frame stays off."""
    off = height > rule.off_ratio
    between = np.zeros_like(off)
    between[1:-1] = off[:-2] & off[2:] & (height[1:-1] > rule.off_ratio / 2.0)
    return off | between


def _measure(
    t: FloatArray, height: FloatArray, first: int, stop: int, rule: FlightRule
) -> Flight | None:
    """Fit one flight; None when it is cut off or the feet do not move as in flight."""
    if t[stop - 1] - t[first] > rule.max_time_s:
        return None
    a = int(np.searchsorted(t, t[first] - LOOK_S - AROUND_S))
    b = int(np.searchsorted(t, t[stop - 1] + LOOK_S + AROUND_S, side="right"))
    whole = t[a] < t[first] - LOOK_S / 2.0 and t[b - 1] > t[stop - 1] + LOOK_S / 2.0
    if not whole or np.diff(t[a:b]).max() > rule.bridge_s:
        return None
    starts = np.arange(t[first] - LOOK_S, t[first] + GRID_S, GRID_S)
    ends = np.arange(t[stop - 1], t[stop - 1] + LOOK_S + GRID_S, GRID_S)
    error, rise = _fit(t[a:b], height[a:b], starts, ends)
    m, n = np.unravel_index(error.argmin(), error.shape)
    takeoff_s, landing_s = float(starts[m]), float(ends[n])
    flight_s = landing_s - takeoff_s
    fall = 8.0 * float(rise[m, n]) / flight_s**2
    if not rule.min_fall <= fall <= rule.max_fall:
        return None
    if not rule.min_time_s <= flight_s <= rule.max_time_s:
        return None
    free = min(float(b - a), FREE_PER_S * float(t[b - 1] - t[a])) - FITTED
    return Flight(
        takeoff_s,
        landing_s,
        flight_s,
        _find_doubt(error, starts, ends, free),
        GRAVITY_M_PER_S2 * flight_s**2 / 8.0,
    )


def _fit(
    t: FloatArray, height: FloatArray, starts: FloatArray, ends: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Squared error and rise of the best parabola for every take-off and landing, (A, B) each."""
    from_start = t - starts[:, None, None]
    to_end = ends[None, :, None] - t
    last = ends[None, :, None] - starts[:, None, None]
    arc = 4.0 * np.clip(from_start, 0.0, None) * np.clip(to_end, 0.0, None) / last**2
    # The floor below a jump may be off by a little; it is fitted along with the rise.
    shape, level = arc - arc.mean(axis=2, keepdims=True), height - height.mean()
    power = np.square(shape).sum(axis=2)
    product = shape @ level
    rise = product / np.maximum(power, 1e-12)
    return np.maximum(np.square(level).sum() - rise * product, 0.0), rise


def _find_doubt(error: FloatArray, starts: FloatArray, ends: FloatArray, free: float) -> float:
    """Half-width of the flight times whose fit is nearly as good as the best."""
    best = float(error.min())
    likely = error <= best * (1.0 + LIKELY / max(free, 1.0))
    times = (ends[None, :] - starts[:, None])[likely]
    return math.hypot(float(np.ptp(times)) / 2.0, LEAST_DOUBT_S)
