"""Leaving out bodies that cannot be.

Truth: property (a limb in the picture is never longer than it is) and analytic (the frames in
which a leg was stretched are known). The factor of 1.15 was read off rendered clips.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from synthetic import Pose, Scene, make_clean, pose_points

from motioncheck.cleaning import leave_out_impossible
from motioncheck.cleaning.bones import AROUND_S, compute_stretch
from motioncheck.skeleton import INDEX

RATE_HZ = 30.0
FRAMES = 150


def standing_with_ankle_moved(rows: slice, factor: float):
    """A standing body whose left shank is longer by a factor in some frames."""
    track = make_clean(pose_points(Pose(), FRAMES), Scene(), rate_hz=RATE_HZ)
    image = np.array(track.image_px)
    knee, ankle = INDEX["left_knee"], INDEX["left_ankle"]
    image[rows, ankle] = image[rows, knee] + factor * (image[rows, ankle] - image[rows, knee])
    return replace(track, image_px=image)


def test_stretch_is_the_length_over_the_usual_length():
    stretch = compute_stretch(standing_with_ankle_moved(slice(70, 75), 1.4))
    # The trunk of this body, from the same table, tells a leg that is 1 % longer than it is.
    assert stretch[72] == pytest.approx(1.4, rel=0.015)
    assert stretch[10] == pytest.approx(1.0, rel=0.015)


def test_frames_around_an_impossible_leg_are_left_out_but_the_body_stays_present():
    track = standing_with_ankle_moved(slice(70, 75), 1.4)
    cleaned = leave_out_impossible(track)
    reach = round(AROUND_S * RATE_HZ)
    lost = ~np.isfinite(cleaned.image_px).any(axis=(1, 2))
    assert np.flatnonzero(lost).tolist() == list(range(70 - reach, 75 + reach))
    assert cleaned.steps[-1].name == "bones"
    np.testing.assert_array_equal(cleaned.visibility, track.visibility)


def test_a_foreshortened_leg_is_possible():
    track = standing_with_ankle_moved(slice(70, 75), 0.4)
    assert leave_out_impossible(track) is track


def test_a_leg_a_little_nearer_to_the_lens_is_possible():
    """0.3 m nearer at 3 m looks 11 per cent larger (geometry)."""
    track = standing_with_ankle_moved(slice(70, 75), 1.11)
    assert leave_out_impossible(track) is track
