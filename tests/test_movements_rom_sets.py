"""Ranges of motion on constructed bodies: whole sets, and which source is believed."""

from __future__ import annotations

from types import MappingProxyType

import numpy as np
import pytest
from synthetic import (
    SHARE,
    Pose,
    Scene,
    make_body,
    make_track,
    make_view,
    pose_points,
    strokes,
)

from motioncheck.checks import note_hidden_leg
from motioncheck.measures import NEUTRAL, REGISTRY, compute_table
from motioncheck.measures.fitted import Columns
from motioncheck.pipeline import analyse_track
from motioncheck.records import MeasureTable
from motioncheck.standards import ANYONE, Person, get_standard

RATE_HZ = 30.0
# An arm is counted from the line shoulder-hip, which runs inward by what the shoulders are wider.
INWARD_DEG = float(
    np.degrees(np.arctan((SHARE["half_shoulders"] - SHARE["half_hips"]) / SHARE["trunk"]))
)


# Two measures that tell reps and legs apart, and the picture that is believed.


def test_knee_bend_and_ankle_lift_of_a_heel_to_the_seat():
    """Shank bent by 70 of a leg of 0.245 + 0.246: the ankle rises by 0.246 (1 - cos 70)."""
    table = compute_table(make_body(Pose(shank=(70.0, 0.0)), 90.0, frames=3))
    lift = SHARE["shank"] * (1 - np.cos(np.radians(70.0))) / (SHARE["thigh"] + SHARE["shank"])
    for side, bend, up in (("left", 70.0, lift), ("right", 0.0, 0.0)):
        np.testing.assert_allclose(table.values[f"knee_bend_{side}"], bend, atol=1e-6)
        np.testing.assert_allclose(table.values[f"ankle_lift_ratio_{side}"], up, atol=1e-6)


def fitted(value, spread):
    columns = {c: np.full(3, value) for spec in REGISTRY for c in spec.ids() if spec.compute}
    return Columns(
        MappingProxyType(columns), MappingProxyType({c: np.full(3, spread) for c in columns})
    )


def test_of_a_planar_limb_the_picture_is_believed_before_a_surer_body():
    """The body states 1.645 x 1 degree; the picture of a square view its guard band of 6."""
    body = make_body(Pose(arm_out=(150.0, 0.0)), 0.0, frames=3)
    usual = compute_table(body, fitted(120.0, 1.0), planes={"shoulder_elevation": "frontal"})
    planar = compute_table(
        body,
        fitted(120.0, 1.0),
        planes={"shoulder_elevation": "frontal"},
        planar=["shoulder_elevation"],
    )
    column = "shoulder_elevation_left"
    np.testing.assert_allclose(usual.values[column], 120.0)
    np.testing.assert_allclose(planar.values[column], 150.0 + INWARD_DEG, atol=1e-6)
    assert not planar.from_body[column].any()
    # Other measures stay with the surer source.
    assert planar.from_body["elbow_flexion_left"].all()


def test_a_planar_limb_seen_from_elsewhere_is_measured_from_the_body():
    body = make_body(Pose(arm_out=(150.0, 0.0)), 90.0, frames=3)
    table = compute_table(
        body,
        fitted(148.0, 1.0),
        planes={"shoulder_elevation": "frontal"},
        planar=["shoulder_elevation"],
    )
    np.testing.assert_allclose(table.values["shoulder_elevation_left"], 148.0)


# Whole sets of synthetic trials through cleaning, measuring, splitting and checking.


def analyse(pose, frames, movement, azimuth=90.0, person=ANYONE):
    track = make_track(pose_points(pose, frames), Scene(azimuth), rate_hz=RATE_HZ, noise_px=1.5)
    standard = get_standard(movement).standard
    return analyse_track(track, standard, fit=None, calibration=NEUTRAL, person=person)


def sided(count=3, every_s=4.0):
    """Strokes of 1.2 s out, 0.6 s held and 1.2 s back, first left, then right."""
    time_s = np.arange(0.0, 2.0 + 2 * count * every_s + 2.0, 1.0 / RATE_HZ)
    starts = 2.0 + every_s * np.arange(2 * count)
    left, right = (
        strokes(time_s, starts[a:b], out_s=1.2, hold_s=0.6, back_s=1.2)
        for a, b in ((0, count), (count, 2 * count))
    )
    return time_s, left, right


def assert_three_a_side(analysis):
    assert [e.side for e in analysis.events] == ["left"] * 3 + ["right"] * 3


