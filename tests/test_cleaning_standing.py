"""Analytic: one foot stands while the other is away, and the model calls them by wrong names."""

from __future__ import annotations

import numpy as np
import pytest

from motioncheck.cleaning.standing import find_wrong_standing
from motioncheck.cleaning.swaps import find_swaps

LEG_PX = 400.0
RATE_HZ = 30.0
# Ankle, heel and toes of a foot, from the ankle; the far foot (right) stands higher in the picture.
FOOT = np.array([[0.0, 0.0], [-20.0, 28.0], [60.0, 32.0]])
NEAR, FAR = np.array([400.0, 900.0]), np.array([404.0, 878.0])
LEFT, RIGHT = 0, 1


def step_out(away, *, reach=(300.0, -40.0), rate_hz=RATE_HZ, shift=(0.0, 0.0)):
    """Stand for 2 s, put one foot away by 3 s, bring it back from 9 s to 10 s, stand until 12 s.

    The one that stays is seen ``shift`` away from its place meanwhile.
    """
    time_s = np.arange(0.0, 12.0, 1.0 / rate_hz)
    share = np.interp(time_s, [2.0, 3.0, 9.0, 10.0], [0.0, 1.0, 1.0, 0.0])[:, None, None]
    feet = np.stack([NEAR + FOOT, FAR + FOOT])[None].repeat(len(time_s), axis=0)
    feet[:, away] += share * np.array(reach)
    feet[:, 1 - away] += np.minimum(1.0, 3.0 * share) * np.array(shift)
    rng = np.random.default_rng(5)
    return time_s, feet + rng.normal(0.0, 1.0, feet.shape)


def exchange(time_s, feet, start_s, end_s):
    shown = feet.copy()
    inside = (time_s >= start_s) & (time_s < end_s)
    shown[inside] = feet[inside][:, ::-1]
    return shown


@pytest.mark.parametrize("away", [LEFT, RIGHT])
@pytest.mark.parametrize("rate_hz", [15.0, 30.0, 60.0])
def test_legs_exchanged_after_one_left_are_found(away, rate_hz):
    time_s, feet = step_out(away, rate_hz=rate_hz)
    shown = exchange(time_s, feet, 4.0, 8.0)
    found = find_wrong_standing(shown, time_s, leg_px=LEG_PX)
    assert (found.swapped == ((time_s >= 4.0) & (time_s < 8.0))).all()
    assert not found.blended.any()


def test_an_exchange_that_lasts_until_the_foot_is_back_is_found():
    time_s, feet = step_out(RIGHT)
    shown = exchange(time_s, feet, 2.8, 9.9)
    found = find_wrong_standing(shown, time_s, leg_px=LEG_PX)
    assert found.swapped[(time_s > 2.85) & (time_s < 9.7)].all()
    assert not found.swapped[(time_s < 2.75) | (time_s > 9.95)].any()


def test_legs_exchanged_from_the_first_moment_on_are_told_by_the_place_of_the_far_foot():
    """The near leg is raised; what stands is called near, but stands where the far foot did."""
    time_s, feet = step_out(LEFT, reach=(-150.0, -280.0))
    shown = exchange(time_s, feet, 2.05, 9.95)
    found = find_wrong_standing(shown, time_s, leg_px=LEG_PX)
    assert found.swapped[(time_s > 2.3) & (time_s < 9.7)].all()


def test_a_far_foot_seen_lower_once_it_is_not_hidden_any_more_is_not_taken_for_the_near_one():
    time_s, feet = step_out(LEFT, shift=(0.0, 20.0))
    found = find_wrong_standing(feet, time_s, leg_px=LEG_PX)
    assert not found.swapped.any()
    assert not found.blended.any()


def test_a_near_foot_with_its_heel_lifted_is_not_taken_for_the_far_one():
    time_s, feet = step_out(RIGHT)
    lift = np.interp(time_s, [3.0, 4.0, 8.0, 9.0], [0.0, -24.0, -24.0, 0.0])
    feet[:, LEFT, :2, 1] += lift[:, None]
    assert not find_wrong_standing(feet, time_s, leg_px=LEG_PX).swapped.any()


def test_legs_drawn_between_the_true_ones_are_left_out():
    time_s, feet = step_out(RIGHT, reach=(400.0, -40.0))
    shown = exchange(time_s, feet, 4.0, 8.0)
    share = np.interp(time_s, [3.9, 4.05, 7.95, 8.1], [0.0, 1.0, 1.0, 0.0])[:, None, None, None]
    slide = (share > 0.0) & (share < 1.0)
    shown = np.where(slide, (1.0 - share) * feet + share * feet[:, ::-1], shown)
    found = find_wrong_standing(shown, time_s, leg_px=LEG_PX)
    assert found.blended[np.abs(time_s - 3.975) < 0.05].all()
    assert found.blended[np.abs(time_s - 8.025) < 0.05].all()
    assert not found.blended[(time_s > 4.2) & (time_s < 7.8)].any()
    assert found.swapped[(time_s > 4.2) & (time_s < 7.8)].all()


