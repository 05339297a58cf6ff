"""Analytic: every entry of the registry, on a body that stands still."""

from __future__ import annotations

import math

import numpy as np
import pytest
from synthetic import (
    LENGTH_M,
    SHARE,
    STATURE_M,
    TOE_AHEAD_SHARE,
    Pose,
    Scene,
    make_body,
    make_clean,
    make_view,
    pose_points,
)

from motioncheck.measures import REGISTRY, build_body, compute_table
from motioncheck.measures.registry import PLANES, Registry

FROM_THE_SIDE, FROM_THE_FRONT = 90.0, 0.0
LEG = SHARE["thigh"] + SHARE["shank"]
WRIST_ABOVE_ANKLE = LEG + SHARE["trunk"] - SHARE["upper_arm"] - SHARE["forearm"]
# Hanging wrist to the other heel, seen from the front: out to the shoulder, in past the hip.
HAND_TO_HEEL = math.hypot(
    SHARE["half_shoulders"] + SHARE["half_hips"], WRIST_ABOVE_ANKLE + SHARE["ankle_height"]
)
# The head of the test body: 0.1 statures above the neck, the mouth 5 cm lower; fingers 9 cm long.
MOUTH_ABOVE_WRIST = SHARE["upper_arm"] + SHARE["forearm"] + 0.1 - 0.05 / STATURE_M
FINGER = 0.09 / STATURE_M
# The value of quiet standing, feet under the hips, arms hanging, by what the entry's sign says.
# The ratios come from the segment lengths of Drillis & Contini (see `synthetic`).
STANDING = {
    "knee_flexion": 0.0,
    "hip_flexion": 0.0,
    "ankle_flexion": 0.0,
    "thigh_inclination": 90.0,
    "thigh_from_vertical": 0.0,
    "shank_inclination": 0.0,
    "trunk_inclination": 0.0,
    "trunk_shank_difference": 0.0,
    "trunk_lateral_inclination": 0.0,
    "shoulder_elevation": 0.0,
    "elbow_flexion": 0.0,
    "frontal_plane_knee_angle": 0.0,
    "knee_ankle_separation_ratio": 1.0,
    "stance_width_ratio": SHARE["half_hips"] / SHARE["half_shoulders"],
    "knee_toe_offset_ratio": -TOE_AHEAD_SHARE,
    "heel_lift_ratio": 0.0,
    "wrist_heel_gap_ratio": HAND_TO_HEEL / SHARE["shank"],
    "arm_line_inclination": 90.0,
    "shoulder_line_tilt": 0.0,
    "hip_line_tilt": 0.0,
    "hip_shoulder_turn": 0.0,
    "pelvis_shift_ratio": 0.0,
    "pelvis_drift_ratio": 0.0,
    "shoulder_line_turn": 0.0,
    "shoulder_height_ratio": (LEG + SHARE["trunk"]) / LEG,
    "hip_height_ratio": 1.0,
    "knee_height_ratio": -1.0,
    "ankle_height_ratio": 0.0,
    "hand_height_ratio": WRIST_ABOVE_ANKLE / LEG,
    "arm_inclination": 180.0,
    "upper_arm_inclination": -90.0,
    "hand_line_inclination": 90.0,
    "raised_arm_inclination": 180.0,
    "raised_elbow_flexion": 0.0,
    "raised_shoulder_elevation": 0.0,
    "shoulder_line_rise": 0.0,
    "body_line": 0.0,
    "back_line_bend": 0.0,
    "knee_bend": 0.0,
    "mouth_hand_height_ratio": MOUTH_ABOVE_WRIST / SHARE["thigh"],
    "knee_floor_ratio": 1.0,
    "ankle_lift_ratio": 0.0,
    "step_length_ratio": 0.0,
    "fingertip_height_ratio": (WRIST_ABOVE_ANKLE + SHARE["ankle_height"] - FINGER) / LEG,
    "hand_ankle_offset_ratio": 0.0,
    "hand_shoulder_offset_ratio": 0.0,
    "elbow_trunk_ratio": 0.0,
    "pelvis_hand_offset_ratio": 0.0,
    "knee_side_ratio": 0.0,
    # The hand hangs from the shoulder, which is further out than the foot under the hip.
    "hand_foot_side_ratio": -(SHARE["half_shoulders"] - SHARE["half_hips"])
    / (2 * SHARE["half_hips"]),
    "pelvis_place_ratio": 0.0,
    "pelvis_rise_ratio": 0.0,
    "shoulder_drop_ratio": 0.0,
    "foot_rise_ratio": 0.0,
}
IN_THE_PICTURE = [spec.id for spec in REGISTRY if spec.compute is not None]


