"""Gate, outliers, gaps and time axis, each on signals whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motioncheck.cleaning.gaps import compute_filled_s, fill_gaps
from motioncheck.cleaning.gate import find_visible
from motioncheck.cleaning.outliers import find_outliers
from motioncheck.cleaning.resample import compute_rate, is_uniform, make_time_axis, resample
from motioncheck.cleaning.runs import find_runs


def sine(time_s: np.ndarray, frequency_hz: float = 1.5) -> np.ndarray:
    return 100 * np.sin(2 * np.pi * frequency_hz * time_s)


@given(st.lists(st.lists(st.booleans(), min_size=7, max_size=7), min_size=1, max_size=4))
def test_find_runs_rebuilds_the_table(columns: list[list[bool]]) -> None:
    """Property: painting the runs gives the table back, and no two runs touch."""
    known = np.array(columns).T
    painted = np.zeros_like(known, dtype=int)
    runs = find_runs(known)
    for column, start, stop in zip(runs.column, runs.start, runs.stop, strict=True):
        painted[start:stop, column] += 1
        assert start == 0 or not known[start - 1, column]
        assert stop == len(known) or not known[stop, column]
    np.testing.assert_array_equal(painted, known.astype(int))


def test_gate_keeps_a_stretch_only_if_it_is_certain_somewhere() -> None:
    visibility = np.array([0.9, 0.55, 0.49, 0.55, 0.58, 0.3, 0.52, 0.6, 0.51, np.nan, 0.59])
    visible = find_visible(visibility[:, None], gate=0.5)[:, 0]
    np.testing.assert_array_equal(visible, [1, 1, 0, 0, 0, 0, 1, 1, 1, 0, 0])


def test_gate_of_zero_keeps_whatever_was_found() -> None:
    visibility = np.array([[0.0, np.nan], [0.01, 1.0]])
    np.testing.assert_array_equal(find_visible(visibility, gate=0.0), [[1, 0], [1, 1]])


def test_gate_of_one_can_still_be_passed() -> None:
    np.testing.assert_array_equal(find_visible(np.array([[0.99], [1.0]]), gate=1.0), [[0], [1]])


@given(st.lists(st.floats(0, 1), min_size=1, max_size=60), st.floats(0.05, 0.95))
def test_gate_is_the_same_when_time_runs_backward(values: list[float], gate: float) -> None:
    visibility = np.array(values)[:, None]
    visible = find_visible(visibility, gate=gate)
    assert not np.any(visible & (visibility < gate))
    assert np.all(visible[visibility >= min(gate + 0.1, 1.0)])
    np.testing.assert_array_equal(visible, find_visible(visibility[::-1], gate=gate)[::-1])


@pytest.mark.parametrize("rate_hz", [30, 60])
def test_outliers_are_found_and_the_movement_is_left_alone(rate_hz: int) -> None:
    """Synthetic: 1.5 Hz at 100 px with tremble of 1 px; spikes of 120 px at known frames."""
    rng = np.random.default_rng(1)
    time_s = np.arange(10 * rate_hz) / rate_hz
    values = np.stack([sine(time_s), sine(time_s + 0.2)], axis=1) + rng.normal(
        0, 1, (len(time_s), 2)
    )
    assert not find_outliers(values, floor=10.0).any()
    spiked = values.copy()
    frames = np.arange(12, len(time_s) - 12, 25)
    spiked[frames, 0] += np.where(np.arange(len(frames)) % 2, 120.0, -120.0)
    found = find_outliers(spiked, floor=10.0)
    assert found[frames, 0].all()
    assert not found[:, 1].any()
    assert found.sum() <= len(frames) + 2


def test_outliers_ignore_the_tremble_of_standing_still() -> None:
    still = np.random.default_rng(2).normal(0, 2.0, (600, 4))
    assert not find_outliers(still, floor=10.0).any()
    assert find_outliers(still, floor=0.0).any()


def test_outliers_leave_a_foot_that_hits_the_floor_alone() -> None:
    """Analytic: a velocity that turns round within one frame is movement, not a leap."""
    frame = np.arange(-15, 16)
    assert not find_outliers(30.0 * np.abs(frame)[:, None], floor=10.0).any()
    assert not find_outliers(30.0 * np.maximum(frame, 0)[:, None], floor=10.0).any()


def test_outliers_leave_steps_and_missing_samples_alone() -> None:
    step = np.repeat([0.0, 50.0], 20)[:, None]
    assert not find_outliers(step, floor=5.0).any()
    sparse = np.full((9, 1), np.nan)
    sparse[[2, 4, 6], 0] = [0.0, 90.0, 0.0]
    assert not find_outliers(sparse, floor=5.0).any()


def test_outliers_are_found_beside_gaps() -> None:
    values = np.zeros((20, 1))
    values[[4, 5], 0] = np.nan
    values[7, 0] = 30.0
    assert np.nonzero(find_outliers(values, floor=5.0)[:, 0])[0].tolist() == [7]


@pytest.mark.parametrize(
    ("missing_frames", "limit_s", "filled"),
    [(5, 0.2, True), (6, 0.2, False), (5, 0.19, False), (1, 0.0, False)],
)
def test_gap_rule_holds_at_exactly_the_limit(
    missing_frames: int, limit_s: float, filled: bool
) -> None:
    """At 30 frames a second five missing frames are 6/30 s = 0.2 s from known to known."""
    time_s = np.arange(40) / 30
    values = np.repeat(time_s[:, None, None], 2, axis=2)
    values[10 : 10 + missing_frames, 0] = np.nan
    result, was_filled = fill_gaps(values, time_s, max_gap_s=limit_s)
    assert np.isfinite(result).all() == filled
    assert was_filled.sum() == (missing_frames if filled else 0)
    if filled:
        np.testing.assert_allclose(result[:, 0, 0], time_s, atol=1e-12)
        assert compute_filled_s(was_filled, time_s)[0] == pytest.approx(missing_frames / 30)


def test_gaps_at_both_ends_stay_open() -> None:
    values = np.ones((9, 1, 2))
    values[[0, 8]] = np.nan
    result, was_filled = fill_gaps(values, np.arange(9) / 60, max_gap_s=1.0)
    assert not was_filled.any()
    assert np.isnan(result[[0, 8]]).all()


def test_gaps_are_measured_in_time_not_frames() -> None:
    """One missing frame where the camera paused for 0.3 s is a long gap."""
    time_s = np.array([0.0, 0.03, 0.06, 0.36, 0.39, 0.42, 0.45])
    values = np.arange(7.0)[:, None, None].repeat(2, axis=2)
    values[[3, 5]] = np.nan
    _, was_filled = fill_gaps(values, time_s, max_gap_s=0.2)
    assert np.nonzero(was_filled[:, 0])[0].tolist() == [5]


def test_gaps_keep_the_top_of_a_fast_movement() -> None:
    """Analytic: 0.2 s across the peak of 1.5 Hz; a straight line would miss it by 41 %."""
    time_s = np.arange(120) / 60
    truth = sine(time_s)
    values = np.stack([truth, truth + 300], axis=1)[:, None]
    peak = int(np.argmax(truth))
    values[peak - 5 : peak + 6] = np.nan
    result, _ = fill_gaps(values, time_s, max_gap_s=0.2)
    np.testing.assert_allclose(result[:, 0, 0], truth, atol=6.0)
    np.testing.assert_allclose(result[:, 0, 1] - result[:, 0, 0], 300.0, atol=1e-9)


@given(st.lists(st.booleans(), min_size=8, max_size=60))
@settings(max_examples=60, deadline=None)
def test_gaps_never_change_what_is_known(known: list[bool]) -> None:
    """Property: known samples stay, filled ones are finite, straight lines are continued."""
    time_s = np.arange(len(known)) / 30
    values = np.where(np.array(known)[:, None, None], 3 * time_s[:, None, None] - 1, np.nan)
    result, was_filled = fill_gaps(values, time_s, max_gap_s=0.2)
    np.testing.assert_array_equal(result[known], values[known])
    assert np.isfinite(result[was_filled]).all()
    np.testing.assert_allclose(
        result[was_filled][:, 0], (3 * time_s - 1)[was_filled[:, 0]], atol=1e-9
    )


@pytest.mark.parametrize("rate_hz", [23.976, 29.97, 30.0, 59.94, 240.0])
def test_rate_is_right_for_stamps_rounded_to_milliseconds(rate_hz: float) -> None:
    time_s = np.round(np.arange(300) / rate_hz, 3)
    assert compute_rate(time_s) == pytest.approx(rate_hz, rel=2e-4)
    dropped = np.delete(time_s, [20, 21, 100])
    assert compute_rate(dropped) == pytest.approx(rate_hz, rel=5e-3)


def test_rate_of_one_frame_is_unknown() -> None:
    assert np.isnan(compute_rate(np.array([0.0])))
    assert compute_rate(np.array([0.0, 0.1, 0.5, 0.6, 1.0])) == pytest.approx(10.0)


def test_time_axis_starts_at_the_first_stamp_and_keeps_the_last() -> None:
    time_s = 0.7 + np.round(np.arange(100) / 30, 3)
    axis = make_time_axis(time_s, compute_rate(time_s))
    assert axis[0] == time_s[0]
    assert len(axis) == 100
    assert is_uniform(time_s, compute_rate(time_s))
    assert not is_uniform(np.delete(time_s, 50), 30.0)


def test_resampling_a_variable_rate_clip_gives_the_sine_back() -> None:
    """Analytic: stamps 24 to 60 times a second, 1.5 Hz movement; error below 0.3 %."""
    rng = np.random.default_rng(3)
    time_s = np.cumsum(rng.uniform(1 / 60, 1 / 24, 300))
    axis = make_time_axis(time_s, 30.0)
    result = resample(sine(time_s)[:, None], time_s, axis, max_gap_s=0.2)[:, 0]
    np.testing.assert_allclose(result, sine(axis), atol=0.3)
    straight = np.interp(axis, time_s, sine(time_s))
    assert np.abs(straight - sine(axis)).max() > 5 * np.abs(result - sine(axis)).max()


def test_resampling_never_joins_across_what_is_missing() -> None:
    time_s = np.arange(40) / 20
    values = sine(time_s)[:, None].copy()
    values[10:18] = np.nan
    axis = make_time_axis(time_s, 33.0)
    result = resample(values, time_s, axis, max_gap_s=0.2)[:, 0]
    inside = (axis > time_s[9] + 1e-3) & (axis < time_s[18] - 1e-3)
    assert np.isnan(result[inside]).all()
    assert np.isfinite(result[~inside]).all()


def test_resampling_never_joins_across_a_pause_of_the_camera() -> None:
    time_s = np.concatenate([np.arange(10) / 30, 1.0 + np.arange(10) / 30])
    axis = make_time_axis(time_s, 30.0)
    result = resample(np.ones((20, 1)), time_s, axis, max_gap_s=0.2)[:, 0]
    inside = (axis > time_s[9] + 1e-3) & (axis < 1.0 - 1e-3)
    assert np.isnan(result[inside]).all()
    np.testing.assert_allclose(result[~inside], 1.0)


def test_resampling_onto_the_same_stamps_changes_nothing() -> None:
    time_s = np.cumsum(np.random.default_rng(4).uniform(0.02, 0.05, 50))
    values = np.random.default_rng(5).normal(size=(50, 2, 3))
    values[7:12, 1] = np.nan
    result = resample(values, time_s, time_s, max_gap_s=0.2)
    np.testing.assert_array_equal(result, values)


def test_resampling_a_single_frame_returns_it() -> None:
    one = np.array([[4.0, 5.0]])
    result = resample(one, np.array([2.0]), np.array([2.0, 2.5]), max_gap_s=0.2)
    np.testing.assert_array_equal(result, [[4.0, 5.0], [np.nan, np.nan]])
