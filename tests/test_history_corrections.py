"""Corrections in the history, on SQLite and on PostgreSQL."""

from __future__ import annotations

from dataclasses import replace

import pytest
import sheet_examples as ex

from motioncheck.errors import UsageError
from motioncheck.history import open_history
from motioncheck.records.history import Correction

SHEET = ex.squat_sheet(pictures=False).sheet
HOSTILE = "'); DROP TABLE correction; --\N{PILE OF POO}"


def fix(kind="strike", at_s=None, **fields):
    base = Correction(
        kind, SHEET.clip.sha256, SHEET.movement.id, "coach1", "2026-03-01T10:00:00+00:00",
        at_s=SHEET.events[1].turn_s if at_s is None else at_s,
    )  # fmt: skip
    return replace(base, **fields)


@pytest.fixture
def history(history_place):
    with open_history(history_place) as opened:
        opened.record(SHEET, person="seat3", session="warm-up", day="2026-03-01")
        yield opened


def test_a_correction_comes_back_as_it_was_given_with_a_number(history):
    given = fix(
        "add", 0.5, start_s=0.1, end_s=0.9, side="left", text=HOSTILE, by=HOSTILE[:40],
        event_kind="hold",
    )  # fmt: skip
    kept = history.add_correction(given)
    assert kept.id is not None
    assert replace(kept, id=None) == given
    ruled = history.add_correction(fix("verdict", check="depth", verdict="too close to call"))
    assert history.corrections() == (kept, ruled)


def test_corrections_are_found_by_clip_and_by_person(history):
    kept = history.add_correction(fix())
    other = history.add_correction(fix(clip_sha256="0" * 64))
    assert history.corrections(clip_sha256=SHEET.clip.sha256) == (kept,)
    assert history.corrections("seat3") == (kept,)
    assert history.corrections() == (kept, other)
    history.record(replace(SHEET, clip=replace(SHEET.clip, sha256="1" * 64)), person="seat4")
    assert history.corrections("seat4") == ()


def test_a_clip_recorded_in_two_sessions_shows_its_correction_once(history):
    kept = history.add_correction(fix())
    history.record(SHEET, person="seat3", session="evening", day="2026-03-02")
    assert history.corrections("seat3") == (kept,)


def test_a_withdrawn_correction_stays_on_record_and_no_longer_holds(history):
    kept = history.add_correction(fix())
    (check,) = history.checks("seat3")
    assert history.corrected_sheet(check.id).summary.count == SHEET.summary.count - 1
    gone = history.withdraw_correction(kept.id, "coach2")
    assert gone.withdrawn_by == "coach2"
    assert gone.withdrawn_at > kept.made_at
    assert history.corrections() == ()
    assert history.corrections(withdrawn=True) == (gone,)
    assert history.corrected_sheet(check.id) == history.sheet_of(check.id)
    # Once is enough: who withdrew it first stays.
    assert history.withdraw_correction(kept.id, "coach3") == gone


def test_a_struck_rep_is_no_trial_and_an_added_one_has_no_values(history):
    """Seven squats with a trunk value each; without the second there are six, with new extremes."""
    before = {t.measure: t for t in history.trials("seat3")}["trunk_inclination"]
    values = [e.measures["trunk_inclination"].value for e in SHEET.events]
    assert (before.count, before.corrected) == (7, False)
    history.add_correction(fix())
    history.add_correction(fix("add", 0.5))
    after = {t.measure: t for t in history.trials("seat3")}["trunk_inclination"]
    left = [v for i, v in enumerate(values) if i != 1]
    assert (after.count, after.corrected) == (6, True)
    assert after.mean == pytest.approx(sum(left) / 6, abs=1e-3)
    assert (after.lowest, after.highest) == (min(left), max(left))


def test_the_sheet_on_record_stays_as_measured(history):
    history.add_correction(fix())
    (check,) = history.checks("seat3")
    assert history.sheet_of(check.id) == SHEET
    assert [c.kind for c in history.corrected_sheet(check.id).corrections] == ["strike"]


