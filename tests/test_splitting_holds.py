"""Analytic and property: holds whose beginning and end are put in."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motioncheck.cleaning.filters import filter_zero_phase
from motioncheck.errors import ShapeError
from motioncheck.splitting.holds import HoldRule, _median_known, find_holds
from motioncheck.splitting.stillness import compute_speed, ease

RULE = HoldRule()
STAND = np.array([175.0, 170.0, 5.0, 10.0])
LUNGE = np.array([90.0, 120.0, 12.0, 170.0])
# Hips of the same two poses, ahead and up, in statures.
HIPS = {"stand": (0.0, 0.53), "lunge": (0.20, 0.32)}


@dataclass(frozen=True, repr=False)
class Clip:
    time_s: np.ndarray
    angles: np.ndarray
    hips: np.ndarray
    in_position: np.ndarray

    @property
    def speed(self):
        return compute_speed(self.time_s, self.hips)

    def holds(self, rule=RULE):
        return find_holds(self.time_s, self.angles, self.speed, self.in_position, rule)


def make_clip(spans_s, moves_s, *, rate_hz=30.0, tail_s=2.0, poses=(STAND, LUNGE)):
    """Standing, and for each span the second pose; the moves in and out have minimum jerk.

    ``spans_s`` are the stretches at rest in the second pose, ``moves_s`` the (in, out) times.
    """
    time_s = np.arange(0.0, spans_s[-1][1] + moves_s[-1][1] + tail_s, 1.0 / rate_hz)
    share = np.zeros_like(time_s)
    for (start, end), (way_in, way_out) in zip(spans_s, moves_s, strict=True):
        share += ease((time_s - start + way_in) / way_in) - ease((time_s - end) / way_out)
    angles = poses[0] + share[:, None] * (poses[1] - poses[0])
    hips = np.array(HIPS["stand"]) + share[:, None] * np.subtract(HIPS["lunge"], HIPS["stand"])
    return Clip(time_s, angles, hips, (share > 0.7).astype(float))


def disturb(clip, *, seed=0, noise_deg=1.5, noise_hips=0.002, sway_deg=1.0, drift_deg=3.0):
    """Jitter as it is after the low-pass, slow sway, and a sag over the whole clip."""
    rng = np.random.default_rng(seed)
    rate_hz = 1.0 / float(np.median(np.diff(clip.time_s)))
    cutoff_hz = min(6.0, 0.4 * rate_hz)

    def jitter(shape, size):
        white = filter_zero_phase(rng.normal(size=shape), cutoff_hz=cutoff_hz, rate_hz=rate_hz)
        return size * white / white.std(axis=0)

    phase = rng.uniform(0, 2 * np.pi, clip.angles.shape[1])
    slow = np.sin(2 * np.pi * 0.2 * clip.time_s[:, None] + phase)
    sag = drift_deg * (clip.time_s / 20.0)[:, None] * rng.choice([-1, 1], clip.angles.shape[1])
    angles = clip.angles + jitter(clip.angles.shape, noise_deg) + sway_deg * slow + sag
    return replace(clip, angles=angles, hips=clip.hips + jitter(clip.hips.shape, noise_hips))


@st.composite
def clips(draw):
    count = draw(st.integers(1, 3))
    rng = np.random.default_rng(draw(st.integers(0, 2**31)))
    spans, moves, clock = [], [], 1.5
    for _ in range(count):
        way_in, way_out = rng.uniform(0.8, 1.5, 2)
        start = clock + way_in
        end = start + rng.uniform(3.0, 12.0)
        spans.append((start, end))
        moves.append((way_in, way_out))
        clock = end + way_out + rng.uniform(1.5, 3.0)
    rate_hz = draw(st.sampled_from([15.0, 24.0, 30.0, 60.0]))
    clip = make_clip(spans, moves, rate_hz=rate_hz)
    clip = disturb(
        clip,
        seed=int(rng.integers(2**31)),
        noise_deg=draw(st.floats(0.0, 2.0)),
        noise_hips=draw(st.floats(0.0, 0.002)),
        drift_deg=draw(st.floats(0.0, 5.0)),
    )
    # One short gap in each half at most, so that two never join to a long one.
    half = clip.time_s[-1] / 2.0
    gaps = []
    for n in range(draw(st.integers(0, 2))):
        start = (n + rng.uniform(0.0, 0.7)) * half
        lost = (clip.time_s >= start) & (clip.time_s < start + 0.3)
        clip.angles[lost], clip.hips[lost] = np.nan, np.nan
        gaps.append((start, start + 0.3))
    return clip, spans, gaps


def tolerance_s(edge_s, gaps):
    """0.3 s, and the length of a gap that hides the edge or the frames around it."""
    return 0.3 + 0.3 * any(a - 0.3 < edge_s < b + 0.3 for a, b in gaps)


@given(clips())
@settings(max_examples=60, deadline=None)
def test_every_hold_is_found_once_with_its_beginning_and_end(drawn):
    """Moves of 0.8 to 1.5 s, jitter up to 2 degrees, sag, sway, gaps, 15 to 60 frames a second."""
    clip, spans, gaps = drawn
    holds = clip.holds()
    assert len(holds) == len(spans)
    for hold, (start, end) in zip(holds, spans, strict=True):
        assert hold.start_s == pytest.approx(start, abs=tolerance_s(start, gaps))
        assert hold.end_s == pytest.approx(end, abs=tolerance_s(end, gaps))
        assert hold.complete
        assert 0.0 <= hold.in_position_s <= hold.end_s - hold.start_s + 1e-9


@given(clips())
@settings(max_examples=15, deadline=None)
def test_played_backwards_the_same_holds_are_found(drawn):
    clip, _, _ = drawn
    last = clip.time_s[-1]
    back = Clip(
        last - clip.time_s[::-1], clip.angles[::-1], clip.hips[::-1], clip.in_position[::-1]
    )
    forth, back = clip.holds(), back.holds()[::-1]
    assert len(forth) == len(back)
    for a, b in zip(forth, back, strict=True):
        assert a.start_s == pytest.approx(last - b.end_s, abs=0.2)
        assert a.end_s == pytest.approx(last - b.start_s, abs=0.2)


def test_edges_of_a_clean_hold_are_good_to_a_tenth_of_a_second():
    (hold,) = make_clip([(3.0, 9.0)], [(1.0, 1.5)]).holds()
    assert hold.start_s == pytest.approx(3.0, abs=0.1)
    assert hold.end_s == pytest.approx(9.0, abs=0.1)
    assert hold.in_position_s == pytest.approx(hold.end_s - hold.start_s)
    assert hold.unsteady_s == 0.0


def test_an_arm_that_arrives_after_the_hips_begins_the_hold():
    """The hips rest from 3.0 s on, the arm comes up until 4.2 s."""
    clip = make_clip([(3.0, 12.0)], [(1.0, 1.0)])
    late = ease((clip.time_s - 3.2) / 1.0) - ease((clip.time_s - 12.0) / 1.0)
    clip.angles[:, 3] = 10.0 + 160.0 * late
    (hold,) = disturb(clip).holds()
    assert hold.start_s == pytest.approx(4.2, abs=0.2)
    assert hold.end_s == pytest.approx(12.0, abs=0.2)


@pytest.mark.parametrize("seed", range(5))
def test_a_slow_sag_does_not_end_a_hold(seed):
    """15 degrees in 30 s, which is far more than the tolerance, and a sway of 3 degrees."""
    clip = disturb(make_clip([(3.0, 33.0)], [(1.0, 1.0)]), seed=seed, sway_deg=3.0, drift_deg=10.0)
    (hold,) = clip.holds()
    assert hold.start_s == pytest.approx(3.0, abs=0.2)
    assert hold.end_s == pytest.approx(33.0, abs=0.2)


@pytest.mark.parametrize(
    ("hz", "size_deg", "hips", "seconds"),
    [(1.0, 8.0, 0.01, 3.0), (1.0, 12.0, 0.02, 3.0), (0.5, 10.0, 0.03, 2.0), (2.0, 10.0, 0.02, 4.0)],
)
def test_a_wobble_does_not_cut_a_hold_and_is_counted(hz, size_deg, hips, seconds):
    clip = make_clip([(3.0, 18.0)], [(1.0, 1.0)])
    on = ease((clip.time_s - 8.0) / 0.5) - ease((clip.time_s - 8.0 - seconds) / 0.5)
    wave = (np.sin(2 * np.pi * hz * (clip.time_s - 8.0)) * on)[:, None]
    clip = disturb(
        replace(clip, angles=clip.angles + size_deg * wave, hips=clip.hips + hips * wave)
    )
    (hold,) = clip.holds()
    assert hold.start_s == pytest.approx(3.0, abs=0.2)
    assert hold.end_s == pytest.approx(18.0, abs=0.2)
    assert 0.5 * seconds < hold.unsteady_s < seconds + 1.0


@pytest.mark.parametrize(("away_s", "count"), [(0.9, 1), (2.5, 2)])
def test_leaving_the_pose_cuts_a_hold_unless_it_is_taken_up_again_at_once(away_s, count):
    clip = make_clip([(3.0, 18.0)], [(1.0, 1.0)])
    off = ease((clip.time_s - 8.0) / 0.4) - ease((clip.time_s - 8.0 - away_s + 0.4) / 0.4)
    clip = replace(
        clip, angles=clip.angles + 40.0 * off[:, None], hips=clip.hips + 0.05 * off[:, None]
    )
    holds = disturb(clip).holds()
    assert len(holds) == count
    assert holds[0].start_s == pytest.approx(3.0, abs=0.2)
    assert holds[-1].end_s == pytest.approx(18.0, abs=0.2)
    if count == 2:
        assert holds[0].end_s == pytest.approx(8.0, abs=0.2)
        assert holds[1].start_s == pytest.approx(10.5, abs=0.2)


def test_two_poses_close_after_one_another_are_two_holds():
    """Standing until 2.0 s, the lunge from 3.0 to 9.0 s, standing again from 10.0 to 14.0 s."""
    clip = make_clip([(3.0, 9.0)], [(1.0, 1.0)], tail_s=4.0)
    clip = replace(clip, in_position=np.ones_like(clip.time_s))
    holds = disturb(clip).holds(replace(RULE, min_time_s=1.0))
    assert [h.start_s for h in holds] == pytest.approx([0.0, 3.0, 10.0], abs=0.2)
    assert [h.end_s for h in holds] == pytest.approx([2.0, 9.0, 14.0], abs=0.2)
    assert [h.complete for h in holds] == [False, True, False]


def test_standing_still_is_no_hold_of_another_pose():
    clip = disturb(make_clip([(6.0, 12.0)], [(1.0, 1.0)], tail_s=5.0))
    assert len(clip.holds()) == 1
    nobody_knows = replace(clip, in_position=np.full_like(clip.time_s, np.nan))
    assert nobody_knows.holds() == []


def test_unknown_position_is_neither_in_nor_out():
    """Known for 2.0 s of the 6.0 s only, and then in position."""
    clip = make_clip([(3.0, 9.0)], [(1.0, 1.0)])
    known = (clip.time_s >= 5.0) & (clip.time_s < 7.0)
    (hold,) = replace(clip, in_position=np.where(known, 1.0, np.nan)).holds()
    assert hold.in_position_s == pytest.approx(2.0, abs=0.05)


def test_a_hold_that_is_in_position_for_less_than_half_of_it_is_left_out():
    clip = make_clip([(3.0, 9.0)], [(1.0, 1.0)])
    for end_s, count in ((5.5, 0), (6.5, 1)):
        position = (clip.time_s > 3.0) & (clip.time_s < end_s)
        assert len(replace(clip, in_position=position.astype(float)).holds()) == count


def test_a_short_stop_is_left_out():
    clip = make_clip([(3.0, 4.5)], [(1.0, 1.0)])
    assert clip.holds() == []
    (hold,) = clip.holds(replace(RULE, min_time_s=1.0))
    assert hold.end_s - hold.start_s == pytest.approx(1.5, abs=0.2)


@pytest.mark.parametrize(("first_s", "last_s"), [(5.0, 99.0), (0.0, 7.0), (5.0, 7.5)])
def test_a_hold_cut_off_by_the_clip_is_not_complete(first_s, last_s):
    clip = disturb(make_clip([(3.0, 9.0)], [(1.0, 1.0)]))
    seen = (clip.time_s >= first_s) & (clip.time_s <= last_s)
    cut = Clip(clip.time_s[seen], clip.angles[seen], clip.hips[seen], clip.in_position[seen])
    (hold,) = cut.holds()
    assert not hold.complete
    assert hold.start_s == pytest.approx(max(3.0, first_s), abs=0.2)
    assert hold.end_s == pytest.approx(min(9.0, last_s), abs=0.2)


def test_a_long_gap_cuts_a_hold_in_two_unfinished_ones():
    clip = disturb(make_clip([(3.0, 15.0)], [(1.0, 1.0)]))
    lost = (clip.time_s > 8.0) & (clip.time_s < 9.0)
    clip.angles[lost], clip.hips[lost] = np.nan, np.nan
    holds = clip.holds()
    assert [h.complete for h in holds] == [False, False]
    assert [h.start_s for h in holds] == pytest.approx([3.0, 9.0], abs=0.2)
    assert [h.end_s for h in holds] == pytest.approx([8.0, 15.0], abs=0.2)


def test_an_angle_that_is_never_seen_says_nothing():
    clip = disturb(make_clip([(3.0, 9.0)], [(1.0, 1.0)]))
    plain = clip.holds()
    hidden = replace(clip, angles=np.column_stack([clip.angles, np.full(len(clip.time_s), np.nan)]))
    assert hidden.holds() == plain


@pytest.mark.parametrize("frames", [0, 1, 2, 90])
def test_nobody_in_the_clip_holds_nothing(frames):
    nothing = np.full(frames, np.nan)
    angles = np.full((frames, 3), np.nan)
    assert find_holds(np.arange(frames) / 30.0, angles, nothing, nothing, RULE) == []


@pytest.mark.parametrize("frames", [1, 2, 3, 20])
def test_a_clip_shorter_than_the_gate_holds_nothing(frames):
    zero = np.zeros(frames)
    angles = np.zeros((frames, 2))
    assert find_holds(np.arange(frames) / 30.0, angles, zero, zero + 1.0, RULE) == []


def test_arrays_that_do_not_belong_together_are_refused():
    t = np.arange(90) / 30.0
    with pytest.raises(ShapeError, match="in_position"):
        find_holds(t, np.zeros((90, 2)), np.zeros(90), np.zeros(89), RULE)
    with pytest.raises(ShapeError, match="speed"):
        find_holds(t, np.zeros((90, 2)), np.zeros(80), np.zeros(90), RULE)


def test_speed_of_a_point_on_a_straight_path_is_exact_at_uneven_times():
    """3 along one axis and 4 along the other each second make 5."""
    time_s = np.cumsum(np.random.default_rng(0).uniform(0.01, 0.06, 200))
    speed = compute_speed(time_s, np.stack([3.0 * time_s, -4.0 * time_s], axis=1))
    np.testing.assert_allclose(speed, 5.0, rtol=1e-6)


def test_speed_is_missing_where_the_point_is():
    time_s = np.arange(60) / 30.0
    point = np.zeros((60, 2))
    point[20:30] = np.nan
    missing = np.isnan(compute_speed(time_s, point))
    assert missing[20:30].all()
    assert missing.sum() == 10


@pytest.mark.filterwarnings("ignore:All-NaN slice")
def test_the_median_past_gaps_is_that_of_the_library():
    draw = np.random.default_rng(2)
    for count in range(1, 40):
        part = draw.normal(size=(count, 9)) * 100.0
        part[draw.random((count, 9)) < draw.random()] = np.nan
        assert np.array_equal(_median_known(part), np.nanmedian(part, axis=0), equal_nan=True)
