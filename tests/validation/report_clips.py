"""Validation clips as the program sees them, and the truth along the person's own axes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from motioncheck.bodyfit import JOINTS
from motioncheck.bodyfit.body import person_axes
from motioncheck.bodyfit.evidence import find_upright
from motioncheck.bodyfit.model import LANDMARK_OF
from motioncheck.records import LandmarkTrack
from motioncheck.standards import Standard, load_standards

Array = NDArray[np.float64]
# Which standard a drill is checked by; recorded motion is cleaned like the drill it is most like.
STANDARD_OF = {
    "squat": "air-squat",
    "high_knees": "high-knees",
    "heel_kicks": "heel-to-seat-kicks",
    "jacks": "jumping-jacks",
    "twist": "wide-stance-twist",
}
LIKE = {
    "squat": "squat",
    "knee_raise": "high_knees",
    "jog": "high_knees",
    "jumping_jack": "jacks",
    "twist": "twist",
}
OTHER_CUTOFF_HZ = 6.0
# The recording of the former half for validation is kept for the clips that results are quoted of.
KEPT_BACK = "recorded_13_31"
UP = np.array([0.0, 0.0, 1.0])


def wrap(angle: Array | float) -> Array:
    """Bring angles to -180 .. 180 degrees."""
    return np.asarray((np.asarray(angle) + 180.0) % 360.0 - 180.0)


def list_clips(folder: Path, split: str = "", only: str = "") -> Iterator[Path]:
    """Yield the files of a folder that may be used.

    ``calibration`` stands for the two halves of the older set; of those, clips of the recording
    that the newer set is tested with are never used.
    """
    for path in sorted(folder.glob("*.npz")):
        with np.load(path) as data:
            about = json.loads(str(data["about"]))
        former = about["split"] in ("calibrate", "validate")
        if former and about["motion_id"].startswith(KEPT_BACK):
            continue
        wanted = not split or about["split"] == split or (former and split == "calibration")
        if wanted and only in path.name:
            yield path


def read_clip(path: Path) -> tuple[dict[str, Any], LandmarkTrack, dict[str, Array]]:
    """Return description, track, and the arrays of the file."""
    with np.load(path) as data:
        arrays = {key: data[key] for key in data.files}
    track = LandmarkTrack(
        arrays["time_s"],
        arrays["image_px"],
        arrays["visibility"].astype(float),
        arrays["world_m"],
        int(arrays["width_px"]),
        int(arrays["height_px"]),
        "full",
    )
    return json.loads(str(arrays["about"])), track, arrays


def find_standard(about: dict[str, Any]) -> tuple[Standard, bool]:
    """Return the standard that a clip is cleaned by, and whether its checks apply."""
    motion = about["motion"]
    known = load_standards()
    if motion in STANDARD_OF:
        return known[STANDARD_OF[motion]].standard, True
    label = (about.get("excerpt") or {}).get("label", "")
    standard = known[STANDARD_OF[LIKE.get(label, "squat")]].standard
    if label not in LIKE:
        standard = standard.model_copy(update={"cutoff_hz": OTHER_CUTOFF_HZ})
    return standard, False


def read_truth(arrays: dict[str, Array], time_s: Array) -> tuple[Array, float]:
    """Return the true joints along the person's forward, up and right, and the way they face.

    The world of the file has z up, and azimuths count from -y towards +x. Recorded people do not
    always face -y: the truth is taken along the way they face while they stand, like the fit.
    """
    names = [str(n).replace("big_toe", "toe") for n in arrays["names"]]
    joints = arrays["joints_m"][:, [names.index(j) for j in JOINTS]].astype(float)
    inside = np.clip(time_s, arrays["time_s"][0], arrays["time_s"][-1])
    joints = np.asarray(CubicSpline(arrays["time_s"], joints, axis=0)(inside))
    axes = person_axes(joints, UP, find_upright(-joints[..., [0, 2]]))
    turned_deg = float(np.degrees(np.arctan2(axes[0, 0], -axes[0, 1])))
    return joints @ axes.T, turned_deg


def measure_landmarks(arrays: dict[str, Array]) -> dict[str, float]:
    """Return how far the model's legs and arms are from the true ones, per cent of stature."""
    names = [str(n).replace("big_toe", "toe") for n in arrays["names"]]
    true = arrays["joints_px"][:, [names.index(j) for j in JOINTS]]
    gap = np.linalg.norm(arrays["image_px"][:, LANDMARK_OF] - true, axis=-1)
    tall_px = 1.2 * np.nanpercentile(np.ptp(true[..., 1], axis=1), 95)
    share = 100.0 * np.sqrt(np.mean(gap**2, axis=1)) / tall_px
    known = share[np.isfinite(share)]
    return {
        "landmark_error_percent": float(np.median(known)) if len(known) else np.nan,
        "landmark_error_worst_percent": float(np.percentile(known, 90)) if len(known) else np.nan,
        "nobody_share": float(1.0 - len(known) / len(share)),
    }
