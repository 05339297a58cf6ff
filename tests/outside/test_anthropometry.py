"""Cited: segment lengths of the rendered bodies against Drillis & Contini (1966).

Shares of stature as drawn in Winter, fig. 4.1: thigh 0.245, shank 0.246 (seen), upper arm 0.186,
forearm 0.146, shoulder height 0.818, ankle height 0.039 (from memory). Stature is not known for
these bodies; it is taken from the largest height of the ears above the ankles. Joint centres of a
rendered body are not the surface points of the table, so the limits are wide and only gross
errors (a swapped joint, a wrong unit, a landmark off its limb) break them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

CLIPS = Path(__file__).parents[2] / "sample_clips_synthetic"
# Of the clips in which somebody stands upright for a good part: stature is taken from that. In
# lying, hanging and lunging bodies a joint's surface points move with the limb (a shoulder lifted
# overhead, a knee that carries weight) by more than the limits below.
DRILLS = ("squat", "high_knees", "heel_kicks", "jacks", "twist", "two_people")
BODIES = sorted(p for p in CLIPS.glob("*.joints.npz") if p.name.startswith(DRILLS))
# The ear is at about the height of the eye, 0.936 of stature (from memory); the ankle at 0.039.
EAR_ABOVE_ANKLE = 0.936 - 0.039
# Share of stature, and how far a rendered body may be from it: the shoulder of the table is the
# tip of the shoulder, that of these bodies lies inside, so the upper arm comes out shorter.
SHARES = {
    ("hip", "knee"): (0.245, 0.10),
    ("knee", "ankle"): (0.246, 0.10),
    ("shoulder", "elbow"): (0.186, 0.20),
    ("elbow", "wrist"): (0.146, 0.15),
}


def load_joints(path):
    with np.load(path) as data:
        joints = data["joints_m"].astype(float)
        return {str(name): joints[:, i] for i, name in enumerate(data["names"])}


@pytest.fixture(params=BODIES, ids=lambda p: p.name.removesuffix(".joints.npz"))
def joints(request):
    return load_joints(request.param)


def length(joints, upper, lower, side):
    return np.linalg.norm(joints[f"{side}_{upper}"] - joints[f"{side}_{lower}"], axis=-1)


def estimate_stature(joints):
    tall = joints["left_ear"][:, 2] - joints["left_ankle"][:, 2]
    return np.nanpercentile(tall, 98) / EAR_ABOVE_ANKLE


def test_there_are_rendered_bodies_to_look_at():
    if not CLIPS.is_dir():
        pytest.skip("the rendered clips are not part of this copy of the project")
    assert len(BODIES) >= 5


def test_thigh_and_shank_are_about_as_long_as_each_other(joints):
    """0.245 / 0.246 = 1.00 of stature; frames outside 0.75 to 1.3 are suspect (reference 4.1)."""
    for side in ("left", "right"):
        ratio = length(joints, "hip", "knee", side) / length(joints, "knee", "ankle", side)
        seen = ratio[np.isfinite(ratio)]
        assert ((seen > 0.75) & (seen < 1.3)).all()


@pytest.mark.parametrize("segment", SHARES, ids="-".join)
def test_a_segment_is_about_its_share_of_stature(joints, segment):
    stature = estimate_stature(joints)
    assert 1.4 < stature < 2.1
    expected, within = SHARES[segment]
    for side in ("left", "right"):
        share = np.nanmedian(length(joints, *segment, side)) / stature
        assert share == pytest.approx(expected, rel=within)


@pytest.mark.parametrize("segment", SHARES, ids="-".join)
def test_a_segment_keeps_its_length(joints, segment):
    """The joints follow the skin, which gives way by up to a fifth where a limb is bent hard."""
    for side in ("left", "right"):
        lengths = length(joints, *segment, side)
        lengths = lengths[np.isfinite(lengths)]
        assert np.ptp(lengths) < 0.2 * np.median(lengths)


@pytest.mark.parametrize("segment", SHARES, ids="-".join)
def test_left_and_right_segments_match(joints, segment):
    left, right = (np.nanmedian(length(joints, *segment, s)) for s in ("left", "right"))
    assert left == pytest.approx(right, rel=0.03)
