"""Property: what breaks a line, what is only marked, and which clips make a point."""

from __future__ import annotations

from dataclasses import replace

import pytest
from trend_trials import day_number, make_trial

from motioncheck.trends.points import build_line
from motioncheck.trends.segments import compare_setups, pick_comparable

LEFT = make_trial(0)
RIGHT_SIDE = {"view": "right side", "azimuth_deg": -90.0}
FRONT = {"view": "front", "azimuth_deg": 0.0}
OBLIQUE = {"view": "front-left", "azimuth_deg": 50.0}


def by_session(*trials):
    sessions = {}
    for trial in trials:
        sessions.setdefault((trial.day, trial.session), []).append(trial)
    return sessions


def test_equal_setups_are_comparable_without_a_word():
    assert compare_setups(LEFT, make_trial(1, 110.0)).comparable
    assert compare_setups(LEFT, make_trial(1, 110.0)).marks == ()


@pytest.mark.parametrize(
    ("changes", "comparable", "words"),
    [
        ({"model_sha256": "model-b"}, False, "Another pose model"),
        ({"calibration": "calibration-b"}, False, "Another calibration"),
        ({"program_version": "0.2.0"}, False, "Program version 0.2.0, before 0.1.0; values"),
        ({"program_version": "0.1.1"}, True, "Program version 0.1.1, before 0.1.0."),
        ({"standard_hash": "standard-b"}, True, "standard was changed"),
        (FRONT, False, "Filmed from the front, before from the left side; values"),
        (OBLIQUE, False, "Filmed from front-left, obliquely"),
        (RIGHT_SIDE, True, "the same plane; the other leg and arm are near the camera now"),
        ({"view": "unknown", "azimuth_deg": None}, False, "not known for both"),
    ],
)
def test_what_breaks_a_line_and_what_is_only_marked(changes, comparable, words):
    found = compare_setups(LEFT, make_trial(1, **changes))
    assert found.comparable is comparable
    assert len(found.marks) == 1
    assert words in found.marks[0]


def test_every_difference_is_named():
    found = compare_setups(LEFT, make_trial(1, model_sha256="model-b", standard_hash="b", **FRONT))
    assert len(found.marks) == 3


@pytest.mark.parametrize(
    ("measure", "unit", "comparable", "marked"),
    [
        ("knee_flexion", "deg", False, True),
        ("shoulder_elevation", "deg", False, True),
        ("hip_height_ratio", "ratio", True, True),
        ("knee_toe_offset_ratio", "ratio", False, True),
        ("rep_time_s", "s", True, False),
        ("a_measure_of_an_older_program", "deg", False, True),
    ],
)
def test_how_much_the_view_matters_depends_on_the_measure(measure, unit, comparable, marked):
    before = make_trial(0, measure=measure, unit=unit)
    found = compare_setups(before, replace(before, **FRONT))
    assert (found.comparable, bool(found.marks)) == (comparable, marked)


def test_front_and_back_are_one_plane_for_measures_from_side_to_side():
    before = make_trial(0, measure="frontal_plane_knee_angle", **FRONT)
    found = compare_setups(before, replace(before, view="back", azimuth_deg=180.0))
    assert found.comparable
    assert "same plane" in found.marks[0]
    knee = make_trial(0, **FRONT)
    assert not compare_setups(knee, replace(knee, view="back", azimuth_deg=180.0)).comparable


def test_a_few_degrees_over_the_border_between_two_names_are_no_other_view():
    before = make_trial(0, view="left side", azimuth_deg=110.0)
    near = replace(before, view="back-left", azimuth_deg=118.0)
    far = replace(before, view="back-left", azimuth_deg=126.0)
    assert compare_setups(before, near).marks == ()
    assert not compare_setups(before, far).comparable


def test_a_view_that_creeps_is_noticed_against_the_first_session():
    """Steps of 10 degrees, each too small to break: the third is 20 from the first."""
    views = [("left side", 105.0), ("back-left", 115.0), ("back-left", 125.0)]
    trials = [make_trial(w, view=v, azimuth_deg=a) for w, (v, a) in enumerate(views)]
    line = build_line(by_session(*trials), "higher")
    assert [p.segment for p in line.points] == [0, 0, 1]
    assert "crept away" in line.points[2].marks[0]


def test_the_line_breaks_with_a_mark_and_takes_up_an_earlier_piece_again():
    trials = [make_trial(0), make_trial(1, **FRONT), make_trial(2), make_trial(3)]
    points = build_line(by_session(*trials), "higher").points
    assert [p.segment for p in points] == [0, 1, 0, 0]
    assert [len(p.marks) for p in points] == [0, 1, 1, 0]
    updated = [make_trial(0), make_trial(1, program_version="0.2.0")]
    updated.append(make_trial(2, program_version="0.2.1"))
    points = build_line(by_session(*updated), "higher").points
    assert [p.segment for p in points] == [0, 1, 1]


def test_a_session_from_two_sides_uses_the_clips_that_fit_the_line():
    side = [make_trial(1, 110.0, clip=i) for i in range(2)]
    front = [make_trial(1, 90.0, clip=5 + i, **FRONT) for i in range(3)]
    line = build_line(by_session(make_trial(0), *side, *front), "higher")
    assert line.points[1].trials == 2
    assert line.points[1].mean == 110.0
    assert line.points[1].segment == 0
    assert "3 clips were left out" in line.points[1].marks[0]


def test_without_a_line_yet_the_largest_group_is_taken_and_the_latest_of_equal_ones():
    side = [make_trial(0, clip=i) for i in range(2)]
    front = [make_trial(0, clip=5 + i, **FRONT) for i in range(2)]
    assert pick_comparable([*side, front[0]], []) == side
    assert pick_comparable([*side, *front], []) == front


def test_best_and_mean_of_a_session():
    """Analytic: clips of 100 and 106, extremes 2 from each; uncertainty is no smaller for two."""
    trials = [make_trial(0, 100.0, uncertainty=3.0), make_trial(0, 106.0, clip=1, uncertainty=5.0)]
    high, low, none = (
        build_line(by_session(*trials), b).points[0] for b in ("higher", "lower", "")
    )
    assert (high.best, high.best_uncertainty, high.mean) == (108.0, 5.0, 103.0)
    assert (low.best, low.best_uncertainty) == (98.0, 3.0)
    assert (none.best, none.best_uncertainty) == (None, None)
    assert high.mean_uncertainty == pytest.approx((0.5 * (9 + 25)) ** 0.5)
    assert (high.trials, high.values, high.clips) == (2, 6, ("seat3-0-0.mp4", "seat3-0-1.mp4"))


def test_the_mean_of_a_range_of_motion_is_that_of_its_first_three_trials():
    trial = make_trial(0, 100.0, count=5, mean_of_first=97.0)
    assert build_line(by_session(trial), "higher").points[0].mean == 97.0
    rep = replace(trial, moment="turn")
    assert build_line(by_session(rep), "higher").points[0].mean == 100.0
    few = replace(trial, count=2, mean_of_first=None)
    assert build_line(by_session(few), "higher").points[0].mean == 100.0


def test_unknown_uncertainty_stays_unknown_and_corrections_show():
    trials = [make_trial(0, uncertainty=None, corrected=True), make_trial(1, uncertainty=None)]
    points = build_line(by_session(*trials), "higher").points
    assert points[0].mean_uncertainty is None
    assert points[0].best_uncertainty is None
    assert [p.corrected for p in points] == [True, False]
    assert [p.day for p in points] == [day_number(0), day_number(1)]
