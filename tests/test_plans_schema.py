"""Analytic: what a plan may say, what it adds up to, and what a wrong one is told."""

from __future__ import annotations

import pytest
from session_examples import HEAD, MOVEMENTS, plan_of

from motioncheck.errors import StandardError
from motioncheck.plans import (
    compute_timed_s,
    compute_totals,
    list_slots,
    load_plan,
    parse_plan,
    plan_movements,
)
from motioncheck.plans.loader import MAX_BYTES

SETS = '[[block]]\nkind = "sets"\nmovement = "air-squat"\n'
LADDER = '[[block]]\nkind = "ladder"\nmovement = "sun-ladder"\n'


def totals_of(text):
    return {total.movement: total for total in compute_totals(plan_of(text))}


def test_five_rounds_of_ten_plus_five_give_fifty_and_twenty_five():
    totals = totals_of(
        '[[block]]\nkind = "superset"\nrounds = 5\n'
        'item = [{movement = "air-squat", reps = 10}, {movement = "jumping-jacks", reps = 5}]\n'
    )
    assert totals["air-squat"].reps == 50
    assert totals["jumping-jacks"].reps == 25
    assert totals["air-squat"].sets == totals["jumping-jacks"].sets == 5


def test_a_seven_rung_ladder_visits_forty_nine_stages():
    """Rung k visits 2k - 1 stages: 1 + 3 + 5 + 7 + 9 + 11 + 13 = 49."""
    totals = totals_of(LADDER + "rungs = 7\n")
    assert totals["sun-ladder"].stages == 49
    assert totals["sun-ladder"].sets == 7
    slots = list_slots(plan_of(LADDER + "rungs = 7\n"))
    assert [slot.prescribed.stages for slot in slots] == [1, 3, 5, 7, 9, 11, 13]


def test_three_rounds_of_three_times_twenty_give_one_hundred_and_eighty():
    totals = totals_of(
        '[[block]]\nkind = "circuit"\nrounds = 3\n'
        'every_minute = {movement = "high-knees", reps = 4}\n'
        'item = [{movement = "air-squat", reps = 20}, {movement = "jumping-jacks", reps = 20}, '
        '{movement = "wide-stance-twist", reps = 20}]\n'
    )
    assert sum(total.reps for total in totals.values()) == 180
    assert totals["high-knees"].every_minute == 4
    assert totals["high-knees"].reps == 0


def test_work_and_rest_add_up_to_the_clock():
    """4 holds of 30 s with 3 rests of 15 s: 120 + 45 = 165 s; each side doubles the work."""
    text = (
        '[[block]]\nkind = "sets"\nmovement = "front-plank"\nsets = 4\nhold_s = 30\nrest_s = 15\n'
    )
    assert compute_timed_s(plan_of(text)) == (120.0, 45.0)
    assert compute_timed_s(plan_of(text + "each_side = true\n")) == (240.0, 45.0)
    assert compute_timed_s(plan_of(text + SETS + "sets = 1\nreps = 5\n")) is None


def test_each_side_doubles_reps_and_seconds():
    totals = totals_of(
        '[[block]]\nkind = "superset"\nrounds = 2\nitem = ['
        '{movement = "wide-stance-twist", reps = 8, each_side = true}, '
        '{movement = "front-plank", hold_s = 20, each_side = true}]\n'
    )
    assert totals["wide-stance-twist"].reps == 32
    assert totals["front-plank"].hold_s == 80.0


@pytest.mark.parametrize(
    ("keys", "order"),
    [
        ("rungs = 3", (1, 2, 3)),
        ("rungs = [1, 3, 5]", (1, 3, 5)),
        ("from = 2\nto = 4", (2, 3, 4)),
        ("from = 3\nto = 1", (3, 2, 1)),
    ],
)
def test_a_ladder_runs_up_down_or_as_listed(keys, order):
    assert plan_of(LADDER + keys + "\n").block[0].order == order


def test_rests_stand_between_sets_and_after_rounds_only():
    slots = list_slots(
        plan_of(
            SETS + "sets = 3\nreps = 5\nrest_s = 60\n"
            '[[block]]\nkind = "superset"\nrounds = 2\nrest_s = 90\n'
            'item = [{movement = "air-squat", reps = 5}, {movement = "high-knees", reps = 5}]\n'
        )
    )
    rests = [slot.prescribed.rest_s for slot in slots]
    assert rests == [None, 60.0, 60.0, None, None, 90.0, None]
    assert [slot.label for slot in slots[3:]] == [
        "Round 1, A", "Round 1, B", "Round 2, A", "Round 2, B",
    ]  # fmt: skip


