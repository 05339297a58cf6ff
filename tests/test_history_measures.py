"""What of a sheet becomes a row of measures, worked by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest
from history_examples import make_range, make_sheet

from motioncheck.history import open_history
from motioncheck.history.measures import aggregate_measures, split_column
from motioncheck.records import CheckInfo, Event, Finding, Value
from motioncheck.records.history import Correction

SHA = make_sheet().clip.sha256


def make_event(number, side="both", measures=None, findings=()):
    values = {k: Value(v, "deg", 5.0, "body") for k, v in (measures or {}).items()}
    return Event("rep", number, side, number, number + 0.4, number + 0.9, (), values, findings)


def find(check, measure, side, value, *, unit="deg"):
    return Finding(
        check, check, measure, side, "meets", value, 5.0, "at most", unit, 3.0, source="image"
    )


def info(check, measure, moment, side="none"):
    return CheckInfo(check, check, measure, moment, "at most", 5.0, "deg", "any", "", side=side)


def sheet_of(events, checks=(), ranges=()):
    sheet = make_sheet(ranges=ranges)
    return replace(
        sheet, events=tuple(events), movement=replace(sheet.movement, checks=tuple(checks))
    )


def rows_of(sheet):
    return {(r.measure, r.side, r.moment): r for r in aggregate_measures(sheet)}


def test_values_at_the_turn_are_summed_up_a_side():
    events = [
        make_event(1, measures={"knee_flexion_left": 100.0, "knee_flexion_right": 90.0}),
        make_event(2, measures={"knee_flexion_left": 104.0, "knee_flexion_right": None}),
        make_event(3, measures={"knee_flexion_left": 108.0, "trunk_inclination": 30.0}),
        make_event(4, measures={"knee_flexion_left": 112.0}),
    ]
    rows = rows_of(sheet_of(events))
    assert set(rows) == {
        ("knee_flexion", "left", "turn"),
        ("knee_flexion", "right", "turn"),
        ("trunk_inclination", "both", "turn"),
    }
    left = rows["knee_flexion", "left", "turn"]
    assert (left.count, left.mean, left.lowest, left.highest) == (4, 106.0, 100.0, 112.0)
    # The first three: (100 + 104 + 108) / 3.
    assert (left.mean_of_first, left.uncertainty, left.source) == (104.0, 5.0, "body")
    # Deviations -6, -2, 2, 6; squares 80; sqrt(80 / 3).
    assert left.sd == pytest.approx(5.1639778)
    right = rows["knee_flexion", "right", "turn"]
    assert (right.count, right.mean, right.sd, right.mean_of_first) == (1, 90.0, None, None)


def test_of_an_event_with_a_side_only_the_working_side_counts():
    both = {"knee_flexion_left": 100.0, "knee_flexion_right": 10.0, "trunk_inclination": 1.0}
    rows = rows_of(sheet_of([make_event(1, "left", both), make_event(2, "right", both)]))
    assert rows["knee_flexion", "left", "turn"].mean == 100.0
    assert rows["knee_flexion", "right", "turn"].mean == 10.0
    assert rows["knee_flexion", "right", "turn"].count == 1
    assert rows["trunk_inclination", "both", "turn"].count == 2


def test_checks_at_other_moments_give_rows_of_their_moment():
    findings = (
        find("depth", "knee_flexion", "left", 100.0),
        find("tall", "knee_flexion", "left", 4.0),
        find("tall again", "knee_flexion", "left", 4.0),
        find("other", "hip_flexion", "right", 20.0),
        find("uneven", "hip_flexion", "both", 8.0),
        find("hidden", "trunk_inclination", "both", None),
    )
    checks = (
        info("depth", "knee_flexion", "turn"),
        info("tall", "knee_flexion", "end"),
        info("tall again", "knee_flexion", "end"),
        info("other", "hip_flexion", "max", "opposite"),
        info("uneven", "hip_flexion", "max", "difference"),
        info("hidden", "trunk_inclination", "max"),
    )
    rows = rows_of(sheet_of([make_event(1, "left", findings=findings)], checks))
    # The turn has the measures of the event; the other limb and a difference are something else.
    assert set(rows) == {("knee_flexion", "left", "end")}
    row = rows["knee_flexion", "left", "end"]
    assert (row.count, row.mean, row.uncertainty, row.source) == (1, 4.0, 3.0, "image")


def test_a_measure_this_program_does_not_know_has_no_side():
    assert split_column("knee_flexion_left") == ("knee_flexion", "left")
    assert split_column("trunk_inclination") == ("trunk_inclination", "both")
    assert split_column("something_left") == ("something_left", "both")


def test_a_sheet_without_values_gives_no_rows():
    assert aggregate_measures(sheet_of([make_event(1, measures={"knee_flexion_left": None})])) == ()


def strike(number, at_s):
    return Correction(
        "strike", SHA, "air-squat", "coach", f"2026-03-01T10:00:0{number}+00:00", at_s=at_s
    )


def test_struck_events_do_not_count_in_trials_and_count_again_when_withdrawn(history_place):
    values = (30.0, 40.0, 80.0)
    events = [make_event(i + 1, measures={"trunk_inclination": v}) for i, v in enumerate(values)]
    sheet = sheet_of(events, ranges=[make_range("both", values, measure="trunk_inclination")])
    with open_history(history_place) as history:
        check = history.record(sheet, person="seat3").check_id

        def found():
            return [
                (t.moment, t.count, t.mean, t.highest, t.corrected)
                for t in history.trials("seat3", measure="trunk_inclination")
            ]

        before = [("turn", 3, 50.0, 80.0, False), ("range", 3, 50.0, 80.0, False)]
        assert found() == before
        done = history.add_correction(strike(1, 3.4))
        assert found() == [("turn", 2, 35.0, 40.0, True), ("range", 2, 35.0, 40.0, True)]
        # As measured, nothing is lost.
        assert history.sheet_of(check) == sheet
        assert [e.struck for e in history.corrected_sheet(check).events] == [False, False, True]
        history.withdraw_correction(done.id, "coach")
        assert found() == before
        assert len(history.corrections("seat3", withdrawn=True)) == 1
        assert history.corrections("seat3") == ()


def test_a_remark_alone_corrects_no_trial(history_place):
    with open_history(history_place) as history:
        history.record(make_sheet(), person="seat3")
        note = Correction("note", SHA, "air-squat", "coach", "2026-03-01T10:00:00+00:00", text="ok")
        history.add_correction(note)
        assert not any(t.corrected for t in history.trials("seat3"))
