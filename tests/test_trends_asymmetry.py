"""Cited and analytic: the indices of two sides. Property: what they do under swap and scale."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from motioncheck.measures import REGISTRY
from motioncheck.trends.asymmetry import (
    allows_percentages,
    compute_limb_symmetry_index,
    compute_percent_of_smaller,
    compute_symmetry_angle,
    compute_symmetry_index,
    list_indices,
)

VALUE = st.floats(0.5, 500.0)


@pytest.mark.parametrize(
    ("right", "left", "index", "share", "angle"),
    [
        # 10 / 105, 100 / 110, (45 - atan2(100, 110)) / 90, each worked out by hand.
        (110.0, 100.0, 9.52, 90.91, 3.03),
        (135.0, 120.0, 11.76, 88.89, 3.74),
        (40.0, 36.0, 10.53, 90.0, 3.35),
        (70.0, 70.0, 0.0, 100.0, 0.0),
    ],
)
def test_worked_numbers(right, left, index, share, angle):
    assert compute_symmetry_index(left, right) == pytest.approx(index, abs=0.005)
    assert compute_limb_symmetry_index(left, right) == pytest.approx(share, abs=0.005)
    assert compute_symmetry_angle(left, right) == pytest.approx(angle, abs=0.005)
    assert compute_percent_of_smaller(left, right) == pytest.approx(
        100 * (right / left - 1), abs=1e-9
    )


@given(VALUE, VALUE, st.floats(0.1, 10.0))
def test_percentages_do_not_depend_on_the_unit_and_turn_round_with_the_sides(left, right, scale):
    for compute in (compute_symmetry_index, compute_symmetry_angle):
        assert compute(left * scale, right * scale) == pytest.approx(compute(left, right), abs=1e-6)
        assert compute(right, left) == pytest.approx(-compute(left, right), abs=1e-6)
    product = compute_limb_symmetry_index(left, right) * compute_limb_symmetry_index(right, left)
    assert product == pytest.approx(1e4)
    assert compute_percent_of_smaller(left, right) == compute_percent_of_smaller(right, left) >= 0


@given(st.floats(-500, 500), st.floats(-500, 500))
def test_the_symmetry_angle_stays_within_a_hundred(left, right):
    angle = compute_symmetry_angle(left, right)
    assert math.isnan(angle) or -100.0 <= angle <= 100.0 + 1e-9


def test_undefined_indices_are_nan():
    assert math.isnan(compute_limb_symmetry_index(3.0, 0.0))
    assert math.isnan(compute_symmetry_index(3.0, -3.0))
    assert math.isnan(compute_symmetry_angle(0.0, 0.0))
    assert math.isnan(compute_percent_of_smaller(-1.0, 3.0))
    assert math.isnan(compute_symmetry_index(math.nan, 3.0))


@pytest.mark.parametrize(
    ("measure", "left", "right", "allowed"),
    [
        ("knee_flexion", 120.0, 135.0, True),
        ("shoulder_elevation", 150.0, 160.0, True),
        ("hip_flexion", 100.0, 110.0, True),
        # Four guard bands of knee flexion are 20 degrees.
        ("knee_flexion", 5.0, 8.0, False),
        ("frontal_plane_knee_angle", 40.0, 44.0, False),
        ("thigh_inclination", 60.0, 70.0, False),
        ("ankle_flexion", 50.0, 55.0, False),
        ("knee_toe_offset_ratio", 1.0, 1.2, False),
    ],
)
def test_percentages_of_signed_or_small_values_are_refused(measure, left, right, allowed):
    spec = REGISTRY[measure]
    assert allows_percentages(spec, left, right) is allowed
    found = list_indices(spec, left, right, day="2026-03-01")
    assert [i.name for i in found] == [
        "difference",
        "limb symmetry index",
        "symmetry index",
        "symmetry angle",
        "difference to the smaller side",
    ]
    assert found[0].value == left - right
    assert all((i.value is not None) is allowed for i in found[1:])
    if not allowed:
        assert all("Not given as a percentage" in i.limits for i in found[1:])


def test_formula_limits_and_error_are_printed_with_each_index():
    """Analytic: half-widths of 3 and 4 make 5 for the difference, 4 % of a mean of 125."""
    found = list_indices(REGISTRY["knee_flexion"], 120.0, 130.0, half_widths=(3.0, 4.0))
    assert "± 5.0°" in found[0].limits
    for index in found[1:]:
        assert "÷" in index.formula
        assert "4 %" in index.limits
        assert "arbitrary" in index.limits
    unknown = list_indices(REGISTRY["knee_flexion"], 120.0, 130.0)
    assert "cannot be told" in unknown[0].limits