def test_movements_are_listed_once_in_the_order_of_the_plan():
    plan = plan_of(
        SETS + "sets = 1\nreps = 5\n" + LADDER + "rungs = 2\n"
        '[[block]]\nkind = "circuit"\nrounds = 1\nitem = [{movement = "air-squat", reps = 5}]\n'
        'every_minute = {movement = "high-knees", reps = 2}\n'
    )
    assert plan_movements(plan) == ("air-squat", "sun-ladder", "high-knees")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "block: expected this key, found none"),
        (SETS + "sets = 3\nreps = '10'\n",
         r"block 1 \(sets\), reps: expected a whole number, found '10'"),
        (SETS + "sets = 0\nreps = 1\n", r"block 1 \(sets\), sets: expected at least 1, found 0"),
        (SETS + "sets = 2.0\nreps = 1\n", r"sets: expected a whole number, found 2\.0"),
        (SETS + "sets = 2\n", r"expected either reps or hold_s, found neither"),
        (SETS + "sets = 2\nreps = 1\nhold_s = 3\n", "expected either reps or hold_s, found both"),
        (SETS + "sets = 2\nhold_s = nan\n", "hold_s: expected a finite number, found nan"),
        (SETS + "sets = 2\nreps = 1\nrest = 9\n",
         r"block 1 \(sets\), rest: expected only the keys .*rest_s; found another one"),
        (SETS + "sets = 2\nreps = 1\neach_side = 1\n", "each_side: expected true or false, found"),
        (SETS.replace("air", "hair") + "sets = 1\nreps = 1\n",
         "movement: expected one of the movements air-squat, .*found 'hair-squat'"),
        (SETS.replace('"sets"', '"pairs"'),
         "block 1: expected kind to be one of sets, ladder, superset, circuit; found 'pairs'"),
        ("[[block]]\nreps = 1\n", "block 1: expected kind, one of sets, .*found none"),
        ("block = 3\n", "block: expected a list, found 3"),
        (LADDER, "expected either rungs, or from and to, found neither"),
        (LADDER + "rungs = 2\nto = 3\n", "expected either rungs, or from and to, found both"),
        (LADDER + "to = 3\n", "expected from and to together, found to alone"),
        (LADDER + "rungs = []\n", "a list of 1 to 50 of them, found a list of 0"),
        (LADDER + "rungs = [1, true]\n", "expected a whole number from 1 to 50.*found True"),
        ('[[block]]\nkind = "superset"\nrounds = 1\nitem = []\n',
         r"item: expected a list of at least 1, found a list of 0"),
        ('[[block]]\nkind = "superset"\nrounds = 1\nitem = [{movement = "air-squat", reps = 1}, '
         '{movement = "air-squat", reps = 1, x = 1}]\n',
         r"block 1 \(superset\), item 2, x: expected only the keys movement, .*each_side"),
        ('[[block]]\nkind = "circuit"\nrounds = 1\nitem = [{movement = "air-squat", hold_s = 9}]\n',
         "expected reps in every item of a circuit, item 1 holds"),
        ('[[block]]\nkind = "circuit"\nrounds = 1\nitem = [{movement = "air-squat", reps = 9}]\n'
         'every_minute = {movement = "air-squat", reps = 2}\n',
         "expected another movement every minute than in the items, found 'air-squat' in both"),
    ],
)  # fmt: skip
def test_a_wrong_plan_is_told_file_key_expected_and_found(text, told):
    with pytest.raises(StandardError, match=told) as caught:
        plan_of(text)
    assert caught.value.message.startswith("plan.toml is not a valid plan: ")
    assert caught.value.exit_code == 4
    assert "\n" not in caught.value.message


def test_every_problem_is_named_once_and_no_other():
    with pytest.raises(StandardError) as caught:
        plan_of(SETS + "sets = 0\nreps = 'x'\n")
    assert caught.value.message.count("expected") == 2


@pytest.mark.parametrize("version", ["motioncheck/plan/2", "", "other"])
def test_another_format_is_refused(version):
    text = HEAD.replace("motioncheck/plan/1", version) + SETS + "sets = 1\nreps = 1\n"
    with pytest.raises(StandardError, match="format: expected 'motioncheck/plan/1', found"):
        parse_plan(text.encode(), name="p.toml", movements=MOVEMENTS)


@pytest.mark.parametrize(
    "content", [b"\xff\xfe", b"a = ", b"a = " + b"[" * 5000, b"a = " + b"9" * 5000]
)
def test_what_is_no_toml_is_refused_in_one_sentence(content):
    with pytest.raises(StandardError, match=r"p\.toml: expected a TOML file, found a fault"):
        parse_plan(content, name="p.toml")


def test_a_plan_is_read_from_its_file_with_its_checksum(tmp_path):
    path = tmp_path / "week 3.toml"
    path.write_text(HEAD + SETS + "sets = 1\nreps = 1\n", encoding="utf-8")
    loaded = load_plan(path, MOVEMENTS)
    assert loaded.plan.title == "Land training"
    assert len(loaded.source_hash) == 64
    with pytest.raises(StandardError, match=r"Expected a plan at .*none\.toml, found none"):
        load_plan(tmp_path / "none.toml")
    with pytest.raises(StandardError, match="Expected a plan at"):
        load_plan(tmp_path)
    path.write_bytes(b"#" * (MAX_BYTES + 1))
    with pytest.raises(StandardError, match="at most 1,000,000 bytes"):
        load_plan(path)
