"""Names of the 33 body landmarks, left-right pairs, and body segments.

The order is the one the pose model emits. Left and right are the person's own.
"""

from __future__ import annotations

from typing import Final, Literal

Side = Literal["left", "right", "both"]

LANDMARKS: Final[tuple[str, ...]] = (
    "nose",
    "left_eye_inner",
    "left_eye",
    "left_eye_outer",
    "right_eye_inner",
    "right_eye",
    "right_eye_outer",
    "left_ear",
    "right_ear",
    "mouth_left",
    "mouth_right",
    "left_shoulder",
    "right_shoulder",
    "left_elbow",
    "right_elbow",
    "left_wrist",
    "right_wrist",
    "left_pinky",
    "right_pinky",
    "left_index",
    "right_index",
    "left_thumb",
    "right_thumb",
    "left_hip",
    "right_hip",
    "left_knee",
    "right_knee",
    "left_ankle",
    "right_ankle",
    "left_heel",
    "right_heel",
    "left_toe",
    "right_toe",
)
COUNT: Final = len(LANDMARKS)
INDEX: Final[dict[str, int]] = {name: i for i, name in enumerate(LANDMARKS)}


def other_side(name: str) -> str:
    """Return the name of the mirror landmark; names without a side are returned as they are."""
    if "left" in name:
        return name.replace("left", "right")
    return name.replace("right", "left")


MIRROR: Final[tuple[int, ...]] = tuple(INDEX[other_side(name)] for name in LANDMARKS)

FACE: Final[tuple[int, ...]] = tuple(range(11))
LEGS: Final[tuple[str, ...]] = ("hip", "knee", "ankle", "heel", "toe")
ARMS: Final[tuple[str, ...]] = ("shoulder", "elbow", "wrist")
# Joints of limbs and trunk, and the ends of the feet, in the order of a fitted body.
JOINTS: Final[tuple[str, ...]] = tuple(
    f"{side}_{part}" for part in (*ARMS, *LEGS) for side in ("left", "right")
)

# Landmark pairs drawn as the stick figure; also the segments of the body.
BONES: Final[tuple[tuple[str, str], ...]] = (
    ("left_shoulder", "right_shoulder"),
    ("left_hip", "right_hip"),
    *(
        (f"{side}_{a}", f"{side}_{b}")
        for side in ("left", "right")
        for a, b in (
            ("shoulder", "hip"),
            ("shoulder", "elbow"),
            ("elbow", "wrist"),
            ("hip", "knee"),
            ("knee", "ankle"),
            ("ankle", "heel"),
            ("heel", "toe"),
            ("ankle", "toe"),
        )
    ),
)