def test_three_arms_a_side_are_read_to_their_height():
    time_s, left, right = sided()
    found = analyse(Pose(arm=(165.0 * left, 150.0 * right)), len(time_s), "shoulder-flexion")
    assert_three_a_side(found)
    best = {r.side: r.best for r in found.summary.ranges}
    assert best["left"] == pytest.approx(165.0, abs=4.0)
    assert best["right"] == pytest.approx(150.0, abs=4.0)


def test_abduction_is_read_from_the_front():
    time_s, left, right = sided()
    pose = Pose(arm_out=(170.0 * left, 170.0 * right))
    found = analyse(pose, len(time_s), "shoulder-abduction", azimuth=0.0)
    assert_three_a_side(found)
    assert pytest.approx(6.6, abs=0.1) == INWARD_DEG
    for line in found.summary.ranges:
        assert line.best == pytest.approx(170.0 + INWARD_DEG, abs=3.0)


def test_standing_heel_to_seat_is_read_as_knee_flexion_and_extension():
    time_s, left, right = sided()
    found = analyse(Pose(shank=(125.0 * left, 125.0 * right)), len(time_s), "knee-flexion")
    assert_three_a_side(found)
    bent = [r for r in found.summary.ranges if r.title == "Knee flexion"]
    straight = [r for r in found.summary.ranges if r.title != "Knee flexion"]
    assert all(r.best == pytest.approx(125.0, abs=4.0) for r in bent)
    assert all(r.best == pytest.approx(0.0, abs=5.0) for r in straight)


def test_a_standing_knee_raise_is_read_as_hip_flexion_and_the_norms_fit_the_person():
    time_s, left, right = sided()
    pose = Pose(thigh=(110.0 * left, 110.0 * right), shank=(0.0 * left, 0.0 * right))
    found = analyse(pose, len(time_s), "hip-flexion", person=Person(30, "female"))
    assert_three_a_side(found)
    for line in found.summary.ranges:
        assert line.best == pytest.approx(110.0, abs=4.0)
        assert line.norms[0].startswith("Women of 20 to 44: mean 133.8°; passive")


def test_a_fold_with_long_knees_is_one_trial_and_both_sides_together():
    time_s = np.arange(0.0, 18.0, 1.0 / RATE_HZ)
    fold = strokes(time_s, [2.0, 7.0, 12.0], out_s=1.5, hold_s=0.5, back_s=1.5)
    found = analyse(Pose(trunk=95.0 * fold), len(time_s), "trunk-forward-flexion")
    assert [e.side for e in found.events] == ["both"] * 3
    trunk = found.summary.ranges[0]
    assert (trunk.side, trunk.trials) == ("both", 3)
    assert trunk.best == pytest.approx(95.0, abs=3.0)


def test_sitting_down_is_the_lowering_of_a_stand():
    """Seated with level thighs, 1.0 s up, 0.6 s down: the way down is the second phase."""
    time_s = np.arange(0.0, 20.0, 1.0 / RATE_HZ)
    up = strokes(time_s, [3.0, 7.0, 11.0], out_s=1.0, hold_s=0.5, back_s=0.6)
    pose = Pose(thigh=90.0 * (1.0 - up), shank=0.0 * up, trunk=15.0 * (1.0 - up))
    found = analyse(pose, len(time_s), "sit-to-stand")
    assert found.summary.count == 3
    assert found.summary.tempo.lowering_s == pytest.approx(0.5, abs=0.1)
    for event in found.events:
        lowering, rising = (event.measures[f"{n}_time_s"].value for n in ("lowering", "rising"))
        # Both lose the same share where the body is slow at either end.
        assert rising / lowering == pytest.approx(1.0 / 0.6, rel=0.15)
        assert 0.4 < lowering < 0.65


def leg_table(hidden_share):
    """Both knees, the far one missing in a share of the frames."""
    frames = 100
    far = np.where(np.arange(frames) < 100 * hidden_share, np.nan, -1.0)
    values = {"knee_height_ratio_left": np.full(frames, -1.0), "knee_height_ratio_right": far}
    return MeasureTable(np.arange(frames) / 30.0, values, values)


@pytest.mark.parametrize(
    ("movement", "azimuth", "hidden_share", "warned"),
    [
        ("hip-flexion", 90.0, 0.41, True),
        ("hip-flexion", 90.0, 0.22, False),
        ("hip-flexion", 60.0, 0.41, False),
        ("trunk-forward-flexion", 90.0, 0.41, False),
    ],
)
def test_square_from_the_side_a_hidden_leg_is_warned_of(movement, azimuth, hidden_share, warned):
    standard = get_standard(movement).standard
    note = note_hidden_leg(standard, leg_table(hidden_share), make_view(azimuth))
    assert bool(note) == warned
    # On a rendered clip all three reps of the near leg were lost that way.
    assert ("reps may be missing" in note) == warned
