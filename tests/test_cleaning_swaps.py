"""Exchanged legs: on legs that run in place, seen from the side, with exchanges put in."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motioncheck.cleaning.swaps import find_swaps

LEG_PX = 400.0


def running_legs(
    rate_hz: float, *, seconds: float = 6.0, kick: bool = False, apart_px: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Legs of somebody running in place, 1.3 strides a second, jitter of 2 px.

    Returns the times and points (T, 2, 4, 2) of knee, ankle, heel and toe. The legs cross in the
    picture twice a stride, at opposite velocities. ``kick`` sends the heels to the seat instead of
    the knees up; ``apart_px`` is the distance between the legs of somebody seen from the front.
    """
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    legs = []
    for side, phase in ((1, 0.0), (-1, np.pi)):
        lift = np.maximum(np.sin(2 * np.pi * 1.3 * time_s + phase), -0.25) + 0.25
        thigh = np.radians(4 + (10 if kick else 65) * lift)
        shank = thigh - np.radians(4 + (90 if kick else 70) * lift)
        hip = np.array([500.0 + side * apart_px / 2, 400.0])
        knee = hip + 0.5 * LEG_PX * np.stack([np.sin(thigh), np.cos(thigh)], axis=1)
        down = np.stack([np.sin(shank), np.cos(shank)], axis=1)
        forward = np.stack([down[:, 1], -down[:, 0]], axis=1)
        ankle = knee + 0.5 * LEG_PX * down
        heel = ankle + 25 * down - 20 * forward
        legs.append(np.stack([knee, ankle, heel, ankle + 25 * down + 60 * forward], axis=1))
    points = np.stack(legs, axis=1)
    return time_s, points + np.random.default_rng(0).normal(0, 2, points.shape)


def weights(points: np.ndarray) -> np.ndarray:
    """The left leg is near and seen well, the right one is not."""
    near_far = np.broadcast_to(np.array([0.95, 0.6])[:, None], points.shape[1:3])
    return np.broadcast_to(near_far, points.shape[:3])


def exchange(points: np.ndarray, frames: np.ndarray) -> np.ndarray:
    result = points.copy()
    result[frames] = points[frames, ::-1]
    return result


def apart(points: np.ndarray, legs: float = 0.2) -> np.ndarray:
    """Frames in which the legs are further apart than this share of a leg, on average."""
    return np.linalg.norm(points[:, 0] - points[:, 1], axis=-1).mean(axis=1) > legs * LEG_PX


@pytest.mark.parametrize("rate_hz", [24, 30, 60, 120])
@pytest.mark.parametrize("kick", [False, True])
@pytest.mark.parametrize("apart_px", [0.0, 60.0])
def test_swaps_are_not_found_where_there_are_none(
    rate_hz: int, kick: bool, apart_px: float
) -> None:
    """Synthetic: legs that do cross in the picture, twice a stride, are left alone."""
    time_s, points = running_legs(rate_hz, kick=kick, apart_px=apart_px)
    labels = find_swaps(points, weights(points), time_s, leg_px=LEG_PX)
    assert not labels.swapped.any()
    assert not labels.blended.any()


def test_swaps_are_not_invented_while_standing_with_the_legs_together() -> None:
    rng = np.random.default_rng(1)
    one_leg = np.array([[500, 600], [495, 800], [480, 820], [560, 825]], dtype=float)
    points = np.stack([one_leg, one_leg + 4.0]) + rng.normal(0, 3, (300, 2, 4, 2))
    labels = find_swaps(points, weights(points), np.arange(300) / 30, leg_px=LEG_PX)
    assert not labels.swapped.any()


