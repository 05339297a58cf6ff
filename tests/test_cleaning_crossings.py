"""Analytic: legs of a lunge that trade places while the body stands still, and legs that run."""

from __future__ import annotations

import numpy as np
import pytest

from motioncheck.cleaning.crossings import find_crossings

LEG_PX = 400.0
RATE_HZ = 30.0


def stance(length_s=12.0, rate_hz=RATE_HZ):
    """Feet together, from 2 s on one leg length apart, from 10 s on together again."""
    time_s = np.arange(0.0, length_s, 1.0 / rate_hz)
    share = np.interp(time_s, [1.0, 2.0, 10.0, 11.0], [0.0, 1.0, 1.0, 0.0])
    ankles = np.zeros((len(time_s), 2, 2))
    ankles[:, 0, 0], ankles[:, 1, 0] = 300.0, 300.0 + LEG_PX * share
    ankles[:, :, 1] = 900.0
    hips = np.stack([300.0 + 0.5 * LEG_PX * share, np.full(len(time_s), 600.0)], axis=1)
    return time_s, ankles, hips


def exchange(time_s, ankles, start_s, end_s, slide_s=0.25):
    """Let the labels slide to the other leg within a quarter of a second, and back."""
    share = np.interp(time_s, [start_s, start_s + slide_s, end_s - slide_s, end_s], [0, 1, 1, 0])
    share = share[:, None, None]
    return (1 - share) * ankles + share * ankles[:, ::-1]


def test_legs_exchanged_for_seconds_in_a_still_lunge_are_found():
    time_s, ankles, hips = stance()
    shown = exchange(time_s, ankles, 3.0, 8.0)
    found = find_crossings(shown, hips, time_s, leg_px=LEG_PX)
    inside = (time_s > 3.2) & (time_s < 7.8)
    assert found[inside].all()
    assert not found[(time_s < 3.0) | (time_s > 8.0)].any()


def test_an_exchange_that_is_never_taken_back_ends_where_the_legs_come_together():
    time_s, ankles, hips = stance()
    shown = exchange(time_s, ankles, 3.0, 99.0)
    found = find_crossings(shown, hips, time_s, leg_px=LEG_PX)
    assert found[(time_s > 3.3) & (time_s < 10.5)].all()
    assert not found[time_s > 11.0].any()


@pytest.mark.parametrize("rate_hz", [15.0, 24.0, 60.0])
def test_a_lunge_held_still_is_left_alone_at_any_rate(rate_hz):
    time_s, ankles, hips = stance(rate_hz=rate_hz)
    rng = np.random.default_rng(3)
    shown = ankles + rng.normal(0.0, 4.0, ankles.shape)
    assert not find_crossings(shown, hips, time_s, leg_px=LEG_PX).any()


def test_running_feet_trade_places_without_being_taken_for_it():
    """Feet that swing past each other three times a second, a third of a leg off the floor."""
    time_s = np.arange(0.0, 6.0, 1.0 / 60.0)
    swing = np.sin(2 * np.pi * 1.5 * time_s)
    ankles = np.zeros((len(time_s), 2, 2))
    ankles[:, 0, 0], ankles[:, 1, 0] = 300 + 100 * swing, 300 - 100 * swing
    ankles[:, :, 1] = 900.0
    hips = np.full((len(time_s), 2), 600.0)
    assert not find_crossings(ankles, hips, time_s, leg_px=LEG_PX).any()


def test_a_step_that_carries_the_hips_along_is_a_step():
    """The rear foot is brought past the front one and set down a leg ahead: the hips go too."""
    time_s, ankles, hips = stance()
    shown = exchange(time_s, ankles, 3.0, 8.0)
    shown[:, :, 0] += np.interp(time_s, [3.0, 3.25], [0.0, LEG_PX])[:, None]
    moving = hips + np.stack([np.interp(time_s, [3.0, 3.25], [0.0, LEG_PX])] * 2, axis=1)
    found = find_crossings(shown, moving, time_s, leg_px=LEG_PX)
    assert not found[time_s < 7.5].any()


def test_missing_ankles_say_nothing():
    time_s, ankles, hips = stance()
    shown = exchange(time_s, ankles, 3.0, 8.0)
    shown[:, 0] = np.nan
    assert not find_crossings(shown, hips, time_s, leg_px=LEG_PX).any()
    assert find_crossings(ankles[:2], hips[:2], time_s[:2], leg_px=LEG_PX).tolist() == [False] * 2
