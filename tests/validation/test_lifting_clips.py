"""The lifting network on rendered bodies that it was not trained on.

Truth: the joints of the rendered bodies of the committed clips (people c1-c5 and v1-v5); training
used other people and other draws of the drills.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from lifting_pairs import read_pairs

from motioncheck.lifting.lift import lift_features, model_lines

CLIPS = [
    path
    for path in sorted((Path(__file__).parent / "data").glob("[0-9]*.npz"))
    if "_recorded_" not in path.name
][::5]


def angle(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    cross = np.linalg.norm(np.cross(a, b), axis=-1)
    return np.degrees(np.arctan2(cross, np.sum(a * b, axis=-1)))


def rms_of_clips(errors: list[np.ndarray]) -> float:
    return float(np.sqrt(np.mean([np.mean(e**2) for e in errors])))


@pytest.fixture(scope="module")
def errors() -> dict[str, list[np.ndarray]]:
    found: dict[str, list[np.ndarray]] = {"lifted": [], "raw": [], "up": []}
    for path in CLIPS:
        pairs = read_pairs(path)
        lift = lift_features(pairs.shown, np.arange(len(pairs.shown)))
        found["lifted"].append(angle(lift.direction, pairs.lines[:, :-1]))
        found["raw"].append(angle(model_lines(pairs.shown)[:, :-1], pairs.lines[:, :-1]))
        found["up"].append(angle(lift.up, pairs.lines[:, -1]))
    return found


def test_directions_are_far_better_than_the_raw_model(errors: dict) -> None:
    assert len(errors["lifted"]) >= 12
    assert rms_of_clips(errors["lifted"]) < 0.6 * rms_of_clips(errors["raw"])


def test_up_is_told_within_a_few_degrees(errors: dict) -> None:
    assert rms_of_clips(errors["up"]) < 5.0
