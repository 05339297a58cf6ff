"""Analytic: where the camera stood, from a standing or moving body seen from a known direction."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from synthetic import Pose, Scene, make_clean, make_view, pose_points, squat_pose, strokes

from motioncheck import camera
from motioncheck.camera import BASE_UNCERTAINTY_DEG, estimate_view, name_view, refine_view
from motioncheck.records import CameraView
from motioncheck.skeleton import INDEX
from motioncheck.units import wrap_deg

STILL = pose_points(Pose(), 30)
TIME_S = np.arange(240) / 30.0
SQUATS = pose_points(
    squat_pose(strokes(TIME_S, [1.0, 4.5], out_s=1.0, hold_s=0.5, back_s=1.0)), len(TIME_S)
)


@pytest.mark.parametrize("azimuth", range(-180, 180, 15))
@pytest.mark.parametrize("points", [STILL, SQUATS], ids=["standing", "squatting"])
def test_the_direction_is_found_within_one_degree_from_all_round(azimuth, points):
    view = estimate_view(make_clean(points, Scene(float(azimuth))))
    assert abs(wrap_deg(view.azimuth_deg - azimuth)) < 1.0
    # All cues agree on a perfect body, so only the model's own error in depth is left.
    assert view.azimuth_uncertainty_deg == pytest.approx(BASE_UNCERTAINTY_DEG, abs=0.5)
    assert view.view == name_view(view.azimuth_deg)


@pytest.mark.parametrize(
    ("azimuth", "name"),
    [
        (0, "front"), (22, "front"), (-22, "front"), (30, "front-left"), (-30, "front-right"),
        (90, "left side"), (-90, "right side"), (110, "left side"), (120, "back-left"),
        (-150, "back-right"), (170, "back"), (180, "back"), (-180, "back"), (270, "right side"),
    ],
)  # fmt: skip
def test_views_are_named_by_the_side_of_the_person_that_faces_the_lens(azimuth, name):
    """Eight directions of 45 degrees each, the named one in the middle."""
    assert name_view(azimuth) == name


def test_the_side_facing_the_lens_is_the_near_one():
    assert make_view(90.0).near_side == "left"
    assert make_view(-60.0).near_side == "right"
    assert make_view(5.0).near_side == "both"
    assert make_view(-175.0).near_side == "both"


@given(st.floats(-720.0, 720.0))
def test_off_side_and_off_front_add_up_to_a_right_angle(azimuth):
    view = make_view(azimuth)
    assert view.off_frontal_deg + view.off_sagittal_deg == pytest.approx(90.0)
    assert 0.0 <= view.off_frontal_deg <= 90.0
    assert view.off_frontal_deg == pytest.approx(
        math.degrees(math.asin(abs(math.sin(math.radians(azimuth))))), abs=1e-5
    )


@pytest.mark.parametrize("azimuth", [90.0, -90.0])
def test_a_far_side_that_is_hidden_all_the_time_does_not_turn_the_view(azimuth):
    track = make_clean(SQUATS, Scene(azimuth))
    far = "right" if azimuth > 0 else "left"
    image, world = track.image_px.copy(), track.world_m.copy()
    for part in ("hip", "knee", "ankle", "heel", "toe", "elbow", "wrist"):
        image[:, INDEX[f"{far}_{part}"]] = np.nan
        world[:, INDEX[f"{far}_{part}"]] = np.nan
    view = estimate_view(replace(track, image_px=image, world_m=world))
    assert abs(wrap_deg(view.azimuth_deg - azimuth)) < 1.0
    assert math.isfinite(view.tilt_deg)


def test_cues_that_disagree_widen_the_uncertainty():
    points = {name: p.copy() for name, p in STILL.items()}
    turn = math.radians(20.0)
    for side, outward in (("left", 1.0), ("right", -1.0)):
        points[f"{side}_shoulder"][:, :2] = 0.22 * outward * np.array([-np.sin(turn), np.cos(turn)])
    view = estimate_view(make_clean(points, Scene(0.0)))
    assert view.azimuth_uncertainty_deg > BASE_UNCERTAINTY_DEG + 0.5
    # The shoulders alone say -20, the other cues 0.
    assert -20.0 < view.azimuth_deg < 0.0


@pytest.mark.parametrize("roll", [-10.0, -4.0, 4.0, 10.0])
def test_tilt_of_a_front_view_is_the_clockwise_turn_that_stands_the_picture_up(roll):
    view = estimate_view(make_clean(STILL, Scene(0.0, roll_deg=roll)))
    assert view.tilt_deg == pytest.approx(roll, abs=0.1)
    assert view.tilt_corrected


@pytest.mark.parametrize("azimuth", [0.0, 90.0, 180.0])
def test_a_small_tilt_is_left_alone(azimuth):
    """A standing body's own plumb line scatters by more than this; correcting would add error."""
    view = estimate_view(make_clean(STILL, Scene(azimuth, roll_deg=1.5)))
    assert not view.tilt_corrected


def test_a_lean_in_side_view_is_not_taken_for_a_tilt_unless_it_is_large():
    """People stand a little ahead of or behind their ankles, which only a side view shows."""
    doubted = estimate_view(make_clean(STILL, Scene(90.0, roll_deg=4.0)))
    sure = estimate_view(make_clean(STILL, Scene(90.0, roll_deg=9.0)))
    assert not doubted.tilt_corrected
    assert sure.tilt_corrected
    assert sure.tilt_deg == pytest.approx(9.0, abs=0.1)


