"""Worked cases: how well an event fits a signature, and what its candidates are."""

from __future__ import annotations

import numpy as np
import pytest
from standard_examples import make_standard, split_data

from motioncheck.measures import REGISTRY
from motioncheck.naming import find_candidates, score_event
from motioncheck.naming.evidence import FEWEST_STAGES, fit_feature
from motioncheck.records import Event, MeasureTable
from motioncheck.splitting import Motion
from motioncheck.standards import Feature

COLUMNS = [c for spec in REGISTRY if spec.compute for c in spec.ids()]
RATE_HZ = 30.0


def make_table(seconds=10.0, **columns):
    """A table in which all but the given columns (number or array) are missing."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    values = {c: np.full(len(time_s), np.nan) for c in COLUMNS}
    values |= {c: np.broadcast_to(np.asarray(v, float), time_s.shape) for c, v in columns.items()}
    return MeasureTable(
        time_s, values, {c: np.where(np.isfinite(v), 0.0, v) for c, v in values.items()}
    )


def make_event(side="left", start_s=2.0, turn_s=3.0, end_s=4.0):
    return Event("rep", 1, side, start_s, turn_s, end_s)


def make_feature(measure="hip_height_ratio", moment="turn", slack=0.2, **limits):
    return Feature(measure=measure, moment=moment, slack=slack, **limits)


@pytest.mark.parametrize(
    ("value", "fit"), [(0.5, 1.0), (0.8, 1.0), (0.9, 0.5), (1.0, 0.0), (2.0, 0.0), (0.3, 0.5)]
)
def test_a_fit_is_1_inside_the_range_and_falls_to_0_at_the_slack(value, fit):
    """Range 0.4 to 0.8 with a slack of 0.2: 0.9 and 0.3 lie half the slack outside."""
    feature = make_feature(at_least=0.4, at_most=0.8)
    found = fit_feature(make_table(hip_height_ratio=value), make_event(), feature)
    assert found == pytest.approx(fit)


def test_what_is_not_seen_is_unknown_and_lowers_what_is_known_not_the_score():
    table = make_table(hip_height_ratio=0.9)
    signature = (
        make_feature(at_most=0.8),
        make_feature("trunk_inclination", at_most=10.0, slack=5.0),
    )
    assert np.isnan(fit_feature(table, make_event(), signature[1]))
    score, known = score_event(table, make_event(), signature)
    assert score == pytest.approx(0.5)
    assert known == pytest.approx(0.5)


def test_fits_are_multiplied():
    table = make_table(hip_height_ratio=0.9, shoulder_height_ratio=1.1)
    signature = (
        make_feature(at_most=0.8),
        make_feature("shoulder_height_ratio", at_least=1.2),
    )
    assert score_event(table, make_event(), signature) == (pytest.approx(0.25), 1.0)


def test_working_and_opposite_are_those_of_the_event():
    table = make_table(knee_height_ratio_left=0.0, knee_height_ratio_right=-1.0)
    up = make_feature("knee_height_ratio", side="working", at_least=-0.2)
    down = make_feature("knee_height_ratio", side="opposite", at_most=-0.8)
    left, right = make_event("left"), make_event("right")
    assert [fit_feature(table, left, f) for f in (up, down)] == [1.0, 1.0]
    assert [fit_feature(table, right, f) for f in (up, down)] == [0.0, 0.0]


def test_both_needs_both_sides_and_either_needs_one():
    table = make_table(hand_height_ratio_left=2.0, hand_height_ratio_right=1.0)
    limits = {"measure": "hand_height_ratio", "at_least": 1.8}
    assert fit_feature(table, make_event(), make_feature(side="both", **limits)) == 0.0
    assert fit_feature(table, make_event(), make_feature(side="either", **limits)) == 1.0


def test_either_is_unknown_when_the_side_that_may_fit_was_not_seen():
    table = make_table(hand_height_ratio_left=1.0)
    feature = make_feature("hand_height_ratio", side="either", at_least=1.8)
    assert np.isnan(fit_feature(table, make_event(), feature))
    seen = make_table(hand_height_ratio_right=2.0)
    assert fit_feature(seen, make_event(), feature) == 1.0


def test_a_difference_is_working_minus_opposite_and_without_sides_has_no_sign():
    table = make_table(hand_height_ratio_left=1.0, hand_height_ratio_right=1.5)
    feature = make_feature("hand_height_ratio", side="difference", at_least=0.4)
    assert fit_feature(table, make_event("right"), feature) == 1.0
    assert fit_feature(table, make_event("left"), feature) == 0.0
    assert fit_feature(table, make_event("both"), feature) == 1.0


def test_the_length_of_an_event_can_be_a_feature():
    """The event lasts 2 s, 0.1 s more than asked for, half the slack."""
    feature = make_feature("rep_time_s", "mean", at_most=1.9)
    assert fit_feature(make_table(), make_event(), feature) == pytest.approx(0.5)


def test_of_an_event_that_was_cut_off_only_the_extremes_are_read():
    table = make_table(hip_height_ratio=0.5)
    signature = (
        make_feature(at_most=0.8),
        make_feature(moment="start", at_least=0.9),
        make_feature("rep_time_s", "mean", at_least=5.0),
    )
    assert score_event(table, make_event(), signature)[0] == 0.0
    score, known = score_event(table, make_event(), signature, whole=False)
    assert score == 1.0
    assert known == pytest.approx(1 / 3)


def still(table):
    zero = np.zeros(len(table.time_s))
    return Motion(zero, zero)


def test_candidates_are_the_reps_of_the_movements_own_split():
    """Three dips of the hips from 1 to 0.5, two seconds each."""
    time_s = np.arange(round(8 * RATE_HZ)) / RATE_HZ
    dip = np.where((time_s > 1) & (time_s < 7), 0.5 - 0.5 * np.cos(np.pi * (time_s - 1)), 0.0)
    table = make_table(8.0, hip_height_ratio=1.0 - 0.5 * dip)
    standard = make_standard(
        id="dips", split=split_data(), signature=[dict(make_feature(at_most=0.6))]
    )
    found = find_candidates(table, still(table), np.ones(len(time_s), bool), standard)
    assert [c.movement for c in found] == ["dips"] * 3
    assert [c.score for c in found] == [1.0] * 3
    middles = [(c.start_s + c.end_s) / 2 for c in found]
    assert middles == pytest.approx([2.0, 4.0, 6.0], abs=0.1)


@pytest.mark.parametrize(("rest_s", "score"), [(1.0, 1.0), (6.0, 0.0)])
def test_a_rep_that_rests_long_at_its_turn_is_none(rest_s, score):
    """Down in a second, a rest, and up in a second."""
    times = np.cumsum([0.0, 2.0, 1.0, rest_s, 1.0, 2.0])
    time_s = np.arange(round(times[-1] * RATE_HZ)) / RATE_HZ
    heights = np.interp(time_s, times, [1.0, 1.0, 0.5, 0.5, 1.0, 1.0])
    table = make_table(len(time_s) / RATE_HZ, hip_height_ratio=heights)
    standard = make_standard(
        id="dips", split=split_data(), signature=[dict(make_feature(at_most=0.6))]
    )
    (found,) = find_candidates(table, still(table), np.ones(len(time_s), bool), standard)
    assert found.score == score


def stage_data():
    """Stages told by the height of the hips: 0.2, 0.5, 0.8 and 1.1."""
    return {
        "kind": "stages",
        "side_from": "hand_height_ratio",
        "stage": [
            {
                "name": f"stage {n}",
                "window": [
                    {
                        "measure": "hip_height_ratio",
                        "at_least": 0.3 * n - 0.2,
                        "at_most": 0.3 * n,
                        "slack": 0.05,
                    }
                ],
            }
            for n in range(1, 5)
        ],
    }


def climb(stages):
    """Hold every stage for two seconds, half a second in between."""
    times, heights = [0.0], [0.3 * stages[0] - 0.1]
    for stage in stages:
        height = 0.3 * stage - 0.1
        times += [times[-1] + 0.5, times[-1] + 2.5]
        heights += [height, height]
    time_s = np.arange(round(times[-1] * RATE_HZ)) / RATE_HZ
    return make_table(
        times[-1],
        hip_height_ratio=np.interp(time_s, times, heights),
        hand_height_ratio_left=2.0,
        hand_height_ratio_right=1.0,
    )


@pytest.mark.parametrize(("stages", "strong"), [((1, 2, 3, 4), True), ((2, 2), False)])
def test_too_few_stages_in_a_row_are_no_sequence(stages, strong):
    table = climb(stages)
    standard = make_standard(
        id="ladder",
        split=stage_data(),
        signature=[
            dict(make_feature("hand_height_ratio", side="working", at_least=1.8)),
        ],
    )
    found = find_candidates(table, still(table), np.ones(len(table.time_s), bool), standard)
    assert found
    best = max(c.score for c in found)
    assert best == (1.0 if strong else pytest.approx(1 / FEWEST_STAGES**2))


def test_an_event_without_the_needed_feature_says_nothing():
    table = make_table(hip_height_ratio=0.5, hand_height_ratio_left=0.2)
    raised = make_feature("hand_height_ratio", side="either", at_least=1.0)
    needed = make_feature("hand_height_ratio", side="either", at_least=1.0, needed=True)
    low = make_feature(at_most=0.8)
    assert score_event(table, make_event(), (low, raised)) == (1.0, 0.5)
    assert score_event(table, make_event(), (low, needed)) == (0.0, 0.0)


def test_legs_exchanged_for_a_whole_event_do_not_matter():
    """The knee is bent on the side that the split takes for the other one."""
    table = make_table(knee_bend_left=5.0, knee_bend_right=100.0)
    signature = (
        make_feature("knee_bend", side="working", at_least=80.0, slack=20.0),
        make_feature("knee_bend", side="opposite", at_most=40.0, slack=20.0),
    )
    assert score_event(table, make_event("left"), signature) == (1.0, 1.0)
    both_bent = make_table(knee_bend_left=100.0, knee_bend_right=100.0)
    assert score_event(both_bent, make_event("left"), signature)[0] == 0.0


def hold_standard():
    """A low pose: hips at most at 0.6, one knee bent by 80 degrees or more, the other straight."""
    return make_standard(
        id="low",
        split={
            "kind": "hold",
            "angles": ["knee_flexion"],
            "sides": "each",
            "position": [{"measure": "hip_height_ratio", "at_most": 0.6}],
        },
        signature=[
            dict(make_feature(at_most=0.6)),
            dict(make_feature("knee_bend", side="either", at_least=80.0, slack=20.0)),
            dict(make_feature("knee_bend", side="either", at_most=40.0, slack=20.0)),
        ],
    )


def flickering(seconds=12.0, hip=0.5):
    """From 3 to 9 s in the pose, the legs exchanged every third of a second, or not at all."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    inside = (time_s >= 3.0) & (time_s < 9.0)
    swapped = inside & (np.floor(time_s * 3.0) % 2 == 1)
    bent, straight = np.where(inside, 100.0, 5.0), np.full(len(time_s), 5.0)
    left, right = np.where(swapped, straight, bent), np.where(swapped, bent, straight)
    return make_table(
        seconds,
        hip_height_ratio=np.where(inside, hip, 1.0),
        knee_bend_left=left,
        knee_bend_right=right,
        knee_flexion_left=left,
        knee_flexion_right=right,
    )


