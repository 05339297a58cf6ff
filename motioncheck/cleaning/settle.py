"""Leaving out walking to and from the phone.

An athlete who films alone walks away from the phone before the set and back after it. The body
grows and shrinks in the picture then, so lengths and heights taken from the picture change
without any exercise. Only the stretches in which its size has settled are measured.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from motioncheck.records import CleaningStep, CleanTrack
from motioncheck.records.arrays import FloatArray
from motioncheck.skeleton import INDEX

# Sizes within this factor of the usual one count as settled: moving 0.5 m nearer at 3 m changes
# the size by a fifth (common practice, no source).
SIZE_FACTOR: Final = 1.25
SMOOTH_S: Final = 0.5
# Shorter departures from the usual size are errors of the estimate, not walking.
SHORTEST_S: Final = 0.5
PARTS: Final = np.array(
    [INDEX[f"{s}_{p}"] for s in ("left", "right") for p in ("shoulder", "hip", "knee", "ankle")]
)
BoolArray = np.ndarray[tuple[int], np.dtype[np.bool_]]


def compute_size(track: CleanTrack) -> FloatArray:
    """Compute the size of the body in the picture, shape (T,), pixels a metre.

    The factor that best lays the model's own body, seen along the line of sight, over the
    landmarks in the picture; smoothed by a running median. NaN where fewer than four of shoulders,
    hips, knees and ankles are seen.
    """
    picture, world = track.image_px[:, PARTS], track.world_m[:, PARTS, :2]
    ok = np.asarray(np.isfinite(picture).all(axis=-1) & np.isfinite(world).all(axis=-1))
    count = np.maximum(ok.sum(axis=1), 1)[:, None]

    def centred(points: FloatArray) -> FloatArray:
        kept = np.where(ok[..., None], points, 0.0)
        middle = kept.sum(axis=1) / count
        return np.where(ok[..., None], points - middle[:, None], 0.0)

    p, w = centred(picture), centred(world)
    spread = (w * w).sum(axis=(1, 2))
    size = (p * w).sum(axis=(1, 2)) / np.maximum(spread, 1e-9)
    size = np.where((ok.sum(axis=1) >= 4) & (size > 0), size, np.nan)
    return _running_median(size, max(1, round(SMOOTH_S * track.rate_hz)))


def _running_median(values: FloatArray, width: int) -> FloatArray:
    half = width // 2
    padded = np.pad(values, half, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    seen = np.isfinite(windows).any(axis=1)
    result = np.full(len(values), np.nan)
    if seen.any():
        result[seen] = np.nanmedian(windows[seen], axis=1)
    return result


def leave_out_walking(track: CleanTrack) -> CleanTrack:
    """Set landmarks to NaN while the size of the body is far from its usual one.

    Parameters
    ----------
    track : CleanTrack

    Returns
    -------
    CleanTrack
        With one more step in ``steps`` when something was left out, else the track as it was.

    Notes
    -----
    The usual size is the one around which most of the clip lies: the median of the sizes inside
    the densest factor-wide band, so that a long walk does not shift it.
    """
    if len(track.time_s) < 2 or not np.isfinite(track.rate_hz):
        return track
    size = compute_size(track)
    usual = _usual(size)
    if not np.isfinite(usual):
        return track
    away = np.nan_to_num(np.abs(np.log(size / usual)), nan=0.0) > np.log(SIZE_FACTOR)
    away = _only_long(away, round(SHORTEST_S * track.rate_hz))
    if not away.any():
        return track
    seconds = float(away.sum()) / track.rate_hz
    step = CleaningStep(
        "settling",
        f"The body was much nearer or farther than usual for {seconds:.1f} s (walking to or from "
        "the phone); that was left out.",
        int(away.sum()),
    )
    image, world = np.array(track.image_px), np.array(track.world_m)
    visibility = np.array(track.visibility)
    image[away] = np.nan
    world[away] = np.nan
    visibility[away] = 0.0
    return replace(
        track,
        image_px=image,
        world_m=world,
        visibility=visibility,
        steps=(*track.steps, step),
    )


def _usual(size: FloatArray) -> float:
    logs = np.sort(np.log(size[np.isfinite(size)]))
    if len(logs) == 0:
        return float("nan")
    upper = np.searchsorted(logs, logs + np.log(SIZE_FACTOR), side="right")
    first = int(np.argmax(upper - np.arange(len(logs))))
    return float(np.exp(np.median(logs[first : upper[first]])))


def _only_long(mask: BoolArray, shortest: int) -> BoolArray:
    """Keep runs of True that last at least ``shortest`` samples."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    kept = np.zeros_like(mask)
    for a, b in edges.reshape(-1, 2):
        if b - a >= shortest:
            kept[a:b] = True
    return kept
