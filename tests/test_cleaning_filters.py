"""Low-pass filter and residual analysis against closed forms, textbooks and SciPy."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from motioncheck.cleaning import design_lowpass, filter_zero_phase, residual_analysis
from motioncheck.errors import ShapeError

GAIT = Path(__file__).parents[1].parent / "shared" / "data" / "gait" / "WinterTableA1.txt"


def gain_db(b: np.ndarray, a: np.ndarray, *, at_hz: float, rate_hz: float, passes: int) -> float:
    z = np.exp(-1j * 2 * math.pi * at_hz / rate_hz * np.arange(3))
    return float(20 * passes * np.log10(abs((b @ z) / (a @ z))))


# Winter 4th ed. p. 69 and Robertson 2nd ed. p. 288: Uc = tan(pi fc/fs), Un = Uc/C with
# C = (2^(1/n) - 1)^(1/4), f = atan(Un) fs/pi; figures worked out from these formulas.
@pytest.mark.parametrize(
    ("rate_hz", "cutoff_hz", "designed_hz", "naive_gain_db"),
    [
        (30, 4, 4.838, -2.66),
        (30, 6, 7.028, -2.17),
        (60, 6, 7.350, -2.82),
        (100, 6, 7.431, -2.94),
        (120, 10, 12.313, -2.88),
    ],
)
def test_design_corrects_the_warped_cutoff_for_two_passes(
    rate_hz: float, cutoff_hz: float, designed_hz: float, naive_gain_db: float
) -> None:
    b, a = design_lowpass(cutoff_hz, rate_hz)
    once = design_lowpass(designed_hz, rate_hz, passes=1)
    np.testing.assert_allclose(b, once[0], atol=1e-4)
    np.testing.assert_allclose(a, once[1], atol=3e-4)
    at = {"at_hz": cutoff_hz, "rate_hz": rate_hz, "passes": 2}
    assert gain_db(b, a, **at) == pytest.approx(-3.0103, abs=1e-4)
    uncorrected = design_lowpass(cutoff_hz, rate_hz, passes=1)
    assert gain_db(*uncorrected, **at) == pytest.approx(-6.0206, abs=1e-4)
    correction = (math.sqrt(2) - 1) ** 0.25
    assert correction == pytest.approx(0.8022, abs=5e-5)
    naive = design_lowpass(cutoff_hz / correction, rate_hz, passes=1)
    assert gain_db(*naive, **at) == pytest.approx(naive_gain_db, abs=0.01)


# Coefficients in Winter's notation, y[i] = a0 x[i] + a1 x[i-1] + a2 x[i-2] + b1 y[i-1] + b2 y[i-2],
# for fs 60, fc 6: one pass, and two passes with C rounded to 0.802 as the textbook prints it.
@pytest.mark.parametrize(
    ("c", "a0", "a1", "b1", "b2"),
    [
        (1.0, 0.067455, 0.134911, 1.142981, -0.412802),
        (0.802, 0.094489, 0.188978, 0.962375, -0.340332),
    ],
)
def test_design_gives_the_coefficients_of_the_textbook(
    c: float, a0: float, a1: float, b1: float, b2: float
) -> None:
    designed_hz = math.atan(math.tan(math.pi * 6 / 60) / c) * 60 / math.pi
    b, a = design_lowpass(designed_hz, 60.0, passes=1)
    np.testing.assert_allclose(b, [a0, a1, a0], atol=6e-7)
    np.testing.assert_allclose(-a[1:], [b1, b2], atol=6e-7)
    two_passes = design_lowpass(6.0, 60.0)
    if c < 1:
        np.testing.assert_allclose(two_passes, (b, a), atol=3e-4)


# Winter: C(1) = 1, C(2) = 0.802, C(3) = 0.714, C(4) = 0.6595.
@pytest.mark.parametrize(("passes", "c"), [(1, 1.0), (2, 0.8022), (3, 0.7140), (4, 0.6595)])
def test_design_corrects_for_any_number_of_passes(passes: int, c: float) -> None:
    b, a = design_lowpass(0.6, 600.0, passes=passes)
    once = design_lowpass(0.6 / c, 600.0, passes=1)
    np.testing.assert_allclose(b, once[0], rtol=3e-4)
    assert gain_db(b, a, at_hz=0.6, rate_hz=600.0, passes=passes) == pytest.approx(
        -3.0103, abs=1e-3
    )


@given(rate_hz=st.floats(10.0, 300.0), share=st.floats(0.005, 0.49))
def test_design_keeps_the_half_power_point_at_the_wanted_cutoff(
    rate_hz: float, share: float
) -> None:
    """Property: -3.01 dB after two passes, and unit gain for what does not move."""
    b, a = design_lowpass(share * rate_hz, rate_hz)
    gain = gain_db(b, a, at_hz=share * rate_hz, rate_hz=rate_hz, passes=2)
    assert gain == pytest.approx(-3.0103, abs=1e-3)
    assert b.sum() / a.sum() == pytest.approx(1.0)


@given(rate_hz=st.floats(10.0, 300.0), share=st.floats(0.01, 0.49))
def test_design_equals_scipy_butter(rate_hz: float, share: float) -> None:
    b, a = design_lowpass(share * rate_hz, rate_hz, passes=1)
    expected_b, expected_a = signal.butter(2, share * rate_hz, fs=rate_hz)
    np.testing.assert_allclose(b, expected_b, rtol=1e-7, atol=1e-12)
    np.testing.assert_allclose(a, expected_a, rtol=1e-7, atol=1e-9)


@pytest.mark.parametrize("cutoff_hz", [0.0, -1.0, 15.0, 20.0, math.nan])
def test_design_refuses_a_cutoff_beyond_nyquist(cutoff_hz: float) -> None:
    with pytest.raises(ValueError, match="between 0 and half the rate"):
        design_lowpass(cutoff_hz, 30.0)


def test_design_refuses_no_pass() -> None:
    with pytest.raises(ValueError, match="at least one pass"):
        design_lowpass(5.0, 30.0, passes=0)


@pytest.mark.parametrize("count", [3, 4, 10, 61, 62, 500])
def test_filter_equals_scipy_filtfilt(count: int) -> None:
    values = np.random.default_rng(count).normal(size=(count, 2, 2)).cumsum(axis=0)
    b, a = design_lowpass(6.0, 60.0)
    expected = signal.filtfilt(b, a, values, axis=0, padtype="odd", padlen=min(60, count - 1))
    result = filter_zero_phase(values, cutoff_hz=6.0, rate_hz=60.0)
    np.testing.assert_allclose(result, expected, atol=1e-9)


def test_filter_does_not_shift_a_peak() -> None:
    """Analytic: a symmetric bump keeps its peak at the same sample."""
    time_s = np.arange(121) / 30.0
    bump = np.exp(-(((time_s - 2.0) / 0.2) ** 2))
    result = filter_zero_phase(bump, cutoff_hz=4.0, rate_hz=30.0)
    assert np.argmax(result) == np.argmax(bump) == 60
    np.testing.assert_allclose(result, result[::-1], atol=1e-6)


def test_filter_leaves_straight_lines_alone() -> None:
    """Analytic: odd reflection continues a line as a line, up to both ends."""
    line = np.linspace(-3.0, 8.0, 50)
    result = filter_zero_phase(line, cutoff_hz=3.0, rate_hz=30.0)
    np.testing.assert_allclose(result, line, atol=0.02)
    np.testing.assert_allclose(filter_zero_phase(0 * line + 7, cutoff_hz=3, rate_hz=30), 7.0)


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(1, 90)), min_size=1, max_size=6))
@settings(max_examples=40, deadline=None)
def test_filter_treats_every_run_by_itself(pieces: list[tuple[int, int]]) -> None:
    """Property: gaps stay gaps, and a run does not know about the others."""
    rng = np.random.default_rng(0)
    runs = [(gap, rng.normal(size=length).cumsum()) for gap, length in pieces]
    column = np.concatenate([np.append(np.full(gap + 1, np.nan), run) for gap, run in runs])
    table = np.stack([column, column[::-1]], axis=1)
    result = filter_zero_phase(table, cutoff_hz=5.0, rate_hz=30.0)
    expected = np.concatenate(
        [
            np.append(np.full(gap + 1, np.nan), filter_zero_phase(run, cutoff_hz=5, rate_hz=30))
            for gap, run in runs
        ]
    )
    np.testing.assert_allclose(result[:, 0], expected, atol=1e-9)
    np.testing.assert_array_equal(np.isnan(result), np.isnan(table))


def test_filter_returns_runs_too_short_to_filter_as_they_are() -> None:
    values = np.array([np.nan, 1.0, 5.0, np.nan, 3.0, np.nan])
    np.testing.assert_array_equal(filter_zero_phase(values, cutoff_hz=3, rate_hz=30), values)


def noisy_joint_angle(rate_hz: int) -> np.ndarray:
    """45 sin(2 pi 0.5 t) + 10 sin(2 pi t) + N(0, 1.5), 20 s, seed 0, degrees."""
    time_s = np.arange(20 * rate_hz) / rate_hz
    clean = 45 * np.sin(np.pi * time_s) + 10 * np.sin(2 * np.pi * time_s)
    return clean + np.random.default_rng(0).normal(0, 1.5, len(time_s))


# Cutoffs worked out beforehand with an independent program, line fitted over 0.2 to 0.4 of the
# rate; its noise estimates lay within 5 % of the 1.5 degrees that were added.
@pytest.mark.parametrize(("rate_hz", "cutoff_hz"), [(30, 1.75), (60, 1.75), (120, 2.0)])
def test_residual_analysis_finds_the_noise_that_was_added(rate_hz: int, cutoff_hz: float) -> None:
    found_hz, found_rms = residual_analysis(noisy_joint_angle(rate_hz), rate_hz)
    assert found_rms == pytest.approx(1.5, rel=0.05)
    assert found_hz == pytest.approx(cutoff_hz)


def test_residual_analysis_equals_the_same_steps_done_with_scipy() -> None:
    noisy = noisy_joint_angle(60)
    cutoffs = np.arange(0.5, 24.01, 0.25)
    smooth = [signal.filtfilt(*design_lowpass(float(fc), 60.0), noisy, padlen=60) for fc in cutoffs]
    residual = np.sqrt(np.mean((noisy - np.array(smooth)) ** 2, axis=1))
    intercept = np.polyfit(cutoffs[cutoffs >= 12], residual[cutoffs >= 12], 1)[1]
    found_hz, found_rms = residual_analysis(noisy, 60.0)
    assert found_rms == pytest.approx(intercept, rel=1e-9)
    assert found_hz == cutoffs[np.argmax(residual <= intercept)]


@pytest.mark.parametrize("values", [np.zeros((4, 2)), np.array([1.0, np.nan, 2.0]), np.zeros(2)])
def test_residual_analysis_refuses_gaps_and_tables(values: np.ndarray) -> None:
    with pytest.raises(ShapeError, match="one signal of at least 3 samples without gaps"):
        residual_analysis(values, 30.0)


def winter_gait() -> tuple[np.ndarray, float]:
    """Markers of Winter's walking subject, table A.1: shape (T, 16), cm, and their rate."""
    if not GAIT.exists():
        pytest.skip(f"open gait data not found at {GAIT.name}")
    table = np.loadtxt(GAIT, skiprows=2)
    return table[:, 2:], (len(table) - 1) / (table[-1, 1] - table[0, 1])


def test_filter_equals_scipy_on_winters_gait_markers() -> None:
    markers, rate_hz = winter_gait()
    b, a = design_lowpass(6.0, rate_hz)
    expected = signal.filtfilt(b, a, markers, axis=0, padtype="odd", padlen=round(rate_hz))
    result = filter_zero_phase(markers, cutoff_hz=6.0, rate_hz=rate_hz)
    np.testing.assert_allclose(result, expected, atol=1e-9)
    # The markers were read off film to about a millimetre; filtering moves them by that much.
    assert np.sqrt(np.mean((result - markers) ** 2)) < 0.5


def test_residual_analysis_of_winters_gait_asks_for_the_usual_cutoffs() -> None:
    """Winter: 99.7 % of the power of the foot in walking lies below 6 Hz; the trunk is slower."""
    markers, rate_hz = winter_gait()
    names = ("ribs", "hip", "knee", "fibula", "ankle", "heel", "metatarsal", "toe")
    cutoffs = {n: residual_analysis(markers[:, 2 * i + 1], rate_hz)[0] for i, n in enumerate(names)}
    assert all(2.0 <= cutoff <= 10.0 for cutoff in cutoffs.values())
    assert cutoffs["ankle"] >= cutoffs["hip"]
