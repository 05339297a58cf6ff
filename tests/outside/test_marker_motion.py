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


@pytest.mark.parametrize("azimuth", DIRECTIONS)
@pytest.mark.parametrize(
    ("exercise", "movement"),
    # Jogging on the spot lifts the heels (knees bent by 51 to 90 degrees), and hardly the knees.
    [("KneeRaise", "high-knees"), ("Jog", "heel-to-seat-kicks")],
)
def test_steps_of_a_real_person_are_counted_side_by_side(
    markers, rows, exercise, movement, azimuth
):
    found = find_rows(rows, exercise)
    for sequence in {r.sequence for r in found}:
        mine = {r.signal: r for r in found if r.sequence == sequence}
        row = mine["L_knee"]
        points = stretch(markers[sequence], row.begin_s, row.end_s)
        timeline = split_motion(points, movement, azimuth_deg=azimuth)
        # The first and last step may be cut off by the limits of the stretch.
        events = (*timeline.events, *timeline.partial)
        for side, peaks_s in (("left", row.peaks_s), ("right", mine["R_knee"].peaks_s)):
            turns = sorted(row.begin_s + e.turn_s for e in events if e.side == side)
            np.testing.assert_allclose(turns, peaks_s, atol=LATE_S)


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
