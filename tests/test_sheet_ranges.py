"""The sheet of ranges of motion, timed counts, holds and ladders."""

from __future__ import annotations

import csv
import html
import io
import re
from dataclasses import replace

import pytest
import sheet_examples as ex

from motioncheck.records import Finding, RangeResult, Rung
from motioncheck.sheet import render_html, reps_csv
from motioncheck.sheet.ranges import range_groups, range_lines, rung_rows
from motioncheck.sheet.words import limit_text, value_text

NORMS = ("Women of 20 to 44: mean 142°; passive, goniometer. Somebody 2011",)
CHANGE = "Between sessions only a change of more than 12° says something. Somebody 2018."
LEFT = RangeResult("knee_flexion", "Knee flexion", "deg", "left", 3, 131.2, 128.4, 6.1, NORMS,
                   CHANGE)  # fmt: skip
RIGHT = replace(LEFT, side="right", trials=2, best=118.0, mean_of_three=None)
UNSEEN = RangeResult("trunk_inclination", "Trunk", "deg", "both", 0, None, None, None)
NAMES = {1: "Lying", 2: "Half-way up", 3: "Sitting"}
RUNG = Rung(1, "left", 1.0, 21.0, 3, 3, (1, 3, 1), (2,), (3,), True, "up to stage 3 of 3 and back")


def sheet_with(events=None, kind="rep", **summary):
    """Return the example of squats with other events and parts of the summary."""
    example = ex.squat_sheet(3)
    sheet = example.sheet
    events = sheet.events if events is None else events
    movement = replace(sheet.movement, event_kind=kind)
    sheet = replace(
        sheet, events=events, movement=movement, summary=replace(sheet.summary, **summary)
    )
    return replace(example, sheet=sheet)


def page_of(example):
    page = render_html(example.sheet, example.table, example.stills)
    return html.unescape(re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL))


def words_of(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


def test_the_sides_of_a_line_stand_together_with_norms_and_change_once():
    (knee, trunk) = range_groups([LEFT, RIGHT, UNSEEN])
    assert [r.side for r in knee.rows] == ["left", "right"]
    assert [r.best for r in knee.rows] == ["131°", "118°"]
    assert [r.mean for r in knee.rows] == ["128°", "–"]
    assert [r.band for r in knee.rows] == ["± 6°", "± 6°"]
    assert (knee.norms, knee.change) == (NORMS, CHANGE)
    assert [(r.side, r.best, r.band, r.trials) for r in trunk.rows] == [("–", "–", "–", 0)]


def test_the_page_has_the_table_what_is_usual_and_what_change_says_something():
    page = page_of(sheet_with(ranges=(LEFT, RIGHT)))
    words = words_of(page)
    assert "Knee flexion left 131° 128° ± 6° 3 right 118° – ± 6° 2" in words
    assert words.count(NORMS[0]) == 1
    assert words.count(CHANGE) == 1
    assert "Range of motion" not in words_of(page_of(sheet_with()))


def test_many_norms_are_folded_away_with_the_options_that_choose_among_them():
    many = replace(LEFT, norms=tuple(f"Norm {n}." for n in range(6)))
    folded = page_of(sheet_with(ranges=(many,)))
    assert '<details class="norms">' in folded
    assert "--age" in folded
    few = page_of(sheet_with(ranges=(LEFT,)))
    assert '<details class="norms" open>' in few
    assert "--age" not in few


def test_the_terminal_says_best_mean_and_how_many():
    assert range_lines([LEFT, RIGHT, UNSEEN]) == (
        "Knee flexion, left: best 131°, mean of three 128° (± 6°, trials: 3).",
        "Knee flexion, right: best 118° (± 6°, trials: 2).",
        "Trunk: not measured.",
    )


def test_a_count_stands_beside_what_is_usual():
    count = Finding(
        "count", "Stands in 30 seconds", "reps_in_30_s", "both", "meets", 13.0, 11.5, "at least",
        "count", 0.5, norms=("Women of 70 to 74: the middle half 10 to 15; counted. S 1999",),
    )  # fmt: skip
    words = words_of(page_of(sheet_with(set_findings=(count,))))
    assert "Stands in 30 seconds at least 12 meets 13" in words
    assert "What is usual: Stands in 30 seconds Women of 70 to 74" in words


@pytest.mark.parametrize(
    ("comparison", "threshold", "text"),
    [
        ("at least", 11.5, "at least 12"),
        ("at most", 0.5, "at most 0"),
        ("at least", 8, "at least 8"),
    ],
)
def test_a_limit_between_two_counts_is_said_as_a_whole_number(comparison, threshold, text):
    assert limit_text(comparison, threshold, "count") == text
    assert value_text(13.0, "count", 0.5) == "13"


def stage_events():
    rows = zip(ex.squat_sheet(3).sheet.events, (1, 3, 1), strict=True)
    return tuple(
        replace(e, kind="stage", side="left", stage=n, group=1, name=NAMES[n]) for e, n in rows
    )


def test_rungs_say_stages_by_name_where_an_event_tells_it():
    (row,) = rung_rows(sheet_with(stage_events(), "stage", rungs=(RUNG,)).sheet)
    assert row.reached == "3 of 3, sitting"
    assert row.visited == "1 3 1"
    # No event tells the name of the stage that was left out.
    assert row.skipped == "2"
    assert row.rushed == "3 (sitting)"
    assert (row.side, row.time) == ("left", "1.0–21.0 s")


def test_a_ladder_reads_stage_by_stage():
    words = words_of(page_of(sheet_with(stage_events(), "stage", rungs=(RUNG,))))
    assert "Stage by stage" in words
    assert "Stage 2: sitting, left" in words
    assert "Rungs Rung Side Time" in words
    assert "Each stage in its middle" in words
    assert "Rep by rep" not in words
    assert "at its turn" not in words


def test_holds_read_hold_by_hold():
    events = tuple(replace(e, kind="hold", side="right") for e in ex.squat_sheet(3).sheet.events)
    words = words_of(page_of(sheet_with(events, "hold")))
    assert "Hold by hold" in words
    assert "Hold 3, right" in words
    assert "a numbered hold" in words
    assert "middle of the hold" in words


def test_csv_has_stage_group_and_name_empty_for_reps():
    stages = reps_csv(sheet_with(stage_events(), "stage").sheet)
    rows = list(csv.DictReader(io.StringIO(stages)))
    assert [(r["stage"], r["group"], r["name"]) for r in rows] == [
        ("1", "1", "Lying"),
        ("3", "1", "Sitting"),
        ("1", "1", "Lying"),
    ]
    rows = list(csv.DictReader(io.StringIO(reps_csv(sheet_with().sheet))))
    assert {(r["stage"], r["group"], r["name"]) for r in rows} == {("", "", "")}
