"""Bodies on their feet and off them (analytic stick figures; one recorded track, turned)."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from synthetic import Pose, Scene, make_clean, pose_points

from motioncheck.bodyfit import fit_track
from motioncheck.bodyfit.axes import find_ahead
from motioncheck.bodyfit.learned import LYING_FROM, choose_turns, turn_track
from motioncheck.bodyfit.model import JOINT
from motioncheck.bodyfit.support import find_body_turn, find_on_feet
from motioncheck.cleaning import clean_track
from motioncheck.measures import measure_joints
from motioncheck.records import CleanTrack, LandmarkTrack

# A squat filmed from the left by a phone that was held level (rendered; tests/validation).
SQUAT = Path(__file__).parent / "validation" / "data" / "087_squat_az090_c4.npz"
TIME_S = np.arange(60) / 30.0
STATURE_PX = 700.0
# Half of a stick figure from the side: x ahead, y down, statures, feet at 0.
STANDING = {
    "shoulder": (0.0, -0.82),
    "elbow": (0.0, -0.63),
    "wrist": (0.0, -0.49),
    "hip": (0.0, -0.53),
    "knee": (0.0, -0.285),
    "ankle": (0.0, -0.04),
    "heel": (-0.04, 0.0),
    "toe": (0.11, 0.0),
}
# Knees at the origin, shanks along the floor behind them.
KNEELING = {part: (x, y + 0.245) for part, (x, y) in STANDING.items()} | {
    "ankle": (-0.245, -0.02),
    "heel": (-0.29, -0.05),
    "toe": (-0.3, 0.0),
}
FOLDED = STANDING | {"knee": (0.17, -0.22), "hip": (-0.05, -0.2), "shoulder": (0.1, -0.45)}


def draw(*figures: dict[str, tuple[float, float]]) -> np.ndarray:
    """Put a figure (for all frames, or one for each) into pixels, shape (60, 16, 2)."""
    points = np.zeros((len(figures), len(JOINT), 2))
    for name, i in JOINT.items():
        part = name.split("_", 1)[1]
        points[:, i] = [np.array(figure[part]) * STATURE_PX for figure in figures]
    return np.broadcast_to(points, (len(TIME_S), len(JOINT), 2)).copy() + 300.0


def turned(points: np.ndarray, degrees: float) -> np.ndarray:
    """Turn clockwise on the screen."""
    a = np.radians(degrees)
    return points @ np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]).T


def on_feet(points: np.ndarray) -> np.ndarray:
    return find_on_feet(points, TIME_S, STATURE_PX)


@pytest.mark.parametrize("figure", [STANDING, FOLDED], ids=["standing", "squatting"])
def test_feet_carry_a_body_that_stands_or_squats(figure):
    assert on_feet(draw(figure)).all()


def test_a_kneeling_body_is_not_on_its_feet():
    assert not on_feet(draw(KNEELING)).any()


@pytest.mark.parametrize("degrees", [90.0, -90.0, 180.0, 75.0])
def test_a_body_that_lies_leans_on_its_hands_or_stands_on_its_head_is_not_on_its_feet(degrees):
    assert not on_feet(turned(draw(STANDING), degrees)).any()


def test_a_body_nobody_found_is_not_said_to_be_off_its_feet():
    assert on_feet(np.full((60, len(JOINT), 2), np.nan)).all()


def test_a_flicker_does_not_take_a_body_off_its_feet_and_a_second_of_kneeling_does():
    figures = [STANDING] * 60
    figures[20:29] = [KNEELING] * 9  # 0.3 s
    assert on_feet(draw(*figures)).all()
    figures[20:55] = [KNEELING] * 35
    assert np.flatnonzero(~on_feet(draw(*figures))).tolist() == list(range(20, 55))


def test_standing_for_less_than_a_second_between_two_times_on_the_floor_does_not_count():
    figures = [KNEELING] * 60
    figures[20:40] = [STANDING] * 20
    assert not on_feet(draw(*figures)).any()


@pytest.mark.parametrize("degrees", [0.0, 30.0, 90.0, -90.0, 170.0])
def test_the_turn_of_a_body_is_that_of_the_line_from_ankles_to_shoulders(degrees):
    assert np.degrees(find_body_turn(turned(draw(STANDING), degrees))) == pytest.approx(degrees)


def test_only_lying_bodies_are_shown_to_the_network_turned():
    lying, leaning = turned(draw(STANDING), 85.0), turned(draw(STANDING), 40.0)
    nowhere = np.zeros(60, dtype=bool)
    assert np.degrees(choose_turns(lying, nowhere)) == pytest.approx(90.0)  # steps of 30 degrees
    assert not choose_turns(lying, ~nowhere).any()
    assert np.radians(40.0) < LYING_FROM
    assert not choose_turns(leaning, nowhere).any()


def test_a_turned_track_turned_back_is_the_same():
    track = make_clean(pose_points(Pose(), 10), Scene(30.0))
    there = turn_track(track, 0.7)
    back = turn_track(there, -0.7)
    for name in ("image_px", "world_m"):
        assert getattr(back, name) == pytest.approx(getattr(track, name))
        assert not np.allclose(getattr(there, name), getattr(track, name))


def test_the_trunk_tells_where_a_body_faces_that_lies():
    """Camera axes: x right, y down, z away. Face up, head to the left, feet to the right."""
    joints = np.zeros((1, len(JOINT), 3))
    for side, z in (("left", 0.15), ("right", -0.15)):
        joints[0, JOINT[f"{side}_shoulder"]] = (-0.5, 0.0, z)
        joints[0, JOINT[f"{side}_hip"]] = (0.0, 0.0, z)
    up = np.array([0.0, -1.0, 0.0])
    off = find_ahead(joints, up, np.array([False]))
    assert off[0] == pytest.approx([0.0, -1.0, 0.0])
    assert find_ahead(joints, up, np.array([True])) == pytest.approx(find_ahead(joints, up))


def read_squat() -> tuple[CleanTrack, dict[str, np.ndarray]]:
    with np.load(SQUAT) as data:
        arrays = {key: data[key] for key in data.files}
    fields = [arrays[k] for k in ("time_s", "image_px", "visibility", "world_m")]
    assert json.loads(str(arrays["about"]))["camera"]["roll_deg"] == pytest.approx(0.0, abs=5.0)
    track = LandmarkTrack(*fields, int(arrays["width_px"]), int(arrays["height_px"]), "full")
    return clean_track(track, cutoff_hz=5.0, visibility_gate=0.0), arrays


@pytest.mark.parametrize("degrees", [90.0, -90.0, 180.0])
def test_a_squat_that_lies_in_the_picture_is_measured_like_the_one_that_stands(degrees):
    """Truth: the rendered joints. The same track turned is a body that lies or hangs head down."""
    track, arrays = read_squat()
    lying = fit_track(turn_track(track, np.radians(degrees)))
    names = [str(n).replace("big_toe", "toe") for n in arrays["names"]]
    true = arrays["joints_m"][:, [names.index(name) for name in JOINT]][..., [1, 2, 0]]
    true = measure_joints(arrays["time_s"], true.astype(float) * [-1.0, 1.0, -1.0])
    found = measure_joints(lying.time_s, np.asarray(lying.joints_m))
    for column, largest in (("knee_flexion_left", 7.0), ("hip_flexion_left", 9.0)):
        at = np.interp(lying.time_s, arrays["time_s"], true[column])
        assert np.sqrt(np.mean((found[column] - at) ** 2)) < largest
    # The person, not the phone, is turned.
    assert abs(lying.tilt_deg) < 8.0
    trunk = np.asarray(lying.point("left_shoulder") - lying.point("left_hip"))
    lean = np.degrees(np.arctan2(np.hypot(trunk[:, 0], trunk[:, 2]), trunk[:, 1]))
    standing = np.interp(lying.time_s, arrays["time_s"], true["trunk_inclination"])
    # He faces left: turned clockwise by 90 degrees his own lean in the squat lifts the trunk.
    sign = 1.0 if degrees > 0 else -1.0
    expected = 180.0 - standing if abs(degrees) == 180.0 else 90.0 - sign * standing
    assert np.median(np.abs(lean - expected)) < 8.0
