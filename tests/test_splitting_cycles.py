"""Property and analytic: hills of a signal with a known number of repetitions and known turns."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from synthetic import strokes

from motioncheck.splitting import CycleRule, find_cycles
from motioncheck.splitting.cycles import find_turns

RATE_HZ = 30.0
# Change, shortest and longest time as a typical standard has them, for hills of size 1.
RULE = CycleRule(min_change=0.3, min_time_s=0.5, max_time_s=20.0)


@dataclass(frozen=True, repr=False)
class Drill:
    time_s: np.ndarray
    signal: np.ndarray
    turns_s: np.ndarray
    tolerance_s: np.ndarray


def make_drill(sizes, outs_s, backs_s, holds_s, rests_s, *, lead_s=0.7):
    """Hills one after another; ``turns_s`` are the middles of the pauses at the top."""
    begins = lead_s + np.concatenate([[0.0], np.cumsum(outs_s + holds_s + backs_s + rests_s)])
    time_s = np.arange(0.0, begins[-1] + 0.7, 1.0 / RATE_HZ)
    signal = np.zeros_like(time_s)
    for n, size in enumerate(sizes):
        signal += size * strokes(
            time_s, [begins[n]], out_s=outs_s[n], hold_s=holds_s[n], back_s=backs_s[n]
        )
    turns = begins[:-1] + outs_s + holds_s / 2.0
    # Noise may put the top anywhere in the pause, and in the flat fifth of the moving time.
    tolerance = holds_s / 2.0 + 0.2 * np.maximum(outs_s, backs_s) + 2.0 / RATE_HZ
    return Drill(time_s, signal, turns, tolerance)


@st.composite
def drills(draw):
    count = draw(st.integers(3, 60))
    rng = np.random.default_rng(draw(st.integers(0, 2**31)))
    tempo = draw(st.floats(0.35, 2.5))
    outs, backs = (tempo * rng.uniform(0.8, 1.2, count) for _ in range(2))
    longest_hold = draw(st.sampled_from([0.0, 0.5, 2.0]))
    longest_rest = draw(st.sampled_from([0.0, 0.5, 3.0]))
    holds, rests = (rng.uniform(0.0, most, count) for most in (longest_hold, longest_rest))
    drill = make_drill(rng.uniform(0.7, 1.3, count), outs, backs, holds, rests)
    drift = draw(st.floats(-0.1, 0.1)) * np.sin(2 * np.pi * drill.time_s / drill.time_s[-1])
    noise = draw(st.floats(0.0, 0.03)) * rng.normal(size=len(drill.time_s))
    signal = drill.signal + drift + noise
    # At most one short gap in each third, so that two never join to a long one.
    third = drill.time_s[-1] / 3.0
    gap_s = min(0.3, 0.3 * tempo)
    for n in range(draw(st.integers(0, 3))):
        begin = (n + rng.uniform(0.0, 0.7)) * third
        signal[(drill.time_s >= begin) & (drill.time_s < begin + gap_s)] = np.nan
    return Drill(drill.time_s, signal, drill.turns_s, drill.tolerance_s + 0.3 * tempo)


@given(drills())
@settings(max_examples=120, deadline=None)
def test_every_repetition_is_counted_once_and_turns_where_it_was_put(drill):
    """Count, tempo, spread of size 0.7 to 1.3, noise, pauses, drift and short gaps drawn freely."""
    found = [c for c in find_cycles(drill.time_s, drill.signal, rule=RULE) if c.complete]
    assert len(found) == len(drill.turns_s)
    late = np.abs([c.turn_s for c in found] - drill.turns_s)
    assert (late <= drill.tolerance_s).all()
    for before, after in itertools.pairwise(found):
        assert before.end_s <= after.start_s + 1e-9
    for c in found:
        assert c.start_s <= c.hold_from_s <= c.turn_s + 1e-9
        assert c.turn_s <= c.hold_to_s + 1e-9 <= c.end_s + 2e-9


@given(drills())
@settings(max_examples=40, deadline=None)
def test_played_backwards_the_same_repetitions_are_found(drill):
    forth = [c for c in find_cycles(drill.time_s, drill.signal, rule=RULE) if c.complete]
    last = drill.time_s[-1]
    back = find_cycles(last - drill.time_s[::-1], drill.signal[::-1], rule=RULE)
    back = [c for c in back if c.complete][::-1]
    assert len(back) == len(forth)
    for a, b in zip(forth, back, strict=True):
        assert a.size == pytest.approx(b.size)


@given(drills(), st.floats(0.01, 100.0), st.floats(-50.0, 50.0))
@settings(max_examples=25, deadline=None)
def test_unit_and_offset_of_the_signal_do_not_matter(drill, scale, offset):
    rule = CycleRule(RULE.min_change * scale, RULE.min_time_s, RULE.max_time_s)
    plain = find_cycles(drill.time_s, drill.signal, rule=RULE)
    other = find_cycles(drill.time_s, drill.signal * scale + offset, rule=rule)
    assert [c.complete for c in plain] == [c.complete for c in other]
    assert [c.turn_s for c in plain] == pytest.approx([c.turn_s for c in other], abs=1e-3)


def test_turn_and_pause_times_of_a_clean_signal_are_exact_to_a_frame():
    """Out 1.0 s, pause 0.8 s, back 1.5 s; a cosine is slower than a tenth of its peak speed in
    the first and last 3.2 % of its time (arcsin 0.1 / pi), so edges may lie 0.05 s inside."""
    drill = make_drill(*(np.full(5, v) for v in (1.0, 1.0, 1.5, 0.8, 1.0)))
    found = find_cycles(drill.time_s, drill.signal, rule=RULE)
    assert len(found) == 5
    for c, turn in zip(found, drill.turns_s, strict=True):
        assert c.turn_s == pytest.approx(turn, abs=0.05)
        assert c.start_s == pytest.approx(turn - 1.4, abs=0.09)
        assert c.end_s == pytest.approx(turn + 1.9, abs=0.09)
        assert c.hold_to_s - c.hold_from_s == pytest.approx(0.8, abs=0.18)
        assert c.size == pytest.approx(1.0, abs=0.01)


def test_turn_of_a_quick_repetition_is_found_between_two_frames():
    time_s = np.arange(0.0, 5.0, 1.0 / RATE_HZ)
    turns = np.array([0.503, 1.511, 2.519, 3.527]) + 0.25
    signal = sum(np.exp(-(((time_s - t) / 0.15) ** 2)) for t in turns)
    found = find_cycles(time_s, signal, rule=RULE)
    np.testing.assert_allclose([c.turn_s for c in found], turns, atol=0.15 / RATE_HZ)


@given(st.floats(-10.0, 10.0), st.integers(0, 400))
def test_a_constant_signal_has_no_repetition(level, frames):
    time_s = np.arange(frames) / RATE_HZ
    assert find_cycles(time_s, np.full(frames, level), rule=RULE) == []


@given(st.integers(0, 2**31), st.floats(0.0, 1.0))
@settings(max_examples=60, deadline=None)
def test_noise_alone_has_no_repetition(seed, share):
    """Noise whose whole spread stays below the smallest change that counts."""
    rng = np.random.default_rng(seed)
    noise = share * RULE.min_change * rng.uniform(-0.5, 0.5, 600)
    assert find_cycles(np.arange(600) / RATE_HZ, noise, rule=RULE) == []


def test_nobody_in_the_clip_has_no_repetition():
    assert find_cycles(np.arange(60) / RATE_HZ, np.full(60, np.nan), rule=RULE) == []
    assert find_cycles(np.zeros(0), np.zeros(0), rule=RULE) == []


def test_a_step_between_two_repetitions_is_not_counted():
    """The feet are set anew: the resting level jumps by a fifth of a rep."""
    drill = make_drill(*(np.full(8, v) for v in (1.0, 0.8, 0.8, 0.2, 1.5)))
    between = (drill.turns_s[3] + drill.turns_s[4]) / 2.0
    step = 0.2 / (1.0 + np.exp(-(drill.time_s - between) / 0.05))
    for signal in (drill.signal + step, drill.signal - step):
        found = find_cycles(drill.time_s, signal, rule=RULE)
        np.testing.assert_allclose([c.turn_s for c in found], drill.turns_s, atol=0.1)


def test_a_twitch_much_smaller_than_the_others_is_not_a_repetition():
    """0.4 of the typical size: common practice, no source (movement reference, section 6.4)."""
    sizes = np.array([1.0, 1.0, 0.36, 1.0, 1.0, 0.5, 1.0])
    drill = make_drill(sizes, *(np.full(7, v) for v in (0.8, 0.8, 0.2, 0.6)))
    found = find_cycles(drill.time_s, drill.signal, rule=RULE)
    np.testing.assert_allclose(
        [c.turn_s for c in found], drill.turns_s[[0, 1, 3, 4, 5, 6]], atol=0.1
    )


def test_a_bounce_at_the_turn_is_part_of_the_pause():
    drill = make_drill(*(np.full(5, v) for v in (1.0, 1.0, 1.0, 1.5, 1.0)))
    bounce = sum(0.15 * np.exp(-(((drill.time_s - t) / 0.2) ** 2)) for t in drill.turns_s)
    found = find_cycles(drill.time_s, drill.signal - bounce, rule=RULE)
    assert len(found) == 5


def test_two_tops_closer_than_the_shortest_time_are_one_repetition():
    time_s = np.arange(0.0, 8.0, 1.0 / RATE_HZ)
    centres = [1.0, 3.0, 5.0, 5.3, 7.0]
    signal = sum(np.exp(-(((time_s - t) / 0.1) ** 2)) for t in centres)
    found = find_cycles(time_s, signal, rule=RULE)
    assert len(found) == 4
    quick = CycleRule(RULE.min_change, 0.2, RULE.max_time_s)
    assert len(find_cycles(time_s, signal, rule=quick)) == 5


def test_a_repetition_longer_than_the_longest_time_is_left_out():
    drill = make_drill(*(np.full(4, v) for v in (1.0, 1.0, 1.0, 3.0, 1.0)))
    short = CycleRule(RULE.min_change, RULE.min_time_s, 4.0)
    assert len(find_cycles(drill.time_s, drill.signal, rule=RULE)) == 4
    assert find_cycles(drill.time_s, drill.signal, rule=short) == []


@pytest.mark.parametrize(("first", "last"), [(True, False), (False, True), (True, True)])
def test_a_repetition_cut_off_by_the_clip_is_reported_and_not_complete(first, last):
    """The clip begins or ends at the top of a rep."""
    drill = make_drill(*(np.full(6, v) for v in (1.0, 1.0, 1.0, 0.2, 0.4)))
    begin = drill.turns_s[0] if first else 0.0
    end = drill.turns_s[-1] if last else drill.time_s[-1]
    kept = (drill.time_s >= begin) & (drill.time_s <= end)
    found = find_cycles(drill.time_s[kept], drill.signal[kept], rule=RULE)
    whole = 6 - int(first) - int(last)
    assert sum(c.complete for c in found) == whole
    assert len(found) == 6
    assert found[0].complete is not first
    assert found[-1].complete is not last


def test_a_long_gap_cuts_the_repetition_it_falls_into():
    drill = make_drill(*(np.full(6, v) for v in (1.0, 1.0, 1.0, 0.2, 0.4)))
    signal = drill.signal.copy()
    gone = (drill.time_s > drill.turns_s[2] - 0.1) & (drill.time_s < drill.turns_s[2] + 0.9)
    signal[gone] = np.nan
    found = find_cycles(drill.time_s, signal, rule=RULE, present=~gone)
    complete = [c.turn_s for c in found if c.complete]
    np.testing.assert_allclose(complete, np.delete(drill.turns_s, 2), atol=0.1)
    assert len(found) > len(complete)


def test_a_limb_hidden_at_rest_does_not_cut_off_its_repetitions():
    """The far leg is seen only while it is lifted; the body is there all the time."""
    drill = make_drill(*(np.full(6, v) for v in (1.0, 0.5, 0.5, 0.1, 1.2)))
    signal = np.where(drill.signal > 0.45, drill.signal, np.nan)
    body = np.ones(len(signal), dtype=bool)
    found = find_cycles(drill.time_s, signal, rule=RULE, present=body)
    assert [c.complete for c in found] == [True] * 6
    np.testing.assert_allclose([c.turn_s for c in found], drill.turns_s, atol=0.1)


def test_a_limb_that_hides_on_its_way_back_finishes_its_rep_but_a_body_that_leaves_does_not():
    drill = make_drill(*(np.full(3, v) for v in (1.0, 0.5, 0.5, 0.1, 0.8)))
    gone = (drill.time_s > drill.turns_s[2]) & (drill.signal < 0.6)
    signal = np.where(gone | (drill.time_s > drill.turns_s[2] + 0.5), np.nan, drill.signal)
    body = np.ones(len(signal), dtype=bool)
    hidden = find_cycles(drill.time_s, signal, rule=RULE, present=body)
    left = find_cycles(drill.time_s, signal, rule=RULE, present=np.isfinite(signal))
    assert [c.complete for c in hidden] == [True, True, True]
    assert [c.complete for c in left] == [True, True, False]


@given(st.lists(st.floats(-5.0, 5.0), min_size=2, max_size=60), st.floats(0.01, 3.0))
def test_turns_alternate_and_are_parted_by_more_than_the_ripple(values, ripple):
    x = np.array(values)
    turns = find_turns(x, ripple)
    kinds = [kind for _, kind in turns]
    assert all(a == -b for a, b in itertools.pairwise(kinds))
    for (i, kind), (j, _) in itertools.pairwise(turns):
        assert i < j
        assert kind * (x[i] - x[j]) > ripple
