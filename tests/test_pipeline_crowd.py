"""Who else is in the picture is not to be recognised on the athlete's sheet."""

from __future__ import annotations

import numpy as np
import pytest

from motioncheck.pipeline.crowd import hide_others, is_crowded
from motioncheck.records import LandmarkTrack
from motioncheck.sheet.faces import coarse
from motioncheck.skeleton import INDEX

HEIGHT, WIDTH = 400, 300


def noisy_picture():
    return np.random.default_rng(4).integers(0, 256, (HEIGHT, WIDTH, 3), dtype=np.uint8)


def standing_body(x=80.0):
    """Landmarks of somebody of 200 pixels, seen from the front at x."""
    points = np.full((33, 2), np.nan)
    places = {"shoulder": (24, 120), "elbow": (34, 160), "wrist": (36, 195), "hip": (14, 200)}
    places |= {"knee": (14, 255), "ankle": (14, 310), "heel": (14, 318), "toe": (18, 322)}
    for part, (dx, y) in places.items():
        points[INDEX[f"left_{part}"]] = x + dx, y
        points[INDEX[f"right_{part}"]] = x - dx, y
    points[INDEX["nose"]] = x, 88
    points[INDEX["left_ear"]], points[INDEX["right_ear"]] = (x + 9, 86), (x - 9, 86)
    return points


def make_track(**changes):
    frames = 2
    fields = {
        "time_s": np.arange(frames) / 30,
        "image_px": np.zeros((frames, 33, 2)),
        "visibility": np.ones((frames, 33)),
        "world_m": np.zeros((frames, 33, 3)),
        "width_px": WIDTH,
        "height_px": HEIGHT,
        "model": "full",
    }
    return LandmarkTrack(**(fields | changes))


def test_the_athlete_stays_and_who_stands_beside_becomes_blocks():
    rgb = noisy_picture()
    shown = hide_others(rgb, standing_body())
    blocks = coarse(rgb)
    assert np.array_equal(shown[70:320, 78:82], rgb[70:320, 78:82])  # head to feet
    assert np.array_equal(shown[:, 180:], blocks[:, 180:])  # a head height away
    assert np.array_equal(rgb, noisy_picture())  # the original is not written to


def test_without_the_athlete_nobody_is_shown():
    rgb = noisy_picture()
    assert np.array_equal(hide_others(rgb, np.full((33, 2), np.nan)), coarse(rgb))


def test_landmarks_far_outside_the_picture_do_no_harm():
    rgb = noisy_picture()
    points = standing_body()
    points[INDEX["left_toe"]] = 1e7, -1e7
    assert np.array_equal(hide_others(rgb, points)[:, 250:], coarse(rgb)[:, 250:])


@pytest.mark.parametrize(
    ("changes", "crowded"), [({}, False), ({"people": 2}, True), ({"jumps_cut": 1}, True)]
)
def test_a_clip_is_crowded_when_anybody_else_was_noticed(changes, crowded):
    assert is_crowded(make_track(**changes)) is crowded