@given(
    st.lists(st.tuples(st.integers(0, 10_000), st.integers(0, 10_000)), min_size=1, max_size=5),
    st.sampled_from([30, 60]),
    st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_swaps_put_in_are_found_exactly(
    picks: list[tuple[int, int]], rate_hz: int, kick: bool
) -> None:
    """Property: exchanges of up to 0.5 s that begin and end with the legs apart are all found.

    While the legs are together nothing in the picture tells a change of labels from two legs that
    meet and part again, so no change is put in there and no label is judged there.
    """
    time_s, points = running_legs(rate_hz, seconds=10.0, kick=kick)
    far = apart(points, 0.3)
    places = np.nonzero(far[2:-2] & far[1:-3])[0] + 2
    wrong = np.zeros(len(time_s), dtype=bool)
    for pick, length in picks:
        start = places[pick % len(places)]
        ends = places[(places >= start + 2) & (places <= start + 0.5 * rate_hz)]
        if len(ends) and not wrong[max(start - rate_hz, 0) : start + 2 * rate_hz].any():
            wrong[start : ends[length % len(ends)]] = True
    labels = find_swaps(exchange(points, wrong), weights(points), time_s, leg_px=LEG_PX)
    judged = apart(points, 0.2)
    np.testing.assert_array_equal(labels.swapped[judged], wrong[judged])
    assert not np.any(labels.blended & judged)


# The first is a real slide of the pose model at 60 frames a second.
@pytest.mark.parametrize("into", [[0.03, 0.2, 0.8, 0.95], [0.1, 0.5, 0.9]])
def test_swaps_that_slide_from_leg_to_leg_are_found(into: list[float]) -> None:
    """The model smooths its output: labels take some frames from one leg to the other."""
    time_s, points = running_legs(60, kick=True)
    separation = np.linalg.norm(points[:, 0] - points[:, 1], axis=-1).mean(axis=1)
    middle = int(np.argmax(separation[100:160])) + 100
    slide = np.array([*into, *[1.0] * 9, *into[::-1]])
    share = np.zeros(len(time_s))
    share[middle - len(slide) // 2 :][: len(slide)] = slide
    blend = share[:, None, None, None]
    seen = (1 - blend) * points + blend * points[:, ::-1]
    labels = find_swaps(seen, weights(points), time_s, leg_px=LEG_PX)
    clear = share != 0.5
    np.testing.assert_array_equal(labels.swapped[clear], share[clear] > 0.5)
    # Half way, the points are out of place whichever leg they are given to.
    assert labels.blended[~clear].all()
    assert not labels.blended[(share == 0) | (share == 1)].any()


def test_swaps_of_a_single_frame_are_found_where_the_legs_are_far_apart() -> None:
    time_s, points = running_legs(30)
    far = apart(points, 0.4)
    for frame in np.nonzero(far[5:60])[0] + 5:
        wrong = np.arange(len(time_s)) == frame
        labels = find_swaps(exchange(points, wrong), weights(points), time_s, leg_px=LEG_PX)
        np.testing.assert_array_equal(labels.swapped, wrong)


def test_swaps_are_followed_through_short_gaps() -> None:
    time_s, points = running_legs(60)
    wrong = np.zeros(len(time_s), dtype=bool)
    wrong[100:140] = True
    seen = exchange(points, wrong)
    seen[118:124] = np.nan
    labels = find_swaps(seen, weights(points), time_s, leg_px=LEG_PX)
    judged = apart(points) & np.isfinite(seen[:, 0, 0, 0])
    np.testing.assert_array_equal(labels.swapped[judged], wrong[judged])
    assert not labels.swapped[118:124].any()


def test_swaps_are_the_same_mirrored_and_backward() -> None:
    """Invariance: mirror image with left and right renamed; time reversed."""
    time_s, points = running_legs(30)
    wrong = np.zeros(len(time_s), dtype=bool)
    wrong[50:57] = wrong[91:95] = True
    seen, weight = exchange(points, wrong), weights(points)
    there = find_swaps(seen, weight, time_s, leg_px=LEG_PX).swapped
    mirrored = (seen * [-1, 1] + [1000, 0])[:, ::-1]
    np.testing.assert_array_equal(
        find_swaps(mirrored, weight[:, ::-1], time_s, leg_px=LEG_PX).swapped, there
    )
    back = find_swaps(seen[::-1], weight[::-1], time_s[-1] - time_s[::-1], leg_px=LEG_PX).swapped
    judged = apart(points)
    np.testing.assert_array_equal(back[::-1][judged], there[judged])


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_swaps_need_a_few_frames(count: int) -> None:
    time_s, points = running_legs(30)
    labels = find_swaps(points[:count], weights(points)[:count], time_s[:count], leg_px=LEG_PX)
    assert labels.swapped.shape == (count,)
    assert not labels.swapped.any()
