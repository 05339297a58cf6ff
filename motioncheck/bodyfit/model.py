"""The body of the fit: joints, bones of constant length, and what is known of both beforehand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from motioncheck.records.arrays import FloatArray
from motioncheck.skeleton import INDEX, JOINTS

COUNT: Final = len(JOINTS)
SIZE: Final = 3 * COUNT
JOINT: Final[dict[str, int]] = {name: i for i, name in enumerate(JOINTS)}
LANDMARK_OF: Final = np.array([INDEX[name] for name in JOINTS])

# A person of this stature sets the scale; everything is metres up to that scale.
STATURE_M: Final = 1.70


@dataclass(frozen=True, slots=True)
class BoneGroup:
    """Bones that share one length: left and right, or the two diagonals of the trunk.

    Attributes
    ----------
    share : float
        Expected length as a share of stature.
    prior : float
        Standard deviation of the logarithm of the length about that.
    give_m : float
        How far a single frame may differ from the length: soft tissue, a shoulder that lifts, and
        left against right.
    """

    name: str
    bones: tuple[tuple[str, str], ...]
    share: float
    prior: float
    give_m: float


def _pair(a: str, b: str) -> tuple[tuple[str, str], ...]:
    return tuple((f"{s}_{a}", f"{s}_{b}") for s in ("left", "right"))


# Shares: Drillis and Contini 1966 as drawn in Winter, fig. 4.1 (thigh 0.245, shank 0.246, upper
# arm 0.186, forearm 0.146, trunk 0.288; minor lengths from memory). Widths are those between the
# joint centres that the landmark model marks, narrower than the body's breadths; they and the
# parts of the foot come from rendered bodies.
GROUPS: Final[tuple[BoneGroup, ...]] = (
    BoneGroup("shoulder width", (("left_shoulder", "right_shoulder"),), 0.200, 0.06, 0.025),
    BoneGroup("hip width", (("left_hip", "right_hip"),), 0.117, 0.06, 0.010),
    BoneGroup("trunk", _pair("shoulder", "hip"), 0.300, 0.04, 0.015),
    BoneGroup(
        "trunk diagonal",
        (("left_shoulder", "right_hip"), ("right_shoulder", "left_hip")),
        0.338,
        0.04,
        0.015,
    ),
    BoneGroup("upper arm", _pair("shoulder", "elbow"), 0.159, 0.03, 0.012),
    BoneGroup("forearm", _pair("elbow", "wrist"), 0.142, 0.03, 0.012),
    BoneGroup("thigh", _pair("hip", "knee"), 0.239, 0.03, 0.012),
    BoneGroup("shank", _pair("knee", "ankle"), 0.240, 0.03, 0.010),
    BoneGroup("heel", _pair("ankle", "heel"), 0.042, 0.15, 0.010),
    BoneGroup("foot", _pair("heel", "toe"), 0.143, 0.08, 0.010),
    BoneGroup("instep", _pair("ankle", "toe"), 0.129, 0.08, 0.010),
)
BONES: Final = np.array([[JOINT[a], JOINT[b]] for g in GROUPS for a, b in g.bones])
GROUP_OF: Final = np.array([i for i, g in enumerate(GROUPS) for _ in g.bones])
GIVE_M: Final = np.array([g.give_m for g in GROUPS for _ in g.bones])
PRIOR_LOG: Final = np.log([g.share * STATURE_M for g in GROUPS])
PRIOR_SD: Final = np.array([g.prior for g in GROUPS])

# Error of the model's own depth along each bone, metres: set by hand from the scatter on the first
# rendered clips of both halves, then tuned on the calibration half.
DEPTH_SD_OF: Final[dict[str, float]] = {
    "shoulder width": 0.05,
    "hip width": 0.04,
    "trunk": 0.12,
    "trunk diagonal": 0.12,
    "upper arm": 0.075,
    "forearm": 0.09,
    "thigh": 0.06,
    "shank": 0.12,
    "heel": 0.06,
    "foot": 0.09,
    "instep": 0.09,
}
DEPTH_SD_M: Final = np.array([DEPTH_SD_OF[g.name] for g in GROUPS for _ in g.bones])

# Where the landmark model marks a joint, from the joint itself, metres for the stature above, in
# axes (forward, up, outward) of the segment named: rendered bodies, calibration half.
OFFSETS_M: Final[dict[str, tuple[str, tuple[float, float, float]]]] = {
    "shoulder": ("trunk", (0.004, 0.013, 0.006)),
    "hip": ("trunk", (0.011, 0.010, 0.001)),
    "knee": ("shank", (0.002, 0.013, -0.004)),
    "ankle": ("shank", (0.004, 0.014, 0.003)),
    "heel": ("foot", (0.009, 0.0, -0.002)),
    "toe": ("foot", (-0.022, 0.0, 0.010)),
}


def _centre_of_mass() -> FloatArray:
    """Weights of the joints in the centre of mass, shape (K,); Winter, table 4.1."""
    weight = np.zeros(COUNT)
    for side in ("left", "right"):
        for a, b, mass, share in (
            ("hip", "shoulder", 0.578 / 2, 0.66),
            ("shoulder", "elbow", 0.028, 0.436),
            ("elbow", "wrist", 0.022, 0.682),
            ("hip", "knee", 0.100, 0.433),
            ("knee", "ankle", 0.061, 0.606),
        ):
            weight[JOINT[f"{side}_{a}"]] += mass * (1.0 - share)
            weight[JOINT[f"{side}_{b}"]] += mass * share
    return np.asarray(weight / weight.sum(), dtype=np.float64)


CENTRE_OF_MASS: Final = _centre_of_mass()
