"""Directions of the person: right, forward, and the axes of the segments, in camera axes."""

from __future__ import annotations

import numpy as np

from motioncheck.bodyfit.model import COUNT, JOINT, OFFSETS_M
from motioncheck.records.arrays import BoolArray, FloatArray

# Of the line of the shoulders against that of the hips; shoulders turn on the pelvis.
SHOULDER_WEIGHT = 0.4


def unit(vectors: FloatArray) -> FloatArray:
    """Scale vectors along the last axis to length 1; zero stays zero."""
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.asarray(vectors / np.maximum(length, 1e-9))


def find_right(joints: FloatArray, *, shoulder_weight: float = SHOULDER_WEIGHT) -> FloatArray:
    """Return the person's right as a unit vector, from hips and shoulders.

    Parameters
    ----------
    joints : ndarray, shape (..., K, 3)
    shoulder_weight : float
        Of shoulders against hips.

    Returns
    -------
    right : ndarray, shape (..., 3)
    """
    hips = joints[..., JOINT["right_hip"], :] - joints[..., JOINT["left_hip"], :]
    shoulders = joints[..., JOINT["right_shoulder"], :] - joints[..., JOINT["left_shoulder"], :]
    return unit(hips + shoulder_weight * shoulders)


def find_ahead(joints: FloatArray, up: FloatArray, on_feet: BoolArray | None = None) -> FloatArray:
    """Return the level direction in which the pelvis faces, shape (T, 3).

    Where the body is not on its feet (``on_feet``, shape (T,), by default it always is) the way
    the trunk faces, level or not: the knees of somebody who lies face down are not behind him.
    """
    ups = np.tile(up, (len(joints), 1))
    if on_feet is not None and not on_feet.all():
        ups = np.where(on_feet[:, None], ups, unit(_find_trunk(joints)))
    return unit(np.cross(ups, find_right(joints)))


def _find_trunk(joints: FloatArray) -> FloatArray:
    """Return the line from hips to shoulders, twice as long, shape (T, 3)."""
    hips = joints[:, JOINT["left_hip"]] + joints[:, JOINT["right_hip"]]
    return np.asarray(joints[:, JOINT["left_shoulder"]] + joints[:, JOINT["right_shoulder"]] - hips)


def landmark_offsets(joints: FloatArray) -> FloatArray:
    """Return the way from each joint to what its landmark marks, shape (T, K, 3), metres."""
    right = find_right(joints)
    offsets = np.zeros((len(joints), COUNT, 3))
    trunk = unit(_find_trunk(joints))
    for side, outward in (("left", -1.0), ("right", 1.0)):
        along = {
            "trunk": trunk,
            "shank": unit(joints[:, JOINT[f"{side}_knee"]] - joints[:, JOINT[f"{side}_ankle"]]),
        }
        toes = joints[:, JOINT[f"{side}_toe"]] - joints[:, JOINT[f"{side}_heel"]]
        axes = {name: _axes(up, right) for name, up in along.items()}
        axes["foot"] = _axes(along["shank"], np.cross(unit(toes), along["shank"]))
        for part, (segment, (ahead, up, out)) in OFFSETS_M.items():
            amount = np.array([ahead, up, outward * out])
            offsets[:, JOINT[f"{side}_{part}"]] = np.einsum("a,tab->tb", amount, axes[segment])
    return offsets


def _axes(up: FloatArray, right: FloatArray) -> FloatArray:
    """Return rows forward, up, right, shape (T, 3, 3), with ``up`` exact."""
    square = unit(right - np.sum(right * up, axis=-1, keepdims=True) * up)
    return np.stack([np.cross(up, square), up, square], axis=1)
