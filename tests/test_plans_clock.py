"""Analytic: constructed circuits, minute by minute; the working is written beside each number."""

from __future__ import annotations

import math
import random

import pytest
from session_examples import MOVEMENTS, bout, finding, plan_of, rep, reps

from motioncheck.plans.clock import compute_circuit
from motioncheck.plans.parts import cut_parts

# Two rounds of ten squats, with three jumping jacks every minute.
TEXT = (
    '[[block]]\nkind = "circuit"\nrounds = 2\n'
    'every_minute = {{movement = "jumping-jacks", reps = 3{more}}}\n'
    'item = [{{movement = "air-squat", reps = 10}}]\n'
)
NO_MINUTES = (
    '[[block]]\nkind = "circuit"\nrounds = 3\n'
    'item = [{movement = "air-squat", reps = 20}, {movement = "jumping-jacks", reps = 20}, '
    '{movement = "wide-stance-twist", reps = 20}]\n'
)


def run(work, jacks=(), *, more="", text=None, **options):
    plan = plan_of(text or TEXT.format(more=more))
    bouts = [bout("air-squat", work), bout("jumping-jacks", jacks)]
    return compute_circuit(plan.block[0], cut_parts(bouts), MOVEMENTS, **options)


def adds_up(result):
    for row in result.rows:
        assert row.work_s + row.every_minute_s + row.rest_s == pytest.approx(row.clock_s, abs=1e-9)
        assert min(row.work_s, row.every_minute_s, row.rest_s) >= 0.0
    assert math.fsum(row.clock_s for row in result.rows) == pytest.approx(result.total_s, abs=1e-6)
    parts = result.work_s + result.every_minute_s + result.rest_s
    assert parts == pytest.approx(result.total_s, abs=1e-6)
    done = {count.movement: count.done for count in result.counts}
    assert {m: sum(row.work_reps[m] for row in result.rows) for m in done} == done


def test_a_clean_circuit_minute_by_minute():
    """The clip's clock shows 7 s at the first rep.

    Minute 0: jacks 0 to 3 s, squats 5 to 35 s (10 of 3 s), rest 3 to 5 and 35 to 60: 27 s.
    Minute 1: jacks 60 to 63 s, squats 64 to 94 s: finished at 94 s, 34 s into the minute,
    3 s jacks, 30 s work, 1 s rest.
    """
    jacks = reps(3, 7, 1.0) + reps(3, 67, 1.0)
    squats = reps(10, 12, 3.0) + reps(10, 71, 3.0)
    result = run(squats, jacks)
    assert result.start_s == 7.0
    assert result.finished
    assert result.total_s == result.finish_s == 94.0
    first, last = result.rows
    assert (first.clock_s, first.work_s, first.every_minute_s, first.rest_s) == (60, 30, 3, 27)
    assert (last.clock_s, last.work_s, last.every_minute_s, last.rest_s) == (34, 30, 3, 1)
    assert first.work_reps == {"air-squat": 10}
    assert (first.left, last.left) == (10, 0)
    assert (first.due, first.done, first.started_after_s, first.completed_after_s) == (3, 3, 0, 3)
    assert (last.due, last.done, last.started_after_s, last.completed_after_s) == (3, 3, 0, 3)
    assert first.complete
    assert not first.late
    assert result.rounds_done == 2
    # Pace: 10 reps in 60 - 3 s free; 10 more need 57 s after 3 s of jacks: done at 60 + 60 s.
    assert first.pace_per_min == pytest.approx(600 / 57, abs=0.005)
    assert first.finish_s == pytest.approx(120.0, abs=0.01)
    adds_up(result)


def test_three_rounds_of_three_times_twenty_count_to_one_hundred_and_eighty():
    start, bouts = 0.0, []
    for _ in range(3):
        for movement in ("air-squat", "jumping-jacks", "wide-stance-twist"):
            bouts.append(bout(movement, reps(20, start, 1.5)))
            start += 20 * 1.5 + 5
    result = compute_circuit(plan_of(NO_MINUTES).block[0], cut_parts(bouts), MOVEMENTS)
    assert sum(count.done for count in result.counts) == 180
    assert result.finished
    assert result.every_minute is None
    assert result.rounds_done == 3
    assert result.total_s == start - 5 == 310.0
    assert [row.clock_s for row in result.rows] == [60, 60, 60, 60, 60, 10]
    # Eight changes of 5 s; each run of 20 reps is work throughout: 9 x 30 s.
    assert result.rest_s == pytest.approx(40.0, abs=1e-6)
    assert result.work_s == pytest.approx(270.0, abs=1e-6)
    adds_up(result)


