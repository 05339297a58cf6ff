"""The same pictures are one measurement, in however many sessions they were recorded."""

from __future__ import annotations

from trend_trials import make_trial

from motioncheck.records.history import PersonRecord
from motioncheck.standards import load_standards
from motioncheck.trends import compute_trends
from motioncheck.trends.once import count_once

FIRST = make_trial(0, 100.0, clip_number=1, clip_sha256="a")
AGAIN = make_trial(1, 100.0, clip_number=2, clip_sha256="a")
OTHER = make_trial(1, 104.0, clip=1, clip_number=3, clip_sha256="b")


def test_a_clip_counts_in_the_session_it_was_recorded_in_first() -> None:
    kept, notes = count_once([AGAIN, OTHER, FIRST])
    assert kept == [OTHER, FIRST]
    (note,) = notes
    assert AGAIN.session in note
    assert FIRST.session not in note


def test_sides_and_measures_of_one_clip_all_count() -> None:
    other_side = make_trial(0, 90.0, clip_number=1, clip_sha256="a", side="right")
    assert count_once([FIRST, other_side]) == ([FIRST, other_side], ())


def test_trials_of_unknown_clips_all_count() -> None:
    trials = [make_trial(week) for week in range(3)]
    assert count_once(trials) == (trials, ())


def test_a_trend_of_one_filming_in_two_sessions_has_one_session_and_says_why() -> None:
    standards = {name: s.standard for name, s in load_standards().items()}
    person = PersonRecord(code="seat3")
    report = compute_trends([FIRST, AGAIN], person=person, standards=standards, today="2026-11-26")
    assert report.sessions == 1
    assert any("one filming is one measurement" in note for note in report.notes)
    assert all(len(line.points) == 1 for trend in report.trends for line in trend.lines)
    without = compute_trends([FIRST, OTHER], person=person, standards=standards, today="2026-11-26")
    assert without.sessions == 2
    assert not any("one filming" in note for note in without.notes)