def test_every_measure_of_the_picture_has_a_stated_standing_value():
    assert set(STANDING) == set(IN_THE_PICTURE)


@pytest.mark.parametrize("measure", REGISTRY.names())
def test_an_entry_says_what_it_is_and_where_its_numbers_come_from(measure):
    spec = REGISTRY[measure]
    for text in (spec.title, spec.sign, spec.formula, spec.source, spec.guard_source):
        assert len(text) > 3
    assert spec.plane in PLANES
    assert math.isfinite(spec.guard)
    assert spec.guard > 0
    assert math.isfinite(spec.per_turn)
    assert spec.per_turn >= 0
    assert spec.span[0] < spec.span[1]
    if spec.compute is not None:
        assert spec.points
        assert any("*" in p for p in spec.points) == spec.sided


@pytest.mark.parametrize("measure", IN_THE_PICTURE)
def test_a_standing_body_reads_the_value_the_sign_convention_promises(measure):
    spec = REGISTRY[measure]
    # From the side one hand hides the other, and the line between them has no direction.
    from_the_front = spec.plane.startswith("frontal") or measure == "hand_line_inclination"
    azimuth = FROM_THE_FRONT if from_the_front else FROM_THE_SIDE
    table = compute_table(make_body(Pose(), azimuth, frames=3))
    for column in spec.ids():
        np.testing.assert_allclose(table.values[column], STANDING[measure], atol=1e-6)
        assert (table.uncertainty[column] >= spec.guard).all()
        assert spec.span[0] <= STANDING[measure] <= spec.span[1]


@pytest.mark.parametrize("azimuth", [-90.0, 90.0])
def test_signs_of_the_side_view_hold_facing_either_way(azimuth):
    """Signs as in design.md: forward lean, knee ahead and deep thigh, on both screen directions."""
    body = make_body(Pose(trunk=20.0, thigh=100.0, shank=25.0, arm=90.0, elbow=30.0), azimuth)
    values = compute_table(body).values
    for side in ("left", "right"):
        assert values[f"thigh_inclination_{side}"][0] == pytest.approx(-10.0)
        assert values[f"thigh_from_vertical_{side}"][0] == pytest.approx(100.0)
        assert values[f"shank_inclination_{side}"][0] == pytest.approx(25.0)
        assert values[f"knee_flexion_{side}"][0] == pytest.approx(125.0)
        assert values[f"hip_flexion_{side}"][0] == pytest.approx(120.0)
        assert values[f"trunk_shank_difference_{side}"][0] == pytest.approx(5.0)
        # The arm is level: 90 from hanging, plus the 20 by which the trunk leans to meet it.
        assert values[f"shoulder_elevation_{side}"][0] == pytest.approx(110.0)
        assert values[f"elbow_flexion_{side}"][0] == pytest.approx(30.0)
    assert values["trunk_inclination"][0] == pytest.approx(20.0)


