"""Analytic: ordered stages and rungs with known stops, in signals made of known moves."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motioncheck.cleaning.filters import filter_zero_phase
from motioncheck.errors import ShapeError
from motioncheck.splitting.rungs import find_rungs
from motioncheck.splitting.stages import (
    StageRule,
    StageShape,
    StageVisit,
    StageWindow,
    compute_misfits,
    find_stages,
)
from motioncheck.splitting.stillness import ease

RULE = StageRule()
# Seven poses: two heights in statures, and two angles. The last row fits none of the stages.
POSES = np.array(
    [
        [0.08, 0.07, 90.0, 95.0],
        [0.22, 0.07, 60.0, 95.0],
        [0.36, 0.07, 32.0, 95.0],
        [0.40, 0.25, 58.0, 80.0],
        [0.48, 0.32, 42.0, 60.0],
        [0.60, 0.31, 5.0, 90.0],
        [0.82, 0.52, 2.0, 5.0],
        [0.08, 0.07, 90.0, 20.0],
    ]
)
NONE = 8
HALF_WIDTH = np.array([0.03, 0.03, 8.0, 15.0])
TOLERANCE = np.array([0.05, 0.05, 10.0, 15.0])
STAGES = tuple(
    StageShape(
        tuple(
            StageWindow(n, pose[n] - HALF_WIDTH[n], pose[n] + HALF_WIDTH[n], TOLERANCE[n])
            for n in range(4)
        )
    )
    for pose in POSES[:7]
)
NOISE = np.array([0.005, 0.005, 2.0, 2.0])


@dataclass(frozen=True, repr=False)
class Clip:
    time_s: np.ndarray
    signals: np.ndarray
    speed: np.ndarray
    stops_s: np.ndarray

    def visits(self, rule=RULE):
        return find_stages(self.time_s, self.signals, self.speed, STAGES, rule)


def make_clip(stages, *, dwells_s=1.0, moves_s=1.0, rate_hz=30.0, noise=1.0, seed=0):
    """Go from pose to pose with minimum jerk; ``stops_s`` (S, 2) are the times at rest."""
    rng = np.random.default_rng(seed)
    dwells = np.broadcast_to(dwells_s, len(stages)).astype(float)
    moves = np.broadcast_to(moves_s, len(stages) - 1).astype(float)
    starts = np.concatenate([[0.0], np.cumsum(dwells[:-1] + moves)])
    stops = np.stack([starts, starts + dwells], axis=1)
    time_s = np.arange(0.0, stops[-1, 1], 1.0 / rate_hz)
    poses = POSES[np.array(stages) - 1]
    signals, speed = np.tile(poses[0], (len(time_s), 1)), np.zeros_like(time_s)
    for n, (begin, move) in enumerate(zip(stops[:-1, 1], moves, strict=True)):
        share = ease((time_s - begin) / move)
        change = poses[n + 1] - poses[n]
        signals += share[:, None] * change
        # The body as a whole goes as far as the heights change; an arm alone moves it a little.
        way = max(0.08, np.linalg.norm(change[:2]), np.abs(change[2:]).max() / 400.0)
        speed += way * np.gradient(share, time_s)
    jitter = filter_zero_phase(
        rng.normal(size=(len(time_s), 5)), cutoff_hz=min(6.0, 0.4 * rate_hz), rate_hz=rate_hz
    )
    jitter /= jitter.std(axis=0)
    signals = signals + noise * NOISE * jitter[:, :4]
    return Clip(time_s, signals, np.abs(speed + 0.008 * noise * jitter[:, 4]), stops)


def climb(top):
    return [*range(1, top + 1), *range(top - 1, 0, -1)]


def ladder(tops, *, shared):
    """Climbs one after another, each with its own visits of stage 1 or with one between two."""
    if shared:
        return [1, *(stage for top in tops for stage in climb(top)[1:])]
    return [stage for top in tops for stage in [*climb(top), NONE]][:-1]


def stops_of(clip, stages):
    return [
        (stage, stop) for stage, stop in zip(stages, clip.stops_s, strict=True) if stage != NONE
    ]


def visit(stage, start_s=0.0):
    return StageVisit(stage, start_s, start_s + 1.0, "turn", False, True, 0.0)


def visits_of(*stages):
    return [visit(stage, 2.0 * n) for n, stage in enumerate(stages)]


@st.composite
def clips(draw):
    tops = draw(st.lists(st.integers(2, 7), min_size=1, max_size=3))
    stages = ladder(tops, shared=draw(st.booleans()))
    rng = np.random.default_rng(draw(st.integers(0, 2**31)))
    clip = make_clip(
        stages,
        dwells_s=rng.uniform(0.8, 1.5, len(stages)),
        moves_s=rng.uniform(0.8, 1.4, len(stages) - 1),
        rate_hz=draw(st.sampled_from([24.0, 30.0, 60.0])),
        noise=draw(st.floats(0.0, 1.0)),
        seed=int(rng.integers(2**31)),
    )
    return clip, stages, tops


@given(clips())
@settings(max_examples=40, deadline=None)
def test_every_stop_is_found_with_its_stage_and_times(drawn):
    """Climbs up to stage 2 to 7, moves of 0.8 to 1.4 s and stops of 0.8 to 1.5 s, jitter."""
    clip, stages, tops = drawn
    found, wanted = clip.visits(), stops_of(clip, stages)
    assert [v.stage for v in found] == [stage for stage, _ in wanted]
    for v, (_, (start, end)) in zip(found, wanted, strict=True):
        assert v.start_s == pytest.approx(start, abs=0.3)
        assert v.end_s == pytest.approx(end, abs=0.3)
        assert not v.rushed
    rungs = find_rungs(found)
    assert [r.reached for r in rungs] == tops
    assert all(r.complete and r.in_order for r in rungs)


@pytest.mark.parametrize("seed", range(3))
def test_a_ladder_of_seven_rungs_has_49_visits(seed):
    """A rung of k stages has 2 k - 1 visits, and 1 + 3 + ... + 13 = 49."""
    stages = ladder(range(1, 8), shared=False)
    rng = np.random.default_rng(seed)
    clip = make_clip(
        stages,
        dwells_s=rng.uniform(0.8, 1.5, len(stages)),
        moves_s=rng.uniform(0.8, 1.4, len(stages) - 1),
        seed=seed,
    )
    found = clip.visits()
    assert len(found) == 49
    wanted = np.array([stop for _, stop in stops_of(clip, stages)])
    np.testing.assert_allclose([(v.start_s, v.end_s) for v in found], wanted, atol=0.3)
    rungs = find_rungs(found)
    assert [r.number for r in rungs] == [1, 2, 3, 4, 5, 6, 7]
    assert [r.reached for r in rungs] == [1, 2, 3, 4, 5, 6, 7]
    assert [len(r.visits) for r in rungs] == [1, 3, 5, 7, 9, 11, 13]
    assert [n for r in rungs for n in r.visits] == list(range(49))
    assert all(r.complete and r.in_order for r in rungs)
    assert all(r.skipped_up == r.skipped_down == () for r in rungs)


def test_a_ladder_that_never_leaves_stage_one_between_climbs_shares_its_visits():
    """1 + (2 + 4 + ... + 12) = 43 visits; the first rung, of stage 1 only, cannot be told."""
    stages = ladder(range(2, 8), shared=True)
    found = make_clip(stages).visits()
    assert [v.stage for v in found] == stages
    assert len(found) == 43
    rungs = find_rungs(found)
    assert [r.reached for r in rungs] == [2, 3, 4, 5, 6, 7]
    assert [len(r.visits) for r in rungs] == [3, 5, 7, 9, 11, 13]
    for before, after in itertools.pairwise(rungs):
        assert before.visits[-1] == after.visits[0]
    assert all(r.complete for r in rungs)


def test_directions_turn_at_the_top_and_between_climbs():
    found = make_clip([1, 2, 3, 2, 1, 2, 1]).visits()
    assert [v.direction for v in found] == ["up", "up", "turn", "down", "turn", "turn", "down"]
    found = make_clip([1, 2, 1, NONE, 1, 2, 1]).visits()
    assert [v.direction for v in found] == ["up", "turn", "down", "up", "turn", "down"]


def test_a_stage_that_is_left_out_is_named():
    """Stage 6 is not passed on the way from 5 to 7: there, the last angle is far from its own."""
    stages = [1, 2, 3, 4, 5, 7, 6, 5, 4, 3, 2, 1]
    clip = make_clip(stages)
    found = clip.visits()
    assert [v.stage for v in found] == stages
    (rung,) = find_rungs(found)
    assert rung.skipped_up == (6,)
    assert rung.skipped_down == ()
    assert rung.reached == 7
    assert rung.complete
    assert rung.in_order


@pytest.mark.parametrize("seed", range(4))
def test_a_stage_passed_without_a_stop_is_rushed(seed):
    stages = climb(5)
    dwells = np.full(len(stages), 1.0)
    dwells[[2, 7]] = 0.05
    clip = make_clip(stages, dwells_s=dwells, seed=seed)
    found = clip.visits()
    assert [v.stage for v in found] == stages
    assert [n for n, v in enumerate(found) if v.rushed] == [2, 7]
    for n in (2, 7):
        assert found[n].start_s <= found[n].end_s
        assert found[n].start_s == pytest.approx(clip.stops_s[n].mean(), abs=0.3)


def test_a_stage_moved_through_at_full_speed_is_rushed_and_takes_no_time():
    """From stage 1 straight to 3: half-way the body looks like stage 2, and never stops."""
    found = make_clip([1, 3, 2, 1]).visits()
    assert [v.stage for v in found] == [1, 2, 3, 2, 1]
    assert found[1].rushed
    assert found[1].start_s == found[1].end_s
    assert found[1].start_s == pytest.approx(1.5, abs=0.1)


def test_a_descent_alone_is_an_unfinished_rung():
    stages = [7, 6, 5, 4, 3, 2, 1]
    found = make_clip(stages).visits()
    assert [v.stage for v in found] == stages
    assert [v.direction for v in found] == ["down"] * 7
    (rung,) = find_rungs(found)
    assert rung.reached == 7
    assert not rung.complete
    assert rung.in_order
    assert rung.skipped_up == rung.skipped_down == ()


def test_from_the_top_down_and_up_again_is_two_unfinished_rungs():
    stages = climb(7)[6:] + climb(7)[1:7]
    rungs = find_rungs(make_clip(stages).visits())
    assert [r.reached for r in rungs] == [7, 7]
    assert [r.complete for r in rungs] == [False, False]
    assert [len(r.visits) for r in rungs] == [7, 7]


def test_a_climb_cut_off_by_the_clip_is_unfinished():
    clip = make_clip(climb(5))
    kept = (clip.time_s > 2.5) & (clip.time_s < 14.3)
    cut = Clip(clip.time_s[kept], clip.signals[kept], clip.speed[kept], clip.stops_s)
    found = cut.visits()
    assert [v.stage for v in found] == [2, 3, 4, 5, 4, 3, 2, 1][: len(found)]
    assert [v.complete for v in found] == [False] + [True] * (len(found) - 2) + [False]
    assert not found[0].rushed
    (rung,) = find_rungs(found)
    assert rung.reached == 5
    assert not rung.complete


def test_frames_that_fit_no_stage_belong_to_none():
    clip = make_clip([NONE, 1, 2, 1, NONE], dwells_s=2.0)
    found = clip.visits()
    assert [v.stage for v in found] == [1, 2, 1]
    np.testing.assert_allclose([(v.start_s, v.end_s) for v in found], clip.stops_s[1:4], atol=0.3)


def test_a_landmark_that_goes_wrong_for_a_moment_ends_no_visit():
    clip = make_clip(climb(4), dwells_s=1.5)
    signals = clip.signals.copy()
    for start, _ in clip.stops_s:
        wrong = (clip.time_s > start + 0.5) & (clip.time_s < start + 0.9)
        signals[wrong, 3] = 180.0
    assert [v.stage for v in replace(clip, signals=signals).visits()] == climb(4)


def test_a_signal_of_other_stages_that_strays_moves_no_edge():
    """On the way from 2 to 4 nobody asks for what tells 5, 6 and 7 apart."""
    clip = make_clip(climb(4), dwells_s=1.5, seed=3)
    begin_s, end_s = clip.stops_s[2]
    share = ease((clip.time_s - begin_s - 0.1) / 0.5) - ease((clip.time_s - end_s + 0.6) / 0.5)
    strays = np.column_stack([clip.signals, 3.0 * share])
    others = StageWindow(4, 5.0, 6.0, 1.0, most=9.0)
    stages = [*STAGES[:4], *(StageShape((*shape.windows, others)) for shape in STAGES[4:])]
    visits = find_stages(clip.time_s, strays, clip.speed, tuple(stages), RULE)
    assert [v.stage for v in visits] == climb(4)
    assert abs(visits[2].start_s - begin_s) < 0.15
    assert abs(visits[2].end_s - end_s) < 0.15


@pytest.mark.parametrize("column", range(4))
def test_a_signal_that_is_not_seen_leaves_the_decision_to_the_others(column):
    clip = make_clip(climb(7))
    signals = clip.signals.copy()
    signals[:, column] = np.nan
    assert [v.stage for v in replace(clip, signals=signals).visits()] == climb(7)


def test_a_short_gap_is_bridged():
    clip = make_clip(climb(4), dwells_s=1.5)
    lost = (clip.time_s > 5.4) & (clip.time_s < 5.8)
    clip.signals[lost], clip.speed[lost] = np.nan, np.nan
    assert [v.stage for v in clip.visits()] == climb(4)


@pytest.mark.parametrize("frames", [0, 1, 2, 60])
def test_nobody_in_the_clip_is_at_no_stage(frames):
    nothing = np.full((frames, 4), np.nan)
    assert find_stages(np.arange(frames) / 30.0, nothing, nothing[:, 0], STAGES, RULE) == []
    assert find_rungs([]) == []


@pytest.mark.parametrize("frames", [1, 2, 5])
def test_a_clip_of_few_frames_in_a_stage_is_an_unfinished_visit(frames):
    signals = np.tile(POSES[2], (frames, 1))
    (v,) = find_stages(np.arange(frames) / 30.0, signals, np.zeros(frames), STAGES, RULE)
    assert v.stage == 3
    assert not v.complete
    assert not v.rushed


def test_misfit_is_the_mean_square_of_what_is_outside():
    """One tolerance outside of the first of two windows, inside of the second: 1 / 2. Unknown in
    one: the other decides. Far outside: the most of a window, 3 tolerances, squared."""
    shape = StageShape((StageWindow(0, 0.0, 1.0, 0.5), StageWindow(1, 10.0, 20.0, 5.0)))
    signals = np.array([[1.5, 15.0], [1.5, np.nan], [99.0, -99.0], [0.5, 12.0], [np.nan, np.nan]])
    misfits = compute_misfits(signals, (shape,))[:, 0]
    np.testing.assert_allclose(misfits, [0.5, 1.0, 9.0, 0.0, np.nan])


def test_a_window_on_a_signal_that_is_not_there_is_refused():
    with pytest.raises(ShapeError, match="4 columns"):
        find_stages(np.arange(9) / 30.0, np.zeros((9, 3)), np.zeros(9), STAGES, RULE)


def test_rungs_are_told_from_visits():
    """Worked by hand."""
    (rung,) = find_rungs(visits_of(1, 2, 4, 3, 4, 2, 1))
    assert rung.visits == (0, 1, 2, 3, 4, 5, 6)
    assert rung.skipped_up == (3,)
    assert rung.skipped_down == (3,)
    assert not rung.in_order
    assert (rung.start_s, rung.end_s) == (0.0, 13.0)

    (rung,) = find_rungs(visits_of(1, 2, 3, 2, 3, 4, 3, 2, 1))
    assert rung.reached == 4
    assert not rung.in_order
    assert rung.skipped_up == rung.skipped_down == ()

    rungs = find_rungs(visits_of(1, 1, 2, 1, 2))
    assert [(r.reached, r.complete, r.visits) for r in rungs] == [
        (1, True, (0,)),
        (2, True, (1, 2, 3)),
        (2, False, (3, 4)),
    ]

    (rung,) = find_rungs(visits_of(4))
    assert (rung.reached, rung.complete, rung.visits) == (4, False, (0,))

    (rung,) = find_rungs(visits_of(1))
    assert (rung.reached, rung.complete) == (1, True)
