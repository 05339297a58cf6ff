"""Leaving out walking to and from the phone.

Truth: analytic (the size of the body in the picture is known, because the picture is the body
scaled by it); the factor of 1.25 is a working default, common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from synthetic import Pose, Scene, make_clean, pose_points

from motioncheck.cleaning import leave_out_walking
from motioncheck.cleaning.settle import compute_size
from motioncheck.records import CleanTrack

RATE_HZ = 30.0


def zoomed(factors: np.ndarray) -> CleanTrack:
    """A standing body whose size in the picture follows the factors."""
    track = make_clean(pose_points(Pose(), len(factors)), Scene(), rate_hz=RATE_HZ)
    middle = np.nanmean(track.image_px, axis=1, keepdims=True)
    image = middle + (track.image_px - middle) * factors[:, None, None]
    return CleanTrack(
        track.time_s, image, track.visibility, track.world_m, track.width_px, track.height_px,
        RATE_HZ, track.cutoff_hz,
    )  # fmt: skip


def test_size_follows_the_scale_of_the_body_in_the_picture():
    factors = np.concatenate([np.full(60, 1.0), np.full(60, 1.5)])
    size = compute_size(zoomed(factors))
    assert size[100] / size[10] == pytest.approx(1.5, rel=1e-6)


def test_walking_to_and_from_the_phone_is_left_out():
    walk = np.linspace(3.0, 1.0, 90)
    track = leave_out_walking(zoomed(np.concatenate([walk, np.ones(240), walk[::-1]])))
    seen = np.isfinite(track.image_px).all(axis=(1, 2))
    assert not seen[:60].any()
    assert seen[90:330].all()
    assert not seen[-60:].any()
    assert track.steps[-1].name == "settling"
    assert "walking" in track.steps[-1].text


def test_a_body_that_stays_is_not_touched():
    sway = 1.0 + 0.1 * np.sin(np.linspace(0, 12, 300))
    track = zoomed(sway)
    assert leave_out_walking(track) is track


def test_a_long_walk_does_not_become_the_usual_size():
    walk = np.geomspace(4.0, 1.0, 300)
    track = leave_out_walking(zoomed(np.concatenate([walk, np.ones(150)])))
    seen = np.isfinite(track.image_px).all(axis=(1, 2))
    assert seen[-150:].all()
    assert not seen[:200].any()


def test_a_short_slip_of_the_estimate_is_not_walking():
    factors = np.ones(200)
    factors[100:108] = 1.6
    track = zoomed(factors)
    assert leave_out_walking(track) is track


def test_an_empty_track_stays_empty():
    track = zoomed(np.ones(60))
    hidden = CleanTrack(
        track.time_s, np.full_like(track.image_px, np.nan), track.visibility,
        np.full_like(track.world_m, np.nan), track.width_px, track.height_px, RATE_HZ, 6.0,
    )  # fmt: skip
    assert leave_out_walking(hidden) is hidden
