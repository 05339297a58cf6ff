"""Direction and tilt of the camera on rendered clips from every side.

Truth: the camera that rendered them. The clips (81, five drills, ten bodies, all azimuths,
0.5 to 1.6 m high, 2.5 to 6 m away, rolled by up to 5 degrees) were not used to choose the cues or
their weights; only the stated uncertainty of the azimuth was set from them. Clips of recorded
motion are left out: there the person does not keep the direction they start with.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from motioncheck.camera import estimate_view
from motioncheck.cleaning import clean_track, leave_out_impossible, leave_out_walking
from motioncheck.records import CameraView, LandmarkTrack
from motioncheck.units import wrap_deg

DATA = Path(__file__).parent / "data"
DRILLS = [p for p in sorted(DATA.glob("*.npz")) if "_recorded_" not in p.name]


def load(path: Path) -> tuple[LandmarkTrack, dict]:
    with np.load(path, allow_pickle=False) as data:
        arrays = [data[k] for k in ("time_s", "image_px", "visibility", "world_m")]
        size = int(data["width_px"]), int(data["height_px"])
        return LandmarkTrack(*arrays, *size, "full"), json.loads(str(data["about"]))


@pytest.fixture(scope="module")
def views() -> list[tuple[CameraView, dict]]:
    found = []
    for path in DRILLS:
        track, about = load(path)
        clean = leave_out_impossible(leave_out_walking(clean_track(track, cutoff_hz=6.0)))
        found.append((estimate_view(clean), about["camera"]))
    return found


def test_the_set_covers_every_side():
    assert len(DRILLS) >= 80


def test_azimuth_is_within_8_degrees_rms_and_as_sure_as_it_says(views):
    errors = np.array([wrap_deg(v.azimuth_deg - c["azimuth_deg"]) for v, c in views])
    stated = np.array([v.azimuth_uncertainty_deg for v, _ in views])
    assert np.sqrt(np.mean(errors**2)) <= 8.0
    assert 0.8 <= np.sqrt(np.mean((errors / stated) ** 2)) <= 1.2


def test_tilt_is_within_2_degrees_rms(views):
    """The picture must be turned against the roll of the phone."""
    errors = np.array([v.tilt_deg + c["roll_deg"] for v, c in views])
    told = np.isfinite(errors)
    # Where feet are out of the picture there is no plumb line to tell it from.
    assert told.mean() >= 0.9
    assert np.sqrt(np.mean(errors[told] ** 2)) <= 2.0


def test_a_front_view_never_shows_trunk_lean_and_a_side_view_never_the_knee_line(views):
    from motioncheck.measures import judge_plane

    for view, camera in views:
        from_front = abs(wrap_deg(camera["azimuth_deg"]))
        from_front = min(from_front, 180.0 - from_front)
        if from_front <= 15.0:
            assert not judge_plane("sagittal", view).ok
        if from_front >= 75.0:
            assert not judge_plane("frontal strict", view).ok
