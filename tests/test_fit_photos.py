"""The body fit on photos of real people, held still for a second.

Truth: what the eye sees in them (project judgement; no one measured these people). A still says
nothing about bone lengths, so only what a coach would call by eye is asked.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from test_landmarks_model import load_photo, look_at, needs_photos

from motioncheck.bodyfit import Body, fit_track
from motioncheck.measures import measure_joints
from motioncheck.records import CleanTrack

FRAMES = 30


@cache
def fit_photo(name: str) -> Body:
    picture = load_photo(name)
    (pose,) = look_at(picture)
    height_px, width_px = picture.shape[:2]
    arrays = (pose.image_px, pose.visibility, pose.world_m)
    held = [np.repeat(array[None], FRAMES, axis=0) for array in arrays]
    return fit_track(CleanTrack(np.arange(FRAMES) / 30.0, *held, width_px, height_px, 30.0, 6.0))


def read(name: str) -> dict[str, float]:
    body = fit_photo(name)
    found = measure_joints(body.time_s, body.joints_m)
    return {column: float(np.median(values)) for column, values in found.items()}


@pytest.mark.model
@needs_photos
@pytest.mark.parametrize("name", ["standing", "lunge", "tree_pose"])
def test_upright_people_are_upright_and_the_phone_is_level(name: str) -> None:
    body = fit_photo(name)
    assert abs(read(name)["trunk_inclination"]) < 12.0
    assert abs(body.tilt_deg) < 5.0
    assert abs(body.pitch_deg) < 15.0


@pytest.mark.model
@needs_photos
def test_a_foot_held_up_is_not_taken_for_standing_on_the_floor() -> None:
    """One foot rests on the inside of the other thigh, and does not move either."""
    body = fit_photo("tree_pose")
    assert read("tree_pose")["knee_flexion_right"] > 110.0
    heights = body.point("right_ankle")[:, 1] - body.point("left_ankle")[:, 1]
    assert np.median(heights) > 0.25


@pytest.mark.model
@needs_photos
def test_a_wide_lunge_with_both_arms_level() -> None:
    found = read("lunge")
    assert 65.0 < found["knee_flexion_right"] < 100.0
    for side in ("left", "right"):
        assert 75.0 < found[f"shoulder_elevation_{side}"] < 110.0
        assert found[f"elbow_flexion_{side}"] < 30.0
