"""What is known about one person in one picture, and how alike two such sightings are.

Distances are turned into metres on the body itself: the model estimates the body in metres as well
as in pixels, so their ratio says how large a metre is where the person stands. Unlike the length
of the trunk in pixels this does not shrink when somebody bends towards the camera.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from motioncheck.landmarks.model import Picture, Pose
from motioncheck.skeleton import INDEX

FloatArray = npt.NDArray[np.float64]

TORSO: Final = tuple(
    INDEX[name] for name in ("left_shoulder", "right_shoulder", "left_hip", "right_hip")
)
_SIZE_POINTS: Final = tuple(
    INDEX[f"{side}_{part}"]
    for part in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
    for side in ("left", "right")
)
_LIMBS: Final = (
    ("shoulder", "elbow"),
    ("elbow", "wrist"),
    ("hip", "knee"),
    ("knee", "ankle"),
)
_LIMB_ENDS: Final = np.array(
    [[INDEX[f"{side}_{end}"] for end in ends] for ends in _LIMBS for side in ("left", "right")]
)

# Where clothes are looked at: inside the quadrilateral of the trunk, along the limbs. The ends
# are left out because there the landmark may lie on the background or on bare skin.
_TRUNK_GRID: Final = np.array([(u, v) for u in (0.3, 0.5, 0.7) for v in (0.2, 0.4, 0.6, 0.8)])
_LIMB_STEPS: Final = np.array([0.25, 0.4, 0.55, 0.7])
PARTS: Final = 1 + len(_LIMBS)
"""Parts of the body whose colour is kept: trunk, upper arms, forearms, thighs, shanks."""
_PART_OF_POINT: Final = np.concatenate(
    [np.zeros(len(_TRUNK_GRID)), np.repeat(np.arange(1, PARTS), 2 * len(_LIMB_STEPS))]
).astype(np.intp)


@dataclass(frozen=True, slots=True, eq=False)
class Sighting:
    """One person in one frame.

    Attributes
    ----------
    frame : int
        Index of the frame in the clip.
    time_s : float
    pose : Pose
    centre_px : ndarray, shape (2,)
        Mean of shoulders and hips.
    px_per_m : float
        Pixels a metre at the distance of the person; NaN where the pose is degenerate.
    clothes : ndarray, shape (5, 3)
        Mean red, green, blue of each of `PARTS`, 0 to 255; NaN outside the picture.
    eye : int
        Number of the model that saw it.
    """

    frame: int
    time_s: float
    pose: Pose
    centre_px: FloatArray
    px_per_m: float
    clothes: FloatArray
    eye: int = 0


def see(
    frame: int, time_s: float, pose: Pose, rgb: Picture, *, width_px: int, eye: int = 0
) -> Sighting:
    """Make a sighting of a pose.

    Parameters
    ----------
    frame : int
        Index of the frame in the clip.
    time_s : float
        Its time.
    pose : Pose
        In pixels of the full-size picture.
    rgb : ndarray of uint8, shape (H, W, 3)
        The picture as decoded, of any size.
    width_px : int
        Width of the full-size picture.
    eye : int
        Number of the model that saw it.
    """
    return Sighting(
        frame=frame,
        time_s=time_s,
        pose=pose,
        centre_px=pose.image_px[list(TORSO)].mean(axis=0),
        px_per_m=compute_px_per_m(pose),
        clothes=compute_clothes(pose, rgb, scale=rgb.shape[1] / width_px),
        eye=eye,
    )


def compute_px_per_m(pose: Pose) -> float:
    """Compute how many pixels a metre has where the person is; NaN for a degenerate pose."""
    image = pose.image_px[list(_SIZE_POINTS)]
    world = pose.world_m[list(_SIZE_POINTS), :2]
    spread_px = float(np.linalg.norm(image - image.mean(axis=0)))
    spread_m = float(np.linalg.norm(world - world.mean(axis=0)))
    return spread_px / spread_m if spread_m > 1e-6 and spread_px > 0.0 else float("nan")


def compute_clothes(pose: Pose, rgb: Picture, *, scale: float) -> FloatArray:
    """Compute the mean colour of the parts of the body, which is mostly that of the clothes.

    Parameters
    ----------
    pose : Pose
    rgb : ndarray of uint8, shape (H, W, 3)
    scale : float
        Pixels of ``rgb`` per pixel of the pose.

    Returns
    -------
    clothes : ndarray, shape (5, 3)
        Red, green, blue of trunk, upper arms, forearms, thighs, shanks; NaN where outside the
        picture.
    """
    x, y = np.floor(_find_clothes_points(pose.image_px * scale)).astype(np.intp).T
    inside = (x >= 0) & (x < rgb.shape[1]) & (y >= 0) & (y < rgb.shape[0])
    part = _PART_OF_POINT[inside]
    count = np.bincount(part, minlength=PARTS)[:, None]
    sums = np.zeros((PARTS, 3))
    np.add.at(sums, part, rgb[y[inside], x[inside]])
    clothes: FloatArray = np.where(count > 0, sums / np.maximum(count, 1), np.nan)
    return clothes


def _find_clothes_points(points: FloatArray) -> FloatArray:
    left_shoulder, right_shoulder, left_hip, right_hip = points[list(TORSO)]
    u, v = _TRUNK_GRID.T[:, :, None]
    trunk = (1 - v) * ((1 - u) * left_shoulder + u * right_shoulder) + v * (
        (1 - u) * left_hip + u * right_hip
    )
    start, end = points[_LIMB_ENDS[:, 0]], points[_LIMB_ENDS[:, 1]]
    limbs = start[:, None] + _LIMB_STEPS[None, :, None] * (end - start)[:, None]
    return np.concatenate([trunk, limbs.reshape(-1, 2)])


def compute_clothes_difference(a: FloatArray, b: FloatArray) -> float:
    """Compute how differently two people are dressed.

    Parameters
    ----------
    a, b : ndarray, shape (5, 3)
        As `compute_clothes` gives them.

    Returns
    -------
    difference : float
        Of the part that differs most: 0 = alike, 255 = black against white. 0 where nothing can
        be compared.
    """
    change = a - b
    grey = change.mean(axis=1)
    parts = np.sqrt(np.sum((change - grey[:, None]) ** 2, axis=1) + grey**2)
    known = parts[np.isfinite(parts)]
    return float(known.max()) if known.size else 0.0


def compute_box(pose: Pose) -> FloatArray:
    """Return left, top, right, bottom of the landmarks, shape (4,), pixels."""
    return np.concatenate([pose.image_px.min(axis=0), pose.image_px.max(axis=0)])


def compute_extent(pose: Pose) -> float:
    """Return how far a body spans, upright or lying: the longer side of its box, pixels."""
    box = compute_box(pose)
    return float((box[2:] - box[:2]).max())


def compute_box_overlap(a: Pose, b: Pose) -> float:
    """Return which share of the smaller box lies inside the other one, 0 to 1."""
    first, second = compute_box(a), compute_box(b)
    common = np.minimum(first[2:], second[2:]) - np.maximum(first[:2], second[:2])
    if np.any(common <= 0.0):
        return 0.0
    areas = [np.prod(box[2:] - box[:2]) for box in (first, second)]
    return float(np.prod(common) / min(areas))
