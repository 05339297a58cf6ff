"""Curves, ticks and words of the sheet against hand-worked values."""

from __future__ import annotations

import re

import numpy as np
import pytest
import sheet_examples as ex
from hypothesis import given
from hypothesis import strategies as st

from motioncheck.records import Event
from motioncheck.sheet import words
from motioncheck.sheet.canvas import Canvas, finite_runs, thin, ticks
from motioncheck.sheet.charts import GRID, default_chart, draw_axes, resample_rep
from motioncheck.wording import join_words


def test_resampled_rep_of_a_straight_line_is_the_same_line():
    time_s = np.linspace(0.0, 10.0, 301)
    event = Event("rep", 1, "both", 2.0, 3.0, 6.0)
    curve = resample_rep(time_s, 3.0 * time_s, event)
    # Start 2 s -> 6, end 6 s -> 18, straight between.
    assert curve == pytest.approx(6.0 + 12.0 * GRID)


def test_resampled_rep_leaves_a_gap_open():
    time_s = np.linspace(0.0, 10.0, 101)
    values = time_s.copy()
    values[(time_s > 3.9) & (time_s < 5.1)] = np.nan
    curve = resample_rep(time_s, values, Event("rep", 1, "both", 2.0, 4.0, 8.0))
    at = 2.0 + 6.0 * GRID
    assert np.isnan(curve[(at > 3.95) & (at < 5.05)]).all()
    assert np.isfinite(curve[(at < 3.85) | (at > 5.15)]).all()


def test_resampled_rep_outside_the_track_is_missing():
    time_s = np.linspace(0.0, 1.0, 11)
    curve = resample_rep(time_s, time_s, Event("rep", 1, "both", 0.5, 1.0, 2.0))
    assert np.isnan(curve[-1])


@given(st.floats(-1e4, 1e4), st.floats(0.01, 1e4))
def test_ticks_lie_inside_the_range_and_are_few(low, span):
    found = ticks(low, low + span, 5)
    assert len(found) <= 8
    assert all(low - 1e-6 * span <= t <= low + span * (1 + 1e-6) for t in found)


def test_ticks_are_round_numbers():
    assert ticks(-3.0, 103.0, 5) == [0.0, 25.0, 50.0, 75.0, 100.0]


@given(st.lists(st.one_of(st.just(np.nan), st.floats(-9, 9)), max_size=40))
def test_finite_runs_cover_exactly_the_known_values(values):
    array = np.array(values, dtype=np.float64)
    mask = np.zeros(len(array), dtype=bool)
    for run in finite_runs(array):
        assert not mask[run].any()
        mask[run] = True
    assert np.array_equal(mask, np.isfinite(array))


def test_thinning_keeps_the_extremes():
    values = np.sin(np.linspace(0, 60, 20_000))
    values[7_777] = 9.0
    picks = thin(values, 400)
    assert 7_777 in picks
    assert len(picks) <= 402


def test_default_chart_takes_both_sides_and_the_thresholds_of_the_measure():
    example = ex.squat_sheet(2, pictures=False)
    spec = default_chart(example.sheet, example.table)
    assert spec.measures == ("thigh_inclination_left", "thigh_inclination_right")
    assert [limit.value for limit in spec.limits] == [5]


@pytest.mark.parametrize(("width", "font"), [(520, 14), (370, 12)])
def test_the_last_number_of_an_axis_is_not_cut_off(width, font):
    """A letter is about 0.6 of the font wide, so ``100 %`` reaches 1.5 fonts to either side."""
    canvas = Canvas(width, 240, font, (0.0, 100.0), (0.0, 90.0), top=14.0, right=20.0)
    drawn = draw_axes(canvas, "deg", " %")
    (x,) = (float(n) for n in re.findall(r'<text x="([\d.]+)"[^>]*>100 %</text>', drawn))
    assert x + 1.5 * font <= width + 0.1


@pytest.mark.parametrize(
    ("value", "unit", "uncertainty", "text"),
    [
        (47.4, "deg", 4.0, "47° ± 4°"),
        (-3.2, "deg", 5.0, "−3° ± 5°"),
        (-0.2, "deg", 5.0, "0° ± 5°"),
        (12.34, "deg", 1.25, "12.3° ± 1.2°"),
        (1.321, "ratio", 0.08, "1.32 ± 0.08"),
        (0.12, "s", None, "0.12 s"),
        (152.4, "1/min", 5.0, "152 a minute ± 5 a minute"),
        (None, "deg", None, ""),
        (float("nan"), "deg", 1.0, ""),
    ],
)
def test_value_text(value, unit, uncertainty, text):
    assert words.value_text(value, unit, uncertainty) == text


def test_limit_and_number_words():
    assert words.limit_text("at most", 45.0, "deg") == "at most 45°"
    assert words.limit_text("at least", 0.95, "ratio") == "at least 0.95"
    assert words.numbers_text([3, 1, 2, 7, 8, 10]) == "1–3, 7, 8, 10"
    assert words.reps_text([4]) == "rep 4"
    assert join_words(["a", "b", "c"]) == "a, b and c"


def test_measure_title_says_its_side():
    assert words.measure_title("knee_flexion_left") == "Knee flexion, left"
    assert words.measure_title("stance_width_ratio") == "Stance width"
