"""Constructed candidates: how time is divided among movements, and what a clip is as a whole."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from motioncheck.naming import OTHER, Candidate, Stretch, decide, find_stretches
from motioncheck.naming.evidence import ALONE, PAUSE_S
from motioncheck.naming.stretches import STEP_S


def make_set(movement, start_s, count, *, each_s=1.5, rest_s=0.5, score=1.0, known=1.0):
    """Reps of one movement after one another."""
    starts = [start_s + i * (each_s + rest_s) for i in range(count)]
    return [Candidate(movement, s, s + each_s, score, known) for s in starts]


def name(candidates, end_s=30.0):
    return [(s.movement, s.start_s, s.end_s) for s in find_stretches(candidates, 0.0, end_s)]


def near(seconds):
    return pytest.approx(seconds, abs=STEP_S)


def test_reps_with_their_rests_are_one_stretch():
    """Five reps of 1.5 s and rests of 0.5 s from 5 s on: the last one ends at 14.5 s."""
    assert name(make_set("squat", 5.0, 5)) == [
        (OTHER, 0.0, near(5.0)),
        ("squat", near(5.0), near(14.5)),
        (OTHER, near(14.5), 30.0),
    ]


def test_a_rest_that_is_too_long_parts_two_sets():
    later = 5.0 + 2 * 2.0 + PAUSE_S["cycle"] + 1.0
    found = name([*make_set("squat", 5.0, 2), *make_set("squat", later, 2)])
    assert [movement for movement, *_ in found] == [OTHER, "squat", OTHER, "squat", OTHER]


def test_a_sloppy_rep_within_a_set_does_not_break_it():
    reps = make_set("squat", 5.0, 5)
    reps[2] = Candidate("squat", reps[2].start_s, reps[2].end_s, 0.0, 1.0)
    assert [movement for movement, *_ in name(reps)] == [OTHER, "squat", OTHER]


def test_a_single_event_that_looks_like_a_rep_is_not_named_but_a_single_hold_is():
    rep = Candidate("lunge", 5.0, 7.0, 1.0, 1.0)
    assert name([rep]) == [(OTHER, 0.0, 30.0)]
    hold = Candidate("kneel", 5.0, 7.0, 1.0, 1.0, PAUSE_S["hold"], ALONE["hold"])
    assert [movement for movement, *_ in name([hold])] == [OTHER, "kneel", OTHER]


def test_events_that_do_not_fit_are_other():
    assert name(make_set("squat", 5.0, 5, score=0.2)) == [(OTHER, 0.0, 30.0)]


def test_events_of_which_little_was_seen_say_nothing():
    assert name(make_set("squat", 5.0, 5, known=0.3)) == [(OTHER, 0.0, 30.0)]


def test_what_hardly_anything_is_known_of_does_not_stretch_a_set():
    """A cut-off event at 1 s, a pause of 4 s, then the set: it begins with its own first rep."""
    found = name([Candidate("squat", 0.0, 1.0, 1.0, 0.2), *make_set("squat", 5.0, 5)])
    assert found[1] == ("squat", near(5.0), near(14.5))


def test_of_two_movements_the_one_that_fits_better_is_named_and_the_other_is_next():
    both = [*make_set("squat", 5.0, 5), *make_set("sitting", 5.2, 5, score=0.7)]
    stretch = next(s for s in find_stretches(both, 0.0, 30.0) if s.movement != OTHER)
    assert (stretch.movement, stretch.runner_up, stretch.events) == ("squat", "sitting", 5)


def test_the_nearer_the_next_movement_the_less_sure():
    def confidence(score):
        both = [*make_set("squat", 5.0, 5), *make_set("sitting", 5.0, 5, score=score)]
        return next(s.confidence for s in find_stretches(both, 0.0, 30.0) if s.movement == "squat")

    assert confidence(0.2) > confidence(0.8) > confidence(0.95)


def test_one_set_after_another_changes_where_the_second_begins():
    found = name([*make_set("squat", 2.0, 4), *make_set("jack", 10.0, 8, each_s=0.9, rest_s=0.1)])
    sets = [row for row in found if row[0] != OTHER]
    assert [movement for movement, *_ in sets] == ["squat", "jack"]
    assert (sets[0][2], sets[1][1]) == (near(9.5), near(10.0))


def test_without_candidates_everything_is_other_and_nothing_is_empty():
    assert [s.movement for s in find_stretches([], 0.0, 4.0)] == [OTHER]
    assert find_stretches([], 1.0, 1.0) == ()


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["a", "b", "c"]),
            st.floats(0.0, 18.0),
            st.floats(0.1, 4.0),
            st.floats(0.0, 1.0),
            st.floats(0.1, 1.0),
        ),
        max_size=12,
    )
)
def test_stretches_cover_the_time_without_gaps(drawn):
    candidates = [Candidate(m, a, a + n, score, known) for m, a, n, score, known in drawn]
    stretches = find_stretches(candidates, 0.0, 20.0)
    assert stretches[0].start_s == 0.0
    assert stretches[-1].end_s == 20.0
    for before, after in pairwise(stretches):
        assert before.end_s == after.start_s
        assert before.movement != after.movement
    assert all(0.0 <= s.confidence <= 1.0 for s in stretches)


def make_stretch(movement, lasts_s, confidence=0.95, runner_up=OTHER, start_s=0.0):
    return Stretch(movement, start_s, start_s + lasts_s, confidence, runner_up, 3)


def test_a_clip_is_of_the_movement_that_takes_nearly_all_of_the_exercise():
    decision = decide([make_stretch("squat", 30), make_stretch(OTHER, 60), make_stretch("jack", 3)])
    assert (decision.movement, decision.several) == ("squat", False)
    assert decision.confidence == pytest.approx(0.95)


def test_several_movements_are_none_for_the_clip():
    decision = decide([make_stretch("squat", 30), make_stretch("jack", 20)])
    assert (decision.movement, decision.several) == ("", True)
    assert decision.likeliest == ("squat", "jack")


def test_an_unsure_name_is_none_and_says_the_two_likeliest():
    decision = decide([make_stretch("squat", 30, 0.5, runner_up="sitting")])
    assert (decision.movement, decision.several) == ("", False)
    assert decision.likeliest == ("squat", "sitting")


def test_confidence_is_that_of_the_longer_stretches():
    """20 s at 0.9 and 10 s at 0.6: 0.8."""
    decision = decide([make_stretch("squat", 20, 0.9), make_stretch("squat", 10, 0.6)])
    assert decision.confidence == pytest.approx(0.8)


def test_nothing_named_says_what_came_nearest():
    decision = decide([make_stretch(OTHER, 30, runner_up="squat")])
    assert (decision.movement, decision.likeliest) == ("", ("squat",))
    assert decide([]).likeliest == ()
