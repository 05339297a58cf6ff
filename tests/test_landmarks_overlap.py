"""Landmarks where somebody else is right behind or before the athlete (truth: constructed)."""

from __future__ import annotations

import numpy as np
from synthetic import Pose as BodyPose
from synthetic import Scene, make_track, pose_points

from motioncheck.landmarks.linking import Person
from motioncheck.landmarks.model import Pose
from motioncheck.landmarks.overlap import HALF_HIDDEN, dim_overlapped
from motioncheck.landmarks.sightings import Sighting

FRAMES = 10


def athlete():
    return make_track(pose_points(BodyPose(), FRAMES), Scene())


def passer_by(track, frame: int, shift_px: float, visibility: float = 0.9) -> Person:
    """Somebody of the same shape, beside the athlete by a number of pixels."""
    pose = Pose(
        image_px=track.image_px[frame] + np.array([shift_px, 0.0]),
        visibility=np.full(33, visibility),
        world_m=track.world_m[frame],
    )
    sighting = Sighting(
        frame=frame, time_s=float(track.time_s[frame]), pose=pose,
        centre_px=pose.image_px.mean(axis=0), px_per_m=300.0, clothes=np.zeros((5, 3)),
    )  # fmt: skip
    return Person(([sighting],))


def test_landmarks_under_a_passer_by_count_as_half_hidden():
    track = athlete()
    dimmed = dim_overlapped(track, [passer_by(track, 4, 10.0)])
    assert (dimmed.visibility[4] <= HALF_HIDDEN).mean() > 0.8
    np.testing.assert_array_equal(dimmed.visibility[5], track.visibility[5])
    np.testing.assert_array_equal(dimmed.image_px, track.image_px)
    assert "right behind" in dimmed.notes[-1]


def test_somebody_well_beside_the_athlete_changes_nothing():
    track = athlete()
    assert dim_overlapped(track, [passer_by(track, 4, 2000.0)]) is track


def test_a_body_that_is_hardly_seen_dims_nothing():
    track = athlete()
    assert dim_overlapped(track, [passer_by(track, 4, 10.0, visibility=0.2)]) is track


def test_nobody_else_changes_nothing():
    track = athlete()
    assert dim_overlapped(track, []) is track
