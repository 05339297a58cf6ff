"""What the lifting network is shown of a track: landmarks now and a little before and after."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from motioncheck.records import CleanTrack
from motioncheck.records.arrays import FloatArray
from motioncheck.skeleton import INDEX, other_side

# Landmarks that tell something about the pose of the body; the rest of the face and the fingers
# are left out. Each left one is followed by its right one, so that a mirror is a swap of pairs.
POINTS: Final[tuple[str, ...]] = (
    "nose",
    *(
        f"{side}_{part}"
        for part in (
            "ear",
            "shoulder",
            "elbow",
            "wrist",
            "index",
            "hip",
            "knee",
            "ankle",
            "heel",
            "toe",
        )
        for side in ("left", "right")
    ),
)
CHOSEN: Final = np.array([INDEX[name] for name in POINTS])
HIPS: Final = (POINTS.index("left_hip"), POINTS.index("right_hip"))
MIRRORED: Final = np.array([POINTS.index(other_side(name)) for name in POINTS])
MIRROR_SIGNS: Final = np.array([-1.0, 1.0, 1.0, -1.0, 1.0, 1.0], dtype=np.float32)
# Instants around the present one at which landmarks are shown, seconds.
OFFSETS_S: Final = (-0.4, -0.2, -0.1, 0.0, 0.1, 0.2, 0.4)
# Frames further away are not looked at; a gap may reach a little beyond the last instant.
REACH_S: Final = 1.0
NUMBERS_A_POINT: Final = 6  # x, y, visibility, and the model's own x, y, z
PLACE_NUMBERS: Final = 3  # where in the picture the hips are, and how large the person is
COUNT: Final = len(OFFSETS_S) * len(POINTS) * NUMBERS_A_POINT + PLACE_NUMBERS
# Sides of the box that holds any plausible landmark, in statures; outside counts as this.
FARTHEST: Final = 2.0


def collect_features(
    track: CleanTrack, rows: npt.NDArray[np.int64], *, picture_px: float, world_m: float
) -> npt.NDArray[np.float32]:
    """Collect the numbers that the network is shown for some frames.

    Parameters
    ----------
    track : CleanTrack
        Cleaned with ``visibility_gate=0``.
    rows : ndarray of int, shape (N,)
        Frames wanted.
    picture_px, world_m : float
        Stature of the person in the picture and in the model's own metres.

    Returns
    -------
    ndarray of float32, shape (N, COUNT)
        Lengths in statures: picture positions from the middle of the hips at the present instant,
        the model's own from its hips at each instant. What is missing is 0 with visibility 0.
    """
    if len(rows) == 0:
        return np.zeros((0, COUNT), dtype=np.float32)
    around = np.array([track.time_s[rows[0]] - REACH_S, track.time_s[rows[-1]] + REACH_S])
    near = slice(*np.searchsorted(track.time_s, around))
    time_s, rows = track.time_s[near], rows - near.start
    image = track.image_px[near][:, CHOSEN]
    middle = _bridge(time_s, image[:, HIPS].mean(axis=1))
    world = track.world_m[near][:, CHOSEN]
    world = (world - world[:, HIPS].mean(axis=1, keepdims=True)) / world_m
    known = np.isfinite(image).all(axis=-1) & np.isfinite(world).all(axis=-1)
    seen = np.where(known, np.nan_to_num(track.visibility[near][:, CHOSEN]), 0.0)
    moving = np.concatenate([image / picture_px, seen[..., None], world], axis=-1)
    moving = np.where(known[..., None], moving, np.nan)
    now = middle[rows] / picture_px
    parts = [_show(time_s, moving, time_s[rows] + off, now) for off in OFFSETS_S]
    long_side = float(max(track.width_px, track.height_px))
    centre = np.array([track.width_px, track.height_px]) / 2.0
    place = np.concatenate(
        [(middle[rows] - centre) / long_side, np.full((len(rows), 1), picture_px / long_side)],
        axis=1,
    )
    return np.concatenate([*parts, place], axis=1).astype(np.float32)


def mirror_features(features: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return what would be shown of the mirror image: left is right, x is the other way."""
    cut = len(features), len(OFFSETS_S), len(POINTS), NUMBERS_A_POINT
    moving = features[:, :-PLACE_NUMBERS].reshape(cut)[:, :, MIRRORED] * MIRROR_SIGNS
    place = features[:, -PLACE_NUMBERS:] * np.array([-1.0, 1.0, 1.0], dtype=np.float32)
    flat = moving.reshape(len(features), COUNT - PLACE_NUMBERS)
    return np.concatenate([flat, place], axis=1).astype(np.float32)


def _bridge(time_s: FloatArray, values: FloatArray) -> FloatArray:
    """Fill gaps of a path (T, 2) by straight lines; 0 where it is never known."""
    known = np.isfinite(values).all(axis=1)
    if not known.any():
        return np.zeros_like(values)
    return np.stack([np.interp(time_s, time_s[known], v[known]) for v in values.T], axis=1)


def _show(time_s: FloatArray, moving: FloatArray, at_s: FloatArray, now: FloatArray) -> FloatArray:
    """Return landmarks (N, 6 K) at some instants, between frames along a straight line."""
    at_s = np.clip(at_s, time_s[0], time_s[-1])
    after = np.clip(np.searchsorted(time_s, at_s), 1, max(len(time_s) - 1, 1))
    after = np.minimum(after, len(time_s) - 1)
    before = np.maximum(after - 1, 0)
    span = np.maximum(time_s[after] - time_s[before], 1e-9)
    share = ((at_s - time_s[before]) / span)[:, None, None]
    values = (1.0 - share) * moving[before] + share * moving[after]
    values[..., :2] -= now[:, None]
    values = np.clip(np.nan_to_num(values), -FARTHEST, FARTHEST)
    return values.reshape(len(at_s), values.shape[1] * values.shape[2])
