"""Analytic: from measures over time to numbered holds and stages, with their sides."""

from __future__ import annotations

import numpy as np
import pytest

from motioncheck.records import MeasureTable
from motioncheck.splitting import (
    HoldRule,
    HoldSplitRule,
    Motion,
    PoseWindow,
    StageRule,
    StageSplitRule,
    measure_pose,
    split_holds,
    split_stages,
)
from motioncheck.splitting.events import CUT_NOTE
from motioncheck.splitting.stillness import compute_speed

RATE_HZ = 30.0
INF = float("inf")


def follow(*, keys, length_s):
    """Go from pose to pose: (time, value) keys, straight in between, held outside."""
    time_s = np.arange(0.0, length_s, 1.0 / RATE_HZ)
    return time_s, np.interp(time_s, *zip(*keys, strict=True))


def make_table(time_s, **values):
    widths = {c: np.full(len(time_s), 0.01) for c in values}
    return MeasureTable(time_s, values, widths)


def make_motion(time_s, place):
    speed = compute_speed(time_s, np.stack([place, np.zeros_like(place)], axis=1))
    return Motion(speed, speed)


def lunge(side, *, length_s=14.0, end_s=9.0):
    """Stand, kneel on one knee from 3 s on, stand again from ``end_s`` on."""
    keys = [(2.0, 0.0), (3.0, 1.0), (end_s, 1.0), (end_s + 1.0, 0.0)]
    time_s, share = follow(keys=keys, length_s=length_s)
    other = "right" if side == "left" else "left"
    straight = np.zeros_like(share)
    table = make_table(
        time_s,
        **{f"knee_flexion_{side}": 90.0 * share, f"knee_flexion_{other}": straight},
        trunk_inclination=straight,
    )
    return table, make_motion(time_s, 0.3 * share)


HOLDS = HoldSplitRule(
    angles=("knee_flexion", "trunk_inclination"),
    position=(
        PoseWindow("knee_flexion", "working", 80.0, 100.0, 5.0),
        PoseWindow("knee_flexion", "opposite", -10.0, 10.0, 5.0),
    ),
    each_side=True,
    hold=HoldRule(),
)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_hold_has_the_side_on_which_its_position_fits_and_standing_is_none(side):
    (event,) = split_holds(*lunge(side), HOLDS).events
    assert (event.kind, event.number, event.side) == ("hold", 1, side)
    assert event.start_s == pytest.approx(3.0, abs=0.3)
    assert event.end_s == pytest.approx(9.0, abs=0.3)
    # All of it is in position.
    held_s = event.end_s - event.start_s
    assert event.measures["in_position_s"].value == pytest.approx(held_s, abs=0.1)


def test_a_hold_that_the_clip_cuts_off_is_not_counted():
    timeline = split_holds(*lunge("left", length_s=7.0, end_s=20.0), HOLDS)
    assert timeline.events == ()
    (event,) = timeline.partial
    assert event.notes == (CUT_NOTE,)


def test_a_window_that_is_not_seen_says_nothing_and_either_side_will_do():
    time_s = np.array([0.0, 1.0, 2.0])
    nan = np.nan
    table = make_table(
        time_s,
        knee_flexion_left=np.array([90.0, nan, nan]),
        knee_flexion_right=np.array([0.0, 90.0, nan]),
    )
    either = PoseWindow("knee_flexion", "either", 80.0, 100.0, 10.0)
    both = PoseWindow("knee_flexion", "both", 80.0, 100.0, 10.0)
    worst, mean = measure_pose(table, [either], "left")
    np.testing.assert_allclose(worst, [0.0, 0.0, nan])
    np.testing.assert_allclose(mean, worst)
    # The right knee lies 80 degrees, or 8 units, outside.
    assert measure_pose(table, [both], "left")[0][0] == pytest.approx(8.0)


STAGES = StageSplitRule(
    names=("down", "middle", "up"),
    windows=tuple(
        (PoseWindow("hip_height_ratio", "none", low, low + 0.2, 0.1),) for low in (0.0, 0.4, 0.8)
    ),
    side_from="arm_inclination",
    side_higher=False,
    stage=StageRule(),
)


def climb(heights, *, still_s=1.2, move_s=1.0, loaded="right"):
    """Stop at each height in turn; one arm points up, the other hangs."""
    keys, clock = [], 0.5
    for height in heights:
        keys += [(clock, height), (clock + still_s, height)]
        clock += still_s + move_s
    time_s, height = follow(keys=[(0.0, -1.0), *keys, (clock, -1.0)], length_s=clock + 0.5)
    up, hanging = np.full(len(time_s), 3.0), np.full(len(time_s), 170.0)
    arms = {f"arm_inclination_{s}": up if s == loaded else hanging for s in ("left", "right")}
    return make_table(time_s, hip_height_ratio=height, **arms), make_motion(time_s, height)


@pytest.mark.parametrize("loaded", ["left", "right"])
def test_stages_are_numbered_up_and_back_with_the_side_of_the_loaded_arm(loaded):
    events = split_stages(*climb([0.1, 0.5, 0.9, 0.5, 0.1], loaded=loaded), STAGES).events
    assert [e.stage for e in events] == [1, 2, 3, 2, 1]
    assert [e.number for e in events] == [1, 2, 3, 4, 5]
    assert [e.name for e in events] == ["down", "middle", "up", "middle", "down"]
    assert {e.group for e in events} == {1}
    assert {e.side for e in events} == {loaded}


def test_a_stage_that_the_body_sweeps_through_without_any_rest_was_left_out():
    events = split_stages(*climb([0.1, 0.9, 0.5, 0.1]), STAGES).events
    assert [e.stage for e in events] == [1, 3, 2, 1]


def test_a_stop_at_the_first_stage_between_two_ways_is_divided_between_them():
    """Three stops, then straight on from the floor: the middle stop ends one way, begins one."""
    events = split_stages(*climb([0.1, 0.5, 0.1, 0.5, 0.9, 0.5, 0.1]), STAGES).events
    assert [(e.group, e.stage) for e in events] == [
        (1, 1), (1, 2), (1, 1), (2, 1), (2, 2), (2, 3), (2, 2), (2, 1),
    ]  # fmt: skip
    first, second = events[2], events[3]
    assert first.end_s == second.start_s
    assert first.end_s - first.start_s == pytest.approx(second.end_s - second.start_s)
