"""Worked by hand and properties: which of picture and fitted body a value is taken from."""

from __future__ import annotations

from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from synthetic import Pose, Scene, make_body, make_clean, make_view, pose_points

from motioncheck.measures import (
    REGISTRY,
    Calibration,
    Columns,
    build_body,
    compute_picture_table,
    compute_table,
    find_invented,
)
from motioncheck.measures.calibration import (
    Z90,
    BodyCorrection,
    Correction,
    MeasureCalibration,
)
from motioncheck.measures.choice import choose_body, drop_invented
from motioncheck.skeleton import INDEX

FRAMES = 90
TIME_S = np.arange(FRAMES) / 30.0
SQUAT = Pose(trunk=30.0, thigh=80.0, shank=20.0, arm=60.0)


def fitted(spread=1.0, **given_columns):
    """Columns of a fitted body: all NaN but those given."""
    names = [c for s in REGISTRY if s.compute for c in s.ids()]
    values = {c: np.full(FRAMES, np.nan) for c in names}
    values |= {c: np.broadcast_to(v, FRAMES).astype(float) for c, v in given_columns.items()}
    spreads = {c: np.where(np.isfinite(v), spread, np.nan) for c, v in values.items()}
    return Columns(MappingProxyType(values), MappingProxyType(spreads))


def side_on(azimuth=90.0):
    return make_body(SQUAT, azimuth, frames=FRAMES)


def test_the_surer_source_is_taken_with_its_own_half_width():
    body = side_on()
    picture = compute_picture_table(body)
    columns = fitted(1.0, knee_flexion_left=95.0, trunk_inclination=31.0)
    table = compute_table(body, columns)
    # 1.645 standard errors are less than the guard band of 5 degrees, and of 4 for the trunk.
    assert table.from_body["knee_flexion_left"].all()
    np.testing.assert_allclose(table.values["knee_flexion_left"], 95.0)
    np.testing.assert_allclose(table.uncertainty["knee_flexion_left"], Z90)
    # 1.645 x 5.5 = 9.0: five is clearly less, 0.55 of it.
    worse = compute_table(body, fitted(5.5, knee_flexion_left=95.0))
    assert not worse.from_body["knee_flexion_left"].any()
    for name in ("values", "uncertainty"):
        np.testing.assert_array_equal(
            getattr(worse, name)["knee_flexion_left"], getattr(picture, name)["knee_flexion_left"]
        )


def test_without_a_body_the_picture_is_all_there_is():
    body = side_on()
    alone, picture = compute_table(body), compute_picture_table(body)
    for column, values in picture.values.items():
        np.testing.assert_array_equal(alone.values[column], values)
        np.testing.assert_allclose(alone.uncertainty[column], picture.uncertainty[column])
        assert not alone.from_body[column].any()


def test_where_the_picture_cannot_show_a_plane_the_body_is_taken():
    table = compute_table(make_body(SQUAT, 0.0, frames=FRAMES), fitted(9.0, trunk_inclination=28.0))
    assert table.from_body["trunk_inclination"].all()
    np.testing.assert_allclose(table.values["trunk_inclination"], 28.0)
    assert np.isnan(table.values["knee_flexion_left"]).all()
    assert not table.from_body["knee_flexion_left"].any()


def test_both_sources_are_corrected_before_they_are_compared():
    """The body reads 9 too little at 90 and its half-width is doubled from the left side."""
    twice = BodyCorrection(bias_at=(90.0,), bias=(-9.0,), floor=0.0, factor=(2.0,) * 12)
    picture = Correction(bias_at=(0.0, 200.0), bias=(10.0, 10.0), floor=12.0)
    calibration = Calibration(
        measures={"knee_flexion": MeasureCalibration(picture=picture, body=twice)}
    )
    body = side_on()
    table = compute_table(body, fitted(1.0, knee_flexion_left=90.0), calibration)
    np.testing.assert_allclose(table.values["knee_flexion_left"], 99.0)
    np.testing.assert_allclose(table.uncertainty["knee_flexion_left"], 2.0 * Z90)
    raw = compute_picture_table(body)
    np.testing.assert_allclose(
        table.values["knee_flexion_right"], raw.values["knee_flexion_right"] - 10.0
    )
    np.testing.assert_allclose(
        table.uncertainty["knee_flexion_right"],
        np.hypot(12.0, raw.uncertainty["knee_flexion_right"]),
    )


def test_the_factor_is_that_of_the_side_as_the_camera_sees_it():
    """From the left, the left knee is near (+90) and the right one far (-90)."""
    factor = [1.0] * 12
    factor[9], factor[3] = 2.0, 3.0
    calibration = Calibration(
        measures={"knee_flexion": MeasureCalibration(picture=Correction(factor=tuple(factor)))}
    )
    body = side_on()
    raw, table = compute_picture_table(body), compute_table(body, None, calibration)
    for column, times in (("knee_flexion_left", 2.0), ("knee_flexion_right", 3.0)):
        np.testing.assert_allclose(table.uncertainty[column], times * raw.uncertainty[column])


