"""Worked by hand: corrections, half-widths by direction, and what a damaged table is told."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motioncheck.assets import read_asset
from motioncheck.errors import MissingPartError
from motioncheck.measures import REGISTRY, load_calibration
from motioncheck.measures import calibration as calibration_module
from motioncheck.measures.calibration import (
    NEUTRAL,
    BodyCorrection,
    Correction,
    at_turn,
    compute_bias,
    compute_half_width,
    correct,
    expected_with_body,
    parse_calibration,
    relative_azimuth_deg,
)

# -180, -150, ... 150: the value of a place is its number.
NUMBERED = tuple(float(n) for n in range(1, 13))


def file_data(**changes):
    row = [1.0] * 12
    data = {
        "format": "motioncheck/calibration/1",
        "version": "7",
        "model": "full",
        "made_by": "tests/validation/calibrate.py",
        "about": "Made up for a test.",
        "measures": {
            "knee_flexion": {
                "picture": {"bias_at": [0, 60, 120], "bias": [0, 3, 9], "floor": 2.0,
                            "factor": row},
                "body": {"bias_at": [], "bias": [], "floor": 1.0, "factor": row,
                         "typical": [*[6.0] * 11, None]},
            }
        },
    }  # fmt: skip
    return data | changes


def broken(path, value):
    """The table with one value changed; ``path`` leads to it."""
    data = file_data()
    place = data
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    return data


def test_a_bias_is_interpolated_between_its_knots_and_held_outside_them():
    correction = Correction(bias_at=(0.0, 60.0, 120.0), bias=(0.0, 3.0, 9.0))
    values = np.array([-10.0, 30.0, 90.0, 150.0, np.nan])
    np.testing.assert_allclose(compute_bias(values, correction), [0.0, 1.5, 6.0, 9.0, np.nan])
    np.testing.assert_allclose(correct(values, correction), [-10.0, 28.5, 84.0, 141.0, np.nan])


def test_without_knots_nothing_is_corrected():
    values = np.array([1.0, np.nan, -3.0])
    np.testing.assert_array_equal(correct(values, Correction()), values)


def test_a_half_width_joins_floor_and_stated_width_times_the_factor_of_the_direction():
    """Floor 3, stated 2, factor 2 straight in front: the root of 9 + 16."""
    factor = [1.0] * 12
    factor[6] = 2.0
    correction = Correction(floor=3.0, factor=tuple(factor))
    width = compute_half_width(np.array([2.0, np.nan]), correction, 0.0)
    np.testing.assert_allclose(width, [5.0, np.nan])
    half_way = compute_half_width(np.array([2.0]), correction, 15.0)
    np.testing.assert_allclose(half_way, np.hypot(3.0, 3.0))


@pytest.mark.parametrize(
    ("azimuth", "value"),
    [(-180.0, 1), (180.0, 1), (-150.0, 2), (0.0, 7), (90.0, 10), (150.0, 12), (75.0, 9.5)],
)
def test_a_row_of_twelve_is_read_by_direction(azimuth, value):
    assert at_turn(NUMBERED, azimuth) == pytest.approx(value)


def test_the_circle_is_closed():
    """Between 150 (12) and 180, which is -180 (1): half way 6.5."""
    assert at_turn(NUMBERED, 165.0) == pytest.approx(6.5)
    assert at_turn(NUMBERED, -195.0) == pytest.approx(6.5)


def test_an_unknown_direction_takes_the_largest_value():
    assert at_turn(NUMBERED, float("nan")) == 12.0


@given(st.floats(-720.0, 720.0))
def test_a_row_is_never_left_and_has_no_jumps(azimuth):
    assert 1.0 <= at_turn(NUMBERED, azimuth) <= 12.0
    # The steepest part falls from 12 to 1 within 30 degrees.
    step = abs(at_turn(NUMBERED, azimuth) - at_turn(NUMBERED, azimuth + 0.01))
    assert step <= 11.0 / 30.0 * 0.01 + 1e-9


@pytest.mark.parametrize("azimuth", [90.0, 30.0, -120.0])
def test_plus_90_means_that_this_side_is_nearest(azimuth):
    assert relative_azimuth_deg(azimuth, "left") == azimuth
    assert relative_azimuth_deg(azimuth, "right") == -azimuth
    assert relative_azimuth_deg(azimuth, "") == azimuth


def test_straight_behind_is_the_same_for_both_sides():
    assert relative_azimuth_deg(180.0, "left") == relative_azimuth_deg(180.0, "right") == 180.0


def test_what_is_usually_reached_is_endless_where_it_was_never_calibrated():
    body = BodyCorrection(typical=(5.0, None, *[7.0] * 10))
    assert expected_with_body(body, -180.0) == 5.0
    assert expected_with_body(body, 45.0) == 7.0
    assert expected_with_body(body, -165.0) == float("inf")
    assert expected_with_body(body, 165.0) == 6.0
    assert expected_with_body(body, float("nan")) == float("inf")
    assert expected_with_body(BodyCorrection(), 0.0) == float("inf")


def test_a_measure_without_an_entry_is_taken_as_it_is():
    entry = NEUTRAL.of("knee_flexion")
    stated = np.array([4.0])
    np.testing.assert_array_equal(compute_half_width(stated, entry.picture, 33.0), stated)
    np.testing.assert_array_equal(correct(stated, entry.body), stated)


def test_a_table_is_read_back_as_written():
    table = parse_calibration(json.dumps(file_data()).encode())
    assert (table.version, table.model, table.about) == ("7", "full", "Made up for a test.")
    entry = table.of("knee_flexion")
    assert entry.picture.bias == (0.0, 3.0, 9.0)
    assert entry.body.typical == (*[6.0] * 11, None)
    assert table.of("hip_flexion").picture.floor == 0.0


PICTURE = ("measures", "knee_flexion", "picture")
BODY = ("measures", "knee_flexion", "body")
FAULTS = [
    (("format",), "motioncheck/calibration/2"),
    (("version",), ""),
    (("extra",), 1),
    ((*PICTURE, "extra"), 1),
    ((*PICTURE, "typical"), [1.0] * 12),
    ((*PICTURE, "factor"), [1.0] * 11),
    ((*PICTURE, "factor"), [0.0] * 12),
    ((*PICTURE, "floor"), -1.0),
    ((*PICTURE, "bias"), [0.0]),
    ((*PICTURE, "bias_at"), [0, 120, 60]),
    ((*BODY, "typical"), [1.0] * 13),
    ((*BODY, "typical"), [-1.0] * 12),
]


@pytest.mark.parametrize(("path", "value"), FAULTS, ids=lambda x: str(x)[:40])
def test_a_damaged_table_is_refused_with_the_place_of_the_fault(path, value):
    with pytest.raises(MissingPartError, match="Expected a calibration") as caught:
        parse_calibration(json.dumps(broken(path, value)).encode())
    assert path[-1] in str(caught.value) or path[-2] in str(caught.value)


@pytest.mark.parametrize("content", [b"", b"not json", b"[]", b"\xff\xfe", b'{"format": NaN}'])
def test_something_else_is_refused(content):
    with pytest.raises(MissingPartError, match="Expected a calibration"):
        parse_calibration(content)


def test_a_missing_file_is_a_missing_part(monkeypatch):
    def refuse(name):
        raise FileNotFoundError(name)

    monkeypatch.setattr(calibration_module, "read_asset", refuse)
    load_calibration.cache_clear()
    try:
        with pytest.raises(MissingPartError, match="found none that can be read"):
            load_calibration()
    finally:
        load_calibration.cache_clear()


def test_the_table_of_the_program_is_whole():
    """Entries are those of measures that there are, and their numbers are plausible."""
    table = load_calibration()
    wanted = {spec.id for spec in REGISTRY if spec.compute is not None}
    assert table.measures.keys() <= wanted
    for name, entry in table.measures.items():
        spec = REGISTRY[name]
        low, high = spec.span
        for correction in (entry.picture, entry.body):
            assert correction.floor <= 10.0 * spec.guard, name
            assert max(correction.factor) <= 100.0, name
            assert all(abs(b) <= (high - low) / 4.0 for b in correction.bias), name
            assert all(2 * low - high <= at <= 2 * high - low for at in correction.bias_at), name


def test_a_correction_of_the_program_keeps_the_order_of_values():
    """More bent must stay more bent: no bias falls faster than the value rises."""
    for name, entry in load_calibration().measures.items():
        for correction in (entry.picture, entry.body):
            values = np.linspace(*REGISTRY[name].span, 2001)
            assert np.all(np.diff(correct(values, correction)) > 0.0), name


def test_the_file_is_strict_json_with_nothing_twice():
    def no_twins(pairs):
        keys = [key for key, _ in pairs]
        assert len(keys) == len(set(keys))
        return dict(pairs)

    def no_constant(text):
        raise AssertionError(text)

    data = json.loads(
        read_asset("calibration.json"), object_pairs_hook=no_twins, parse_constant=no_constant
    )
    assert data["model"] in ("full", "lite")