def find_low(table, hip_speed=0.0):
    motion = Motion(np.full(len(table.time_s), hip_speed), np.zeros(len(table.time_s)))
    return find_candidates(table, motion, np.ones(len(table.time_s), bool), hold_standard())


def test_a_hold_with_flickering_legs_is_found_by_its_signature():
    """No angle keeps still, so the movement's own split finds nothing."""
    table = flickering()
    (found,) = find_low(table)
    assert (found.start_s, found.end_s) == pytest.approx((3.0, 9.0), abs=0.6)
    assert found.score > 0.9
    assert found.known == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize(("hip", "hip_speed"), [(0.9, 0.0), (0.5, 0.3)])
def test_no_hold_is_found_in_another_pose_or_in_motion(hip, hip_speed):
    assert find_low(flickering(hip=hip), hip_speed) == ()


def test_a_hold_that_its_own_split_found_is_there_once():
    """Half the time in the pose, legs as they are: the split finds it, and so would the search."""
    time_s = np.arange(round(12 * RATE_HZ)) / RATE_HZ
    bent = np.where((time_s >= 3.0) & (time_s < 9.0), 100.0, 5.0)
    table = make_table(
        12.0,
        hip_height_ratio=np.where(bent > 50.0, 0.5, 1.0),
        **{f"{m}_left": bent for m in ("knee_bend", "knee_flexion")},
        **{f"{m}_right": 5.0 for m in ("knee_bend", "knee_flexion")},
    )
    (found,) = find_low(table)
    assert (found.start_s, found.end_s) == pytest.approx((3.0, 9.0), abs=0.3)


