"""Cited: the raw coordinates of Winter's walking trial (table A.1, as carried by BMClab/BMC).

Compared with each other: our knee angle from hip, knee and ankle markers; the same angle as
thigh minus shank segment angle, Winter's own definition, by plain trigonometry; and the angle
between the two segments by scikit-kinematics. Compared with the book: the course of the knee
over a stride (values from memory of Winter's figures, hence the wide limits).

In that file y points up and the person walks toward +x; the kernels want y down.
"""

from __future__ import annotations

import numpy as np
import pytest
from skinematics import vector

from motioncheck.measures.geometry import (
    compute_distance,
    compute_inclination_deg,
    compute_signed_bend_deg,
)

COLUMNS = {"hip": 4, "knee": 6, "ankle": 10, "heel": 12, "toe": 16}


@pytest.fixture(scope="module")
def gait(open_data):
    rows = np.loadtxt(open_data("gait/WinterTableA1.txt"), skiprows=2)
    points = {name: rows[:, c : c + 2] * [1.0, -1.0] for name, c in COLUMNS.items()}
    return {"time_s": rows[:, 1]} | points


@pytest.fixture(scope="module")
def knee_deg(gait):
    return compute_signed_bend_deg(gait["hip"], gait["knee"], gait["ankle"], positive=1)


def test_knee_angle_is_thigh_minus_shank_as_winter_defines_it(gait, knee_deg):
    """Segment angles from the right horizontal, counter-clockwise, y up."""

    def segment_deg(upper, lower):
        d = (gait[upper] - gait[lower]) * [1.0, -1.0]
        return np.degrees(np.arctan2(d[:, 1], d[:, 0]))

    winter = segment_deg("hip", "knee") - segment_deg("knee", "ankle")
    np.testing.assert_allclose(knee_deg, winter, atol=1e-9)


def test_knee_angle_has_the_size_that_scikit_kinematics_finds(gait, knee_deg):
    thigh, shank = gait["knee"] - gait["hip"], gait["ankle"] - gait["knee"]
    between = [np.degrees(vector.angle(a, b)) for a, b in zip(thigh, shank, strict=True)]
    np.testing.assert_allclose(np.abs(knee_deg), between, atol=1e-5)


def find_contacts(gait):
    """Frames in which the heel comes down: within 1 cm of its lowest, a stretch at a time."""
    height = -gait["heel"][:, 1]
    low = np.flatnonzero(height < height.min() + 1.0)
    groups = np.split(low, np.flatnonzero(np.diff(low) > 20) + 1)
    return [int(g[0]) for g in groups]


def test_the_knee_bends_a_little_in_stance_and_much_in_swing(gait, knee_deg):
    """Natural walking: about 20 degrees early in stance, straight late in stance, 60 to 70 in
    swing (Winter, from memory). Limits are wide: one person, raw coordinates."""
    contact = find_contacts(gait)[0]
    time_s = gait["time_s"] - gait["time_s"][contact]
    early = knee_deg[(time_s > 0.05) & (time_s < 0.3)]
    late = knee_deg[(time_s > 0.3) & (time_s < 0.55)]
    assert 10.0 < early.max() < 30.0
    assert -5.0 < late.min() < early.max() - 5.0
    assert 55.0 < knee_deg.max() < 75.0
    # The greatest bend belongs to the swing: the toe is off the floor and moving ahead.
    top = int(np.argmax(knee_deg))
    assert gait["toe"][top + 3, 0] - gait["toe"][top - 3, 0] > 10.0


def test_the_knee_never_bends_backwards_beyond_straight(knee_deg):
    assert knee_deg.min() > -5.0


def test_the_shank_leans_back_at_contact_and_ahead_at_push_off(gait):
    shank = compute_inclination_deg(gait["ankle"], gait["knee"], forward=1)
    contact = find_contacts(gait)[0]
    time_s = gait["time_s"] - gait["time_s"][contact]
    assert shank[contact] < 0.0
    assert shank[(time_s > 0.4) & (time_s < 0.6)].max() > 20.0


def test_the_segments_keep_the_lengths_of_one_leg(gait):
    """Markers on skin: the lengths change by a few per cent, never more than a tenth."""
    for upper, lower in (("hip", "knee"), ("knee", "ankle")):
        length = compute_distance(gait[upper], gait[lower])
        assert np.ptp(length) < 0.2 * length.mean()
