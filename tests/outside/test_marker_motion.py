"""Cited: real people's motion (CMU motion capture database; mocap6 data set, BSD-2).

Repetitions and their peak times were checked by eye on other signals (`reps.csv`): knee flexion
for squats, thigh angle for knees, arm elevation for jacks. The rules are those of the shipped
standards, unchanged.
"""

from __future__ import annotations

import numpy as np
import pytest
from marker_motion import read_bvh, read_markers, read_rows, split_motion

# Hip height, knee height and hand height do not turn in the very frame in which an angle does.
LATE_S = 0.2
# The skeleton of the other recording has legs of 15 units, here taken as 0.9 m.
METRES = 0.06
DIRECTIONS = (0.0, 30.0, 90.0, -135.0)


def stretch(points, begin_s, end_s):
    rows = slice(round(begin_s * 30), round(end_s * 30) + 1)
    return {name: p[rows] for name, p in points.items()}


@pytest.fixture(scope="module")
def markers(open_data):
    path = open_data("mocap/exercise_joints_30hz.npz")
    return {sequence: read_markers(path, sequence) for sequence in ("13_30", "13_31")}


@pytest.fixture(scope="module")
def rows(open_data):
    return read_rows(open_data("mocap/reps.csv"))


def find_rows(rows, exercise):
    found = [r for r in rows if r.exercise == exercise]
    assert found
    return found


@pytest.mark.parametrize("azimuth", DIRECTIONS)
def test_squats_of_a_real_person_are_counted(markers, rows, azimuth):
    for row in find_rows(rows, "Squat"):
        points = stretch(markers[row.sequence], row.begin_s, row.end_s)
        events = split_motion(points, "air-squat", azimuth_deg=azimuth).events
        turns = [row.begin_s + e.turn_s for e in events]
        np.testing.assert_allclose(turns, row.peaks_s, atol=LATE_S)


def both_sides(rows, exercise):
    """Yield the stretch and the peaks of left and right, a recording at a time."""
    found = find_rows(rows, exercise)
    for sequence in sorted({r.sequence for r in found}):
        mine = {r.signal: r for r in found if r.sequence == sequence}
        yield mine["L_knee"], {"left": mine["L_knee"].peaks_s, "right": mine["R_knee"].peaks_s}


@pytest.mark.parametrize("azimuth", DIRECTIONS)
def test_knee_raises_of_a_real_person_are_counted_side_by_side(markers, rows, azimuth):
    for row, peaks_s in both_sides(rows, "KneeRaise"):
        points = stretch(markers[row.sequence], row.begin_s, row.end_s)
        events = split_motion(points, "high-knees", azimuth_deg=azimuth).events
        for side in ("left", "right"):
            turns = [row.begin_s + e.turn_s for e in events if e.side == side]
            np.testing.assert_allclose(turns, peaks_s[side], atol=LATE_S)


@pytest.mark.parametrize("azimuth", DIRECTIONS)
def test_steps_of_a_real_jog_are_counted_side_by_side(markers, rows, azimuth):
    """A jog is half as high as a kick at most, so the smallest step is halved (0.12 to 0.06)."""
    for row, peaks_s in both_sides(rows, "Jog"):
        points = stretch(markers[row.sequence], row.begin_s, row.end_s)
        events = split_motion(
            points, "heel-to-seat-kicks", azimuth_deg=azimuth, min_change=0.06
        ).events
        for side in ("left", "right"):
            # The jog starts and runs out with half steps, which the eye may count or leave out.
            first, *inner, last = peaks_s[side]
            turns = [row.begin_s + e.turn_s for e in events if e.side == side]
            between = [t for t in turns if first + LATE_S < t < last - LATE_S]
            np.testing.assert_allclose(between, inner, atol=LATE_S)


def test_a_jog_yields_no_kick_that_is_not_one_of_its_steps(markers, rows):
    for row, peaks_s in both_sides(rows, "Jog"):
        points = stretch(markers[row.sequence], row.begin_s, row.end_s)
        for event in split_motion(points, "heel-to-seat-kicks", azimuth_deg=90.0).events:
            nearest = min(abs(row.begin_s + event.turn_s - p) for p in peaks_s[event.side])
            assert nearest <= LATE_S


@pytest.mark.parametrize("azimuth", DIRECTIONS)
def test_jumping_jacks_of_a_real_person_are_counted(markers, rows, azimuth):
    for row in find_rows(rows, "JumpJack"):
        points = stretch(markers[row.sequence], row.begin_s, row.end_s)
        events = split_motion(points, "jumping-jacks", azimuth_deg=azimuth).events
        turns = [row.begin_s + e.turn_s for e in events]
        np.testing.assert_allclose(turns, row.peaks_s, atol=LATE_S)


def test_other_exercises_are_not_taken_for_squats(markers, rows):
    for exercise in ("KneeRaise", "ArmCircle"):
        for row in find_rows(rows, exercise):
            points = stretch(markers[row.sequence], row.begin_s, row.end_s)
            assert split_motion(points, "air-squat", azimuth_deg=90.0).events == ()


def test_three_jumping_jacks_of_another_recording_are_counted(open_data):
    """AnimatedDrawings example (MIT): three jacks, y up, the person faces +z."""
    joints = read_bvh(open_data("mocap/jumping_jacks.bvh"))
    points = {
        f"{side}_{part}": joints[f"{side.title()}{part.title()}"][:, [2, 0, 1]] * METRES
        for side in ("left", "right")
        for part in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "toe")
    }
    timeline = split_motion(points, "jumping-jacks", azimuth_deg=0.0)
    assert len(timeline.events) + len(timeline.partial) == 3
