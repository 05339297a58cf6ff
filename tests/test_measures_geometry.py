"""Property: the angle kernels against two independent libraries, and their invariances."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from skinematics import vector

from motioncheck.errors import ShapeError
from motioncheck.measures.geometry import (
    compute_bend_deg,
    compute_distance,
    compute_elevation_deg,
    compute_inclination_deg,
    compute_interior_angle_deg,
    compute_signed_bend_deg,
    rotate_points,
)

coordinates = st.floats(-2000.0, 2000.0, allow_nan=False).map(lambda x: round(x, 3))
angles = st.floats(-179.0, 179.0)
lengths = st.floats(1.0, 1000.0)


def points(dimensions):
    return st.lists(coordinates, min_size=dimensions, max_size=dimensions).map(
        lambda xs: np.array([xs])
    )


def apart(*chain, least=1.0):
    """Segments long enough for a direction to mean something."""
    return all(np.linalg.norm(a - b) >= least for a, b in itertools.pairwise(chain))


@given(points(3), points(3), points(3))
def test_interior_angle_equals_that_of_scikit_kinematics(a, b, c):
    assume(apart(a, b, c))
    u, v = (a - b)[0], (c - b)[0]
    # The arc cosine used there loses half of its digits near 0 and 180 degrees, and fails on them.
    assume(np.linalg.norm(np.cross(u, v)) > 1e-5 * np.linalg.norm(u) * np.linalg.norm(v))
    expected = np.degrees(vector.angle(u, v))
    assert compute_interior_angle_deg(a, b, c)[0] == pytest.approx(expected, abs=1e-4)


@given(points(3), points(3), points(3))
def test_interior_angle_equals_the_rotation_that_scipy_finds_between_the_two_limbs(a, b, c):
    assume(apart(a, b, c))
    u, v = (a - b)[0], (c - b)[0]
    assume(np.linalg.norm(np.cross(u, v)) > 1e-3 * np.linalg.norm(u) * np.linalg.norm(v))
    turn, _ = Rotation.align_vectors(v / np.linalg.norm(v), u / np.linalg.norm(u))
    expected = np.degrees(turn.magnitude())
    assert compute_interior_angle_deg(a, b, c)[0] == pytest.approx(expected, abs=1e-5)


@given(angles, angles, lengths, lengths)
def test_signed_bend_is_the_turn_put_in_with_scipy(direction, turn, first, second):
    """Clockwise on the screen is positive: with y down that is a positive turn about z."""
    along = Rotation.from_euler("z", direction, degrees=True)
    bent = Rotation.from_euler("z", direction + turn, degrees=True)
    a = np.zeros((1, 2))
    b = along.apply([first, 0.0, 0.0])[None, :2]
    c = b + bent.apply([second, 0.0, 0.0])[None, :2]
    assert compute_signed_bend_deg(a, b, c, positive=1)[0] == pytest.approx(turn, abs=1e-5)
    assert compute_signed_bend_deg(a, b, c, positive=-1)[0] == pytest.approx(-turn, abs=1e-5)
    assert compute_bend_deg(a, b, c)[0] == pytest.approx(abs(turn), abs=1e-5)


@given(st.floats(-179.0, 179.0), lengths, st.sampled_from([-1, 1]))
def test_inclination_is_the_lean_put_in_and_positive_ahead(lean, length, forward):
    top = length * np.array([[forward * np.sin(np.radians(lean)), -np.cos(np.radians(lean))]])
    seen = compute_inclination_deg(np.zeros((1, 2)), top, forward=forward)
    assert seen[0] == pytest.approx(lean, abs=1e-6)


@given(st.floats(-90.0, 90.0), lengths, st.sampled_from([-1, 1]))
def test_elevation_is_90_upright_0_level_and_negative_below_whatever_the_facing(rise, length, way):
    proximal = length * np.array([[way * np.cos(np.radians(rise)), -np.sin(np.radians(rise))]])
    seen = compute_elevation_deg(np.zeros((1, 2)), proximal)
    assert seen[0] == pytest.approx(rise, abs=1e-6)


@given(points(2), points(2), points(2), st.floats(0.1, 10.0), points(2), angles)
def test_joint_angles_do_not_change_when_the_picture_is_scaled_moved_and_turned(
    a, b, c, scale, shift, turn
):
    assume(apart(a, b, c))
    before = compute_interior_angle_deg(a, b, c)[0]
    moved = [rotate_points(p * scale + shift, turn, (540.0, 960.0)) for p in (a, b, c)]
    assert compute_interior_angle_deg(*moved)[0] == pytest.approx(before, abs=1e-4)


@given(points(2), points(2), angles)
def test_turning_the_picture_clockwise_shifts_an_inclination_by_the_turn(low, high, turn):
    assume(apart(low, high))
    before = compute_inclination_deg(low, high, forward=1)[0]
    turned = [rotate_points(p, turn, (540.0, 960.0)) for p in (low, high)]
    shift = compute_inclination_deg(*turned, forward=1)[0] - before
    assert np.cos(np.radians(shift - turn)) == pytest.approx(1.0, abs=1e-9)


@given(points(2), angles)
def test_rotate_points_is_the_rotation_of_scipy_about_the_centre(p, turn):
    centre = np.array([540.0, 960.0])
    flat = np.append(p[0] - centre, 0.0)
    expected = Rotation.from_euler("z", turn, degrees=True).apply(flat)[:2] + centre
    np.testing.assert_allclose(rotate_points(p, turn, (540.0, 960.0))[0], expected, atol=1e-6)


@given(st.floats(0.0, 0.01))
@settings(max_examples=30)
def test_interior_angle_keeps_tiny_bends_that_an_arc_cosine_loses(bend):
    c = np.array([[np.cos(np.radians(bend)), np.sin(np.radians(bend))]])
    seen = compute_bend_deg(np.array([[-1.0, 0.0]]), np.zeros((1, 2)), c)
    assert seen[0] == pytest.approx(bend, abs=1e-9)


KERNELS = {
    "interior": lambda a, b, c: compute_interior_angle_deg(a, b, c),
    "bend": lambda a, b, c: compute_bend_deg(a, b, c),
    "signed bend": lambda a, b, c: compute_signed_bend_deg(a, b, c, positive=1),
}


@pytest.mark.parametrize("kernel", KERNELS)
@pytest.mark.parametrize("missing", [0, 1, 2])
def test_a_missing_point_makes_only_its_own_frame_missing(kernel, missing):
    chain = [np.array([[0.0, 0.0]] * 3), np.array([[0.0, 9.0]] * 3), np.array([[5.0, 9.0]] * 3)]
    chain[missing][1] = np.nan
    seen = KERNELS[kernel](*chain)
    assert np.isnan(seen).tolist() == [False, True, False]
    assert abs(seen[0]) == pytest.approx(90.0)


@pytest.mark.parametrize("kernel", KERNELS)
def test_a_limb_of_no_length_has_no_angle(kernel):
    p, q = np.array([[3.0, 4.0]]), np.array([[9.0, 4.0]])
    assert np.isnan(KERNELS[kernel](p, p, q)[0])
    assert np.isnan(KERNELS[kernel](q, p, p)[0])


def test_distance_is_pythagoras_and_missing_with_its_points():
    a, b = np.array([[0.0, 0.0], [0.0, np.nan]]), np.array([[3.0, 4.0], [3.0, 4.0]])
    assert compute_distance(a, b)[0] == 5.0
    assert np.isnan(compute_distance(a, b)[1])


@pytest.mark.parametrize("kernel", KERNELS)
def test_points_of_different_shape_are_refused(kernel):
    with pytest.raises(ShapeError, match=r"points must have one shape"):
        KERNELS[kernel](np.zeros((2, 2)), np.zeros((2, 2)), np.zeros((3, 2)))
    with pytest.raises(ShapeError, match=r"points must have one shape"):
        compute_inclination_deg(np.zeros((2, 2)), np.zeros((2, 3)), forward=1)