def test_of_a_stretch_with_mixtures_all_over_nothing_is_left():
    time_s, feet = step_out(RIGHT)
    shown = exchange(time_s, feet, 4.0, 8.0)
    mixed = (time_s > 3.2) & (time_s < 8.8) & (np.arange(len(time_s)) % 6 < 2)
    shown[mixed] = shown[mixed].mean(axis=1, keepdims=True)
    found = find_wrong_standing(shown, time_s, leg_px=LEG_PX)
    assert found.blended[(time_s > 2.5) & (time_s < 9.5)].all()
    assert not found.blended[(time_s < 1.9) | (time_s > 10.1)].any()


@pytest.mark.parametrize("away", [LEFT, RIGHT])
def test_legs_with_the_right_names_are_left_alone(away):
    time_s, feet = step_out(away)
    found = find_wrong_standing(feet, time_s, leg_px=LEG_PX)
    assert not found.swapped.any()
    assert not found.blended.any()
    assert not found.judged.any()


@pytest.mark.parametrize("rate_hz", [10.0, 15.0, 30.0, 60.0])
@pytest.mark.parametrize("steps_per_s", [2.0, 3.0])
def test_running_on_the_spot_between_two_stances_is_left_alone(rate_hz, steps_per_s):
    """Heels swing behind, half a leg and more off the floor, both feet in the air in between."""
    time_s = np.arange(0.0, 12.0, 1.0 / rate_hz)
    feet = np.stack([NEAR + FOOT, FAR + FOOT])[None].repeat(len(time_s), axis=0)
    running = (time_s > 2.0) & (time_s < 10.0)
    for side in (LEFT, RIGHT):
        swing = np.sin(np.pi * (steps_per_s * (time_s - 2.0) + side))
        # A foot is up for a little longer than it is down.
        up = running * np.clip((swing + 0.1) / 1.1, 0.0, None)
        feet[:, side] += up[:, None, None] * np.array([-160.0, -230.0])
    found = find_wrong_standing(feet, time_s, leg_px=LEG_PX)
    assert not found.swapped.any()
    assert not found.blended.any()


def test_legs_that_take_turns_are_left_alone():
    """First one foot steps out for four seconds, then the other, with no rest between."""
    time_s, feet = step_out(LEFT)
    home = np.stack([NEAR + FOOT, FAR + FOOT])
    both = np.concatenate([feet[time_s < 10.0], home + (feet[time_s >= 2.0] - home)[:, ::-1]])
    found = find_wrong_standing(both, np.arange(len(both)) / RATE_HZ, leg_px=LEG_PX)
    assert not found.swapped.any()


def test_who_walks_on_is_left_alone():
    time_s, feet = step_out(RIGHT)
    shown = exchange(time_s, feet, 4.0, 8.0)
    shown[..., 0] += np.interp(time_s, [9.0, 10.0], [0.0, 300.0])[:, None, None]
    found = find_wrong_standing(shown, time_s, leg_px=LEG_PX)
    assert not found.swapped.any()


def test_missing_feet_say_nothing():
    time_s, feet = step_out(RIGHT)
    shown = exchange(time_s, feet, 4.0, 8.0)
    shown[:, RIGHT] = np.nan
    assert not find_wrong_standing(shown, time_s, leg_px=LEG_PX).swapped.any()
    few = find_wrong_standing(feet[:2], time_s[:2], leg_px=LEG_PX)
    assert few.swapped.tolist() == few.judged.tolist() == [False, False]


def test_what_is_settled_is_not_exchanged_back():
    """Of two halves that contradict each other, the settled one keeps its names."""
    time_s = np.arange(0.0, 2.0, 1.0 / RATE_HZ)
    legs = np.zeros((len(time_s), 2, 2, 2))
    legs[:, 0, :, 0], legs[:, 1, :, 0] = 300.0, 600.0
    late = time_s >= 0.8
    legs[late] = legs[late][:, ::-1]
    weight = np.ones(legs.shape[:3])
    free = find_swaps(legs, weight, time_s, leg_px=LEG_PX).swapped
    assert (free == ~late).all()
    settled = find_swaps(legs, weight, time_s, leg_px=LEG_PX, settled=~late).swapped
    assert (settled == late).all()
