"""Analytic: angles of hand-written points, each computed by hand or with a pocket calculator.

Numbers 15 to 21 of the movement reference (section 7, "CALC"): plain trigonometry on the points
given, rounded to two decimals.
"""

from __future__ import annotations

import numpy as np
import pytest
from synthetic import Pose, body_from_pixels, make_body

from motioncheck.measures import image
from motioncheck.measures.geometry import compute_interior_angle_deg, compute_valgus_leak_deg

FACING_RIGHT_EDGE, FACING_LEFT_EDGE = -90.0, 90.0
FRONT, BEHIND = 0.0, 180.0
WIDTH_PX = 1080
HALF_CENT = 0.005


def side_view_squat(hip):
    """Number 15: px, facing +x."""
    points = {
        "shoulder": (480, 380),
        "hip": hip,
        "knee": (560, 600),
        "ankle": (520, 780),
        "heel": (490, 800),
        "toe": (600, 800),
    }
    return {f"{side}_{name}": xy for side in ("left", "right") for name, xy in points.items()}


def mirrored(pixels):
    swap = {"left": "right", "right": "left"}
    return {
        f"{swap[name.split('_')[0]]}_{name.split('_')[1]}": (WIDTH_PX - x, y)
        for name, (x, y) in pixels.items()
    }


@pytest.mark.parametrize(
    ("measure", "expected"),
    [
        ("knee_flexion", 102.53),
        ("hip_flexion", 109.98),
        ("thigh_inclination", 0.00),
        ("shank_inclination", 12.53),
        ("trunk_inclination", 19.98),
        ("trunk_shank_difference", 7.45),
        ("knee_toe_offset_ratio", -0.364),
    ],
)
def test_side_view_angles_of_number_15_facing_either_way(measure, expected):
    pixels = side_view_squat(hip=(400, 600))
    right = getattr(image, measure)(body_from_pixels(pixels, FACING_RIGHT_EDGE), "right")
    left = getattr(image, measure)(body_from_pixels(mirrored(pixels), FACING_LEFT_EDGE), "left")
    assert right[0] == pytest.approx(expected, abs=HALF_CENT)
    assert left[0] == pytest.approx(expected, abs=HALF_CENT)


def test_foot_length_of_number_15_is_110_pixels():
    body = body_from_pixels(side_view_squat(hip=(400, 600)), FACING_RIGHT_EDGE)
    assert body.foot_px == pytest.approx(110.0)


def test_thigh_inclination_is_negative_when_the_hip_is_below_the_knee_number_16():
    body = body_from_pixels(side_view_squat(hip=(410, 640)), FACING_RIGHT_EDGE)
    assert image.thigh_inclination(body, "right")[0] == pytest.approx(-14.93, abs=HALF_CENT)
    assert image.knee_flexion(body, "right")[0] == pytest.approx(117.46, abs=HALF_CENT)


@pytest.mark.parametrize(
    ("side", "chain", "expected"),
    [
        ("right", ((450, 500), (470, 650), (455, 800)), 13.31),  # number 17, valgus
        ("left", ((550, 500), (552, 650), (560, 800)), 2.29),  # number 18
        ("right", ((450, 500), (430, 650), (450, 800)), -15.19),  # number 19, varus
    ],
)
def test_frontal_plane_knee_angle_is_positive_inward_from_the_front_and_from_behind(
    side, chain, expected
):
    """Numbers 17 to 19, a person facing the camera.

    In 18 the line from hip to ankle passes x = 555 at the height of the knee, which lies at 552,
    so 3 px toward the middle of the body: valgus.
    """
    pixels = {f"{side}_{n}": p for n, p in zip(("hip", "knee", "ankle"), chain, strict=True)}
    front = image.frontal_plane_knee_angle(body_from_pixels(pixels, FRONT), side)
    seen_from_behind = {name: (WIDTH_PX - x, y) for name, (x, y) in pixels.items()}
    behind = image.frontal_plane_knee_angle(body_from_pixels(seen_from_behind, BEHIND), side)
    assert front[0] == pytest.approx(expected, abs=HALF_CENT)
    assert behind[0] == pytest.approx(expected, abs=HALF_CENT)