@pytest.mark.parametrize(
    ("changes", "found"),
    [
        ({"kind": "delete"}, "found 'delete'"),
        ({"by": "  "}, "found 0"),
        ({"by": "x" * 81}, "found 81"),
        ({"text": "x" * 501}, "found 501"),
        ({"text": "a\0b"}, "no database keeps"),
        ({"at_s": float("nan")}, "no number"),
        ({"kind": "add", "start_s": float("inf")}, "no number"),
        ({"clip_sha256": ""}, "one of them missing"),
        ({"side": "middle"}, "'middle'"),
        ({"kind": "verdict", "check": "depth", "verdict": "fine"}, "found 'fine'"),
        ({"kind": "verdict", "verdict": "meets"}, "found 'meets'"),
        ({"kind": "note", "text": " "}, "found none"),
    ],
)
def test_what_cannot_be_applied_is_refused_and_leaves_nothing(history, changes, found):
    with pytest.raises(UsageError, match=found):
        history.add_correction(fix(**changes))
    assert history.corrections(withdrawn=True) == ()


def test_a_strike_without_an_instant_is_refused(history):
    with pytest.raises(UsageError, match="the instant"):
        history.add_correction(replace(fix(), at_s=None))


def test_an_unknown_number_cannot_be_withdrawn(history):
    with pytest.raises(UsageError, match="no correction 99"):
        history.withdraw_correction(99, "coach1")
    kept = history.add_correction(fix())
    with pytest.raises(UsageError, match="who corrects"):
        history.withdraw_correction(kept.id, " ")


@pytest.fixture
def two(history):
    """Two bodies in one clip, each recorded for its own person and corrected once."""
    history.record(SHEET, person="seat4", session="warm-up", day="2026-03-01")
    return [history.add_correction(fix(person=code)) for code in ("seat3", "seat4")]


def test_a_correction_of_one_person_leaves_another_in_the_same_clip_alone(history):
    history.record(SHEET, person="seat4", session="warm-up", day="2026-03-01")
    kept = history.add_correction(fix(person="seat4"))
    assert kept.person == "seat4"
    counts = {c.person: history.corrected_sheet(c.id).summary.count for c in history.checks()}
    assert counts == {"seat3": 7, "seat4": 6}
    assert history.corrections("seat3") == ()
    for code, corrected in (("seat3", False), ("seat4", True)):
        assert {t.corrected for t in history.trials(code)} == {corrected}
    # One about nobody in particular holds for both.
    history.add_correction(fix("note", text="windy"))
    assert [c.text for c in history.corrections("seat3")] == ["windy"]
    assert len(history.corrections("seat4")) == 2


def test_a_clip_that_is_checked_again_keeps_its_place_among_the_others(history):
    other = replace(SHEET, clip=replace(SHEET.clip, sha256="1" * 64))
    history.record(other, person="seat3", session="warm-up")
    before = [(t.clip_number, t.measure) for t in history.trials("seat3")]
    assert len({number for number, _ in before}) == 2
    newer = replace(SHEET, provenance=replace(SHEET.provenance, version="0.9.0"))
    assert history.record(newer, person="seat3").status == "newer"
    after = [(t.clip_number, t.measure) for t in history.trials("seat3")]
    assert after != before
    assert sorted(after) == sorted(before)


def test_what_was_said_last_holds_although_the_clock_was_put_back_between(history):
    at = {"check": "depth", "person": "seat3"}
    history.add_correction(fix("verdict", verdict="misses", **at))
    early = "2026-02-01T10:00:00+00:00"
    history.add_correction(fix("verdict", verdict="meets", made_at=early, **at))
    (check,) = history.checks("seat3")
    findings = history.corrected_sheet(check.id).events[1].findings
    assert next(f.corrected for f in findings if f.check == "depth") == "meets"


def test_corrections_of_nobody_known_are_refused(history):
    with pytest.raises(UsageError, match="nobody called seat9"):
        history.add_correction(fix(person="seat9"))
    assert history.corrections() == ()


def test_erasing_a_person_takes_their_corrections_of_a_shared_clip_along(history, two):
    from motioncheck.privacy import erase_person, erase_sessions

    history.record(SHEET, person="seat4", session="evening", day="2026-03-02")
    erase_sessions(history, "seat4", {"evening"})
    assert history.corrections() == tuple(two)
    erase_sessions(history, "seat4", {"warm-up"})
    assert history.corrections(withdrawn=True) == (two[0],)
    history.record(SHEET, person="seat5", day="2026-03-02")
    erase_person(history, "seat3")
    assert history.corrections(withdrawn=True) == ()
