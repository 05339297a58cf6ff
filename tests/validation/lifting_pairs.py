"""Pairs of what the lifting network is shown and what it should say, from rendered clips."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from motioncheck.bodyfit.evidence import measure_size
from motioncheck.cleaning import clean_track
from motioncheck.lifting import BONES
from motioncheck.lifting.features import collect_features
from motioncheck.records import CleanTrack, LandmarkTrack
from motioncheck.skeleton import INDEX, JOINTS

Array = NDArray[np.float64]
Float32 = NDArray[np.float32]
# The program cleans every movement with a cutoff of its own.
QUICK = ("high_knees", "heel_kicks", "jacks")
QUICK_HZ, SLOW_HZ = 10.0, 6.0


@dataclass(frozen=True)
class Pairs:
    """Frames of one clip.

    ``shown`` (N, F) as `collect_features` gives it; ``lines`` (N, B + 1, 3) the true directions of
    the bones and of up, in camera axes; ``shifts`` (N, 16, 2) from landmark to true joint,
    statures, NaN where there is no landmark.
    """

    about: dict
    shown: Float32
    lines: Float32
    shifts: Float32


def read_pairs(path: Path) -> Pairs:
    """Read one file of the validation set."""
    with np.load(path) as data:
        about = json.loads(str(data["about"]))
        track = clean_clip(data, about["motion"])
        names = [str(n).replace("big_toe", "toe") for n in data["names"]]
        order = [names.index(j) for j in JOINTS]
        turned = np.einsum(
            "tij,tkj->tki",
            data["camera_axes"].astype(float),
            data["joints_m"][:, order].astype(float) - data["camera_m"].astype(float)[:, None],
        )
        turned[..., 1] *= -1.0  # y down
        at = track.time_s - track.time_s[0] + data["time_s"][0]
        joints = resample(at, data["time_s"], turned)
        spots = resample(at, data["time_s"], data["joints_px"][:, order].astype(float))
        up = data["camera_axes"][0].astype(float)[:, 2] * [1.0, -1.0, 1.0]
    size = measure_size(track)
    stature_px = size.picture * max(track.width_px, track.height_px)
    found = np.isfinite(track.image_px).all(axis=(1, 2)) & np.isfinite(track.world_m).all((1, 2))
    rows = np.flatnonzero(found)
    shown = collect_features(track, rows, picture_px=stature_px, world_m=size.world)
    first, second = ([JOINTS.index(bone[end]) for bone in BONES] for end in (0, 1))
    line = joints[:, second] - joints[:, first]
    line /= np.linalg.norm(line, axis=-1, keepdims=True)
    lines = np.concatenate([line, np.broadcast_to(up, (len(line), 1, 3))], axis=1)
    marks = track.image_px[:, [INDEX[j] for j in JOINTS]]
    shifts = (spots - marks) / stature_px
    return Pairs(about, shown, lines[rows].astype(np.float32), shifts[rows].astype(np.float32))


def clean_clip(data: dict, motion: str) -> CleanTrack:
    """Clean the landmarks of a file as the program does for the body fit."""
    track = LandmarkTrack(
        data["time_s"],
        data["image_px"].astype(float),
        data["visibility"].astype(float),
        data["world_m"].astype(float),
        int(data["width_px"]),
        int(data["height_px"]),
        "full",
    )
    cutoff_hz = QUICK_HZ if motion in QUICK else SLOW_HZ
    return clean_track(track, cutoff_hz=cutoff_hz, visibility_gate=0.0)


def resample(at_s: Array, time_s: Array, values: Array) -> Array:
    """Interpolate values (T, ...) along the first axis by straight lines."""
    flat = values.reshape(len(values), -1)
    columns = [np.interp(at_s, time_s, column) for column in flat.T]
    return np.stack(columns, axis=1).reshape(len(at_s), *values.shape[1:])
