"""Analytic: hands, arms and whole-body lines of lifts, floor work and hanging."""

from __future__ import annotations

import numpy as np
import pytest
from synthetic import (
    LENGTH_M,
    SHARE,
    STATURE_M,
    Pose,
    Scene,
    make_body,
    make_clean,
    make_view,
    pose_points,
)

from motioncheck.measures import build_body, compute_table

ARM = SHARE["upper_arm"] + SHARE["forearm"]
LEG = SHARE["thigh"] + SHARE["shank"]


def values_of(pose, azimuth):
    return {c: v[0] for c, v in compute_table(make_body(pose, azimuth)).values.items()}


@pytest.mark.parametrize("azimuth", [-90.0, 90.0])
def test_arms_overhead_bent_and_level(azimuth):
    """Right arm straight up, left upper arm level and forearm up: a right angle at the elbow."""
    seen = values_of(Pose(arm=(90.0, 180.0), elbow=(90.0, 0.0)), azimuth)
    assert seen["arm_inclination_right"] == pytest.approx(0.0, abs=1e-6)
    assert seen["upper_arm_inclination_right"] == pytest.approx(90.0)
    assert seen["upper_arm_inclination_left"] == pytest.approx(0.0, abs=1e-6)
    # Upper arm ahead, forearm up: from straight up by the angle whose tangent is their ratio.
    expected = np.degrees(np.arctan2(SHARE["upper_arm"], SHARE["forearm"]))
    assert seen["arm_inclination_left"] == pytest.approx(expected)
    assert seen["hand_shoulder_offset_ratio_left"] == pytest.approx(SHARE["upper_arm"] / ARM)
    assert seen["elbow_trunk_ratio_left"] == pytest.approx(-1.0)


@pytest.mark.parametrize("azimuth", [-90.0, 90.0])
def test_an_elbow_pulled_back_lies_behind_the_trunk(azimuth):
    """Trunk 60 degrees forward, so the hip lies 60 degrees behind straight down."""
    seen = values_of(Pose(trunk=60.0, arm=(-90.0, -30.0)), azimuth)
    assert seen["elbow_trunk_ratio_left"] == pytest.approx(np.sin(np.radians(30.0)))
    assert seen["elbow_trunk_ratio_right"] == pytest.approx(-np.sin(np.radians(30.0)))
    assert seen["upper_arm_inclination_left"] == pytest.approx(0.0, abs=1e-6)
    assert seen["upper_arm_inclination_right"] == pytest.approx(-60.0)


@pytest.mark.parametrize("azimuth", [-90.0, 90.0])
@pytest.mark.parametrize(("bend", "sign"), [(20.0, 1), (-15.0, -1)])
def test_hips_bent_are_positive_and_sagging_is_negative(azimuth, bend, sign):
    """Legs swung ahead of the trunk line: hips bent; behind it: sagging."""
    seen = values_of(Pose(thigh=bend, shank=-bend), azimuth)
    # The ankle turns about the hip with the whole leg, so the line bends by all of it.
    assert seen["body_line"] == pytest.approx(bend)
    assert np.sign(seen["body_line"]) == sign


def test_a_kneeling_leg_has_its_knee_at_the_floor():
    """Left knee bent by 90 degrees under the hip, right leg as a front leg with a level thigh."""
    seen = values_of(Pose(thigh=(0.0, 90.0), shank=(90.0, 0.0)), 90.0)
    # The front ankle is one shank below the hips; the knee on the floor one thigh.
    gap = (SHARE["shank"] - SHARE["thigh"]) / SHARE["shank"]
    assert seen["knee_floor_ratio_left"] == pytest.approx(gap, abs=1e-6)
    assert seen["knee_floor_ratio_right"] == pytest.approx(1.0)
    step = (SHARE["thigh"] + SHARE["shank"]) / LEG
    assert seen["step_length_ratio"] == pytest.approx(step)


@pytest.mark.parametrize("azimuth", [0.0, 180.0])
def test_a_knee_inside_the_foot_is_positive_from_front_and_behind(azimuth):
    seen = values_of(Pose(knee_in=(14.0, 0.0), out=5.0), azimuth)
    # Half of the bend turns the thigh in and half the shank out, both about the common lean.
    expected = SHARE["shank"] * np.sin(np.radians(5.0 + 7.0)) / SHARE["thigh"]
    assert seen["knee_side_ratio_left"] == pytest.approx(expected)
    assert seen["knee_side_ratio_right"] < seen["knee_side_ratio_left"]


def test_hanging_hands_are_above_the_mouth():
    seen = values_of(Pose(arm=180.0), 0.0)
    below = ARM - 0.1 + 0.05 / STATURE_M
    assert seen["mouth_hand_height_ratio"] == pytest.approx(-below / SHARE["thigh"])


def test_a_jump_lifts_feet_and_hips_alike():
    points = pose_points(Pose(), 9)
    for place in points.values():
        place[4, 2] += 0.1 * STATURE_M
    body = build_body(make_clean(points, Scene(90.0)), make_view(90.0))
    values = compute_table(body).values
    share = LEG * STATURE_M / body.leg_px * Scene(90.0).px_per_m
    assert share == pytest.approx(1.0)
    for column in ("foot_rise_ratio_left", "pelvis_rise_ratio"):
        assert values[column][4] == pytest.approx(0.1 * LEG / 0.491, rel=1e-6)
        assert values[column][0] == pytest.approx(0.0, abs=1e-9)
    assert LENGTH_M["thigh"] == pytest.approx(SHARE["thigh"] * STATURE_M)
