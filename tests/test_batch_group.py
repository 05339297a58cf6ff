"""The group sheet put together: what counts, who needs a look, in which order, what is shared.

Expected numbers are worked by hand from the made-up squad in `group_examples`.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from group_examples import CUT_SHORT, MADE_AT, NO_PERSON, crew, entry, jacks, squad, squats
from sheet_examples import SQUAT_CUES, blind_sheet

from motioncheck.batch.group import GroupEntry, build_group
from motioncheck.batch.group_rows import LOOK_SHARE, WEIGHTS, compute_score
from motioncheck.records import Finding
from motioncheck.records.group import GroupCell
from motioncheck.records.result import AppliedCorrection


def group_of(entries):
    return build_group(entries, title="Warm-up", made_at=MADE_AT)


@pytest.fixture(scope="module")
def group():
    return group_of(crew())


def row_of(group, person):
    (row,) = [row for row in group.rows if row.person == person]
    return row


def cell_of(row, check):
    (cell,) = [cell for cell in row.cells if cell.check == check]
    return cell


def test_rows_are_the_checked_clips_worst_first(group):
    assert [row.person for row in group.rows] == [
        "seat2", "seat6", "seat4", "seat5", "seat3", "seat1", "seat7",
    ]  # fmt: skip
    scores = [row.score for row in group.rows]
    assert scores == sorted(scores, reverse=True)


def test_the_result_does_not_depend_on_the_order_of_the_clips():
    entries = squad(60)
    shuffled = list(entries)
    random.Random(1).shuffle(shuffled)
    assert shuffled != entries
    assert group_of(shuffled) == group_of(entries)


def test_among_equals_seat_2_comes_before_seat_10():
    rows = group_of([entry(f"seat{n}", squats()) for n in (10, 2, 1)]).rows
    assert [row.person for row in rows] == ["seat1", "seat2", "seat10"]


def test_a_cell_counts_reps_by_verdict_and_keeps_the_median(group):
    row = row_of(group, "seat2")
    depth = cell_of(row, "depth")
    # Six of eight reps at 17 degrees, two at -6 and -7: the median is 17, six miss.
    assert (depth.worst, depth.misses, depth.meets) == ("misses", 6, 2)
    assert (depth.value, depth.unit) == (17.0, "deg")
    assert depth.reps == (3, 4, 5, 6, 7, 8)
    assert (row.events, row.events_to_fix, row.event_kind) == (8, 8, "rep")
    knees = cell_of(row, "knees")
    assert (knees.worst, knees.unseen, knees.value) == ("not visible", 8, None)
    tempo = cell_of(row, "tempo")
    assert (tempo.scope, tempo.worst, tempo.reps) == ("set", "meets", ())


def test_two_findings_of_one_rep_count_as_one_with_the_worse_verdict(group):
    arms = cell_of(row_of(group, "seat6"), "arms")
    # The right arm is low in the last four of ten reps; the left one never.
    assert (arms.misses, arms.meets) == (4, 6)
    assert arms.misses + arms.meets + arms.close + arms.unseen == 10


def test_who_needs_a_look_is_told_why_in_a_few_words(group):
    assert row_of(group, "seat4").look == "missed in 3 of 8 reps: thighs level at the bottom"
    assert row_of(group, "seat5").look == "no check could be seen from there"
    assert row_of(group, "seat2").look.startswith(
        "missed in all 8 reps: thighs level at the bottom (6), chest and shins at the same"
    )
    assert row_of(group, "seat2").cue == SQUAT_CUES["depth"]
    # One of eight is less than a quarter.
    assert LOOK_SHARE > 1 / 8
    assert row_of(group, "seat3").look == row_of(group, "seat1").look == ""


def test_no_reps_at_all_needs_a_look():
    (row,) = group_of([entry("seat1", squats(reps=0))]).rows
    assert row.look == "no rep counted"
    assert (row.events, row.events_to_fix) == (0, 0)


def failing_set(sheet):
    (tempo,) = sheet.summary.set_findings
    missed = replace(tempo, verdict="misses", value=0.4, cue="Lower slowly.")
    return replace(sheet, summary=replace(sheet.summary, set_findings=(missed,)))


def test_a_missed_check_of_the_set_needs_a_look_though_no_rep_misses():
    (row,) = group_of([entry("seat1", failing_set(squats()))]).rows
    assert (row.events_to_fix, row.cue) == (0, "Lower slowly.")
    assert row.look == "missed by the set as a whole: lowering time"


def test_corrected_verdicts_count_and_values_stay():
    sheet = squats(shallow=3)

    def lift(f: Finding) -> Finding:
        return replace(f, corrected="meets") if f.check == "depth" else f

    events = tuple(replace(e, findings=tuple(map(lift, e.findings))) for e in sheet.events)
    notes = [
        AppliedCorrection(1, kind, "coach", MADE_AT, "", "rep", 6, 1.0, applied=applied)
        for kind, applied in (("verdict", True), ("note", True), ("strike", False))
    ]
    sheet = replace(sheet, events=events, corrections=tuple(notes))
    (row,) = group_of([entry("seat4", sheet)]).rows
    depth = cell_of(row, "depth")
    assert (depth.worst, depth.misses, depth.meets) == ("meets", 0, 8)
    (measured,) = group_of([entry("seat4", squats(shallow=3))]).rows
    assert depth.value == cell_of(measured, "depth").value
    assert (row.look, row.cue, row.events_to_fix) == ("", "", 0)
    # The note changes nothing, and the strike could not be applied.
    assert row.corrected == 1


def test_struck_reps_do_not_count():
    sheet = squats(shallow=3)
    events = tuple(replace(e, struck=e.number > 5) for e in sheet.events)
    (row,) = group_of([entry("seat4", replace(sheet, events=events))]).rows
    assert (row.events, row.events_to_fix, cell_of(row, "depth").misses) == (5, 0, 0)


def test_a_miss_added_by_hand_counts():
    sheet = squats()
    first, *rest = sheet.events
    bad = replace(first, findings=(replace(first.findings[0], corrected="misses"),))
    (row,) = group_of([entry("seat1", replace(sheet, events=(bad, *rest)))]).rows
    assert cell_of(row, first.findings[0].check).reps == (1,)
    assert row.events_to_fix == 1


def test_without_a_result_has_its_reason_as_a_sentence(group):
    assert [(r.person, r.clip, r.state) for r in group.without_result] == [
        ("seat2", "seat2 again.mp4", "failed"),
        ("seat8", "seat8.mp4", "failed"),
    ]
    first, second = (row.reason for row in group.without_result)
    assert first == CUT_SHORT[0].upper() + CUT_SHORT[1:] + "."
    assert second == NO_PERSON[0].upper() + NO_PERSON[1:] + "."


def test_a_checked_clip_without_its_sheet_counts_as_failed():
    entries = [GroupEntry("seat1", "a.mp4"), GroupEntry("seat2", "b.mp4", "waiting")]
    group = group_of(entries)
    assert group.rows == ()
    assert [row.state for row in group.without_result] == ["failed", "waiting"]
    assert group.without_result[0].reason == "Its sheet could not be read."


def test_columns_are_grouped_by_movement_the_most_common_first(group):
    assert [c.movement for c in group.columns] == ["air-squat"] * 8 + ["jumping-jacks"] * 4
    first = group.columns[0]
    assert (first.title, first.asked, first.unit) == (
        "Thighs level at the bottom", "at most 5°", "deg",
    )  # fmt: skip


def test_what_many_share_counts_athletes_who_could_be_judged(group):
    (shared,) = group.shared
    # Of five squatters one could not be seen; two of four miss depth in a quarter or more.
    assert (shared.check, shared.athletes, shared.of) == ("depth", 2, 4)
    assert shared.cue == SQUAT_CUES["depth"]
    assert shared.text == "Thighs level at the bottom: missed by 2 of 4 athletes"


def test_one_athlete_with_many_clips_shares_with_nobody():
    entries = [entry("seat1", squats(shallow=6), clip=f"{n}.mp4") for n in range(4)]
    assert group_of(entries).shared == ()
    # Clips without a code may be of different athletes.
    nameless = [replace(e, person="") for e in entries]
    (shared,) = group_of(nameless).shared
    assert (shared.athletes, shared.of) == (4, 4)


def test_a_quarter_of_the_athletes_must_miss_it():
    two = [entry(f"seat{n}", squats(shallow=6)) for n in (1, 2)]
    clean = [entry(f"seat{n}", squats()) for n in range(3, 10)]
    assert [s.check for s in group_of([*two, *clean[:6]]).shared] == ["depth"]
    assert group_of([*two, *clean]).shared == ()


def test_what_few_could_be_judged_on_is_noted_with_advice(group):
    (knees,) = [note for note in group.notes if "Knees over the feet" in note]
    assert knees.startswith("“Knees over the feet” (air squat) could not be seen for anybody.")
    assert "From straight in front" in knees
    assert group_of([entry("seat1", blind_sheet().sheet)]).notes == ()


def test_mixed_standards_and_versions_are_noted():
    sheet = squats()
    other = replace(
        sheet,
        movement=replace(sheet.movement, source_hash="00" * 32),
        provenance=replace(sheet.provenance, version="9.9.9"),
    )
    notes = " ".join(group_of([entry("seat1", sheet), entry("seat2", other)]).notes)
    assert "Not all clips of air squat were checked by the same standard" in notes
    assert "versions of the program: 0.1.0 and 9.9.9" in notes
    assert "versions" not in " ".join(group_of([entry("seat1", sheet)] * 2).notes)


def test_each_caution_is_given_once_and_says_for_which_movement(group):
    squat = squats()
    general, first = squat.cautions[1], squat.cautions[0]
    own = replace(jacks(), cautions=("Step out instead of jumping.", general))
    cautions = group_of([entry(f"s{n}", s) for n, s in enumerate([squat, squat, own])]).cautions
    assert cautions.count(general) == 1
    assert "Jumping jacks: step out instead of jumping." in cautions
    assert f"Air squat: {first[0].lower()}{first[1:]}" in cautions
    # With one movement, or the same caution for all, nothing is added.
    assert set(group.cautions) == set(squat.cautions)


def cell(misses=0, meets=0, close=0, unseen=0, scope="rep"):
    return GroupCell("c", "meets", meets, misses, close, unseen, None, "deg", (), scope)


def test_score_by_hand():
    # Two of eight events miss one of two checks; one more is too close in the other.
    cells = [cell(misses=2, meets=6), cell(meets=7, close=1)]
    worst = ["misses"] * 2 + ["too close to call"] + ["meets"] * 5
    expected = 60 * 2 / 8 + 30 * 2 / 16 + 3 * 1 / 8
    assert compute_score(cells, worst) == pytest.approx(expected, abs=1e-3)
    assert compute_score(cells, worst, look=True) == pytest.approx(expected + 100, abs=1e-3)


def test_score_of_a_missed_set_is_that_of_half_of_the_events():
    cells = [cell(meets=8), cell(misses=1, scope="set")]
    expected = 60 * 0.5 + 30 * 4 / 12
    assert compute_score(cells, ["meets"] * 8) == pytest.approx(expected, abs=1e-3)


def test_not_visible_never_adds_to_the_score():
    assert compute_score([cell(unseen=8)], ["not visible"] * 8) == 0.0
    assert compute_score([], []) == 0.0


def test_who_needs_a_look_stands_before_all_who_do_not():
    assert WEIGHTS["look"] > sum(w for name, w in WEIGHTS.items() if name != "look")
    looks = [bool(row.look) for row in group_of(squad(200)).rows]
    assert True in looks
    assert False in looks
    assert looks == sorted(looks, reverse=True)


def test_more_misses_never_sort_later():
    scores = [row.score for row in group_of([entry(f"s{n}", jacks(n)) for n in range(11)]).rows]
    people = [r.person for r in group_of([entry(f"s{n}", jacks(n)) for n in range(11)]).rows]
    assert people == [f"s{n}" for n in range(10, -1, -1)]
    assert len(set(scores)) == len(scores)


def test_nobody_at_all_is_a_group_too():
    group = group_of([])
    assert (group.rows, group.columns, group.shared, group.without_result) == ((), (), (), ())
