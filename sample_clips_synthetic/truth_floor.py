"""True measures of floor movements: the line of the body and how high it is."""

from __future__ import annotations

import numpy as np
from bodies import SIDES, Array

FLOOR_DEFINITIONS = (
    " body_line: 180 - angle shoulder, hip, ankle seen square from the side, + folded (in a plank "
    "the hips up), - arched (in a plank the hips sagging); null where shoulder and ankle are "
    "nearer to each other than half the trunk. hip_height_m, shoulder_height_m: middle of both "
    "over the floor, metres. holds: start_s is when the pose is fully reached, end_s when it is "
    "left. stages: start_s and end_s bound the still time. Both have the true values in their "
    "middle."
)


def floor_measures(points: dict[str, Array]) -> dict[str, Array]:
    """Compute the true measures of floor movements, one array of shape (T,) each.

    ``body_line`` in degrees, heights in metres; NaN where the line has no steady meaning.
    """
    out = {}
    for side in SIDES:
        shoulder, hip, ankle = (
            points[f"{side}_{name}"][:, 1:] for name in ("shoulder", "hip", "ankle")
        )
        out[f"body_line_{side}"] = _bend(shoulder, hip, ankle)
    for name in ("hip", "shoulder"):
        both = points[f"left_{name}"] + points[f"right_{name}"]
        out[f"{name}_height_m"] = 0.5 * both[:, 2]
    return out


def _bend(shoulder: Array, hip: Array, ankle: Array) -> Array:
    """Return how far the hip is off a straight line; sagittal points (T, 2) of y and z."""
    up, down = shoulder - hip, ankle - hip
    # Facing -y, a body folded at the hips turns this way round.
    cross = up[:, 0] * down[:, 1] - up[:, 1] * down[:, 0]
    bend = np.degrees(np.arctan2(cross, -np.sum(up * down, axis=1)))
    near = np.linalg.norm(shoulder - ankle, axis=1) < 0.5 * np.linalg.norm(up, axis=1)
    return np.where(near, np.nan, bend)
