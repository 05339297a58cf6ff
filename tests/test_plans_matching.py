"""Analytic: constructed bouts laid against a plan; how they are made gives the right answer."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from session_examples import MOVEMENTS, bout, finding, hold, plan_of, rep, reps, stages

from motioncheck.plans import list_slots
from motioncheck.plans.align import align
from motioncheck.plans.amounts import count_verdicts, stages_in_order
from motioncheck.plans.parts import cut_parts, order_bouts
from motioncheck.plans.sets import build_extra, build_sets
from motioncheck.plans.slots import stages_of

THREE_BY_TEN = (
    '[[block]]\nkind = "sets"\nmovement = "air-squat"\nsets = 3\nreps = 10\nrest_s = 60\n'
)
SUPERSET = (
    '[[block]]\nkind = "superset"\nrounds = 3\nitem = [{movement = "air-squat", reps = 10}, '
    '{movement = "jumping-jacks", reps = 5}]\n'
)
HOLDS = '[[block]]\nkind = "sets"\nmovement = "front-plank"\nsets = 2\nhold_s = 30\n'
LADDER = '[[block]]\nkind = "ladder"\nmovement = "sun-ladder"\nrungs = 3\n'


def match(text, bouts):
    slots, parts = list_slots(plan_of(text)), cut_parts(bouts)
    alignment = align(slots, parts)
    return build_sets(slots, alignment, MOVEMENTS), build_extra(alignment, MOVEMENTS)


def squats(*sets):
    """One clip of squat sets, each given as (count, start)."""
    return [bout("air-squat", sum((reps(n, at) for n, at in sets), ()))]


def statuses(results):
    return [(r.done, r.status) for r in results]


def test_sets_done_as_planned_are_found_with_rest_pace_and_duration():
    results, extra = match(THREE_BY_TEN, squats((10, 0), (10, 80), (10, 165)))
    assert statuses(results) == [(10, "as planned")] * 3
    assert extra == ()
    assert [r.rest_before_s for r in results] == [None, 60.0, 65.0]
    assert [r.prescribed.rest_s for r in results] == [None, 60.0, 60.0]
    assert [r.duration_s for r in results] == [20.0, 20.0, 20.0]
    assert results[0].pace_per_min == 30.0
    assert results[2].label == "Set 3 of 3"


def test_too_few_and_too_many_reps_are_told():
    results, extra = match(THREE_BY_TEN, squats((8, 0), (12, 80), (10, 170)))
    assert statuses(results) == [(8, "fewer"), (12, "more"), (10, "as planned")]
    assert extra == ()


def test_a_missing_set_is_the_last_one_when_nothing_tells_which():
    results, _ = match(THREE_BY_TEN, squats((10, 0), (10, 80)))
    assert statuses(results) == [(10, "as planned"), (10, "as planned"), (0, "missing")]
    assert results[2].pieces == ()
    assert results[2].duration_s is None


def test_a_missing_set_of_another_size_is_named_wherever_it_is():
    text = '[[block]]\nkind = "superset"\nrounds = 1\nitem = [' + ", ".join(
        f'{{movement = "air-squat", reps = {n}}}' for n in (20, 5, 10)
    ) + "]\n"  # fmt: skip
    results, _ = match(text, squats((20, 0), (10, 100)))
    assert statuses(results) == [(20, "as planned"), (0, "missing"), (10, "as planned")]


def test_an_extra_set_is_not_forced_into_the_plan():
    results, extra = match(THREE_BY_TEN, squats((10, 0), (10, 80), (10, 160), (10, 240)))
    assert statuses(results) == [(10, "as planned")] * 3
    assert [(r.done, r.status, r.prescribed) for r in extra] == [(10, "extra", None)]


def test_a_short_pause_stays_within_the_set():
    results, extra = match(THREE_BY_TEN, squats((6, 0), (4, 22), (10, 90), (10, 170)))
    assert statuses(results) == [(10, "as planned")] * 3
    assert len(results[0].pieces) == 2
    assert extra == ()
    assert results[0].duration_s == 30.0


def test_a_long_pause_stays_within_the_set_while_the_count_is_not_reached():
    results, extra = match(THREE_BY_TEN, squats((6, 0), (4, 60), (10, 130), (10, 210)))
    assert statuses(results) == [(10, "as planned")] * 3
    assert len(results[0].pieces) == 2
    assert extra == ()


def test_reps_after_a_long_pause_are_extra_once_the_count_is_reached():
    one = THREE_BY_TEN.replace("sets = 3", "sets = 1")
    results, extra = match(one, squats((10, 0), (3, 100)))
    assert statuses(results) == [(10, "as planned")]
    assert [r.done for r in extra] == [3]


def test_a_single_rep_after_a_pause_just_too_long_does_not_make_a_full_set_longer():
    text = '[[block]]\nkind = "sets"\nmovement = "air-squat"\nsets = 1\nreps = 100\n'
    results, extra = match(text, [bout("air-squat", reps(100, 0, 1.0) + reps(1, 122, 1.0))])
    assert statuses(results) == [(100, "as planned")]
    assert [r.done for r in extra] == [1]


def test_a_few_reps_after_a_short_pause_make_the_set_longer():
    one = THREE_BY_TEN.replace("sets = 3", "sets = 1")
    results, extra = match(one, squats((10, 0), (2, 28)))
    assert statuses(results) == [(12, "more")]
    assert extra == ()


def test_sets_with_a_rest_shorter_than_planned_stay_apart():
    results, _ = match(THREE_BY_TEN, squats((10, 0), (10, 30), (10, 60)))
    assert statuses(results) == [(10, "as planned")] * 3
    assert results[1].rest_before_s == 10.0


def test_sets_that_run_into_each_other_are_cut_by_their_count():
    two = THREE_BY_TEN.replace("sets = 3", "sets = 2")
    results, extra = match(two, squats((19, 0)))
    assert statuses(results) == [(10, "as planned"), (9, "fewer")]
    assert extra == ()
    assert results[0].notes == ()
    assert results[1].notes == ("No rest was found between this set and the one before it.",)
    assert results[1].rest_before_s == 0.0


def test_one_long_set_is_not_cut_when_it_is_nearer_to_one_than_to_two():
    two = THREE_BY_TEN.replace("sets = 3", "sets = 2")
    results, _ = match(two, squats((13, 0)))
    assert statuses(results) == [(13, "more"), (0, "missing")]


def test_a_superset_goes_in_turn():
    bouts = []
    for k in range(3):
        bouts.append(bout("air-squat", reps(10, 100 * k)))
        bouts.append(bout("jumping-jacks", reps(5, 100 * k + 25, 1.0)))
    results, extra = match(SUPERSET, bouts)
    assert statuses(results) == [(10, "as planned"), (5, "as planned")] * 3
    assert extra == ()
    # One movement left out of round 2: the others keep their place.
    results, _ = match(SUPERSET, [b for i, b in enumerate(bouts) if i != 3])
    assert [r.status for r in results].index("missing") == 3
    assert sum(r.status == "missing" for r in results) == 1


def test_a_set_done_out_of_order_is_found_and_said():
    text = (
        '[[block]]\nkind = "superset"\nrounds = 1\nitem = [{movement = "air-squat", reps = 10}, '
        '{movement = "jumping-jacks", reps = 20}, {movement = "high-knees", reps = 30}]\n'
    )
    bouts = [
        bout("high-knees", reps(30, 0, 0.5)),
        bout("air-squat", reps(10, 30)),
        bout("jumping-jacks", reps(20, 60, 1.0)),
    ]
    results, extra = match(text, bouts)
    assert statuses(results) == [(10, "as planned"), (20, "as planned"), (30, "as planned")]
    assert [r.notes for r in results] == [(), (), ("Done out of order.",)]
    assert extra == ()


def test_a_movement_that_is_not_in_the_plan_is_extra_and_takes_no_set():
    bouts = [bout("other", reps(10, 0)), bout("air-squat", reps(10, 40))]
    results, extra = match(THREE_BY_TEN, bouts)
    assert [r.done for r in results] == [10, 0, 0]
    assert [(r.movement, r.done) for r in extra] == [("other", 10)]


def test_each_side_is_counted_for_itself():
    text = '[[block]]\nkind = "sets"\nmovement = "wide-stance-twist"\nsets = 2\nreps = 5\n' \
        "each_side = true\n"  # fmt: skip
    first = reps(5, 0, sides=("left",)) + reps(5, 18, sides=("right",))
    second = reps(10, 80, sides=("left", "right"))
    results, _ = match(text, [bout("wide-stance-twist", first + second)])
    assert statuses(results) == [(10, "as planned"), (10, "as planned")]
    assert [(r.left, r.right) for r in results] == [(5, 5), (5, 5)]
    uneven = reps(6, 0, sides=("left",)) + reps(4, 18, sides=("right",))
    results, _ = match(text, [bout("wide-stance-twist", uneven + second)])
    assert statuses(results)[0] == (10, "fewer")
    assert results[0].notes == ("The sides were not done equally often.",)


def test_the_sides_of_a_set_may_be_two_clips_in_order_without_a_known_gap():
    text = '[[block]]\nkind = "sets"\nmovement = "front-plank"\nsets = 1\nhold_s = 30\n' \
        "each_side = true\n"  # fmt: skip
    clips = [
        bout("front-plank", [hold(2, 30.4, "left")], "left.mp4"),
        bout("front-plank", [hold(1, 24, "right")], "right.mp4"),
    ]
    results, extra = match(text, clips)
    assert results[0].status == "fewer"
    assert (results[0].hold_left_s, results[0].hold_right_s) == (30.4, 24.0)
    assert results[0].duration_s is None
    assert results[0].rest_before_s is None
    assert extra == ()


def test_holds_are_compared_by_their_seconds_and_a_wobble_does_not_end_them():
    events = (hold(0, 29.4), hold(60, 18), hold(81, 13))
    results, extra = match(HOLDS, [bout("front-plank", events)])
    assert [(r.status, r.hold_s) for r in results] == [("as planned", 29.4), ("as planned", 31.0)]
    assert results[1].done == 2
    assert extra == ()
    short, _ = match(HOLDS, [bout("front-plank", (hold(0, 28.9), hold(60, 40)))])
    assert [r.status for r in short] == ["fewer", "more"]


def test_reps_where_a_hold_is_asked_for_are_said_and_not_counted():
    results, _ = match(HOLDS, [bout("front-plank", reps(5, 0))])
    assert results[0].done == 0
    assert results[0].status == "fewer"
    assert results[0].notes == ("The plan asks for holds, and none were found in what was done.",)


@pytest.mark.parametrize("rung", [1, 2, 5, 7])
def test_a_rung_goes_up_to_its_number_and_back(rung):
    visits = stages_of(rung)
    assert len(visits) == 2 * rung - 1
    assert max(visits) == rung
    assert visits == visits[::-1]
    assert stages_in_order(stages(visits, 0), rung) == 2 * rung - 1


@pytest.mark.parametrize(
    ("seen", "reached"),
    [
        ((1, 2, 3, 2, 1), 5),
        ((1, 3, 2, 1), 4),  # stage 2 skipped on the way up
        ((1, 2, 2, 1), 4),  # never got to stage 3
        ((3, 2, 1, 2, 3), 3),  # the wrong way round
        ((), 0),
        ((None, None, None), 3),
        ((None,) * 9, 5),
    ],
)
def test_stages_count_in_the_order_asked_for(seen, reached):
    assert stages_in_order(stages(seen, 0), 3) == reached


def test_a_ladder_is_matched_rung_by_rung():
    events = stages((1,), 0, 1) + stages((1, 2, 1), 10, 2) + stages((1, 2, 3, 2, 1), 30, 3)
    results, extra = match(LADDER, [bout("sun-ladder", events)])
    assert statuses(results) == [(1, "as planned"), (3, "as planned"), (5, "as planned")]
    assert sum(r.done for r in results) == 9
    assert extra == ()


def test_a_rung_left_out_is_the_missing_one_and_a_low_one_is_said():
    events = stages((1,), 0, 1) + stages((1, 2, 3, 2, 1), 10, 2)
    results, _ = match(LADDER, [bout("sun-ladder", events)])
    assert [r.status for r in results] == ["as planned", "missing", "as planned"]
    events = stages((1,), 0, 1) + stages((1, 2, 1), 10, 2) + stages((1, 2, 2, 1), 30, 3)
    results, _ = match(LADDER, [bout("sun-ladder", events)])
    assert results[2].status == "fewer"
    assert results[2].notes == ("It went up to stage 2, short of the 3 asked for.",)


def test_rungs_without_a_number_are_told_apart_by_the_stages():
    events = stages((1, 1, 2, 1, 1, 2, 3, 2, 1), 0)
    results, _ = match(LADDER, [bout("sun-ladder", events)])
    assert statuses(results) == [(1, "as planned"), (3, "as planned"), (5, "as planned")]


def test_a_rep_of_a_staged_movement_is_one_way_up_and_back():
    text = '[[block]]\nkind = "sets"\nmovement = "sun-ladder"\nsets = 2\nreps = 2\n'
    way = (1, 2, 3, 2, 1)
    events = [e for g in (1, 2) for e in stages(way, 12 * g, g)]
    events += [e for g in (3, 4) for e in stages(way, 40 + 12 * g, g)]
    results, extra = match(text, [bout("sun-ladder", events)])
    assert statuses(results) == [(2, "as planned"), (2, "as planned")]
    assert extra == ()
    assert results[0].amount == "reps"
    assert results[0].tally.done == 10


def test_clips_keep_their_order_and_known_places_give_the_rest():
    clips = [bout("air-squat", reps(10, 3), f"{n}.mp4") for n in "abc"]
    results, _ = match(THREE_BY_TEN, clips)
    assert statuses(results) == [(10, "as planned")] * 3
    assert [r.rest_before_s for r in results] == [None, None, None]
    placed = [replace(b, starts_at=100.0 * i) for i, b in enumerate(clips)]
    results, _ = match(THREE_BY_TEN, placed)
    assert [r.rest_before_s for r in results] == [None, 80.0, 80.0]
    assert [b.clip for b in order_bouts(placed[::-1])] == ["a.mp4", "b.mp4", "c.mp4"]
    assert [b.clip for b in order_bouts(clips[::-1])] == ["c.mp4", "b.mp4", "a.mp4"]


def test_a_block_without_anything_done_is_all_missing():
    results, extra = match(THREE_BY_TEN, [])
    assert statuses(results) == [(0, "missing")] * 3
    assert extra == ()
    results, _ = match(THREE_BY_TEN, [bout("air-squat", ())])
    assert statuses(results) == [(0, "missing")] * 3


def test_events_are_counted_once_by_their_most_urgent_verdict():
    events = [
        rep(0),
        rep(2, findings=(finding(), finding("too close to call"))),
        rep(4, findings=(finding("misses"), finding("too close to call"))),
        rep(6, findings=(finding("not visible", None),)),
        rep(8, findings=(finding(), finding("not visible", None))),
        rep(10, findings=()),
    ]
    tally = count_verdicts(events)
    assert (tally.done, tally.to_standard, tally.close, tally.missed, tally.unjudged) == (
        6, 2, 1, 1, 2,
    )  # fmt: skip
    assert tally.partly_seen == 1


NAMES = ("air-squat", "jumping-jacks", "high-knees", "wide-stance-twist")


def random_session(random_):
    """Return the text of a plan, the bouts of somebody who did most of it, and the true counts."""
    text, bouts, truth, now = "", [], [], 0.0
    for name in random_.sample(NAMES, 4):
        sets, count = random_.randint(2, 4), random_.randint(6, 20)
        text += (
            f'[[block]]\nkind = "sets"\nmovement = "{name}"\nsets = {sets}\nreps = {count}\n'
            "rest_s = 60\n"
        )
        done = [max(count + random_.choice([0, 0, 0, 0, -2, 1]), 1) for _ in range(sets)]
        if random_.random() < 0.3:
            done[-1] = 0
        for n in done:
            first = random_.randint(1, n - 1) if n > 1 and random_.random() < 0.2 else n
            for k, at in ((first, 0.0), (n - first, random_.uniform(5, 30))):
                if k:
                    now += at if first < n else 0.0
                    bouts.append(bout(name, reps(k, now, 1.5)))
                    now += 1.5 * k
            now += random_.uniform(35, 80)
        truth += done
    return text, bouts, truth


def test_most_sets_of_random_sessions_get_exactly_the_reps_that_were_planted():
    """Sets with a pause of 5 to 30 s, a rep or two off, the last of a block left out.

    A few cannot be told even in principle: reps after a long pause may be a set of their own.
    """
    right = total = 0
    for seed in range(60):
        text, bouts, truth = random_session(random.Random(seed))
        results, extra = match(text, bouts)
        # Reps are never lost or counted twice.
        assert sum(r.done for r in (*results, *extra)) == sum(truth)
        right += sum(r.done == n for r, n in zip(results, truth, strict=True))
        total += len(truth)
    assert right / total >= 0.97, f"{right} of {total}"