def test_shoulder_and_elbow_of_number_20():
    chain = {"hip": (500, 600), "shoulder": (500, 400), "elbow": (640, 330), "wrist": (760, 260)}
    body = body_from_pixels({f"left_{n}": xy for n, xy in chain.items()}, FRONT)
    assert image.shoulder_elevation(body, "left")[0] == pytest.approx(116.57, abs=HALF_CENT)
    # The reference prints the inside angle, 176.31; flexion is what is missing to 180.
    assert image.elbow_flexion(body, "left")[0] == pytest.approx(180 - 176.31, abs=HALF_CENT)


@pytest.mark.parametrize(
    ("width", "height", "expected"), [(1, 1, 113.14), (1080, 1920, 136.01), (1920, 1080, 87.95)]
)
def test_an_angle_needs_pixels_and_not_shares_of_width_and_height_number_21(
    width, height, expected
):
    shares = np.array([(0.40, 0.30), (0.55, 0.42), (0.50, 0.60)])
    a, b, c = (p[None] for p in shares * [width, height])
    assert compute_interior_angle_deg(a, b, c)[0] == pytest.approx(expected, abs=HALF_CENT)


LEAK_TABLE = [
    # knee flexion, yaw, false frontal-plane knee angle: table of section 0.3 of the reference
    (30, 0, 0.0), (30, 5, 2.7), (30, 10, 5.3), (30, 15, 7.9),
    (60, 0, 0.0), (60, 5, 5.8), (60, 10, 11.5), (60, 15, 17.0),
    (90, 0, 0.0), (90, 5, 10.0), (90, 10, 19.7), (90, 15, 29.0),
]  # fmt: skip


@pytest.mark.parametrize(("flexion", "yaw", "expected"), LEAK_TABLE)
def test_a_turned_camera_leaks_flexion_into_the_knee_line_as_the_table_says(flexion, yaw, expected):
    half = flexion / 2
    leak = compute_valgus_leak_deg(np.array([90.0 - half]), np.array([half]), yaw)
    assert leak[0] == pytest.approx(expected, abs=0.06)
    body = make_body(Pose(thigh=half, shank=half), azimuth_deg=yaw)
    sides = [image.frontal_plane_knee_angle(body, side)[0] for side in ("left", "right")]
    assert sorted(np.abs(sides)) == pytest.approx([expected, expected], abs=0.06)


def test_a_turned_camera_makes_one_knee_look_valgus_and_the_other_varus():
    body = make_body(Pose(thigh=30.0, shank=30.0), azimuth_deg=10.0)
    left, right = (image.frontal_plane_knee_angle(body, side)[0] for side in ("left", "right"))
    assert left == pytest.approx(-right, abs=1e-9)
    assert abs(left) > 10.0


SEEN_TABLE = [
    # thigh above the horizontal, shank from the vertical, seen at yaw 0, 10, 20, 30, 45
    (0, 0, (90.0, 90.0, 90.0, 90.0, 90.0)),
    (0, 30, (120.0, 119.6, 118.5, 116.6, 112.2)),
    (30, 25, (85.0, 84.3, 82.1, 78.3, 69.0)),
    (60, 15, (45.0, 44.4, 42.6, 39.6, 32.9)),
]


@pytest.mark.parametrize(("thigh", "shank", "seen"), SEEN_TABLE)
@pytest.mark.parametrize("near", [-90.0, 90.0])
def test_knee_flexion_seen_from_a_turned_side_view_is_that_of_the_table(thigh, shank, seen, near):
    pose = Pose(thigh=90.0 - thigh, shank=shank)
    for yaw, expected in zip((0, 10, 20, 30, 45), seen, strict=True):
        for azimuth in (near - yaw, near + yaw):
            body = make_body(pose, azimuth_deg=azimuth)
            assert image.knee_flexion(body, "left")[0] == pytest.approx(expected, abs=0.06)


def test_trunk_lean_of_45_seen_from_a_turned_side_view_is_that_of_the_table():
    for yaw, expected in zip((0, 10, 20, 30, 45), (45.0, 44.6, 43.2, 40.9, 35.3), strict=True):
        body = make_body(Pose(trunk=45.0), azimuth_deg=90.0 - yaw)
        assert image.trunk_inclination(body, "both")[0] == pytest.approx(expected, abs=0.06)
