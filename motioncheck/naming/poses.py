"""Poses that are kept, told from the signature alone: holds that the movement's own rule misses.

Checking a hold asks that all its angles keep still, because they are what it measures. To name it,
less is enough: the hips rest, and moment for moment the picture fits the signature. So a hold is
also found when the pose model changes its mind about the legs all the time.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from motioncheck.measures import REGISTRY
from motioncheck.records import MeasureTable
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.splitting.stillness import list_runs
from motioncheck.standards import Feature

# What is measured is the median over this time: legs that are exchanged for some frames, or
# flicker, do not count.
MEDIAN_S = 1.0
# While the hips rest, legs that were clearly seen for this share of this time are so for all of it:
# the pose model is often unsure which leg is which, or lays one over the other.
CLEAR_SHARE, CLEAR_S = 0.2, 3.0
ARMS = ("elbow", "wrist")
# A pose fits from this score on, with at least this share of the signature seen.
FITS, SEEN = 0.5, 0.5
# Leaving it for no longer than this is a wobble, or a few lost frames.
WOBBLE_S = 1.0
# How fast the hips may be is asked of the median over this time.
SPEED_S = 0.5

Fits = Callable[[FloatArray, Feature], FloatArray]
Pose = tuple[float, float, float, float]


def find_poses(
    table: MeasureTable,
    hip_speed: FloatArray,
    signature: Sequence[Feature],
    fit: Fits,
    *,
    max_speed: float,
    min_time_s: float,
) -> list[Pose]:
    """Find the times in which a body rests in a pose.

    Parameters
    ----------
    table : MeasureTable
    hip_speed : ndarray, shape (T,)
        Statures a second; NaN where not known, which is no rest.
    signature : sequence of Feature
        Only what can be read at any moment counts: features at ``turn`` of a measure over time.
    fit : callable
        Turns values into fits from 0 to 1, NaN where not known.
    max_speed : float
        What counts as rest, statures a second.
    min_time_s : float
        Shorter ones are left out.

    Returns
    -------
    list of (start_s, end_s, score, known)
        In time order. The score is the mean over the time, ``known`` the share of the signature
        that was seen on average.
    """
    asked = [f for f in signature if f.moment == "turn"]
    if not asked or len(table.time_s) < 2:
        return []
    scores, known = _score_frames(table, asked, len(signature), fit)
    resting = running_median(table.time_s, hip_speed, SPEED_S) < max_speed
    inside = resting & (scores >= FITS) & (known >= SEEN)
    poses = []
    for first, stop in list_runs(_bridge(table.time_s, inside)):
        start_s, end_s = float(table.time_s[first]), float(table.time_s[stop - 1])
        if end_s - start_s >= min_time_s:
            here = inside[first:stop]
            share = float(here.mean())
            score = float(scores[first:stop][here].mean())
            poses.append((start_s, end_s, score, share * float(known[first:stop][here].mean())))
    return poses


def _score_frames(
    table: MeasureTable, asked: Sequence[Feature], count: int, fit: Fits
) -> tuple[FloatArray, FloatArray]:
    """Score and known share of the signature in every frame, of the better working side."""
    best: tuple[FloatArray, FloatArray] | None = None
    for side in ("left", "right"):
        fits = np.stack([_fit_side(table, feature, side, fit) for feature in asked])
        seen = np.isfinite(fits)
        scores = np.where(seen, fits, 1.0).prod(axis=0)
        needed = np.array([f.needed for f in asked])
        known = np.where(seen[needed].all(axis=0), seen.sum(axis=0) / count, 0.0)
        scores = np.where(known > 0.0, scores, 0.0)
        if best is None:
            best = scores, known
        else:
            better = scores * known > best[0] * best[1]
            best = np.where(better, scores, best[0]), np.where(better, known, best[1])
    assert best is not None
    return best


def _fit_side(table: MeasureTable, feature: Feature, side: str, fit: Fits) -> FloatArray:
    other = {"left": "right", "right": "left"}[side]

    def read(column: str) -> FloatArray:
        return running_median(table.time_s, table.values[column], MEDIAN_S)

    name = feature.measure
    if feature.side == "none":
        return fit(read(name), feature)
    if feature.side in ("working", "opposite"):
        return fit(read(f"{name}_{side if feature.side == 'working' else other}"), feature)
    if feature.side == "either":
        return _fit_either(table, feature, fit)
    mine, its = read(f"{name}_{side}"), read(f"{name}_{other}")
    if feature.side == "difference":
        return fit(mine - its, feature)
    return np.asarray(np.fmin(fit(mine, feature), fit(its, feature)))


def _fit_either(table: MeasureTable, feature: Feature, fit: Fits) -> FloatArray:
    left, right = (table.values[f"{feature.measure}_{side}"] for side in ("left", "right"))
    points = REGISTRY[feature.measure].points
    of_legs = not any(part in point for point in points for part in ARMS)
    if not of_legs:
        left, right = (running_median(table.time_s, x, MEDIAN_S) for x in (left, right))
    fits = fit(left, feature), fit(right, feature)
    largest = np.fmax(*fits)
    # The side that was not seen may be the one that fits.
    unsure = (largest < 1.0) & np.isnan(fits[0] + fits[1])
    largest = np.where(unsure, np.nan, largest)
    if not of_legs:
        return largest
    return running_share(table.time_s, largest, CLEAR_S, 1.0 - CLEAR_SHARE)


def running_median(time_s: FloatArray, values: FloatArray, width_s: float) -> FloatArray:
    """Return the median of what is known around every frame, NaN where that is under half."""
    return running_share(time_s, values, width_s, 0.5, least_known=0.5)


def running_share(
    time_s: FloatArray,
    values: FloatArray,
    width_s: float,
    share: float,
    *,
    least_known: float = CLEAR_SHARE,
) -> FloatArray:
    """Return the value under which a share of the known ones around every frame lies.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Evenly spaced.
    values : ndarray, shape (T,)
    width_s : float
        How long the time around a frame is.
    share : float
        0.5 is the median.
    least_known : float
        NaN where a smaller share of that time is known.
    """
    half = max(0, round(width_s / 2.0 / float(np.median(np.diff(time_s)))))
    padded = np.pad(values, half, constant_values=np.nan)
    # NaN is sorted to the end.
    windows = np.sort(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1)
    count = np.isfinite(windows).sum(axis=1)
    place = np.round(share * np.maximum(count - 1, 0)).astype(np.intp)
    found = windows[np.arange(len(values)), place]
    return np.where(count >= least_known * (2 * half + 1), found, np.nan)


def _bridge(time_s: FloatArray, inside: BoolArray) -> BoolArray:
    """Fill the short times outside between two inside."""
    filled = inside.copy()
    for first, stop in list_runs(~inside):
        if first > 0 and stop < len(inside) and time_s[stop] - time_s[first - 1] <= WOBBLE_S:
            filled[first:stop] = True
    return filled
