"""Analytic: a whole session of made-up bouts; what was planted is what the sheet says."""

from __future__ import annotations

import pytest
from session_examples import (
    MOVEMENTS,
    bout,
    circuit_bouts,
    finding,
    full_session,
    hold,
    judged,
    plan_of,
    rep,
    reps,
)

from motioncheck.plans.session import SessionFacts, build_session
from motioncheck.records.session import Bout

TWO_SETS = '[[block]]\nkind = "sets"\nmovement = "air-squat"\nsets = 2\nreps = 10\n'


def build(text, bouts, **facts):
    return build_session(plan_of(text), bouts, SessionFacts(**{"titles": MOVEMENTS} | facts))


@pytest.fixture(scope="module")
def full():
    return full_session()


def test_every_planted_departure_is_found_and_nothing_else(full):
    status = {
        block.title: [(s.label, s.status, s.done) for s in block.sets] for block in full.blocks
    }
    assert status == {
        "Warm-up": [("Set 1 of 2", "as planned", 20), ("Set 2 of 2", "as planned", 20)],
        "Squats for the drive": [
            ("Set 1 of 3", "as planned", 10),
            ("Set 2 of 3", "as planned", 10),
            ("Set 3 of 3", "fewer", 8),
        ],
        "Trunk": [("Set 1 of 2", "as planned", 2), ("Set 2 of 2", "fewer", 2)],
        "Get-up ladder": [
            ("Rung 1", "as planned", 1),
            ("Rung 2", "as planned", 3),
            ("Rung 3", "missing", 0),
            ("Rung 4", "as planned", 7),
            ("Rung 5", "fewer", 8),
        ],
        "Legs and turn": [
            ("Round 1, A", "as planned", 12),
            ("Round 1, B", "as planned", 16),
            ("Round 2, A", "as planned", 12),
            ("Round 2, B", "fewer", 13),
        ],
        "Start sequence on the clock": [],
    }
    assert full.extra == ()
    assert [(u.movement, u.events) for u in full.unmatched] == [("other", 3)]
    assert full.headline == (
        "11 of 16 sets as planned, 4 short, 1 missing. Circuit not finished: 69 of 70 reps."
    )


def test_the_circuit_of_the_session_has_its_late_its_parted_and_its_short_minute(full):
    circuit = full.blocks[-1].circuit
    assert [(r.done, r.late, r.complete) for r in circuit.rows] == [
        (5, False, True), (5, True, True), (5, False, True), (4, False, False),
    ]  # fmt: skip
    assert circuit.rows[1].started_after_s == pytest.approx(14.0)
    assert circuit.rows[2].completed_after_s == pytest.approx(30.4)
    assert circuit.start_s == 10.0
    for row in circuit.rows:
        total = row.work_s + row.every_minute_s + row.rest_s
        assert total == pytest.approx(row.clock_s, abs=1e-9)


def test_totals_of_a_movement_join_all_blocks(full):
    totals = {t.movement: t for t in full.totals}
    # 3 x 10, 2 x 12 and 2 x 15 of the circuit; done 28, 24 and 29.
    assert (totals["air-squat"].planned_reps, totals["air-squat"].done_reps) == (84, 81)
    # 2 x 20, and 5 due in each of four minutes; done 40 and 19.
    assert (totals["jumping-jacks"].planned_reps, totals["jumping-jacks"].done_reps) == (60, 59)
    assert totals["front-plank"].planned_hold_s == 120.0
    assert totals["front-plank"].done_hold_s == pytest.approx(30.6 + 29.8 + 31.0 + 22.0)
    assert (totals["sun-ladder"].planned_stages, totals["sun-ladder"].done_stages) == (25, 19)
    assert totals["sun-ladder"].planned_reps is None
    assert sum(t.tally.done for t in full.totals) == 232
    assert "Of 232 reps, holds and stages: 216 to standard" in full.form


def test_loss_of_form_is_told_for_the_sets_it_was_planted_in(full):
    found = [(f.block, f.label, f.rep) for f in full.form_losses]
    assert found == [(2, "Set 2 of 3", 8), (2, "Set 3 of 3", 4), (5, "Round 2, A", 7)]


def test_the_cue_that_most_reps_call_for_comes_first(full):
    (cue,) = full.cues
    assert cue.text == "Sit until the thighs are level."
    assert (cue.movement, cue.events, cue.of) == ("air-squat", 14, 81)


def test_eight_of_ten_with_one_close_and_one_missed_is_said_so():
    sheet = build(
        TWO_SETS.replace("sets = 2", "sets = 1"), [bout("air-squat", judged(8, 0, "mmmmmmcx"))]
    )
    one = sheet.blocks[0].sets[0]
    assert (one.done, one.prescribed.reps) == (8, 10)
    assert (one.tally.to_standard, one.tally.close, one.tally.missed) == (6, 1, 1)