def test_a_late_start_into_a_minute_is_told_to_half_a_second():
    jacks = reps(3, 0, 1.0) + reps(3, 72.4, 1.0)
    result = run(reps(10, 5, 3.0) + reps(5, 76, 3.0), jacks)
    row = result.rows[1]
    assert row.started_after_s == pytest.approx(12.4, abs=0.5)
    assert row.completed_after_s == pytest.approx(15.4, abs=0.5)
    assert row.late
    assert row.complete
    assert not run(reps(10, 5, 3.0), jacks, more=", grace_s = 13").rows[-1].late
    adds_up(result)


def test_reps_of_a_minute_done_in_parts_are_put_together():
    jacks = (*reps(2, 0, 1.0), *reps(1, 30, 1.0), *reps(3, 60, 1.0))
    result = run(reps(5, 4, 3.0) + reps(5, 33, 3.0) + reps(3, 66, 3.0), jacks)
    row = result.rows[0]
    assert (row.done, row.complete, row.started_after_s) == (3, True, 0.0)
    assert row.completed_after_s == 31.0
    assert row.every_minute_s == 3.0
    adds_up(result)


def test_reps_that_go_on_across_the_minute_complete_the_minute_they_began_in():
    """Begun at 58.2 s, done at 61.2 s: late for minute 0; those of minute 1 follow at once."""
    jacks = reps(6, 58.2, 1.0)
    result = run(reps(10, 0, 3.0) + reps(4, 65, 3.0), jacks)
    first, second = result.rows
    assert (first.done, first.late, first.completed_after_s) == (3, True, pytest.approx(61.2))
    assert (second.done, second.late) == (3, False)
    assert second.started_after_s == pytest.approx(1.2)
    # Their seconds are shared by time: 1.8 s before the minute, 4.2 s after it.
    assert first.every_minute_s == pytest.approx(1.8)
    assert second.every_minute_s == pytest.approx(4.2)
    adds_up(result)


def test_a_start_just_before_the_minute_is_for_that_minute():
    jacks = reps(3, 0, 1.0) + reps(3, 59.6, 1.0)
    result = run(reps(10, 5, 3.0) + reps(3, 70, 3.0), jacks)
    assert [row.done for row in result.rows] == [3, 3]
    assert result.rows[1].started_after_s == pytest.approx(-0.4)
    assert not result.rows[1].late
    adds_up(result)


def test_reps_left_out_are_made_up_in_the_next_minute():
    jacks = (*reps(1, 0, 1.0), *reps(5, 60, 1.0))
    result = run(reps(10, 5, 3.0) + reps(5, 70, 3.0), jacks)
    first, second = result.rows
    assert (first.done, first.complete, first.completed_after_s) == (3, True, 62.0)
    assert (second.done, second.complete, second.started_after_s) == (3, True, 2.0)


def test_a_minute_without_its_reps_is_not_complete():
    jacks = reps(3, 0, 1.0) + reps(2, 120, 1.0)
    result = run(reps(10, 5, 3.0) + reps(5, 130, 3.0), jacks)
    assert [(r.due, r.done, r.complete) for r in result.rows] == [
        (3, 3, True), (3, 0, False), (3, 2, False),
    ]  # fmt: skip
    assert result.rows[1].started_after_s is None
    assert result.every_minute.prescribed == 9
    assert result.every_minute.done == 5
    assert result.rows[1].rest_s == 60.0
    adds_up(result)


def test_a_rep_across_the_minute_counts_where_it_ends_and_shares_its_time():
    """Squats from 57 s on, 4 s each: the first ends at 61 s, so minute 0 has none of it."""
    result = run(reps(20, 57, 4.0), (), start_s=0.0)
    first, second, third = result.rows
    assert first.work_reps == {"air-squat": 0}
    assert first.work_s == 3.0
    # Ends at 61, 65, ..., 117: 15 reps; the one that ends at 121 s counts in minute 2.
    assert second.work_reps == {"air-squat": 15}
    assert second.work_s == 60.0
    assert third.work_reps == {"air-squat": 5}
    adds_up(result)


def test_a_rep_that_ends_on_the_minute_belongs_to_the_minute_before():
    result = run(reps(20, 0, 3.0), ())
    assert len(result.rows) == 1
    assert result.rows[0].work_reps == {"air-squat": 20}
    assert result.total_s == 60.0
    adds_up(result)


def test_a_rep_that_ends_on_a_minute_that_goes_on_belongs_to_the_minute_before():
    """Of 20 reps of 4 s the 15th ends at 60 s exactly."""
    result = run(reps(20, 0, 4.0), ())
    assert [row.work_reps["air-squat"] for row in result.rows] == [15, 5]
    adds_up(result)