@pytest.mark.parametrize("azimuth", [0.0, 180.0])
def test_signs_of_the_front_view_hold_from_behind_too(azimuth):
    """Valgus and a lean to the person's right are positive wherever the camera stands."""
    body = make_body(Pose(trunk_side=12.0, knee_in=(14.0, -6.0), out=5.0), azimuth)
    values = compute_table(body).values
    assert values["frontal_plane_knee_angle_left"][0] == pytest.approx(14.0)
    assert values["frontal_plane_knee_angle_right"][0] == pytest.approx(-6.0)
    assert values["trunk_lateral_inclination"][0] == pytest.approx(12.0)


def test_leaning_back_and_a_hyperextended_knee_are_negative():
    values = compute_table(make_body(Pose(trunk=-9.0, thigh=-5.0, shank=-3.0), 90.0)).values
    assert values["trunk_inclination"][0] == pytest.approx(-9.0)
    assert values["knee_flexion_left"][0] == pytest.approx(-8.0)


def test_heel_and_toes_are_measured_against_quiet_standing():
    """Heel raised by a tenth of the foot in the last frame: the rise itself, toes not lifted."""
    up = 0.1 * LENGTH_M["foot"]
    heel = np.array([0.0] * 9 + [up])
    body = make_body(Pose(heel_up_m=heel), 90.0, frames=10)
    lift = compute_table(body).values["heel_lift_ratio_left"]
    # The foot is measured as the 90th percentile of heel to toe, which hardly changes here.
    assert lift[-1] == pytest.approx(0.1, rel=0.02)
    assert lift[0] == pytest.approx(0.0)


def test_lifted_ankle_is_read_in_leg_lengths():
    """Knee bent to 90 degrees: the ankle rises by one shank."""
    flex = np.array([0.0] * 9 + [90.0])
    points = pose_points(Pose(shank=(flex, np.zeros(10))), 10)
    body = build_body(make_clean(points, Scene(90.0)), make_view(90.0))
    rise = compute_table(body).values["ankle_height_ratio_left"]
    assert rise[-1] == pytest.approx(SHARE["shank"] / LEG, abs=1e-6)
    assert rise[0] == pytest.approx(0.0, abs=1e-9)


def test_shoulders_turned_to_the_left_read_positive_in_the_model_depth():
    """World axes: x right in the picture, y down, z away; the person faces the camera."""
    points = pose_points(Pose(), 1)
    turn = np.radians(25.0)
    for side, outward in (("left", 1.0), ("right", -1.0)):
        half = outward * LENGTH_M["half_shoulders"]
        points[f"{side}_shoulder"][0, :2] = (-half * np.sin(turn), half * np.cos(turn))
    body = build_body(make_clean(points, Scene(0.0)), make_view(0.0))
    assert compute_table(body).values["hip_shoulder_turn"][0] == pytest.approx(25.0)


def test_shoulder_turn_from_foreshortening_is_that_of_the_reference_table():
    """Ratio 0.9, 0.8, 0.7, 0.5 of the widest: 25.8, 36.9, 45.6, 60.0 degrees (code YAWr)."""
    points = pose_points(Pose(), 40)
    shares = (0.9, 0.8, 0.7, 0.5)
    for row, share in enumerate(shares):
        for side in ("left", "right"):
            points[f"{side}_shoulder"][row, 1] *= share
    body = build_body(make_clean(points, Scene(0.0)), make_view(0.0))
    seen = compute_table(body).values["shoulder_line_turn"][:4]
    np.testing.assert_allclose(seen, [25.8, 36.9, 45.6, 60.0], atol=0.05)


def test_a_column_name_leads_back_to_its_measure():
    assert REGISTRY.column_spec("knee_flexion_left").id == "knee_flexion"
    assert REGISTRY.column_spec("trunk_inclination").id == "trunk_inclination"
    with pytest.raises(KeyError, match="trunk_inclination_left"):
        REGISTRY.column_spec("trunk_inclination_left")


def test_a_measure_cannot_be_registered_twice():
    spec = REGISTRY["knee_flexion"]
    assert Registry([spec]).names() == ("knee_flexion",)
    with pytest.raises(ValueError, match="'knee_flexion' is registered twice"):
        Registry([spec, spec])
