"""Worked by hand: what to expect from another direction, and where to move the phone."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motioncheck.measures import NEUTRAL, REGISTRY, Calibration
from motioncheck.measures.calibration import BodyCorrection, Correction, MeasureCalibration
from motioncheck.measures.filming import (
    describe_move,
    describe_plane,
    expect_half_width,
    find_move,
    name_side,
)
from motioncheck.units import wrap_deg

KNEE = REGISTRY["knee_flexion"]


def expect(spec, azimuth, calibration=NEUTRAL, *, side="left", plane=None, uncertainty=0.0):
    return expect_half_width(
        spec, side, azimuth, calibration, plane=plane or spec.plane,
        azimuth_uncertainty_deg=uncertainty,
    )  # fmt: skip


def test_square_from_the_side_the_guard_band_is_expected_and_from_the_front_nothing():
    assert expect(KNEE, 90.0) == pytest.approx(KNEE.guard)
    assert expect(KNEE, -90.0) == pytest.approx(KNEE.guard)
    assert expect(KNEE, 0.0) == math.inf
    assert expect(KNEE, 90.0, uncertainty=10.0) > KNEE.guard


def test_a_turn_widens_by_the_widening_of_the_measure():
    """30 degrees off: 5 and 50 (1 - cos 30) = 6.70 together."""
    assert expect(KNEE, 60.0) == pytest.approx(np.hypot(5.0, 50.0 * (1 - np.cos(np.radians(30)))))


def test_the_better_of_picture_and_body_counts():
    """The body reaches 6 from everywhere, 20 where this side is far."""
    typical = [6.0] * 12
    typical[3] = 20.0
    entry = MeasureCalibration(
        picture=Correction(floor=12.0), body=BodyCorrection(typical=tuple(typical))
    )
    calibration = Calibration(measures={"knee_flexion": entry})
    assert expect(KNEE, 0.0, calibration) == pytest.approx(6.0)
    assert expect(KNEE, 90.0, calibration) == pytest.approx(6.0)
    assert expect(KNEE, -90.0, calibration) == pytest.approx(np.hypot(12.0, 5.0))
    assert expect(KNEE, -90.0, calibration, side="right") == pytest.approx(6.0)


def test_an_angle_that_any_camera_sees_is_expected_in_the_plane_it_is_wanted_in():
    arms = REGISTRY["shoulder_elevation"]
    assert expect(arms, 90.0) == pytest.approx(arms.guard)
    assert expect(arms, 90.0, plane="frontal") == math.inf
    assert expect(arms, 0.0, plane="frontal") == pytest.approx(arms.guard)
    heights = REGISTRY["hip_height_ratio"]
    assert expect(heights, 90.0, plane="frontal") == pytest.approx(heights.guard)
    assert expect(REGISTRY["arm_leg_lag_s"], 90.0, plane="frontal") == math.inf


def side_view_only(limit):
    """Expected half-width 1 within ``limit`` of a square side view, else endless."""
    return lambda azimuth: 1.0 if abs(abs(wrap_deg(azimuth)) - 90.0) <= limit else math.inf


@pytest.mark.parametrize(
    ("azimuth", "limit", "move"),
    [(0.0, 30.0, 60), (0.0, 0.0, 90), (-10.0, 30.0, -50), (170.0, 30.0, -50), (-170.0, 30.0, 50),
     (45.0, 30.0, 20), (90.0, 30.0, 0), (-120.0, 25.0, 10)],
)  # fmt: skip
def test_the_phone_moves_as_little_as_needed(azimuth, limit, move):
    assert find_move(side_view_only(limit), azimuth, 2.0) == move


def test_a_margin_of_a_fifth_is_wanted():
    def flat(azimuth):
        return 8.1 if abs(azimuth) < 45.0 else 7.9

    assert find_move(flat, 0.0, 10.0) == 50
    assert find_move(flat, 0.0, 8.0 / 0.8 + 0.2) == 0


def test_of_two_equal_moves_the_one_that_sees_more_is_taken():
    def lopsided(azimuth):
        return {60.0: 2.0, -60.0: 1.0}.get(azimuth, math.inf)

    assert find_move(lopsided, 0.0, 5.0) == -60


def test_nothing_is_advised_where_nothing_will_do():
    assert find_move(lambda azimuth: math.inf, 0.0, 5.0) is None
    assert (
        describe_move(0.0, None) == "No direction of the camera is known to show this well enough."
    )


@pytest.mark.parametrize(
    ("azimuth", "move", "words"),
    [
        (30.0, 60, "square from the side, lens at hip height: move the phone about 60° around the "
                   "athlete, toward their left."),
        (-30.0, -60, "square from the side, lens at hip height: move the phone about 60° around "
                     "the athlete, toward their right."),
        (0.0, 90, "square from the side, lens at hip height: move the phone a quarter turn around "
                  "the athlete, toward their left."),
        (0.0, -60, "more from the side: move the phone about 60° around the athlete, toward their "
                   "right."),
        (87.0, -60, "more from the front: move the phone about 60° around the athlete, toward "
                    "their front."),
        (90.0, 60, "more from behind: move the phone about 60° around the athlete, toward their "
                   "back."),
        (60.0, -60, "from straight in front: move the phone about 60° around the athlete, toward "
                    "their front."),
        (-120.0, -60, "from straight behind: move the phone about 60° around the athlete, toward "
                      "their back."),
    ],
)  # fmt: skip
def test_advice_says_where_to_how_far_and_which_way(azimuth, move, words):
    assert describe_move(azimuth, move) == f"Film it {words}"


def test_a_right_direction_is_said_to_be_right():
    assert describe_move(90.0, 0).startswith("The direction is right: keep the whole body")


@pytest.mark.parametrize(
    ("plane", "words"),
    [("sagittal", "square from the side, lens at hip height"), ("frontal", "straight in front"),
     ("frontal strict", "straight in front")],
)  # fmt: skip
def test_from_an_unknown_direction_the_square_view_is_advised(plane, words):
    assert words in describe_plane(plane)


@given(st.floats(-180.0, 180.0), st.sampled_from([d for d in range(-120, 121, 10) if d]))
def test_a_move_leads_nearer_to_the_side_it_is_said_to_lead_to(azimuth, move):
    place = {"front": 0.0, "left": 90.0, "back": 180.0, "right": -90.0}[name_side(azimuth, move)]
    before, after = (abs(wrap_deg(a - place)) for a in (azimuth, azimuth + move))
    assert after < before


@given(st.floats(-180.0, 180.0), st.sampled_from([d for d in range(-120, 121, 10) if d]))
def test_seen_in_a_mirror_left_and_right_change_places(azimuth, move):
    turned = {"left": "right", "right": "left"}
    side = name_side(azimuth, move)
    mirrored = name_side(-azimuth, -move)
    assert mirrored == turned.get(side, side)
