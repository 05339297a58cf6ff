"""Analytic and property: the set at a glance, from findings that are written down."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from standard_examples import check_data, make_standard, rate_data, split_data

from motioncheck.checks import summarise
from motioncheck.records import VERDICTS, Event, Finding, Phase, Value

CHECKS = [f"check_{letter}" for letter in "abcde"]
STANDARD = make_standard(
    *[check_data(id=c, title=f"Title {c}", cue=f"Cue {c}.", praise=f"Praise {c}.") for c in CHECKS],
    rate_data(),
)


def finding(check, verdict, value=1.0):
    missing = verdict == "not visible"
    return Finding(
        check, f"Title {check}", "thigh_inclination", "left", verdict, None if missing else value,
        5.0, "at most", "deg", None if missing else 2.0, cue="Cue." if verdict == "misses" else "",
    )  # fmt: skip


def rep(number, verdicts=(), *, side="both", start=None, down=2.0, hold=1.0, up=1.0, **measures):
    """``verdicts`` go to the checks in order; ``measures`` are values with an uncertainty of 5."""
    begin = 6.0 * number if start is None else start
    bottom, rise = begin + down, begin + down + hold
    return Event(
        "rep", number, side, begin, (bottom + rise) / 2, rise + up,
        (Phase("lowering", begin, bottom), Phase("bottom", bottom, rise),
         Phase("rising", rise, rise + up)),
        measures={name: Value(v, "deg", 5.0) for name, v in measures.items()},
        findings=tuple(finding(c, v) for c, v in zip(CHECKS, verdicts, strict=False)),
    )  # fmt: skip


def set_of(*rows, sides=None):
    sides = sides or ["both"] * len(rows)
    return [rep(n, row, side=s) for n, (row, s) in enumerate(zip(rows, sides, strict=True), 1)]


verdict_rows = st.lists(
    st.lists(st.sampled_from(VERDICTS), min_size=len(CHECKS), max_size=len(CHECKS)),
    min_size=1,
    max_size=12,
)


@given(verdict_rows)
def test_cues_are_at_most_three_and_only_for_what_was_missed(rows):
    events = set_of(*rows)
    summary = summarise(events, [], STANDARD)
    missed = {c: [n for n, r in enumerate(rows, 1) if r[i] == "misses"]
              for i, c in enumerate(CHECKS)}  # fmt: skip
    assert len(summary.cues) == min(3, sum(bool(reps) for reps in missed.values()))
    assert len({cue.check for cue in summary.cues}) == len(summary.cues)
    for cue in summary.cues:
        assert list(cue.reps) == missed[cue.check]
        assert cue.text == f"Cue {cue.check}."
    if summary.cues:
        assert len(summary.cues[0].reps) == max(len(reps) for reps in missed.values())


@given(verdict_rows)
def test_the_best_thing_never_contradicts_a_miss(rows):
    summary = summarise(set_of(*rows), [], STANDARD)
    assert summary.best
    for i, check in enumerate(CHECKS):
        verdicts = [row[i] for row in rows]
        if summary.best == f"Praise {check}.":
            assert "misses" not in verdicts
            # Praise needs half of the reps to meet the check for sure.
            assert verdicts.count("meets") >= len(rows) / 2


@given(verdict_rows)
def test_verdicts_and_reps_to_fix_are_counted_as_they_are(rows):
    summary = summarise(set_of(*rows), [], STANDARD)
    flat = [v for row in rows for v in row]
    assert dict(summary.verdicts) == {v: flat.count(v) for v in VERDICTS}
    assert list(summary.reps_to_fix) == [n for n, r in enumerate(rows, 1) if "misses" in r]
    assert summary.count == len(rows)


def test_the_praise_goes_to_the_check_that_most_reps_meet_and_then_the_first_of_the_standard():
    close = "too close to call"
    rows = [["meets", "meets", "misses"], [close, "meets", "meets"], ["meets", "meets", "meets"]]
    assert summarise(set_of(*rows), [], STANDARD).best == "Praise check_b."
    assert summarise(set_of(["meets", "meets"]), [], STANDARD).best == "Praise check_a."


def test_without_anything_to_praise_the_best_thing_says_only_what_is_so():
    mixed = set_of(["misses", "meets"], ["meets", "misses"], ["meets", "too close to call"])
    assert summarise(mixed, [], STANDARD).best == "1 of 3 reps miss nothing that could be judged."
    bad = set_of(["misses"], ["misses"])
    assert summarise(bad, [], STANDARD).best == "The whole set was done to the end."


@pytest.mark.parametrize(
    ("rows", "headline"),
    [
        ([["meets", "meets"]], "1 rep. Of 2 checks none is missed."),
        ([["meets"], ["misses"]], "2 reps, 1 to work on: rep 2."),
        ([["misses"]] * 4, "4 reps, 4 to work on: reps 1 to 4."),
        ([["meets", "not visible"]] * 2, "2 reps. Only 1 of 2 checks could be seen from here;"),
        ([["meets"], ["too close to call"]], "2 reps. Of 1 checks none is missed, some are too"),
        ([["not visible"]] * 2, "2 reps. This camera could not show any of the checks."),
    ],
)
def test_the_headline_counts_reps_and_those_to_work_on(rows, headline):
    assert summarise(set_of(*rows), [], STANDARD).headline.startswith(headline)


def test_the_headline_counts_the_sides_of_an_alternating_drill():
    events = set_of(*[["meets"]] * 5, sides=["left", "right", "left", "right", "left"])
    summary = summarise(events, [], STANDARD)
    assert summary.headline.startswith("5 reps (3 left, 2 right).")
    assert (summary.count_left, summary.count_right) == (3, 2)


def test_a_miss_of_the_set_alone_is_said_and_cued_without_a_rep():
    summary = summarise(set_of(["meets"]), [finding("rate", "misses")], STANDARD)
    assert summary.headline.endswith("the set as a whole does.")
    assert [(c.check, c.reps) for c in summary.cues] == [("rate", ())]
    assert summary.reps_to_fix == ()


def test_tempo_of_a_2_1_1_set_with_a_rest_of_2_seconds_between_reps():
    """Reps of 4 s start every 6 s: ten a minute."""
    tempo = summarise(set_of(*[["meets"]] * 4), [], STANDARD).tempo
    assert (tempo.lowering_s, tempo.pause_s, tempo.rising_s) == (2.0, 1.0, 1.0)
    assert tempo.rest_s == 2.0
    assert tempo.cycle_s == 6.0
    assert tempo.reps_per_min == 10.0


def test_tempo_names_the_second_phase_lowering_where_the_standard_says_so():
    standard = make_standard(split=split_data(lowering="second"))
    tempo = summarise(set_of(["meets"], ["meets"]), [], standard).tempo
    assert (tempo.lowering_s, tempo.rising_s) == (1.0, 2.0)


def test_sides_that_overlap_have_no_rest_between_them():
    standard = make_standard(
        check_data(side="working"),
        split=split_data(signal="knee_height_ratio", turn="highest", sides="alternating"),
    )
    events = set_of(*[["meets"]] * 4, sides=["left", "right"] * 2)
    assert summarise(events, [], standard).tempo.rest_s is None


def test_tempo_without_lowering_pause_or_second_rep_leaves_them_out():
    standard = make_standard(split=split_data(lowering="none"))
    tempo = summarise([rep(1, hold=0.0)], [], standard).tempo
    assert tempo.lowering_s is None
    assert tempo.rising_s is None
    assert tempo.pause_s is None
    assert tempo.rest_s is None
    assert tempo.reps_per_min is None


def consistency_of(values):
    events = [
        Event("rep", n, "both", n, n + 0.5, n + 1, rep(1).phases,
              findings=(finding("check_a", "meets", value=v),))
        for n, v in enumerate(values, start=1)
    ]  # fmt: skip
    return summarise(events, [], STANDARD).consistency


def test_a_steady_rise_is_a_drift_from_the_first_to_the_last_third():
    """1 to 9: thirds of 2 and 8, so a drift of 6; deviation sqrt 7.5, band 2 sd sqrt(2/3)."""
    (row,) = consistency_of(range(1, 10))
    assert (row.mean, row.drift) == (5.0, 6.0)
    assert row.sd == pytest.approx(np.sqrt(7.5), abs=1e-3)
    assert row.drift_uncertainty == pytest.approx(2 * np.sqrt(7.5) * np.sqrt(2 / 3), abs=1e-3)
    assert row.text == "rises by 6° from the first to the last reps"


def test_scatter_without_a_trend_is_no_drift():
    (row,) = consistency_of([1, 9, 1, 9, 1, 9, 1, 9, 1])
    assert row.text == "no drift from first to last reps beyond their spread"


def test_few_values_tell_no_drift_and_fewer_no_spread():
    (row,) = consistency_of([1, 2, 3, 4, 5])
    assert row.drift is None
    assert row.text == "too few reps to tell a drift"
    assert consistency_of([1, 2]) == ()


@pytest.mark.parametrize(
    ("left", "right", "text"),
    [
        (20.0, 18.0, "no difference that this camera can tell"),
        (20.0, 40.0, "right is larger by 20°"),
        (40.0, 20.0, "left is larger by 20°"),
    ],
)
def test_a_side_difference_inside_its_uncertainty_is_not_claimed(left, right, text):
    """Reps do not scatter, so the uncertainty is the band of one side, 5 degrees."""
    columns = {"thigh_inclination_left": left, "thigh_inclination_right": right}
    events = [rep(n, ["meets"], **columns) for n in range(1, 5)]
    (row,) = summarise(events, [], STANDARD).side_differences
    assert (row.left, row.right, row.difference) == (left, right, left - right)
    assert row.uncertainty == 5.0
    assert row.text == text


def test_sides_of_an_alternating_drill_are_compared_between_their_own_reps():
    standard = make_standard(
        check_data(side="working"),
        split=split_data(signal="knee_height_ratio", turn="highest", sides="alternating"),
    )
    columns = {"left": (10.0, 90.0), "right": (80.0, 30.0)}
    events = [
        rep(n, ["meets"], side=side, thigh_inclination_left=columns[side][0],
            thigh_inclination_right=columns[side][1])
        for n, side in enumerate(["left", "right"] * 3, start=1)
    ]  # fmt: skip
    (row,) = summarise(events, [], standard).side_differences
    assert (row.left, row.right) == (10.0, 30.0)


def staged(sides):
    """Stages with one arm up and the other one down, as they are in a get-up."""
    columns = {"thigh_inclination_left": 10.0, "thigh_inclination_right": 90.0}
    return [
        replace(rep(n, ["meets"], side=side, **columns), kind="stage", stage=1)
        for n, side in enumerate(sides, start=1)
    ]


def test_the_idle_side_of_a_stage_is_not_compared_with_the_working_one():
    assert summarise(staged(["right"] * 6), [], STANDARD).side_differences == ()
    (row,) = summarise(staged(["left", "right"] * 3), [], STANDARD).side_differences
    assert (row.left, row.right) == (10.0, 90.0)


def test_the_drift_of_stages_speaks_of_stages():
    events = [
        replace(e, findings=(finding("check_a", "meets", value=5.0),))
        for e in staged(["right"] * 6)
    ]
    (row,) = summarise(events, [], STANDARD).consistency
    assert row.text == "no drift from first to last stages beyond their spread"


def test_cut_off_reps_and_uneven_sides_are_noted():
    events = set_of(*[["meets"]] * 4, sides=["left", "left", "left", "right"])
    notes = summarise(events, [], STANDARD, partial=2).notes
    assert notes == (
        "2 unfinished reps were cut off by the edge of what was filmed and not counted.",
        "The sides were not done equally often: 3 left, 1 right.",
    )
    assert summarise(set_of(["meets"]), [], STANDARD).notes == ()
