"""What the analysis refuses, and what it takes out before anything is measured."""

from __future__ import annotations

import numpy as np
import pytest
from test_pipeline_crowd import HEIGHT, WIDTH, make_track

from motioncheck.errors import InputError, NoPersonError
from motioncheck.pipeline import analyse_track
from motioncheck.pipeline.analyse import MAX_CLIP_S, require_length, score_motion
from motioncheck.pipeline.sources import hide_outside
from motioncheck.skeleton import INDEX
from motioncheck.standards import get_standard

SQUAT = get_standard("air-squat").standard
TOE, KNEE = INDEX["left_toe"], INDEX["left_knee"]


@pytest.mark.parametrize(
    "place", [(-30.0, 100.0), (WIDTH + 30.0, 100.0), (100.0, -30.0), (100.0, HEIGHT + 30.0)]
)
def test_a_landmark_outside_the_picture_is_not_visible(place):
    image = np.full((2, 33, 2), 100.0)
    image[1, TOE] = place
    hidden = hide_outside(make_track(image_px=image))
    assert hidden.visibility[1, TOE] == 0.0
    hidden_count = np.count_nonzero(hidden.visibility != 1.0)
    assert hidden_count == 1
    assert np.array_equal(hidden.image_px, image)


def test_a_landmark_at_the_very_edge_stays_visible():
    image = np.full((2, 33, 2), 100.0)
    image[:, TOE] = 100.0, HEIGHT + 0.009 * HEIGHT
    track = make_track(image_px=image)
    assert hide_outside(track) is track


def test_frames_without_anybody_stay_without_anybody():
    image, visibility = np.full((2, 33, 2), -50.0), np.ones((2, 33))
    image[0], visibility[0] = np.nan, np.nan
    hidden = hide_outside(make_track(image_px=image, visibility=visibility))
    assert np.isnan(hidden.visibility[0]).all()
    assert np.all(hidden.visibility[1] == 0.0)


def test_more_than_an_hour_is_refused_and_less_is_not():
    require_length(MAX_CLIP_S)
    require_length(float("nan"))
    with pytest.raises(InputError, match=r"at most 60 minutes long, found 180 minutes\. Cut"):
        require_length(3 * 3600.0)


def test_a_track_whose_times_span_hours_is_refused_before_it_is_resampled():
    """30 frames a second over three hours would be 324 000 rows."""
    track = make_track(time_s=np.array([0.0, 3 * 3600.0]))
    with pytest.raises(InputError, match="found 180 minutes"):
        analyse_track(track, SQUAT)
    assert score_motion(track, SQUAT) == 0.0


def test_a_clip_without_anybody_repeats_what_the_model_noted():
    nobody = np.full((2, 33, 2), np.nan)
    plain = make_track(image_px=nobody)
    with pytest.raises(NoPersonError, match=r"found nobody .* in 2 frames\. Film one person"):
        analyse_track(plain, SQUAT)
    noted = make_track(image_px=nobody, notes=("A body was seen: film from closer.",))
    with pytest.raises(NoPersonError, match="film from closer"):
        analyse_track(noted, SQUAT)
