"""Analytic: what a summary of corrected reps is counted from, with its standard and without."""

from __future__ import annotations

from dataclasses import replace

import pytest
from standard_examples import check_data, make_standard, split_data
from test_checks_corrected import (
    BAD,
    CHECKS,
    CLOSE,
    FOUR,
    GOOD,
    MIXED,
    SHEET,
    STANDARD,
    UNSEEN,
    fix,
    rep,
    sheet_of,
    turn_of,
)

from motioncheck.checks import apply_corrections, check_set
from motioncheck.records import (
    Finding,
    RangeResult,
    Value,
)
from motioncheck.standards import find_standard, load_standards


def test_without_the_standard_counts_and_verdicts_hold_and_a_note_says_what_is_left_out():
    fixed = apply_corrections(SHEET, MIXED)
    full = apply_corrections(SHEET, MIXED, STANDARD)
    for name in ("headline", "count", "verdicts", "reps_to_fix", "cues", "consistency"):
        assert getattr(fixed.summary, name) == getattr(full.summary, name)
    assert fixed.summary.tempo == replace(
        full.summary.tempo, lowering_s=None, pause_s=None, rising_s=None, speed_loss_percent=None,
        speed_loss_uncertainty=None,
    )  # fmt: skip
    assert any(n.startswith("The standard of this check is not at hand") for n in
               fixed.summary.notes)  # fmt: skip
    assert not any("standard of this check" in n for n in full.summary.notes)


def test_without_the_standard_changed_verdicts_leave_the_times_as_measured():
    fixed = apply_corrections(SHEET, [fix("verdict", 3, check="depth", verdict=GOOD)])
    assert fixed.summary.tempo == SHEET.summary.tempo


def test_a_standard_is_found_by_the_hash_of_its_file(tmp_path):
    loaded = load_standards()["air-squat"]
    assert find_standard(loaded.source_hash) == loaded.standard
    assert find_standard("0" * 64) is None
    own = tmp_path / "own.toml"
    own.write_bytes(loaded.path.read_bytes().replace(b'id = "air-squat"', b'id = "own"') + b"\n")
    from motioncheck.standards import load_standard_file

    mine = load_standard_file(own)
    assert find_standard(mine.source_hash) is None
    assert find_standard(mine.source_hash, tmp_path) == mine.standard
    assert find_standard(loaded.source_hash, tmp_path / "missing") == loaded.standard


# Checks of the set, range of motion, left and right

RATE = check_data(
    id="rate", title="Rate", scope="set", measure="rate_per_min", moment="mean", side=None,
    comparison="at least", threshold=11.0, clear_miss=8.0, unit="1/min", plane="any",
    cue="Quicker.", praise="Good pace.",
)  # fmt: skip


def with_rate(events):
    standard = make_standard(*[check_data(id=c) for c in CHECKS], RATE)
    findings = check_set(events, standard, None, None, choices=choices(standard))
    return standard, sheet_of(events, standard, findings)


def choices(standard):
    """Every check in its first form, none hidden."""
    from motioncheck.checks.seeing import Choice

    return {c.id: Choice(c, "") for c in standard.check}


def test_a_rate_is_counted_anew_and_judged_anew():
    """Six reps 6 s apart: 10 a minute. With reps added half-way between all, 20 a minute."""
    events = [rep(n, [GOOD, GOOD]) for n in range(1, 7)]
    standard, sheet = with_rate(events)
    assert sheet.summary.set_findings[0].value == 10.0
    assert sheet.summary.set_findings[0].verdict == CLOSE
    added = [fix("add", at_s=turn_of(n) + 3.0, day=n, sheet=sheet) for n in range(1, 6)]
    fixed = apply_corrections(sheet, added, standard).summary
    assert fixed.set_findings[0].value == 20.0
    assert fixed.set_findings[0].verdict == GOOD
    assert "Rate: 20.0/min after the corrections, 10.0/min as measured." in fixed.notes


def test_a_verdict_of_the_set_can_be_corrected():
    standard, sheet = with_rate([rep(n, [GOOD, GOOD]) for n in range(1, 7)])
    fixed = apply_corrections(
        sheet, [fix("verdict", check="rate", verdict=BAD, sheet=sheet)], standard
    )
    found = fixed.summary.set_findings[0]
    assert (found.verdict, found.corrected, found.value, found.cue) == (
        CLOSE,
        BAD,
        10.0,
        "Quicker.",
    )
    assert fixed.summary.verdicts[BAD] == 1
    assert fixed.summary.headline.endswith("the set as a whole does.")
    assert [c.check for c in fixed.summary.cues] == ["rate"]


def test_a_value_of_the_set_that_the_sheet_cannot_tell_again_is_not_guessed():
    """A value the events do not bear out was measured otherwise: it is not replaced by a guess."""
    standard, sheet = with_rate([rep(n, [GOOD, GOOD]) for n in range(1, 7)])
    odd = replace(sheet.summary.set_findings[0], value=33.0)
    sheet = replace(sheet, summary=replace(sheet.summary, set_findings=(odd,)))
    found = apply_corrections(sheet, [fix("strike", 2, sheet=sheet)], standard).summary
    assert found.set_findings[0].verdict == UNSEEN
    assert found.set_findings[0].value is None
    assert "it was 33.0/min (too close to call) before" in found.set_findings[0].reason


