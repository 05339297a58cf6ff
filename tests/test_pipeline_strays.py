"""Counted events that may be something else: fake names over a track with known truth."""

from __future__ import annotations

from dataclasses import replace

from group_examples import squats
from test_pipeline_doubt import make_naming, named, never

from motioncheck.naming import OTHER
from motioncheck.pipeline import strays as room
from motioncheck.pipeline.strays import find_strays, note_strays
from motioncheck.records import Event
from motioncheck.standards import get_standard

SQUAT = get_standard("air-squat")


class Fake:
    """What is used of an analysis."""

    def __init__(self, *events):
        self.events = events


def rep(number, start_s):
    return Event("rep", number, "both", start_s, start_s + 1.0, start_s + 2.0)


def without_marks(monkeypatch, *numbers):
    monkeypatch.setattr(
        room,
        "score_by_source",
        lambda event, _, __: [(0.0 if event.number in numbers else 1.0, 1.0)],
    )


FIVE = Fake(*(rep(n, 3.0 * n) for n in range(1, 6)))


def naming(*own):
    return make_naming(named(OTHER, 0.0, 1.0), *(named("air-squat", a, b) for a, b in own))


def test_a_rep_without_marks_outside_of_what_is_named_is_a_stray(monkeypatch):
    without_marks(monkeypatch, 3)
    found = find_strays(FIVE, SQUAT, lambda: naming((3.0, 8.5), (11.5, 18.0)))
    assert [e.number for e in found] == [3]


def test_a_sloppy_rep_within_what_is_named_is_none(monkeypatch):
    without_marks(monkeypatch, 3)
    assert find_strays(FIVE, SQUAT, lambda: naming((3.0, 18.0))) == ()


def test_where_all_have_marks_nothing_is_named(monkeypatch):
    without_marks(monkeypatch)
    assert find_strays(FIVE, SQUAT, never) == ()


def test_where_none_has_marks_the_movement_itself_is_in_doubt(monkeypatch):
    without_marks(monkeypatch, 1, 2, 3, 4, 5)
    assert find_strays(FIVE, SQUAT, never) == ()


def test_where_the_movement_is_named_nowhere_nothing_is_a_stray(monkeypatch):
    without_marks(monkeypatch, 3)
    assert find_strays(FIVE, SQUAT, naming) == ()


def test_a_standard_without_a_signature_has_no_strays(monkeypatch):
    without_marks(monkeypatch, 3)
    bare = replace(SQUAT, standard=SQUAT.standard.model_copy(update={"signature": ()}))
    assert find_strays(FIVE, bare, never) == ()


def test_the_note_says_which_and_what_to_do_and_changes_nothing_else():
    sheet = squats()
    one = note_strays(sheet, [rep(3, 9.0)])
    assert one.summary.notes[:-1] == sheet.summary.notes
    assert one.summary.notes[-1].startswith("Rep 3 (9.0 to 11.0 s) may be something else than ")
    assert "is counted all the same" in one.summary.notes[-1]
    assert replace(one, summary=sheet.summary) == sheet
    two = note_strays(sheet, [rep(1, 3.0), rep(3, 9.0)])
    assert two.summary.notes[-1].startswith("Reps 1 (3.0 to 5.0 s) and 3 (9.0 to 11.0 s) may be")
    assert "are counted all the same" in two.summary.notes[-1]
