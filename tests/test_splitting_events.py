"""Analytic: repetitions with side, number and phases, from measures whose course is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from synthetic import strokes

from motioncheck.records import MeasureTable
from motioncheck.splitting import CycleRule, SplitRule, split_reps

RATE_HZ = 60.0
SQUAT = SplitRule(
    "hip_height_ratio",
    sided=False,
    alternating=False,
    turns_low=True,
    cycle=CycleRule(0.12, 0.8, 20.0),
    phase_names=("lowering", "bottom", "rising"),
)
KNEES = SplitRule(
    "knee_height_ratio",
    sided=True,
    alternating=True,
    turns_low=False,
    cycle=CycleRule(0.25, 0.3, 4.0, 0.25),
    phase_names=("lifting", "top", "dropping"),
)
JACKS = replace(KNEES, signal="hand_height_ratio", alternating=False)
TWIST = SplitRule(
    "shoulder_height_ratio",
    sided=False,
    alternating=True,
    turns_low=True,
    cycle=CycleRule(0.3, 1.0, 15.0),
    phase_names=("fold and turn", "reach", "return"),
    side_from="hand_height_ratio",
)


def axis(seconds):
    return np.arange(0.0, seconds, 1.0 / RATE_HZ)


def table(time_s, **columns):
    band = np.full(len(time_s), 0.05)
    return MeasureTable(time_s, columns, dict.fromkeys(columns, band))


def squats(starts_s, seconds, *, down_s=2.0, hold_s=1.0, up_s=1.0):
    time_s = axis(seconds)
    depth = strokes(time_s, starts_s, out_s=down_s, hold_s=hold_s, back_s=up_s)
    return table(time_s, hip_height_ratio=1.0 - 0.5 * depth)


def knee_lifts(left_s, right_s, seconds, *, ghost=0.0):
    """Lifts of 0.2 s up and 0.2 s down; ``ghost`` is the share in which the other knee follows."""
    time_s = axis(seconds)
    lift = {
        side: strokes(time_s, starts, out_s=0.2, hold_s=0.0, back_s=0.2)
        for side, starts in (("left", left_s), ("right", right_s))
    }
    left = np.maximum(lift["left"], ghost * lift["right"])
    right = np.maximum(lift["right"], ghost * lift["left"])
    return table(time_s, knee_height_ratio_left=left - 1.0, knee_height_ratio_right=right - 1.0)


def test_phases_of_a_squat_have_the_tempo_put_in():
    """2-1-1: two seconds down, one at the bottom, one up, each to within 0.1 s, because a cosine
    is slower than a tenth of its peak speed in the first and last 3.2 % of its time."""
    timeline = split_reps(squats([1.0, 7.0, 13.0], 19.0), SQUAT)
    assert [e.number for e in timeline.events] == [1, 2, 3]
    assert timeline.partial == ()
    for event, start in zip(timeline.events, (1.0, 7.0, 13.0), strict=True):
        assert event.kind == "rep"
        assert event.side == "both"
        assert [p.name for p in event.phases] == ["lowering", "bottom", "rising"]
        lengths = [p.end_s - p.start_s for p in event.phases]
        assert lengths == pytest.approx([2.0, 1.0, 1.0], abs=0.2)
        assert lengths[0] + lengths[1] + lengths[2] == pytest.approx(4.0, abs=0.15)
        assert event.start_s == pytest.approx(start, abs=0.1)
        assert event.turn_s == pytest.approx(start + 2.5, abs=0.1)
        assert event.phases[0].end_s == event.phases[1].start_s
        assert event.phases[1].end_s == event.phases[2].start_s


def test_played_backwards_lowering_and_rising_change_places():
    forth = squats([1.0, 7.0, 13.0], 19.0)
    back = table(forth.time_s, hip_height_ratio=forth.values["hip_height_ratio"][::-1])
    a, b = split_reps(forth, SQUAT).events, split_reps(back, SQUAT).events
    assert len(a) == len(b) == 3
    for event, mirror in zip(a, reversed(b), strict=True):
        out, _, home = (p.end_s - p.start_s for p in event.phases)
        out_b, _, home_b = (p.end_s - p.start_s for p in mirror.phases)
        assert (out, home) == pytest.approx((home_b, out_b), abs=2.0 / RATE_HZ)


def test_without_a_pause_the_turn_is_an_instant():
    timeline = split_reps(squats([1.0, 4.0], 7.0, down_s=1.0, hold_s=0.0, up_s=1.0), SQUAT)
    for event in timeline.events:
        assert event.phases[1].start_s == event.phases[1].end_s == event.turn_s


def test_alternating_sides_are_merged_in_time_order_and_numbered_over_both():
    lifts = knee_lifts([1.0, 2.0, 3.0], [1.5, 2.5], 4.5)
    events = split_reps(lifts, KNEES).events
    assert [e.side for e in events] == ["left", "right", "left", "right", "left"]
    assert [e.number for e in events] == [1, 2, 3, 4, 5]
    np.testing.assert_allclose([e.turn_s for e in events], [1.2, 1.7, 2.2, 2.7, 3.2], atol=0.02)


@pytest.mark.parametrize("ghost", [0.3, 0.6, 0.9])
def test_a_side_that_only_moves_along_with_the_other_is_not_counted(ghost):
    lifts = knee_lifts([1.0, 2.0, 3.0], [1.5, 2.5, 3.5], 5.0, ghost=ghost)
    events = split_reps(lifts, KNEES).events
    assert [e.side for e in events] == ["left", "right"] * 3


@given(st.integers(2, 20), st.integers(2, 20), st.floats(0.45, 1.5))
@settings(max_examples=30, deadline=None)
def test_each_side_is_counted_by_itself_however_often_it_moves(lefts, rights, step):
    left_s = 0.5 + step * np.arange(lefts)
    right_s = 0.5 + step / 2 + step * np.arange(rights)
    events = split_reps(knee_lifts(left_s, right_s, max(left_s[-1], right_s[-1]) + 1.5), KNEES)
    assert sum(e.side == "left" for e in events.events) == lefts
    assert sum(e.side == "right" for e in events.events) == rights


def test_a_sided_signal_of_both_sides_is_averaged_or_read_from_the_one_seen():
    time_s = axis(8.0)
    lift = strokes(time_s, [1.0, 3.0, 5.0], out_s=0.5, hold_s=0.0, back_s=0.5)
    right = np.where(time_s < 4.0, 1.0 + lift, np.nan)
    both = table(time_s, hand_height_ratio_left=1.0 + lift, hand_height_ratio_right=right)
    events = split_reps(both, JACKS).events
    assert [e.side for e in events] == ["both"] * 3
    np.testing.assert_allclose([e.turn_s for e in events], [1.5, 3.5, 5.5], atol=0.02)


def test_the_working_side_is_the_one_whose_hand_is_lower():
    time_s = axis(14.0)
    starts = [1.0, 5.0, 9.0]
    fold = strokes(time_s, starts, out_s=1.0, hold_s=0.5, back_s=1.0)
    reach = strokes(time_s, starts[1:2], out_s=1.0, hold_s=0.5, back_s=1.0)
    hands = {"hand_height_ratio_left": 1.0 + reach, "hand_height_ratio_right": 1.0 + fold - reach}
    events = split_reps(table(time_s, shoulder_height_ratio=1.6 - fold, **hands), TWIST).events
    assert [e.side for e in events] == ["left", "right", "left"]


def test_the_working_side_is_unsaid_when_the_hands_cannot_be_seen():
    time_s = axis(8.0)
    fold = strokes(time_s, [1.0, 4.5], out_s=1.0, hold_s=0.5, back_s=1.0)
    nothing = np.full(len(time_s), np.nan)
    hands = {"hand_height_ratio_left": nothing, "hand_height_ratio_right": nothing}
    events = split_reps(table(time_s, shoulder_height_ratio=1.6 - fold, **hands), TWIST).events
    assert [e.side for e in events] == ["both", "both"]


def test_unfinished_first_and_last_reps_are_kept_apart_and_not_numbered_with_the_others():
    whole = squats([1.0, 7.0, 13.0, 19.0], 25.0)
    kept = (whole.time_s > 3.2) & (whole.time_s < 21.5)
    cut = table(whole.time_s[kept], hip_height_ratio=whole.values["hip_height_ratio"][kept])
    timeline = split_reps(cut, SQUAT)
    assert [e.number for e in timeline.events] == [1, 2]
    np.testing.assert_allclose([e.turn_s for e in timeline.events], [9.5, 15.5], atol=0.1)
    assert [e.number for e in timeline.partial] == [1, 2]


def test_a_body_that_never_moves_gives_no_event():
    time_s = axis(5.0)
    still = table(time_s, hip_height_ratio=np.ones(len(time_s)))
    assert split_reps(still, SQUAT).events == ()
    assert split_reps(still, SQUAT).partial == ()