def test_reps_are_found_in_the_signal_for_naming_whichever_side_shows_them():
    """A foot lifted three times, for 2 s each; halfway through a rep the legs change names.

    Two such signals show them, and yet each is there once.
    """
    time_s = np.arange(round(10 * RATE_HZ)) / RATE_HZ
    lift = np.where((time_s > 1) & (time_s < 9), 0.3 - 0.3 * np.cos(np.pi * (time_s - 1)), 0.0)
    lift = np.where(time_s < 7, lift, 0.0)
    first = np.floor(time_s) % 2 == 1
    standard = make_standard(
        id="heels",
        split=split_data(signal="knee_bend", turn="highest", sides="alternating", min_change=40.0),
        naming_signal=[
            {"signal": "ankle_lift_ratio", "turn": "highest", "min_change": change}
            for change in (0.25, 0.3)
        ],
        signature=[
            dict(make_feature("ankle_lift_ratio", side="either", at_least=0.4)),
        ],
    )
    table = make_table(
        10.0,
        ankle_lift_ratio_left=np.where(first, lift, 0.0),
        ankle_lift_ratio_right=np.where(first, 0.0, lift),
    )
    found = find_candidates(table, still(table), np.ones(len(time_s), bool), standard)
    assert [round((c.start_s + c.end_s) / 2, 1) for c in found] == [2.0, 4.0, 6.0]
    assert [c.score for c in found] == [1.0] * 3
