"""Analytic: jumps whose take-off and landing are put in, and movements that are no jumps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motioncheck.cleaning.filters import filter_zero_phase
from motioncheck.errors import ShapeError
from motioncheck.splitting.flight import FlightRule, find_flights
from motioncheck.splitting.stillness import ease

RULE = FlightRule()
STATURE_M = 1.75


def make_feet(time_s, lifts, *, seed=0, noise=0.003, drift=0.02, cutoff_hz=6.0):
    """Add wander of the floor and jitter to the lifts of both feet, and filter as cleaning does."""
    rng = np.random.default_rng(seed)
    feet = np.stack(lifts, axis=1) + noise * rng.normal(size=(len(time_s), 2))
    feet += drift * np.sin(2 * np.pi * time_s / 15.0)[:, None]
    rate_hz = 1.0 / float(np.median(np.diff(time_s)))
    if cutoff_hz is not None:
        feet = filter_zero_phase(feet, cutoff_hz=cutoff_hz, rate_hz=rate_hz)
    return feet[:, 0], feet[:, 1]


def rise(time_s, takeoff_s, flight_s):
    """Height of a body that flies for so long: v t - g t² / 2 with v = g flight / 2."""
    t = time_s - takeoff_s
    return np.where((t > 0) & (t < flight_s), 9.81 / 2 * t * (flight_s - t), 0.0) / STATURE_M


@st.composite
def jumps(draw):
    rate_hz = draw(st.sampled_from([24.0, 30.0, 60.0]))
    flight_s = draw(st.floats(0.25, 0.65))
    count = draw(st.integers(1, 5))
    rng = np.random.default_rng(draw(st.integers(0, 2**31)))
    takeoffs = 1.0 + np.cumsum(flight_s + rng.uniform(0.5, 2.0, count))
    time_s = np.arange(0.0, takeoffs[-1] + 2.0, 1.0 / rate_hz)
    lift = sum(rise(time_s, takeoff, flight_s) for takeoff in takeoffs)
    noise = draw(st.floats(0.0, 0.003))
    cutoff_hz = draw(st.sampled_from([None, 6.0]))
    feet = make_feet(
        time_s, (lift, lift), seed=int(rng.integers(2**31)), noise=noise, cutoff_hz=cutoff_hz
    )
    return time_s, feet, takeoffs, flight_s


@given(jumps())
@settings(max_examples=50, deadline=None)
def test_every_jump_is_found_with_its_time_in_the_air(drawn):
    """24 to 60 frames a second, jitter of 0.3 % of stature, with and without the low-pass."""
    time_s, feet, takeoffs, flight_s = drawn
    found = find_flights(time_s, *feet, RULE)
    assert len(found) == len(takeoffs)
    for flight, takeoff in zip(found, takeoffs, strict=True):
        assert flight.flight_time_s == pytest.approx(flight_s, abs=0.05)
        assert flight.takeoff_s == pytest.approx(takeoff, abs=0.05)
        assert flight.landing_s == pytest.approx(takeoff + flight_s, abs=0.05)


@pytest.mark.parametrize("rate_hz", [30.0, 60.0])
@pytest.mark.parametrize("flight_s", [0.2, 0.3, 0.5])
def test_nine_of_ten_flight_times_lie_within_their_uncertainty(rate_hz, flight_s):
    """120 jumps; of nine in ten, 108, fewer than 100 would be 2.4 standard deviations off."""
    errors, widths = [], []
    for seed in range(40):
        takeoffs = np.array([1.5, 3.5, 5.5]) + np.random.default_rng(seed).uniform(0.0, 0.3, 3)
        time_s = np.arange(0.0, 7.5, 1.0 / rate_hz)
        lift = sum(rise(time_s, takeoff, flight_s) for takeoff in takeoffs)
        for flight in find_flights(time_s, *make_feet(time_s, (lift, lift), seed=seed), RULE):
            errors.append(abs(flight.flight_time_s - flight_s))
            widths.append(flight.uncertainty_s)
    assert len(errors) >= 115
    assert np.sum(np.array(errors) <= widths) >= 100
    assert max(errors) <= 0.06
    assert np.median(widths) <= 0.045


def test_a_clean_jump_is_timed_between_two_frames():
    """Of 0.40 s the body, which rises 0.196 m, is above 2 % of stature, 0.035 m, for only
    2 sqrt(2 (0.196 - 0.035) / 9.81) = 0.36 s, less what falls between frames 0.033 s apart."""
    time_s = np.arange(0.0, 4.0, 1.0 / 30.0)
    lift = rise(time_s, 1.512, 0.4)
    (flight,) = find_flights(time_s, lift, lift, RULE)
    assert flight.takeoff_s == pytest.approx(1.512, abs=0.006)
    assert flight.landing_s == pytest.approx(1.912, abs=0.006)
    assert flight.uncertainty_s <= 0.02


def test_height_is_from_time_alone():
    """g t² / 8: 0.40 s in the air are 19.6 cm, whatever the size of the body in the picture."""
    time_s = np.arange(0.0, 4.0, 1.0 / 60.0)
    for scale in (0.8, 1.0, 1.25):
        lift = scale * rise(time_s, 1.5, 0.4)
        (flight,) = find_flights(time_s, lift, lift, RULE)
        assert flight.height_m == pytest.approx(0.196, abs=0.008)


def test_the_last_foot_off_and_the_first_foot_down_count():
    """The right foot leaves 0.06 s later than the left, and is down 0.06 s before it."""
    time_s = np.arange(0.0, 4.0, 1.0 / 60.0)
    left, right = rise(time_s, 1.5, 0.52), rise(time_s, 1.56, 0.40)
    (flight,) = find_flights(time_s, *make_feet(time_s, (left, right)), RULE)
    assert flight.takeoff_s == pytest.approx(1.56, abs=0.05)
    assert flight.landing_s == pytest.approx(1.96, abs=0.05)


@pytest.mark.parametrize("seed", range(5))
def test_steps_are_no_flights(seed):
    """Knees lifted by turns, 0.6 s each, one foot always on the floor."""
    time_s = np.arange(0.0, 10.0, 1.0 / 30.0)
    wave = np.sin(np.pi * time_s / 0.6)
    feet = make_feet(
        time_s, (0.15 * np.clip(wave, 0, None), 0.15 * np.clip(-wave, 0, None)), seed=seed
    )
    assert find_flights(time_s, *feet, RULE) == []


@pytest.mark.parametrize("seconds", [0.4, 0.8, 2.0])
@pytest.mark.parametrize("seed", range(3))
def test_tiptoes_are_no_flights(seconds, seed):
    """Both feet 4 % of stature up, which takes 0.4 s each way, and stay there for a while."""
    time_s = np.arange(0.0, 12.0, 1.0 / 30.0)
    lift = sum(
        0.04 * (ease((time_s - start) / 0.4) - ease((time_s - start - 0.4 - seconds) / 0.4))
        for start in (1.5, 6.0)
    )
    assert find_flights(time_s, *make_feet(time_s, (lift, lift), seed=seed), RULE) == []


@given(st.integers(0, 2**31), st.floats(0.0, 0.005))
@settings(max_examples=40, deadline=None)
def test_standing_has_no_flight(seed, noise):
    time_s = np.arange(0.0, 15.0, 1.0 / 30.0)
    still = np.zeros_like(time_s)
    assert (
        find_flights(time_s, *make_feet(time_s, (still, still), seed=seed, noise=noise), RULE) == []
    )


@pytest.mark.parametrize("window_s", [(0.0, 1.7), (1.7, 4.0)])
def test_a_jump_cut_off_by_the_clip_has_no_time(window_s):
    time_s = np.arange(0.0, 4.0, 1.0 / 60.0)
    lift = rise(time_s, 1.5, 0.5)
    kept = (time_s >= window_s[0]) & (time_s <= window_s[1])
    assert len(find_flights(time_s, lift, lift, RULE)) == 1
    assert find_flights(time_s[kept], lift[kept], lift[kept], RULE) == []


def test_a_jump_with_a_long_gap_has_no_time_and_one_with_a_short_gap_has():
    time_s = np.arange(0.0, 4.0, 1.0 / 60.0)
    lift = rise(time_s, 1.5, 0.6)
    for lost_s, count in ((0.1, 1), (0.4, 0)):
        left = np.where(np.abs(time_s - 1.8) < lost_s / 2.0, np.nan, lift)
        assert len(find_flights(time_s, left, lift, RULE)) == count


@pytest.mark.parametrize("frames", [0, 1, 2, 3, 90])
def test_nobody_in_the_clip_does_not_fly(frames):
    nothing = np.full(frames, np.nan)
    assert find_flights(np.arange(frames) / 30.0, nothing, nothing, RULE) == []
    zero = np.zeros(frames)
    assert find_flights(np.arange(frames) / 30.0, zero, zero, RULE) == []


def test_feet_of_another_length_are_refused():
    with pytest.raises(ShapeError, match="heights"):
        find_flights(np.arange(5) / 30.0, np.zeros(5), np.zeros(4), RULE)