COUNT = check_data(
    id="count", title="Chair stands in 30 s", scope="set", measure="reps_in_30_s", moment="mean",
    side=None, comparison="at least", threshold=2.0, clear_miss=None, unit="count", plane="any",
    cue="More.", praise="Enough.",
)  # fmt: skip


@pytest.mark.parametrize(
    ("corrections", "value"),
    [
        # The clock starts at 6 s with rep 1 and stops at 36 s: turns of reps 1 to 4 are inside.
        ([("strike", 2)], 3.0),
        ([("strike", 6)], 4.0),
        ([("add", 17.0)], 5.0),
        # Without rep 1 the clock starts elsewhere: only the clip can tell what it then sees.
        ([("strike", 1)], None),
        ([("add", 2.0)], None),
    ],
)
def test_a_timed_count_changes_by_what_is_inside_its_time(corrections, value):
    events = [rep(n, [GOOD, GOOD]) for n in (1, 2, 3, 4, 6)]
    standard = make_standard(*[check_data(id=c) for c in CHECKS], COUNT)
    counted = Finding("count", "Chair stands in 30 s", "reps_in_30_s", "both", GOOD, 4.0, 2.0,
                      "at least", "count", 0.0)  # fmt: skip
    sheet = sheet_of(events, standard, [counted])
    given_ = [
        fix(kind, int(at), sheet=sheet) if kind == "strike" else fix(kind, at_s=at, sheet=sheet)
        for kind, at in corrections
    ]
    fixed = apply_corrections(sheet, given_, standard)
    assert fixed.summary.set_findings[0].value == value


def trials(*values, struck=()):
    kept = [(n, v) for n, v in enumerate(values, 1) if n not in struck]
    return RangeResult(
        "knee_flexion", "Bend", "deg", "left", len(kept), max(v for _, v in kept), None, 4.0,
        events=tuple(n for n, _ in kept), values=tuple(Value(v, "deg", 4.0) for _, v in kept),
    )  # fmt: skip


def test_a_struck_trial_leaves_the_range_of_motion():
    line = replace(trials(120.0, 150.0, 118.0, 125.0), mean_of_three=129.333)
    sheet = sheet_of(FOUR, ranges=[line])
    fixed = apply_corrections(sheet, [fix("strike", 2, sheet=sheet)], STANDARD).summary.ranges[0]
    assert (fixed.trials, fixed.best, fixed.events) == (3, 125.0, (1, 3, 4))
    assert fixed.mean_of_three == pytest.approx((120.0 + 118.0 + 125.0) / 3, abs=1e-3)
    lowest = sheet_of(FOUR, ranges=[replace(line, best_is="lowest")])
    fixed = apply_corrections(lowest, [fix("strike", 3, sheet=lowest)], STANDARD)
    assert fixed.summary.ranges[0].best == 120.0
    few = apply_corrections(sheet, [fix("strike", n, sheet=sheet) for n in (1, 2, 3)], STANDARD)
    assert few.summary.ranges[0].mean_of_three is None
    none = apply_corrections(sheet, [fix("strike", n, sheet=sheet) for n in (1, 2, 3, 4)], STANDARD)
    assert none.summary.ranges[0].best is None
    assert none.summary.count == 0


def test_an_older_sheet_without_single_trials_keeps_its_range_and_says_so():
    line = replace(trials(120.0, 150.0), events=(), values=())
    sheet = sheet_of(FOUR, ranges=[line])
    fixed = apply_corrections(sheet, [fix("strike", 2, sheet=sheet)], STANDARD).summary
    assert fixed.ranges == (line,)
    assert any("range of motion is as measured" in n for n in fixed.notes)


def test_left_against_right_is_compared_anew():
    """Left turns at 10, 10, 40 degrees, right at 10, 10: without the 40 both are the same."""
    by_sides = make_standard(
        *[check_data(id=c) for c in CHECKS],
        split=split_data(sides="alternating", side_from="knee_height_ratio"),
    )
    values = [("left", 10.0), ("right", 10.0), ("left", 40.0), ("right", 10.0), ("left", 40.0),
              ("left", 10.0), ("left", 10.0)]  # fmt: skip
    events = [
        rep(n, [GOOD, GOOD], side=side, **{f"thigh_inclination_{side}": value})
        for n, (side, value) in enumerate(values, 1)
    ]
    sheet = sheet_of(events, by_sides)
    struck = [fix("strike", n, sheet=sheet) for n in (3, 5)]
    fixed = apply_corrections(sheet, struck, by_sides).summary
    (line,) = fixed.side_differences
    assert (line.left, line.right, line.difference) == (10.0, 10.0, 0.0)
    assert (fixed.count_left, fixed.count_right) == (3, 2)
    # Without the standard the measures of the sheet are compared in the same way.
    assert apply_corrections(sheet, struck).summary.side_differences == (line,)