def test_drifts_of_a_set_and_of_the_session_are_kept_apart():
    falling = [rep(2 * i, findings=(finding(value=90 - i, uncertainty=2.0),)) for i in range(10)]
    steady = [rep(99 + 2 * i, findings=(finding(value=80.0, uncertainty=2.0),)) for i in range(10)]
    sheet = build(TWO_SETS, [bout("air-squat", falling + steady)])
    found = {(d.block, d.label): (d.per_ten, d.seen) for d in sheet.drifts}
    assert found[1, "Set 1 of 2"] == (-10.0, True)
    assert found[1, "Set 2 of 2"] == (0.0, False)
    assert (0, "Whole session") in found


def test_bouts_of_other_movements_and_empty_ones_stand_beside_the_plan():
    bouts = [
        bout("air-squat", reps(10, 0)),
        bout("", reps(2, 30)),
        Bout("session.mp4", "high-knees", 50.0, 60.0, ()),
    ]
    sheet = build(TWO_SETS, bouts)
    assert [(u.movement, u.title, u.events) for u in sheet.unmatched] == [
        ("other", "other", 2), ("high-knees", "High knees", 0),
    ]  # fmt: skip
    assert [s.status for s in sheet.blocks[0].sets] == ["as planned", "missing"]


def test_nothing_done_is_said_in_words():
    sheet = build(TWO_SETS, [])
    assert sheet.headline == "0 of 2 sets as planned, 2 missing."
    assert sheet.form == "Nothing of the plan was found in the clips."
    assert sheet.drifts == sheet.form_losses == sheet.cues == ()


def test_an_extra_set_is_counted_in_the_totals():
    sheet = build(TWO_SETS, [bout("air-squat", reps(10, 0) + reps(10, 80) + reps(10, 160))])
    assert [s.done for s in sheet.extra] == [10]
    assert sheet.headline == "2 of 2 sets as planned, 1 extra."
    assert sheet.totals[0].done_reps == 30


def test_the_clock_may_be_started_by_hand_for_the_first_circuit_only():
    text = '[[block]]\nkind = "circuit"\nrounds = 1\nitem = [{movement = "air-squat", reps = 5}]\n'
    bouts = [bout("air-squat", reps(5, 10)), bout("air-squat", reps(5, 90))]
    sheet = build(text + text, bouts, start_s=4.0)
    starts = [block.circuit.start_s for block in sheet.blocks]
    assert starts == [4.0, 90.0]


def test_sets_before_a_circuit_of_the_same_movement_are_not_taken_for_it():
    text = (
        '[[block]]\nkind = "sets"\nmovement = "air-squat"\nsets = 2\nreps = 10\nrest_s = 60\n'
        '[[block]]\nkind = "circuit"\nrounds = 2\n'
        'every_minute = {movement = "jumping-jacks", reps = 5}\n'
        'item = [{movement = "air-squat", reps = 15}, {movement = "high-knees", reps = 20}]\n'
    )
    sets = bout("air-squat", reps(10, 0) + reps(10, 80), "sets.mp4")
    both = build(text, [sets, *circuit_bouts("circuit.mp4")])
    assert [s.status for s in both.blocks[0].sets] == ["as planned"] * 2
    assert [c.done for c in both.blocks[1].circuit.counts] == [29, 40]
    only = build(text, circuit_bouts("circuit.mp4"))
    assert [s.status for s in only.blocks[0].sets] == ["missing"] * 2
    assert [c.done for c in only.blocks[1].circuit.counts] == [29, 40]


def test_a_missing_set_before_a_circuit_does_not_take_the_reps_due_at_its_start():
    text = (
        '[[block]]\nkind = "sets"\nmovement = "jumping-jacks"\nsets = 2\nreps = 20\n'
        '[[block]]\nkind = "circuit"\nrounds = 2\n'
        'every_minute = {movement = "jumping-jacks", reps = 5}\n'
        'item = [{movement = "air-squat", reps = 15}, {movement = "high-knees", reps = 20}]\n'
    )
    warm = bout("jumping-jacks", reps(20, 0, 1.0), "warm-up.mp4")
    sheet = build(text, [warm, *circuit_bouts("circuit.mp4")])
    assert [(s.done, s.status) for s in sheet.blocks[0].sets] == [
        (20, "as planned"),
        (0, "missing"),
    ]
    assert sheet.blocks[1].circuit.rows[0].done == 5


def test_a_hold_block_and_its_sides_are_named_after_the_movement():
    text = '[[block]]\nkind = "sets"\nmovement = "front-plank"\nsets = 1\nhold_s = 20\n'
    sheet = build(text, [bout("front-plank", [hold(0, 20.5)])])
    assert sheet.blocks[0].title == "Front plank"
    assert sheet.blocks[0].sets[0].hold_s == 20.5
