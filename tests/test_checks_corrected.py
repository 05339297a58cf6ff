"""Analytic and property: what holds after corrections, from sheets that are written down."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
import sheet_examples as ex
from hypothesis import given
from hypothesis import strategies as st
from standard_examples import check_data, make_standard

from motioncheck.checks import apply_corrections, summarise
from motioncheck.checks.corrected import find_event
from motioncheck.errors import ShapeError
from motioncheck.records import (
    VERDICTS,
    CheckInfo,
    Event,
    Finding,
    MovementInfo,
    Phase,
    Value,
)
from motioncheck.records.history import Correction
from motioncheck.standards import Standard

CHECKS = ("depth", "trunk")
STANDARD = make_standard(
    *[check_data(id=c, title=f"Title {c}", cue=f"Cue {c}.", praise=f"Praise {c}.") for c in CHECKS]
)
BASE = ex.squat_sheet(1, pictures=False).sheet
SHA = BASE.clip.sha256
GOOD, BAD, CLOSE, UNSEEN = VERDICTS[0], "misses", "too close to call", "not visible"


def finding(check, verdict, value=1.0, side="left"):
    unseen = verdict == UNSEEN
    return Finding(
        check, f"Title {check}", "thigh_inclination", side, verdict, None if unseen else value,
        5.0, "at most", "deg", None if unseen else 2.0,
        cue=f"Cue {check}." if verdict == BAD else "",
    )  # fmt: skip


def rep(number, verdicts, *, side="both", length=4.0, **measures):
    """Reps of 4 s start every 6 s and turn in their middle: 2 s down, no pause, 2 s up."""
    start = 6.0 * number
    turn = start + length / 2
    return Event(
        "rep", number, side, start, turn, start + length,
        (Phase("lowering", start, turn), Phase("bottom", turn, turn),
         Phase("rising", turn, start + length)),
        measures={name: Value(v, "deg", 5.0) for name, v in measures.items()},
        findings=tuple(finding(c, v) for c, v in zip(CHECKS, verdicts, strict=True)),
    )  # fmt: skip


def sheet_of(events, standard: Standard = STANDARD, set_findings=(), ranges=(), **movement):
    """Return the sheet a check with these events would write."""
    infos = tuple(
        CheckInfo(c.id, c.title, c.measure, c.moment, c.comparison, c.threshold, c.unit, c.plane,
                  c.source, "rep" if c.scope == "rep" else "set", "", c.side)
        for c in standard.check
    )  # fmt: skip
    clip = replace(BASE.clip, duration_s=100.0)
    return replace(
        BASE,
        clip=clip,
        events=tuple(events),
        partial_events=(),
        movement=MovementInfo(
            standard.id, "Test squat", "ab" * 32, infos, "thigh_inclination", "",
            alternating=standard.by_sides, **movement,
        ),
        summary=summarise(
            events, set_findings, standard, ranges=ranges, frame_s=1.0 / clip.frame_rate_hz
        ),
    )  # fmt: skip


FOUR = [rep(1, [GOOD, GOOD]), rep(2, [BAD, GOOD]), rep(3, [BAD, BAD]), rep(4, [GOOD, CLOSE])]
SHEET = sheet_of(FOUR)


def turn_of(number):
    return 6.0 * number + 2.0


def fix(kind, number=None, *, id=None, by="coach1", day=1, sheet=SHEET, **fields):
    """Return a correction of a rep of ``sheet`` made on a day of March."""
    at_s = fields.pop("at_s", None if number is None else turn_of(number))
    return Correction(
        kind, sheet.clip.sha256, sheet.movement.id, by, f"2026-03-{day:02d}T10:00:00+00:00",
        at_s=at_s, id=id, **fields,
    )  # fmt: skip


def by_number(sheet):
    return {e.number: e for e in sheet.events}


def test_a_struck_rep_stays_listed_with_its_number_and_counts_nowhere():
    fixed = apply_corrections(SHEET, [fix("strike", 2, text="racking the bar")], STANDARD)
    assert [(e.number, e.struck) for e in fixed.events] == [
        (1, False), (2, True), (3, False), (4, False),
    ]  # fmt: skip
    assert by_number(fixed)[2] == replace(FOUR[1], struck=True)
    assert [e.number for e in fixed.held_events] == [1, 3, 4]
    s = fixed.summary
    assert s.count == 3
    assert s.headline == "3 reps, 1 to work on: rep 3."
    assert s.reps_to_fix == (3,)
    assert dict(s.verdicts) == {GOOD: 3, BAD: 2, CLOSE: 1, UNSEEN: 0}
    assert {c.check: c.reps for c in s.cues} == {"depth": (3,), "trunk": (3,)}


def test_what_counts_after_a_strike_is_what_a_check_without_that_rep_would_say():
    """Apart from the notes, the summary is that of the reps that are left."""
    fixed = apply_corrections(SHEET, [fix("strike", 2)], STANDARD).summary
    alone = sheet_of([FOUR[0], FOUR[2], FOUR[3]]).summary
    assert replace(fixed, notes=()) == replace(alone, notes=())


@given(st.lists(st.lists(st.sampled_from(VERDICTS), min_size=2, max_size=2), min_size=2,
                max_size=9), st.data())  # fmt: skip
def test_corrected_verdicts_count_as_if_they_had_been_measured(rows, data):
    events = [rep(n, row) for n, row in enumerate(rows, 1)]
    sheet = sheet_of(events)
    number = data.draw(st.integers(1, len(rows)))
    verdict = data.draw(st.sampled_from(VERDICTS))
    fixed = apply_corrections(
        sheet, [fix("verdict", number, check="depth", verdict=verdict)], STANDARD
    )
    expected = [list(row) for row in rows]
    expected[number - 1][0] = verdict
    wanted = sheet_of([rep(n, row) for n, row in enumerate(expected, 1)]).summary
    got = fixed.summary
    for name in ("headline", "best", "count", "verdicts", "reps_to_fix", "cues"):
        assert getattr(got, name) == getattr(wanted, name)
    # The values did not change, so neither do spread and times.
    assert (got.tempo, got.consistency) == (sheet.summary.tempo, sheet.summary.consistency)


def test_the_measured_verdict_stays_beside_the_corrected_one():
    fixed = apply_corrections(SHEET, [fix("verdict", 3, check="depth", verdict=GOOD)], STANDARD)
    found = by_number(fixed)[3].findings[0]
    assert (found.verdict, found.corrected, found.holds) == (BAD, GOOD, GOOD)
    assert found.value == 1.0
    assert found.cue == ""
    (applied,) = fixed.corrections
    assert (applied.measured, applied.corrected, applied.event) == (BAD, GOOD, 3)
    assert applied.title == "Title depth"


def test_a_corrected_miss_brings_its_cue_and_reason_of_no_measure_is_invented():
    fixed = apply_corrections(SHEET, [fix("verdict", 1, check="trunk", verdict=BAD)], STANDARD)
    found = by_number(fixed)[1].findings[1]
    assert found.cue == "Cue trunk."
    assert found.reason == ""
    assert fixed.summary.reps_to_fix == (1, 2, 3)


def test_an_added_rep_stands_in_time_order_with_a_number_after_the_last():
    new = fix("add", at_s=17.5, start_s=16.5, end_s=17.9, text="missed one")
    fixed = apply_corrections(SHEET, [new], STANDARD)
    assert [e.number for e in fixed.events] == [1, 2, 5, 3, 4]
    added = by_number(fixed)[5]
    assert (added.added, added.measures, added.findings) == (True, {}, ())
    assert (added.start_s, added.turn_s, added.end_s) == (16.5, 17.5, 17.9)
    assert fixed.summary.count == 5
    # Its own 1.4 s count as time under tension: 4 reps of 4 s and this one.
    assert fixed.summary.tempo.under_tension_s == pytest.approx(17.4)
    assert fixed.summary.tempo.lowering_s == SHEET.summary.tempo.lowering_s


def test_an_added_rep_without_a_span_leaves_the_time_under_tension_unknown():
    fixed = apply_corrections(SHEET, [fix("add", at_s=17.0)], STANDARD)
    added = by_number(fixed)[5]
    assert added.start_s == added.turn_s == added.end_s == 17.0
    tempo = fixed.summary.tempo
    assert tempo.under_tension_s is None
    # Turns at 8, 14, 17, 20, 26 s: the middle of 6, 3, 3, 6 is 4.5 s.
    assert tempo.cycle_s == 4.5
    # Rests are told between neighbours that both have a span: 1-2 and 3-4, 2 s each.
    assert tempo.rest_s == 2.0


def test_half_a_span_is_no_span():
    fixed = apply_corrections(SHEET, [fix("add", at_s=17.0, start_s=16.0)], STANDARD)
    assert by_number(fixed)[5].start_s == 17.0


def test_added_reps_are_numbered_in_the_order_in_which_they_were_added():
    early, late = fix("add", at_s=40.0, day=1), fix("add", at_s=17.0, day=2)
    for order in ([early, late], [late, early]):
        fixed = apply_corrections(SHEET, order, STANDARD)
        assert [(e.number, e.turn_s) for e in fixed.events if e.added] == [(6, 17.0), (5, 40.0)]


def test_a_verdict_on_an_added_rep_has_no_measured_value():
    given_ = [fix("add", at_s=17.0), fix("verdict", at_s=17.0, check="depth", verdict=BAD, day=2)]
    fixed = apply_corrections(SHEET, given_, STANDARD)
    (found,) = by_number(fixed)[5].findings
    assert (found.verdict, found.corrected, found.value) == (UNSEEN, BAD, None)
    assert "nothing was measured" in found.reason
    assert fixed.summary.reps_to_fix == (2, 3, 5)
    assert fixed.corrections[1].measured is None


def test_an_added_rep_can_be_struck_and_one_struck_makes_room_for_two():
    split = [
        fix("strike", 2), fix("add", at_s=13.0, start_s=12.0, end_s=14.0, day=2),
        fix("add", at_s=15.0, start_s=14.0, end_s=16.0, day=3),
    ]  # fmt: skip
    fixed = apply_corrections(SHEET, split, STANDARD)
    assert [e.number for e in fixed.held_events] == [1, 5, 6, 3, 4]
    gone = apply_corrections(SHEET, [*split, fix("strike", at_s=15.0, day=4)], STANDARD)
    assert [e.number for e in gone.held_events] == [1, 5, 3, 4]
    assert by_number(gone)[6].struck
    assert by_number(gone)[6].added


def test_an_added_rep_that_this_check_finds_itself_is_not_counted_twice():
    fixed = apply_corrections(SHEET, [fix("add", at_s=13.5)], STANDARD)
    assert fixed.summary.count == 4
    (applied,) = fixed.corrections
    assert not applied.applied
    assert applied.remark == "rep 2 is found there by this check itself"
    assert any("1 correction on record does not apply" in n for n in fixed.summary.notes)


def test_two_people_who_add_the_same_rep_add_it_once():
    twice = [fix("add", at_s=17.0), fix("add", at_s=17.2, by="coach2", day=2)]
    fixed = apply_corrections(SHEET, twice, STANDARD)
    assert fixed.summary.count == 5
    assert fixed.corrections[1].remark == "rep 5 was added there already"


def test_a_correction_whose_rep_a_newer_check_does_not_find_is_kept_and_said():
    newer = sheet_of([FOUR[0], FOUR[2]])
    fixed = apply_corrections(newer, [fix("strike", 2, id=7, text="no rep")], STANDARD)
    (applied,) = fixed.corrections
    assert (applied.number, applied.applied, applied.event) == (7, False, None)
    assert applied.remark == "this check of the clip finds no rep there"
    assert fixed.summary.count == 2
    assert fixed.events == newer.events
    assert any("1 correction on record does not apply" in n for n in fixed.summary.notes)


def test_a_strike_of_one_long_rep_strikes_neither_of_the_two_that_a_newer_check_finds():
    """The long one is at 12 to 20 s with its turn at 16 s, where the two short ones meet."""
    long = replace(FOUR[1], start_s=12.0, turn_s=16.0, end_s=20.0)
    assert find_event([long], "rep", 16.0) is long
    two = [replace(FOUR[1], start_s=12.0, turn_s=14.0, end_s=16.0),
           replace(FOUR[2], start_s=16.0, turn_s=18.0, end_s=20.0)]  # fmt: skip
    assert find_event(two, "rep", 16.0) is None
    # A newer check that moves the ends a little still has the rep.
    assert find_event([replace(long, start_s=12.4, turn_s=16.3)], "rep", 16.0) is not None


def test_of_overlapping_reps_of_both_sides_the_one_with_the_nearer_turn_is_meant():
    left = Event("rep", 1, "left", 0.0, 1.0, 2.0)
    right = Event("rep", 2, "right", 0.8, 1.3, 2.8)
    assert find_event([left, right], "rep", 1.05) is left
    assert find_event([left, right], "rep", 1.25) is right
    assert find_event([left, right], "hold", 1.0) is None


def test_the_later_of_two_verdicts_holds_in_whatever_order_they_come():
    first = fix("verdict", 2, check="depth", verdict=GOOD, id=1, day=1)
    second = fix("verdict", 2, check="depth", verdict=CLOSE, id=2, day=2, by="coach2")
    for order in ([first, second], [second, first]):
        fixed = apply_corrections(SHEET, order, STANDARD)
        assert by_number(fixed)[2].findings[0].holds == CLOSE
        assert [(c.number, c.applied) for c in fixed.corrections] == [(1, False), (2, True)]
        assert fixed.corrections[0].remark == "a later correction holds instead"


def test_at_the_same_instant_the_higher_number_holds_and_one_not_stored_yet_is_the_latest():
    same = {"check": "depth", "day": 1}
    given_ = [fix("verdict", 2, verdict=BAD, id=9, **same),
              fix("verdict", 2, verdict=CLOSE, id=10, **same)]  # fmt: skip
    fixed = apply_corrections(SHEET, given_, STANDARD)
    assert by_number(fixed)[2].findings[0].holds == CLOSE
    fixed = apply_corrections(SHEET, [fix("verdict", 2, verdict=GOOD, **same), *given_], STANDARD)
    assert by_number(fixed)[2].findings[0].holds == GOOD


MIXED = [
    fix("strike", 2, id=1, day=3),
    fix("add", at_s=17.0, id=2, day=2),
    fix("verdict", 3, check="depth", verdict=GOOD, id=3, day=1),
    fix("verdict", 3, check="depth", verdict=CLOSE, id=4, day=1),
    fix("note", 1, text="shoes off", id=5, day=1),
]


@pytest.mark.parametrize("order", list(itertools.permutations(range(5))))
def test_the_order_in_which_corrections_come_makes_no_difference(order):
    wanted = apply_corrections(SHEET, MIXED, STANDARD)
    assert apply_corrections(SHEET, [MIXED[i] for i in order], STANDARD) == wanted


def test_corrections_of_others_and_withdrawn_ones_leave_the_sheet_as_it_is():
    own = fix("strike", 2)
    others = [
        replace(own, clip_sha256="0" * 64),
        replace(own, movement="another"),
        replace(own, withdrawn_at="2026-03-02T10:00:00+00:00"),
    ]
    assert apply_corrections(SHEET, others, STANDARD) is SHEET
    assert apply_corrections(SHEET, [], STANDARD) is SHEET


def test_a_sheet_is_not_corrected_twice():
    fixed = apply_corrections(SHEET, [fix("strike", 2)], STANDARD)
    with pytest.raises(ShapeError, match="as measured"):
        apply_corrections(fixed, [fix("strike", 3)], STANDARD)


def test_a_note_changes_nothing_but_stands_on_the_sheet():
    fixed = apply_corrections(SHEET, [fix("note", 3, text="slipped"), fix("note", day=2, text="x")],
                              STANDARD)  # fmt: skip
    assert fixed.events == SHEET.events
    assert replace(fixed.summary, notes=()) == replace(SHEET.summary, notes=())
    assert [(c.event, c.text) for c in fixed.corrections] == [(3, "slipped"), (None, "x")]
    assert fixed.summary.notes[0] == (
        f"Corrected by coach1: 2 notes. As measured: {SHEET.summary.headline}"
    )


def test_notes_say_who_corrected_and_what_was_measured():
    fixed = apply_corrections(SHEET, [*MIXED, fix("strike", 4, by="seat2", day=9)], STANDARD)
    said = " ".join(fixed.summary.notes)
    assert "Corrected by coach1 and seat2: 2 reps struck, 1 rep added, 1 verdict changed" in said
    assert f"As measured: {SHEET.summary.headline}" in said
    assert "what is struck keeps its number" in said


def test_verdicts_without_an_instant_or_of_an_unknown_check_are_kept_with_a_remark():
    given_ = [
        fix("verdict", check="depth", verdict=GOOD),
        fix("verdict", 1, check="nothing", verdict=GOOD, day=2),
        fix("verdict", 1, check="depth", verdict=None, day=3),
        fix("verdict", 1, check="depth", verdict=BAD, side="right", day=4),
        fix("add", day=5),
        fix("note", at_s=90.0, text="after the set", day=6),
    ]
    fixed = apply_corrections(SHEET, given_, STANDARD)
    assert fixed.events == SHEET.events
    assert [c.remark for c in fixed.corrections] == [
        "there is no such check of the set", "this check has no such finding there",
        "it does not say which verdict", "this check has no such finding there",
        "it does not say when", "this check of the clip finds no rep there",
    ]  # fmt: skip


def test_a_verdict_of_one_side_leaves_the_other_alone():
    sides = replace(FOUR[0], findings=(finding("depth", BAD, side="left"),
                                       finding("depth", GOOD, side="right")))  # fmt: skip
    sheet = sheet_of([sides])
    fixed = apply_corrections(
        sheet, [fix("verdict", 1, check="depth", verdict=GOOD, side="left")], STANDARD
    )
    assert [f.corrected for f in fixed.events[0].findings] == [GOOD, None]
    both = apply_corrections(sheet, [fix("verdict", 1, check="depth", verdict=CLOSE)], STANDARD)
    assert [f.corrected for f in both.events[0].findings] == [CLOSE, CLOSE]
    assert both.corrections[0].measured is None


# Without the standard