def test_late_reps_that_go_on_after_the_minute_are_not_taken_for_the_next_one():
    """Begun at 58.2 s, done at 61.2 s, and nothing more: those of minute 1 were left out."""
    result = run(reps(10, 0, 3.0) + reps(4, 65, 3.0), reps(3, 58.2, 1.0))
    first, second = result.rows
    assert (first.done, first.complete, first.late) == (3, True, True)
    assert (second.done, second.complete, second.started_after_s) == (0, False, None)


def test_short_gaps_between_reps_are_work_and_long_ones_are_rest():
    """Gaps of 1.5 s are within the run; the gap of 6 s is rest."""
    work = [rep(3.5 * i) for i in range(5)] + [rep(22 + 3.5 * i) for i in range(5)]
    result = run(work, ())
    assert result.total_s == 38.0
    assert result.work_s == 32.0
    assert result.rest_s == 6.0


def test_the_clock_may_be_started_by_hand():
    jacks = reps(3, 10, 1.0)
    result = run(reps(20, 15, 3.0), jacks, start_s=4.0)
    assert result.start_s == 4.0
    assert result.rows[0].started_after_s == 6.0
    assert result.rows[0].late
    assert result.total_s == 71.0
    late = run(reps(20, 0, 3.0), (), start_s=9.5)
    # Reps that ended at 3, 6 and 9 s are before it; the next one is cut at the start.
    assert late.counts[0].done == 17
    assert late.notes == ("Not counted: 3 reps before the start of the clock.",)
    assert late.rows[0].work_s == pytest.approx(50.5)
    adds_up(late)


def test_the_clock_stops_with_the_last_prescribed_rep():
    result = run(reps(25, 0, 3.0), reps(3, 90, 1.0))
    assert result.finished
    assert result.total_s == 60.0
    assert result.counts[0].done == 20
    assert result.notes == ("Not counted: 8 reps after the work was done.",)


def test_reps_beyond_the_work_of_one_movement_count_as_extra():
    text = NO_MINUTES.replace("rounds = 3", "rounds = 1").replace("reps = 20", "reps = 2")
    bouts = [
        bout("air-squat", reps(3, 0)),
        bout("jumping-jacks", reps(2, 10)),
        bout("wide-stance-twist", reps(2, 20)),
    ]
    result = compute_circuit(plan_of(text).block[0], cut_parts(bouts), MOVEMENTS)
    assert result.finished
    assert [(c.done, c.extra) for c in result.counts] == [(2, 1), (2, 0), (2, 0)]
    assert result.rows[0].extra_reps == 1
    assert result.rows[0].left == 0
    adds_up(result)


def test_nothing_is_due_in_a_minute_that_ended_before_it_could_be_late():
    result = run(reps(10, 5, 3.0) + reps(10, 33.5, 3.0), reps(3, 0, 1.0))
    assert result.total_s == 63.5
    assert [(r.due, r.complete) for r in result.rows] == [(3, True), (0, True)]


def test_the_first_minute_may_be_free():
    result = run(reps(15, 0, 3.0), reps(3, 60, 1.0), more=", first_minute = 1")
    assert [(r.due, r.done) for r in result.rows] == [(0, 0), (3, 3)]


def test_overlapping_reps_are_not_counted_twice_in_time():
    jacks = reps(3, 9, 1.0)
    result = run(reps(10, 0, 3.0), jacks)
    row = result.rows[0]
    assert (row.work_s, row.every_minute_s, row.clock_s) == (27.0, 3.0, 30.0)
    assert row.work_reps == {"air-squat": 10}
    adds_up(result)


def test_an_unfinished_circuit_looks_ahead_with_the_minutes_reps_taken_off():
    """After 120 s: 12 of 40 reps, 6 s of jacks, so 12 reps in 114 s free: 9.5 s a rep.

    28 reps need 266 s. Each minute loses 3 s: 57 s free. 4 whole minutes make 228 s, and 38 s
    are left: 120 + 240 + 3 + 38 = 401 s.
    """
    jacks = reps(3, 0, 1.0) + reps(3, 60, 1.0)
    work = reps(6, 5, 5.0) + reps(6, 90, 5.0)
    text = TEXT.format(more="").replace("rounds = 2", "rounds = 4")
    result = run(work, jacks, text=text)
    assert not result.finished
    assert result.total_s == 120.0
    assert result.rows[-1].left == 28
    assert result.pace_per_min == pytest.approx(12 / 114 * 60, abs=0.005)
    assert result.finish_s == pytest.approx(401.0, abs=0.01)
    assert result.rounds_done == 1


def test_looking_ahead_from_within_a_minute_takes_off_what_is_still_due():
    """After 75 s: 6 of 8 reps in 75 - 3 s; the jacks of minute 1 are still due: 3 s.

    2 reps need 24 s: 75 + 3 + 24 = 102 s.
    """
    text = TEXT.format(more="").replace("rounds = 2", "rounds = 1").replace("10", "8")
    result = run(reps(5, 5, 5.0) + reps(1, 70, 5.0), reps(3, 0, 1.0), text=text)
    assert result.total_s == 75.0
    assert result.finish_s == pytest.approx(102.0, abs=0.01)