def test_the_tilt_comes_from_standing_frames_only():
    """The trunk leans by up to 38 degrees at the bottom of these squats."""
    view = estimate_view(make_clean(SQUATS, Scene(90.0)))
    assert abs(view.tilt_deg) < 2.0
    assert not view.tilt_corrected


@pytest.mark.parametrize("picture_only", [True, False])
def test_without_landmarks_the_view_is_unknown_and_nothing_is_corrected(picture_only):
    track = make_clean(STILL, Scene(0.0))
    nothing = np.full_like(track.world_m, np.nan)
    track = replace(track, world_m=nothing)
    if not picture_only:
        track = replace(track, image_px=nothing[..., :2])
    view = estimate_view(track)
    assert view.view == "unknown"
    assert math.isnan(view.azimuth_deg)
    assert not view.tilt_corrected


@given(st.floats(-10_000.0, 10_000.0))
@settings(max_examples=50)
def test_wrapping_keeps_the_direction_and_lands_in_one_turn(angle):
    wrapped = wrap_deg(angle)
    assert -180.0 < wrapped <= 180.0
    turns = (angle - wrapped) / 360.0
    assert turns == pytest.approx(round(turns), abs=1e-6)


def test_wrapping_keeps_a_missing_angle_missing():
    assert math.isnan(wrap_deg(float("nan")))


PRESENT = CameraView("front", 10.0, 6.5, 1.0, 1.2, notes=("kept",))


def refine(view=PRESENT, **changes):
    fit = {"azimuth_deg": 30.0, "azimuth_sd_deg": 1.0, "tilt_deg": 8.0, "tilt_sd_deg": 0.5}
    return refine_view(view, **(fit | changes))


@pytest.fixture
def sure_fit(monkeypatch):
    """Errors that the fit does not know of are small."""
    monkeypatch.setattr(camera, "FIT_AZIMUTH_ERROR_DEG", 3.0)
    monkeypatch.setattr(camera, "FIT_TILT_ERROR_DEG", 1.0)


def test_a_surer_direction_and_tilt_are_taken_from_the_fitted_body(sure_fit):
    view = refine()
    assert (view.azimuth_deg, view.tilt_deg) == (30.0, 8.0)
    assert view.azimuth_uncertainty_deg == pytest.approx(math.hypot(3.0, 1.0))
    assert view.tilt_uncertainty_deg == pytest.approx(math.hypot(1.0, 0.5))
    assert (view.view, view.tilt_corrected, view.notes) == ("front-left", True, ("kept",))


def test_direction_and_tilt_are_chosen_each_by_itself(sure_fit):
    view = refine(azimuth_sd_deg=20.0)
    assert (view.azimuth_deg, view.azimuth_uncertainty_deg, view.view) == (10.0, 6.5, "front")
    assert view.tilt_deg == 8.0
    view = refine(tilt_sd_deg=2.0)
    assert (view.azimuth_deg, view.tilt_deg, view.tilt_corrected) == (30.0, 1.0, False)


def test_what_the_landmarks_could_not_tell_comes_from_the_fit_however_unsure(sure_fit):
    unknown = CameraView("unknown", math.nan, math.nan, math.nan, math.nan)
    view = refine(unknown, azimuth_sd_deg=40.0, tilt_sd_deg=9.0)
    assert (view.azimuth_deg, view.view) == (30.0, "front-left")
    assert (view.tilt_deg, view.tilt_corrected) == (8.0, False)


@pytest.mark.parametrize("broken", ["azimuth_deg", "azimuth_sd_deg"])
def test_a_fit_that_knows_nothing_leaves_the_view_as_it_was(sure_fit, broken):
    view = refine(**{broken: math.nan, "tilt_deg": math.nan})
    assert view == PRESENT
    unknown = CameraView("unknown", math.nan, math.nan, math.nan, math.nan)
    assert refine(unknown, **{broken: math.nan}).view == "unknown"


def test_errors_the_fit_does_not_know_of_are_added():
    view = refine(CameraView("unknown", math.nan, math.nan, math.nan, math.nan))
    assert view.azimuth_uncertainty_deg == pytest.approx(
        math.hypot(camera.FIT_AZIMUTH_ERROR_DEG, 1.0)
    )


@pytest.mark.parametrize("azimuth", [90.0, -60.0, 30.0])
def test_a_kneeling_body_tells_no_tilt(azimuth):
    """Knees bent by a right angle: the line from ankle to shoulder leans, the phone does not."""
    kneeling = pose_points(Pose(shank=90.0), 30)
    view = estimate_view(make_clean(kneeling, Scene(azimuth)))
    assert math.isnan(view.tilt_deg)
    assert not view.tilt_corrected
    assert abs(wrap_deg(view.azimuth_deg - azimuth)) < 1.0


@pytest.mark.parametrize("roll", [90.0, -90.0, 180.0, 40.0])
def test_a_lying_or_inverted_body_is_not_a_tilted_phone(roll):
    view = estimate_view(make_clean(STILL, Scene(90.0, roll_deg=roll)))
    assert math.isnan(view.tilt_deg)
    assert not view.tilt_corrected


def test_a_phone_tilted_by_twelve_degrees_is_told_from_a_lying_body():
    view = estimate_view(make_clean(STILL, Scene(0.0, roll_deg=12.0)))
    assert abs(view.tilt_deg) == pytest.approx(12.0, abs=1.0)
