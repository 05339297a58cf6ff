"""Where the bones point in space, as far as one instant and its surroundings tell.

A network that was trained on rendered bodies corrects the pose model's own guess of depth. It is
told nothing of bone lengths, floor or camera; the body fit adds those.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from motioncheck.lifting.features import (
    NUMBERS_A_POINT,
    OFFSETS_S,
    PLACE_NUMBERS,
    POINTS,
    collect_features,
    mirror_features,
)
from motioncheck.lifting.network import load_network
from motioncheck.records import CleanTrack
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.skeleton import INDEX, JOINTS, other_side

BONES: Final[tuple[tuple[str, str], ...]] = (
    ("left_shoulder", "right_shoulder"),
    ("left_hip", "right_hip"),
    *(
        (f"{side}_{a}", f"{side}_{b}")
        for a, b in (
            ("shoulder", "hip"),
            ("shoulder", "elbow"),
            ("elbow", "wrist"),
            ("hip", "knee"),
            ("knee", "ankle"),
            ("ankle", "heel"),
            ("heel", "toe"),
        )
        for side in ("left", "right")
    ),
)
JOINT_MIRRORED: Final = np.array([JOINTS.index(other_side(name)) for name in JOINTS])


def _mirror_bones() -> tuple[npt.NDArray[np.int64], FloatArray]:
    """Return the place of each bone, then up, in the mirror image, and the signs of its x, y, z.

    A bone from left to right runs the other way there.
    """
    place, signs = [], []
    for a, b in BONES:
        mirrored = (other_side(a), other_side(b))
        across = mirrored not in BONES
        place.append(BONES.index(mirrored[::-1] if across else mirrored))
        signs.append([1.0, -1.0, -1.0] if across else [-1.0, 1.0, 1.0])
    return np.array([*place, len(BONES)]), np.array([*signs, [-1.0, 1.0, 1.0]])


BONE_MIRRORED, BONE_SIGNS = _mirror_bones()
# Limits of the logarithms of standard deviations, as in training.
DIRECTION_LOG_SD: Final = (-5.0, 1.0)
PICTURE_LOG_SD: Final = (-7.0, 0.0)
# Instants at a time, so that memory stays flat for long clips.
BATCH: Final = 600
# Keeps the direction of a bone of no length from being infinite, as in training.
SOFT_LENGTH: Final = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Lift:
    """Directions at N instants, in camera axes: x right, y down, z away from the lens.

    Attributes
    ----------
    rows : ndarray of int, shape (N,)
        Frames of the track; those without hips are left out.
    direction : ndarray, shape (N, B, 3)
        Along each of `BONES` from the first to the second joint; length about 1.
    direction_sd : ndarray, shape (N, B)
        Standard deviation of each component.
    up, up_sd : ndarray, shape (N, 3) and (N,)
        Against gravity.
    shift : ndarray, shape (N, 16, 2)
        From the landmark of each of `JOINTS` to the joint in the picture, statures.
    shift_sd : ndarray, shape (N, 16)
        Standard deviation of each component.
    """

    rows: npt.NDArray[np.int64]
    direction: FloatArray
    direction_sd: FloatArray
    up: FloatArray
    up_sd: FloatArray
    shift: FloatArray
    shift_sd: FloatArray


def lift_track(
    track: CleanTrack,
    *,
    picture_px: float,
    world_m: float,
    step: int = 1,
    wanted: BoolArray | None = None,
) -> Lift:
    """Tell where the bones of a track point in space.

    Parameters
    ----------
    track : CleanTrack
        Cleaned with ``visibility_gate=0``.
    picture_px, world_m : float
        Stature of the person in the picture and in the model's own metres.
    step : int
        Every how many frames.
    wanted : ndarray of bool, optional
        Which of these; by default all.

    Returns
    -------
    Lift

    Raises
    ------
    MissingPartError
        If the weights are missing or damaged.

    Notes
    -----
    Learned from rendered bodies only; see ``docs/validation.md`` for how well it does.
    """
    hips = [INDEX["left_hip"], INDEX["right_hip"]]
    image, world = track.image_px[:, hips], track.world_m[:, hips]
    found = np.isfinite(image).all(axis=(1, 2)) & np.isfinite(world).all(axis=(1, 2))
    rows = np.arange(0, len(track.time_s), step)
    rows = rows if wanted is None else rows[wanted]
    rows = rows[np.asarray(found)[rows]]
    parts = []
    for start in range(0, max(len(rows), 1), BATCH):
        some = rows[start : start + BATCH]
        shown = collect_features(track, some, picture_px=picture_px, world_m=world_m)
        parts.append(lift_features(shown, some))
    return Lift(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Lift)))


def lift_features(features: npt.NDArray[np.float32], rows: npt.NDArray[np.int64]) -> Lift:
    """Run the network on what `collect_features` gave for some frames.

    The mirror image is shown as well and the mean of both answers taken, so that left and right
    are treated alike.
    """
    here = _ask(features)
    there = _ask(mirror_features(features))
    lines = (here.lines + there.lines[:, BONE_MIRRORED] * BONE_SIGNS) / 2.0
    log_sd = (here.lines_log_sd + there.lines_log_sd[:, BONE_MIRRORED]) / 2.0
    shift = (here.shift + there.shift[:, JOINT_MIRRORED] * np.array([-1.0, 1.0])) / 2.0
    shift_log_sd = (here.shift_log_sd + there.shift_log_sd[:, JOINT_MIRRORED]) / 2.0
    sd = np.exp(log_sd)
    return Lift(
        rows,
        lines[:, :-1],
        sd[:, :-1],
        lines[:, -1],
        sd[:, -1],
        shift,
        np.exp(shift_log_sd),
    )


class _Answer(NamedTuple):
    """Outputs of the network: lines are the bones, then up."""

    lines: FloatArray
    lines_log_sd: FloatArray
    shift: FloatArray
    shift_log_sd: FloatArray


def _ask(features: npt.NDArray[np.float32]) -> _Answer:
    out = load_network().run(features).astype(np.float64)
    count = len(BONES) + 1
    lines = out[:, : 4 * count].reshape(-1, count, 4)
    spots = out[:, 4 * count :].reshape(-1, len(JOINTS), 3)
    return _Answer(
        model_lines(features) + lines[..., :3],
        np.clip(lines[..., 3], *DIRECTION_LOG_SD),
        spots[..., :2],
        np.clip(spots[..., 2], *PICTURE_LOG_SD),
    )


def model_lines(features: npt.NDArray[np.float32]) -> FloatArray:
    """Return the directions of the pose model's own bones, then up along the picture.

    Shape (N, B + 1, 3), length about 1; the network tells the difference from these.
    """
    moving = features[:, :-PLACE_NUMBERS].astype(np.float64)
    moving = moving.reshape(-1, len(OFFSETS_S), len(POINTS), NUMBERS_A_POINT)
    now = moving[:, len(OFFSETS_S) // 2, :, 3:]
    first = [POINTS.index(a) for a, _ in BONES]
    second = [POINTS.index(b) for _, b in BONES]
    line = now[:, second] - now[:, first]
    line = line / (np.linalg.norm(line, axis=-1, keepdims=True) + SOFT_LENGTH)
    up = np.broadcast_to([0.0, -1.0, 0.0], (len(line), 1, 3))
    return np.concatenate([line, up], axis=1)