def test_no_finish_is_predicted_when_the_minutes_reps_leave_no_time():
    jacks = reps(3, 0, 25.0)
    result = run(reps(2, 75, 3.0), jacks)
    assert result.rows[0].finish_s is None
    assert result.finish_s is None
    assert result.rows[0].pace_per_min is None


def test_a_circuit_in_clips_without_a_common_clock_is_counted_without_one():
    block = plan_of(TEXT.format(more="")).block[0]
    bouts = [bout("air-squat", reps(10, 0), "a.mp4"), bout("air-squat", reps(10, 0), "b.mp4")]
    result = compute_circuit(block, cut_parts(bouts), MOVEMENTS)
    assert result.rows == ()
    assert result.total_s is None
    assert result.counts[0].done == 20
    assert result.finished
    assert "no clock" in result.notes[0]


def test_clips_with_known_places_run_on_one_clock():
    block = plan_of(TEXT.format(more="")).block[0]
    bouts = [
        bout("air-squat", reps(10, 5), "a.mp4", starts_at=100.0),
        bout("air-squat", reps(10, 2), "b.mp4", starts_at=160.0),
    ]
    result = compute_circuit(block, cut_parts(bouts), MOVEMENTS)
    assert result.start_s == 5.0
    assert result.clip == "a.mp4"
    assert result.total_s == 77.0


def test_a_circuit_without_any_rep_says_so_in_numbers():
    result = compute_circuit(plan_of(TEXT.format(more="")).block[0], [], MOVEMENTS)
    assert (result.total_s, result.rows, result.finished) == (None, (), False)
    assert result.counts[0].prescribed == 20
    assert result.counts[0].done == 0


def test_verdicts_of_the_reps_are_counted():
    work = (*reps(9, 0), rep(20, findings=(finding("misses"),)))
    tally = run(work).counts[0].tally
    assert (tally.to_standard, tally.missed) == (9, 1)


@pytest.mark.parametrize("seed", range(25))
def test_whatever_is_done_work_minutes_reps_and_rest_add_up_to_the_clock(seed):
    """Property: random reps with gaps and overlaps; nothing is lost, every minute adds up."""
    random_ = random.Random(seed)
    work, jacks, now = [], [], random_.uniform(0, 20)
    for _ in range(random_.randint(5, 60)):
        length = random_.uniform(0.4, 5.0)
        target = jacks if random_.random() < 0.3 else work
        target.append(rep(now, length))
        now += length + random_.choice([-0.3, 0.0, 0.1, 1.9, 2.1, 15.0]) * random_.random()
    result = run(work, jacks)
    adds_up(result)
    assert result.rows[-1].left == 20 - result.counts[0].done
    assert result.counts[0].done == min(len(work), 20)
    starts = [row.started_after_s for row in result.rows if row.started_after_s is not None]
    assert all(-1.0 <= s <= 60.0 for s in starts[:-1])


def planned_minute(random_, minute, jacks):
    """Plant the reps of one minute: on time, late, or in two parts; return when they begin."""
    style = random_.choice(["on time", "late", "parts"])
    begin = {"on time": random_.uniform(0, 2), "late": random_.uniform(6, 30), "parts": 1.0}[style]
    at = 60 * minute + begin
    jacks += reps(1 if style == "parts" else 3, at, 1.2)
    if style == "parts":
        jacks += reps(2, at + random_.uniform(12, 25), 1.2)
    return begin, style == "late"


@pytest.mark.parametrize("seed", range(20))
def test_planted_minutes_are_found_to_the_rep_and_half_a_second(seed):
    random_ = random.Random(seed)
    jacks, truth = [], []
    for minute in range(5):
        truth.append(planned_minute(random_, minute, jacks))
    jitter = [rep(e.start_s + random_.uniform(-0.2, 0.2), 1.2) for e in jacks]
    work = [rep(60 * m + 48 + 2.5 * i, 2.4) for m in range(5) for i in range(4)]
    result = run(work, jitter, start_s=0.0)
    assert result.finished
    rows = result.rows
    assert [row.done for row in rows] == [3] * 5
    assert [row.late for row in rows] == [late for _, late in truth]
    for row, (begin, _) in zip(rows, truth, strict=True):
        assert row.started_after_s == pytest.approx(begin, abs=0.5)
        assert row.every_minute_s == pytest.approx(3.6, abs=0.5)
        assert row.work_reps["air-squat"] == 4
        assert row.work_s == pytest.approx(9.9, abs=0.5)
    adds_up(result)