def test_a_moment_of_doubt_does_not_change_the_source():
    """Two frames in which the body is worse: less than half of a second."""
    doubt = np.full(FRAMES, 2.0)
    doubt[40:42] = 50.0
    picture = np.full(FRAMES, 5.0)
    assert choose_body(TIME_S, picture, doubt).all()
    long_doubt = doubt.copy()
    long_doubt[40:80] = 50.0
    chosen = choose_body(TIME_S, picture, long_doubt)
    assert chosen[:40].all()
    assert not chosen[50:75].any()
    assert np.count_nonzero(np.diff(chosen.astype(int))) <= 2


@pytest.mark.parametrize(("picture", "from_body"), [(5.0, True), (3.1, True), (2.9, False)])
def test_the_picture_is_taken_only_where_it_is_clearly_surer(picture, from_body):
    chosen = choose_body(TIME_S, np.full(FRAMES, picture), np.full(FRAMES, 5.0))
    assert chosen.all() if from_body else not chosen.any()


def test_where_only_one_source_has_a_value_there_is_no_choice():
    picture, body = np.full(FRAMES, 1.0), np.full(FRAMES, 9.0)
    picture[30:33] = np.nan
    body[60:63] = np.nan
    chosen = choose_body(TIME_S, picture, body)
    assert np.flatnonzero(chosen).tolist() == [30, 31, 32]
    turned = choose_body(TIME_S, body, picture)
    # Now the body is the surer one; it is missing where the picture was.
    assert np.flatnonzero(~turned).tolist() == [30, 31, 32]
    nothing = np.full(FRAMES, np.nan)
    assert choose_body(TIME_S, nothing, body).sum() == FRAMES - 3
    assert not choose_body(TIME_S, nothing, nothing).any()


@pytest.mark.parametrize("frames", [1, 2, 7, 400])
@pytest.mark.parametrize("rate_hz", [5.0, 24.0, 60.0, 120.0])
def test_any_length_and_rate_has_a_source_for_every_frame(frames, rate_hz):
    time_s = np.arange(frames) / rate_hz
    chosen = choose_body(time_s, np.full(frames, 2.0), np.full(frames, 1.0))
    assert chosen.shape == (frames,)
    assert chosen.all()


@given(st.lists(st.tuples(st.floats(0.1, 9.0), st.floats(0.1, 9.0)), min_size=2, max_size=60))
def test_a_value_is_never_lost_by_choosing(pairs):
    picture, body = (np.array(x) for x in zip(*pairs, strict=True))
    picture[::3] = np.nan
    body[1::4] = np.nan
    chosen = choose_body(np.arange(len(pairs)) / 30.0, picture, body)
    taken = np.where(chosen, body, picture)
    np.testing.assert_array_equal(np.isfinite(taken), np.isfinite(picture) | np.isfinite(body))


def test_nobody_found_empties_the_body_at_once_and_a_lost_joint_after_a_while():
    image = np.ones((60, len(INDEX), 2))
    image[10:13] = np.nan
    image[20:30, INDEX["left_knee"]] = np.nan
    image[40:56, INDEX["left_knee"]] = np.nan
    missing = find_invented(image, 30.0, longest_s=0.5)
    # Nobody for a tenth of a second; the knee alone for a third of one, and for longer than half.
    assert np.flatnonzero(missing["left_knee"]).tolist() == [*range(10, 13), *range(40, 56)]
    assert np.flatnonzero(missing["left_hip"]).tolist() == [10, 11, 12]
    value = drop_invented(np.zeros(60), "knee_flexion_left", missing)
    assert np.flatnonzero(np.isnan(value)).tolist() == [*range(10, 13), *range(40, 56)]
    other = drop_invented(np.zeros(60), "knee_flexion_right", missing)
    assert np.flatnonzero(np.isnan(other)).tolist() == [10, 11, 12]
    assert find_invented(np.ones((60, len(INDEX), 2)), 30.0, longest_s=0.5) == {}


def test_frames_without_anybody_stay_empty_in_the_table():
    track = make_clean(pose_points(SQUAT, FRAMES), Scene(0.0))
    body = build_body(track, make_view(0.0))
    missing = {"left_hip": np.arange(FRAMES) < 5}
    table = compute_table(body, fitted(1.0, trunk_inclination=20.0), missing=missing)
    assert np.isnan(table.values["trunk_inclination"][:5]).all()
    assert np.isfinite(table.values["trunk_inclination"][5:]).all()
    assert not table.from_body["trunk_inclination"][:5].any()


def test_arms_wanted_from_the_front_are_not_read_off_a_side_view():
    """Any camera sees some angle of the arm; what is asked for is that of the frontal plane."""
    body = side_on()
    anything = compute_picture_table(body)
    frontal = compute_picture_table(body, planes={"shoulder_elevation": "frontal"})
    assert np.isfinite(anything.values["shoulder_elevation_left"]).all()
    assert np.isnan(frontal.values["shoulder_elevation_left"]).all()
    heights = compute_picture_table(body, planes={"hip_height_ratio": "frontal"})
    np.testing.assert_array_equal(
        heights.values["hip_height_ratio"], anything.values["hip_height_ratio"]
    )
    front = make_body(SQUAT, 20.0, frames=FRAMES)
    plain = compute_picture_table(front).uncertainty["elbow_flexion_left"][0]
    turned = compute_picture_table(front, planes={"elbow_flexion": "frontal"})
    assert turned.uncertainty["elbow_flexion_left"][0] > plain
