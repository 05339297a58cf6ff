"""Property: the rule that turns a value, its uncertainty and a threshold into a verdict."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from motioncheck.checks import judge_value

numbers = st.floats(-200.0, 200.0, allow_nan=False)
bands = st.floats(0.0, 50.0, allow_nan=False)
comparisons = st.sampled_from(["at least", "at most"])


def is_good(value, comparison, threshold):
    return value >= threshold if comparison == "at least" else value <= threshold


@given(numbers, bands, comparisons, numbers)
def test_a_verdict_is_definite_only_outside_the_band(value, band, comparison, threshold):
    ruling = judge_value(value, band, comparison=comparison, threshold=threshold)
    if abs(value - threshold) < band:
        assert ruling.verdict == "too close to call"
    elif is_good(value, comparison, threshold):
        assert ruling.verdict == "meets"
    else:
        assert ruling.verdict == "misses"


@given(numbers, bands, comparisons, numbers, st.floats(0.1, 60.0))
def test_short_of_a_clear_miss_no_miss_is_given(value, band, comparison, threshold, margin):
    bad_side = -1 if comparison == "at least" else 1
    clear_miss = threshold + bad_side * margin
    ruling = judge_value(
        value, band, comparison=comparison, threshold=threshold, clear_miss=clear_miss
    )
    plain = judge_value(value, band, comparison=comparison, threshold=threshold)
    beyond = bad_side * (value - clear_miss)
    assume(abs(beyond) > 1e-9)
    if plain.verdict == "misses" and beyond < 0:
        assert ruling.verdict == "too close to call"
    else:
        assert ruling.verdict == plain.verdict


@given(numbers, bands, bands, comparisons, numbers)
def test_a_wider_band_never_makes_a_verdict_more_definite(value, a, b, comparison, threshold):
    narrow, wide = (
        judge_value(value, band, comparison=comparison, threshold=threshold).verdict
        for band in sorted((a, b))
    )
    assert wide in (narrow, "too close to call")


@given(numbers, bands, numbers)
def test_the_two_comparisons_are_mirror_images(value, band, threshold):
    least = judge_value(value, band, comparison="at least", threshold=threshold)
    most = judge_value(-value, band, comparison="at most", threshold=-threshold)
    assert least.verdict == most.verdict


@pytest.mark.parametrize(
    ("value", "band"), [(np.nan, 5.0), (5.0, np.nan), (np.inf, 5.0), (np.nan, np.nan)]
)
def test_without_a_value_or_its_uncertainty_nothing_is_judged(value, band):
    ruling = judge_value(value, band, comparison="at least", threshold=0.0)
    assert ruling.verdict == "not visible"
    assert "could not be seen" in ruling.reason


@given(numbers, bands, comparisons, numbers)
def test_a_reason_is_given_exactly_when_the_verdict_is_not_definite(
    value, band, comparison, threshold
):
    ruling = judge_value(value, band, comparison=comparison, threshold=threshold)
    assert bool(ruling.reason) == (ruling.verdict == "too close to call")


def test_the_reason_of_a_close_call_gives_distance_and_uncertainty_with_units():
    near = judge_value(97.0, 5.0, comparison="at least", threshold=100.0)
    assert re.fullmatch(
        r"3(\.0)?° from the limit, inside the uncertainty of ±5(\.0)?°", near.reason
    )
    between = judge_value(
        0.9, 0.02, comparison="at least", threshold=1.0, clear_miss=0.8, unit="ratio"
    )
    assert between.verdict == "too close to call"
    assert between.reason == "between the limit and a clear miss (0.80)"
