"""Analytic and property: columns over time, their guard bands, and what a camera cannot show."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from synthetic import Pose, Scene, make_body, make_clean, make_view, pose_points

from motioncheck.measures import REGISTRY, build_body, compute_table, judge_plane
from motioncheck.records import CameraView
from motioncheck.skeleton import INDEX, MIRROR

LEANING_SQUAT = Pose(trunk=30.0, thigh=80.0, shank=20.0, arm=60.0)


def columns_of(plane):
    return [c for s in REGISTRY if s.plane == plane and s.compute for c in s.ids()]


def swap_side(column):
    if column.endswith("_left"):
        return column.removesuffix("_left") + "_right"
    if column.endswith("_right"):
        return column.removesuffix("_right") + "_left"
    return column


# Measures whose sign says "to the person's right" or "to the left": mirroring turns them round.
TURNED_BY_MIRROR = {
    "trunk_lateral_inclination",
    "shoulder_line_tilt",
    "hip_line_tilt",
    "hip_shoulder_turn",
    "pelvis_shift_ratio",
    "pelvis_drift_ratio",
}
UNEVEN = Pose(
    trunk=12.0,
    trunk_side=8.0,
    thigh=(20.0, 55.0),
    shank=(5.0, 15.0),
    out=(12.0, 4.0),
    knee_in=(6.0, -3.0),
    arm=(20.0, 40.0),
    arm_out=(30.0, 110.0),
    elbow=(10.0, 50.0),
)


@pytest.mark.parametrize("azimuth", [0.0, 8.0, 60.0, 90.0, -115.0, 176.0])
def test_mirroring_the_clip_swaps_left_and_right(azimuth):
    track = make_clean(pose_points(UNEVEN), Scene(azimuth))
    image = track.image_px[:, list(MIRROR)] * [-1, 1] + [track.width_px, 0]
    world = track.world_m[:, list(MIRROR)] * [-1, 1, 1]
    mirror = replace(track, image_px=image, world_m=world)
    before = compute_table(build_body(track, make_view(azimuth))).values
    after = compute_table(build_body(mirror, make_view(-azimuth))).values
    compared = 0
    for column, value in before.items():
        sign = -1.0 if column in TURNED_BY_MIRROR else 1.0
        np.testing.assert_allclose(after[swap_side(column)], sign * value, atol=1e-6)
        compared += int(np.isfinite(value[0]))
    assert compared > 20


@given(st.floats(200.0, 900.0), st.floats(-400.0, 400.0))
@settings(max_examples=15, deadline=None)
def test_size_and_place_in_the_picture_do_not_matter(px_per_m, shift):
    for azimuth in (0.0, 90.0):
        before = compute_table(make_body(UNEVEN, azimuth)).values
        after = compute_table(
            make_body(UNEVEN, azimuth, px_per_m=px_per_m, floor_px=1750.0 + shift)
        ).values
        for column, value in before.items():
            np.testing.assert_allclose(after[column], value, atol=1e-6)


@given(st.floats(-12.0, 12.0))
@settings(max_examples=20, deadline=None)
def test_a_rolled_phone_keeps_joint_angles_and_shifts_inclinations(roll):
    """Seen facing the left edge; turning the picture anti-clockwise leans the body forward."""
    upright = compute_table(make_body(LEANING_SQUAT, 90.0)).values
    rolled = compute_table(make_body(LEANING_SQUAT, 90.0, roll_deg=roll)).values
    for joint in ("knee_flexion", "hip_flexion", "elbow_flexion", "shoulder_elevation"):
        column = f"{joint}_left"
        np.testing.assert_allclose(rolled[column], upright[column], atol=1e-6)
    for line in ("trunk_inclination", "shank_inclination_left"):
        np.testing.assert_allclose(rolled[line], upright[line] + roll, atol=1e-6)


@pytest.mark.parametrize("azimuth", [0.0, 90.0])
def test_a_tilt_that_the_view_is_sure_of_is_taken_out(azimuth):
    track = make_clean(pose_points(UNEVEN), Scene(azimuth, roll_deg=9.0))
    view = replace(make_view(azimuth), tilt_deg=9.0, tilt_corrected=True)
    straight = compute_table(make_body(UNEVEN, azimuth)).values
    for column, value in compute_table(build_body(track, view)).values.items():
        np.testing.assert_allclose(value, straight[column], atol=1e-6)


@pytest.mark.parametrize("azimuth", [0.0, 180.0, 10.0, -30.0])
def test_a_front_view_never_yields_a_sagittal_measure(azimuth):
    table = compute_table(make_body(LEANING_SQUAT, azimuth))
    for column in columns_of("sagittal"):
        assert np.isnan(table.values[column]).all(), column
        assert np.isnan(table.uncertainty[column]).all(), column
    assert "trunk_inclination" in columns_of("sagittal")


@pytest.mark.parametrize("azimuth", [90.0, -90.0, 70.0, 120.0, 13.0])
def test_a_side_or_turned_view_never_yields_the_frontal_knee_angle(azimuth):
    table = compute_table(make_body(Pose(knee_in=10.0), azimuth))
    for side in ("left", "right"):
        assert np.isnan(table.values[f"frontal_plane_knee_angle_{side}"]).all()


@pytest.mark.parametrize(
    ("plane", "azimuth", "reason"),
    [
        ("sagittal", 0.0, "filmed from the front, 90° off a square side view"),
        ("sagittal", 40.0, "filmed from the front-left, 50° off"),
        ("frontal", -90.0, "filmed from the right side, 90° off a square front"),
        ("frontal strict", 20.0, "20° off a square front view"),
    ],
)
def test_an_unfit_view_says_why(plane, azimuth, reason):
    seen = judge_plane(plane, make_view(azimuth))
    assert not seen.ok
    assert reason in seen.reason


@pytest.mark.parametrize("plane", ["sagittal", "frontal", "frontal strict"])
def test_an_unknown_view_shows_no_plane_and_says_so(plane):
    nan = float("nan")
    seen = judge_plane(plane, CameraView("unknown", nan, nan, nan, nan))
    assert not seen.ok
    assert seen.reason == "which way the body faces could not be told"


def after_standing(value):
    """Nine frames of standing, which give the body its lengths, and one of the pose."""
    return np.array([0.0] * 9 + [value])


@pytest.mark.parametrize("azimuth", range(-180, 180, 15))
def test_heights_read_the_same_from_everywhere(azimuth):
    pose = Pose(trunk=after_standing(30.0), thigh=after_standing(40.0), shank=after_standing(10.0))
    side_on, turned = (
        compute_table(make_body(pose, a, frames=10)).values for a in (90.0, float(azimuth))
    )
    for column in columns_of("any"):
        if "_height_ratio" in column:
            np.testing.assert_allclose(turned[column], side_on[column], atol=1e-6)
    assert side_on["hip_height_ratio"][-1] < 0.9


def band(pose, azimuth, column, *, uncertainty=5.0, visibility=0.95):
    track = make_clean(pose_points(pose), Scene(azimuth), visibility=visibility)
    return compute_table(build_body(track, make_view(azimuth, uncertainty))).uncertainty[column][0]


SEEN_CASES = [
    # column, pose, true, seen at yaw 20 and 30: table of section 0.3 of the movement reference
    ("knee_flexion_left", Pose(thigh=90.0, shank=30.0), 120.0, (118.5, 116.6)),
    ("knee_flexion_left", Pose(thigh=60.0, shank=25.0), 85.0, (82.1, 78.3)),
    ("knee_flexion_left", Pose(thigh=30.0, shank=15.0), 45.0, (42.6, 39.6)),
    ("trunk_inclination", Pose(trunk=45.0), 45.0, (43.2, 40.9)),
]


@pytest.mark.parametrize(("column", "pose", "true", "seen"), SEEN_CASES)
def test_the_band_covers_what_a_turned_camera_falsifies(column, pose, true, seen):
    for yaw, value in zip((20.0, 30.0), seen, strict=True):
        table = compute_table(make_body(pose, 90.0 - yaw))
        assert table.values[column][0] == pytest.approx(value, abs=0.06)
        assert table.uncertainty[column][0] > true - value
        # The share for the turn alone covers it to a twentieth, and leaves the guard for noise.
        guard = REGISTRY.column_spec(column).guard
        turned = np.sqrt(table.uncertainty[column][0] ** 2 - guard**2)
        assert turned >= 0.95 * (true - value)


@given(st.floats(0.0, 30.0), st.floats(0.0, 30.0))
@settings(max_examples=25, deadline=None)
def test_more_turn_never_narrows_a_band(a, b):
    less, more = sorted((a, b))
    for column in ("knee_flexion_left", "trunk_inclination"):
        assert band(LEANING_SQUAT, 90 - less, column) <= band(LEANING_SQUAT, 90 - more, column)


@given(st.floats(0.0, 15.0), st.floats(0.0, 15.0))
@settings(max_examples=25, deadline=None)
def test_a_less_certain_view_never_narrows_a_band(a, b):
    less, more = sorted((a, b))
    narrow, wide = (
        band(LEANING_SQUAT, 75.0, "knee_flexion_left", uncertainty=u) for u in (less, more)
    )
    assert narrow <= wide


def test_a_half_hidden_landmark_widens_the_band_by_half_and_a_sure_one_not_at_all():
    """Working default of the table: full trust from 0.8, half as wide again at the gate of 0.5."""
    guard = REGISTRY["knee_flexion"].guard
    sure = band(LEANING_SQUAT, 90.0, "knee_flexion_left", uncertainty=0.0)
    assert sure == pytest.approx(guard)
    seen = np.full((1, len(INDEX)), 0.95)
    seen[0, INDEX["left_ankle"]] = 0.5
    hidden = band(LEANING_SQUAT, 90.0, "knee_flexion_left", uncertainty=0.0, visibility=seen)
    other = band(LEANING_SQUAT, 90.0, "knee_flexion_right", uncertainty=0.0, visibility=seen)
    assert hidden == pytest.approx(1.5 * guard)
    assert other == pytest.approx(guard)


def test_the_knee_line_band_grows_with_flexion_because_flexion_leaks():
    """At 60 degrees of flexion and 10 of yaw the false valgus is 11.5: table of section 0.3."""
    pose = Pose(thigh=after_standing(30.0), shank=after_standing(30.0))
    track = make_clean(pose_points(pose, 10), Scene(0.0))
    bands = compute_table(build_body(track, make_view(10.0, 0.0))).uncertainty
    guard = REGISTRY["frontal_plane_knee_angle"].guard
    assert bands["frontal_plane_knee_angle_left"][0] == pytest.approx(guard)
    assert bands["frontal_plane_knee_angle_left"][-1] == pytest.approx(
        np.hypot(guard, 11.5), abs=0.06
    )


def test_the_knee_line_is_empty_where_the_thigh_points_at_the_lens():
    standing_then_deep = Pose(thigh=after_standing(95.0))
    values = compute_table(make_body(standing_then_deep, 0.0, frames=10)).values
    line = values["frontal_plane_knee_angle_left"]
    assert np.isfinite(line[:9]).all()
    assert np.isnan(line[9])


def test_a_hidden_landmark_empties_only_the_measures_that_need_it():
    track = make_clean(pose_points(Pose(), 3), Scene(90.0))
    image = track.image_px.copy()
    image[1, INDEX["left_knee"]] = np.nan
    table = compute_table(build_body(replace(track, image_px=image), make_view(90.0)))
    for column in ("knee_flexion_left", "hip_flexion_left", "shank_inclination_left"):
        assert np.isnan(table.values[column]).tolist() == [False, True, False]
        assert np.isnan(table.uncertainty[column]).tolist() == [False, True, False]
    for column in ("knee_flexion_right", "trunk_inclination", "elbow_flexion_left"):
        assert np.isfinite(table.values[column]).all()


def test_knees_over_ankles_is_not_read_with_the_feet_together():
    """Two near-zero widths have no ratio: ankles closer than 0.3 hip widths."""
    together = make_body(Pose(out=-8.0), 0.0)
    wide = make_body(Pose(out=10.0, knee_in=8.0), 0.0)
    assert np.isnan(compute_table(together).values["knee_ankle_separation_ratio"]).all()
    assert compute_table(wide).values["knee_ankle_separation_ratio"][0] < 1.0
