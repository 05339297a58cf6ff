"""Analytic: whole sets of synthetic reps through cleaning, measuring, splitting and checking."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from synthetic import (
    Pose,
    Scene,
    jack_pose,
    knee_lift_pose,
    make_track,
    pose_points,
    squat_pose,
    strokes,
)

from motioncheck.errors import LowVisibilityError, NoPersonError, NoRepsError
from motioncheck.measures import NEUTRAL
from motioncheck.pipeline import analyse_track
from motioncheck.pipeline.analyse import score_motion
from motioncheck.skeleton import INDEX
from motioncheck.standards import get_standard

RATE_HZ = 30.0
NOISE_PX = 1.5


def axis(seconds):
    return np.arange(0.0, seconds, 1.0 / RATE_HZ)


def analyse(pose, frames, movement, azimuth=90.0, **scene):
    track = make_track(
        pose_points(pose, frames), Scene(azimuth, **scene), rate_hz=RATE_HZ, noise_px=NOISE_PX
    )
    return analyse_track(track, get_standard(movement).standard, fit=None, calibration=NEUTRAL)


def squats(starts_s, *, bottom_deg=-8.0, azimuth=90.0, down=1.0, hold=0.4, up=1.0, tail=2.0):
    time_s = axis(max(starts_s) + down + hold + up + tail)
    share = strokes(time_s, starts_s, out_s=down, hold_s=hold, back_s=up)
    return analyse(squat_pose(share, bottom_deg=bottom_deg), len(time_s), "air-squat", azimuth)


def high_knees(lifts, *, top_deg=0.0, azimuth=90.0):
    """Lifts of 0.5 s, left and right in turn."""
    starts = 1.5 + 0.5 * np.arange(lifts)
    time_s = axis(starts[-1] + 2.5)
    left, right = (
        strokes(time_s, starts[n::2], out_s=0.25, hold_s=0.0, back_s=0.25) for n in (0, 1)
    )
    return analyse(knee_lift_pose(left, right, top_deg=top_deg), len(time_s), "high-knees", azimuth)


def jacks(count, **pose):
    starts = 1.5 + 1.2 * np.arange(count)
    time_s = axis(starts[-1] + 3.0)
    share = strokes(time_s, starts, out_s=0.5, hold_s=0.1, back_s=0.5)
    return analyse(jack_pose(share, **pose), len(time_s), "jumping-jacks", azimuth=0.0)


def verdicts(analysis, check):
    found = [f.verdict for e in analysis.events for f in e.findings if f.check == check]
    assert found, check
    return set(found)


@pytest.fixture(scope="module")
def set_of_twenty():
    return squats(2.0 + 3.0 * np.arange(20))


def test_a_set_of_twenty_counts_twenty_with_turns_where_they_were_put(set_of_twenty):
    """Trade fact: a set of twenty. Common practice, no source."""
    assert set_of_twenty.summary.count == 20
    assert set_of_twenty.partial == ()
    turns = [e.turn_s for e in set_of_twenty.events]
    np.testing.assert_allclose(turns, 2.0 + 3.0 * np.arange(20) + 1.2, atol=0.1)
    assert [e.number for e in set_of_twenty.events] == list(range(1, 21))


def test_two_sets_of_twenty_with_a_rest_between_count_forty():
    """Trade fact: two sets of twenty. Common practice, no source."""
    first = 2.0 + 2.6 * np.arange(20)
    assert squats([*first, *(first + 80.0)]).summary.count == 40


def test_depth_and_angles_are_those_of_the_synthetic_body(set_of_twenty):
    """Thigh 8 degrees below level, shank 30, trunk 38: so the knee is flexed by 128."""
    for event in set_of_twenty.events:
        values = {name: value.value for name, value in event.measures.items()}
        assert values["thigh_inclination_left"] == pytest.approx(-8.0, abs=1.5)
        assert values["shank_inclination_left"] == pytest.approx(30.0, abs=1.5)
        assert values["trunk_inclination"] == pytest.approx(38.0, abs=1.5)
        assert values["knee_flexion_left"] == pytest.approx(128.0, abs=2.0)


@pytest.mark.parametrize(
    ("bottom", "verdict"), [(-8.0, "meets"), (4.0, "too close to call"), (30.0, "misses")]
)
def test_hips_below_the_knees_is_deep_and_well_above_them_is_not(bottom, verdict):
    """Trade fact: hips below the knees. Common practice, no source."""
    analysis = squats([2.0, 5.0, 8.0], bottom_deg=bottom)
    assert verdicts(analysis, "depth") == {verdict}


@pytest.mark.parametrize(("top", "verdict"), [(0.0, "meets"), (45.0, "misses")])
def test_knees_to_hip_height_meet_the_standard_and_half_way_does_not(top, verdict):
    """Trade fact: knee to hip height. Common practice, no source."""
    analysis = high_knees(20, top_deg=top)
    assert (analysis.summary.count_left, analysis.summary.count_right) == (10, 10)
    assert verdicts(analysis, "knee_height") == {verdict}
    # Two lifts a second.
    assert analysis.summary.tempo.reps_per_min == pytest.approx(120.0, abs=2.0)


@pytest.mark.parametrize(("elbow", "verdict"), [(0.0, "meets"), (70.0, "misses")])
def test_straight_elbows_meet_the_standard_and_bent_ones_do_not(elbow, verdict):
    """Trade fact: elbows straight. Common practice, no source.

    The arms hang ahead of the body by half of the bend, so that the bend shows from the front.
    """
    starts = 1.5 + 1.2 * np.arange(8)
    time_s = axis(starts[-1] + 3.0)
    share = strokes(time_s, starts, out_s=0.5, hold_s=0.1, back_s=0.5)
    points = pose_points(jack_pose(share), len(time_s))
    for side, outward in (("left", 1.0), ("right", -1.0)):
        upper = points[f"{side}_elbow"] - points[f"{side}_shoulder"]
        fore = points[f"{side}_wrist"] - points[f"{side}_elbow"]
        turn = np.radians(outward * elbow) * np.ones(len(time_s))
        y, z = fore[:, 1], fore[:, 2]
        bent = np.stack([fore[:, 0], y * np.cos(turn) - z * np.sin(turn),
                         y * np.sin(turn) + z * np.cos(turn)], axis=-1)  # fmt: skip
        points[f"{side}_wrist"] = points[f"{side}_shoulder"] + upper + bent
    track = make_track(points, Scene(0.0), rate_hz=RATE_HZ, noise_px=NOISE_PX)
    analysis = analyse_track(
        track, get_standard("jumping-jacks").standard, fit=None, calibration=NEUTRAL
    )
    assert analysis.summary.count == 8
    assert verdicts(analysis, "elbows_straight") == {verdict}


@pytest.mark.parametrize(("up", "verdict"), [(175.0, "meets"), (115.0, "misses")])
def test_arms_overhead_meet_the_standard_and_half_way_do_not(up, verdict):
    analysis = jacks(8, up_deg=up)
    assert analysis.summary.count == 8
    assert verdicts(analysis, "arms_overhead") == {verdict}


def test_tempo_of_2_1_1_is_read_back():
    """The hips, not the angles, follow the cosine here: two seconds down, one held, one up.

    A cosine is slower than a tenth of its peak speed in the first and last 3.2 % of its time
    (0.06 s of two seconds at each end), and noise makes the edges of a pause uncertain.
    """
    time_s = axis(26.0)
    depth = strokes(time_s, [2.0, 8.0, 14.0, 20.0], out_s=2.0, hold_s=1.0, back_s=1.0)
    shares = np.linspace(0.0, 1.0, 500)
    hips_m = pose_points(squat_pose(shares), 500)["left_hip"][:, 2]
    share = np.interp(depth, (hips_m[0] - hips_m) / (hips_m[0] - hips_m[-1]), shares)
    tempo = analyse(squat_pose(share), len(time_s), "air-squat").summary.tempo
    assert tempo.lowering_s == pytest.approx(2.0, abs=0.3)
    assert tempo.pause_s == pytest.approx(1.0, abs=0.3)
    assert tempo.rising_s == pytest.approx(1.0, abs=0.2)
    assert tempo.rest_s == pytest.approx(2.0, abs=0.3)
    assert tempo.cycle_s == pytest.approx(6.0, abs=0.05)


def test_the_far_leg_and_arm_may_be_hidden_all_the_time():
    time_s = axis(14.0)
    share = strokes(time_s, [2.0, 5.0, 8.0], out_s=1.0, hold_s=0.4, back_s=1.0)
    track = make_track(pose_points(squat_pose(share), len(time_s)), Scene(90.0), noise_px=NOISE_PX)
    seen = track.visibility.copy()
    for part in ("hip", "knee", "ankle", "heel", "toe", "elbow", "wrist"):
        seen[:, INDEX[f"right_{part}"]] = 0.1
    standard = get_standard("air-squat").standard
    analysis = analyse_track(
        replace(track, visibility=seen), standard, fit=None, calibration=NEUTRAL
    )
    assert analysis.summary.count == 3
    assert verdicts(analysis, "depth") == {"meets"}


def test_from_the_front_no_trunk_lean_is_given_and_the_reason_and_advice_are():
    analysis = squats([2.0, 5.0, 8.0], azimuth=0.0)
    assert analysis.summary.count == 3
    assert np.isnan(analysis.table.values["trunk_inclination"]).all()
    trunk = next(f for f in analysis.events[0].findings if f.check == "trunk")
    assert trunk.verdict == "not visible"
    assert "off a square side view" in trunk.reason
    blind = next(b for b in analysis.blind if b.check == "trunk")
    assert "from the side" in blind.advice


def test_from_the_side_no_knee_line_is_given():
    analysis = squats([2.0, 5.0, 8.0])
    assert np.isnan(analysis.table.values["frontal_plane_knee_angle_left"]).all()
    assert verdicts(analysis, "knee_line") == {"not visible"}


@pytest.mark.parametrize("azimuth", [0.0, 45.0, 90.0, 135.0, 180.0, -45.0, -90.0])
def test_squats_are_counted_from_every_side(azimuth):
    assert squats([2.0, 5.0, 8.0, 11.0], azimuth=azimuth).summary.count == 4


def test_a_rep_cut_off_by_the_end_of_the_clip_is_not_counted():
    analysis = squats([2.0, 5.0, 8.0], tail=-1.2)
    assert analysis.summary.count == 2
    assert len(analysis.partial) == 1
    assert "1 unfinished rep was cut off" in analysis.summary.notes[0]


def test_a_body_that_stands_still_has_no_reps():
    with pytest.raises(NoRepsError, match="at least one finished repetition of air squat"):
        analyse(Pose(), 150, "air-squat")


def test_an_empty_clip_has_nobody():
    track = make_track(pose_points(Pose(), 30), Scene())
    empty = replace(track, image_px=np.full_like(track.image_px, np.nan))
    with pytest.raises(NoPersonError, match="found nobody"):
        analyse_track(empty, get_standard("air-squat").standard)
    assert score_motion(empty, get_standard("air-squat").standard) == 0.0


def test_a_person_far_away_is_too_small_to_measure():
    time_s = axis(8.0)
    share = strokes(time_s, [2.0, 5.0], out_s=1.0, hold_s=0.4, back_s=1.0)
    with pytest.raises(LowVisibilityError, match="legs of only"):
        analyse(squat_pose(share), len(time_s), "air-squat", px_per_m=50.0)


def test_the_candidate_who_moves_in_the_way_of_the_drill_scores_higher():
    standard = get_standard("air-squat").standard
    time_s = axis(10.0)
    share = strokes(time_s, [2.0, 5.0], out_s=1.0, hold_s=0.4, back_s=1.0)
    mover, stander = (
        make_track(pose_points(pose, len(time_s)), Scene()) for pose in (squat_pose(share), Pose())
    )
    assert score_motion(mover, standard) > score_motion(stander, standard) == 0.0
