"""Analytic: tempo of sets whose phases are written down."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motioncheck.records import Event, Phase
from motioncheck.splitting.tempo import compute_set_tempo

FRAME_S = 1.0 / 30.0
NAMES = ("lowering", "bottom", "rising")


def make_set(tempos, *, rests_s=1.0, start_s=2.0, side="both"):
    """Reps one after another, each with seconds of lowering, bottom and rising."""
    rests = np.broadcast_to(rests_s, len(tempos))
    events, clock = [], start_s
    for n, (parts, rest) in enumerate(zip(tempos, rests, strict=True), start=1):
        edges = clock + np.concatenate([[0.0], np.cumsum(parts)])
        phases = tuple(
            Phase(name, float(a), float(b))
            for name, a, b in zip(NAMES, edges, edges[1:], strict=False)
        )
        turn = float(edges[1] + edges[2]) / 2.0
        events.append(Event("rep", n, side, float(edges[0]), turn, float(edges[-1]), phases=phases))
        clock = float(edges[-1]) + float(rest)
    return events


def test_eight_reps_of_three_one_one_are_forty_seconds_under_tension():
    """8 (3 + 1 + 1) = 40; 16 edges, each good to a frame, make 4 frames."""
    tempo = compute_set_tempo(make_set([(3.0, 1.0, 1.0)] * 8), frame_s=FRAME_S)
    assert tempo.reps == 8
    assert tempo.under_tension_s == pytest.approx(40.0)
    assert tempo.under_tension_uncertainty_s == pytest.approx(4.0 * FRAME_S)
    assert [p.name for p in tempo.phases] == list(NAMES)
    assert [p.mean_s for p in tempo.phases] == pytest.approx([3.0, 1.0, 1.0])
    assert [p.sd_s for p in tempo.phases] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
    assert tempo.rests_s == pytest.approx([1.0] * 7)
    assert tempo.rep_cv_ratio == pytest.approx(0.0, abs=1e-9)
    assert tempo.speeds == ()
    assert tempo.speed_loss_percent is None


def test_speed_loss_is_that_of_the_last_rep_against_the_fastest():
    """Rising in 1.0, 0.8, 1.0 and 1.6 s: 1 / 1.6 is half of 1 / 0.8. Doubt of the ratio, by hand:
    50 % sqrt(2) hypot(1 / 30 / 1.6, 1 / 30 / 0.8) = 3.29 %."""
    events = make_set([(1.0, 0.5, up) for up in (1.0, 0.8, 1.0, 1.6)])
    tempo = compute_set_tempo(events, frame_s=FRAME_S, rising="rising")
    assert tempo.speeds == pytest.approx((1.0, 1.25, 1.0, 0.625))
    assert tempo.fastest == 2
    assert tempo.speed_loss_percent == pytest.approx(50.0)
    assert tempo.speed_loss_uncertainty_percent == pytest.approx(3.29, abs=0.01)


def test_a_shorter_way_in_the_same_time_is_slower():
    """40 cm and then 30 cm, in one second each: a quarter is lost."""
    events = make_set([(1.0, 0.0, 1.0)] * 2)
    tempo = compute_set_tempo(events, frame_s=FRAME_S, rising="rising", travel=[40.0, 30.0])
    assert tempo.speed_loss_percent == pytest.approx(25.0)


def test_a_rep_of_unknown_travel_has_no_speed():
    events = make_set([(1.0, 0.0, 1.0)] * 3)
    tempo = compute_set_tempo(events, frame_s=FRAME_S, rising="rising", travel=[40.0, 36.0, None])
    assert tempo.speeds == pytest.approx((40.0, 36.0, None))
    assert tempo.speed_loss_percent == pytest.approx(10.0)
    tempo = compute_set_tempo(events, frame_s=FRAME_S, rising="rising", travel=[40.0, None, None])
    assert tempo.speed_loss_percent is None
    assert tempo.fastest is None


def test_overlapping_reps_of_two_sides_count_once_and_have_no_rest():
    """0.0 to 2.0 s on the left, 1.5 to 3.5 s on the right: 3.5 s."""
    events = [
        Event("rep", 1, "left", 0.0, 1.0, 2.0),
        Event("rep", 2, "right", 1.5, 2.5, 3.5),
    ]
    tempo = compute_set_tempo(events, frame_s=FRAME_S)
    assert tempo.under_tension_s == pytest.approx(3.5)
    assert tempo.rests_s == (0.0,)
    assert tempo.phases == ()


def test_a_single_rep_has_no_spread_no_rest_and_no_loss():
    tempo = compute_set_tempo(make_set([(2.0, 1.0, 1.5)]), frame_s=FRAME_S, rising="rising")
    assert tempo.under_tension_s == pytest.approx(4.5)
    assert tempo.mean_rest_s is None
    assert tempo.rep_cv_ratio is None
    assert tempo.phases[0].sd_s is None
    assert tempo.speed_loss_percent is None


def test_a_set_without_reps_has_no_tempo():
    assert compute_set_tempo([], frame_s=FRAME_S) is None


def test_a_phase_of_no_length_has_no_speed_and_a_missing_one_no_time():
    events = make_set([(1.0, 0.5, 1.0), (1.0, 0.5, 0.0)])
    events.append(Event("rep", 3, "both", 20.0, 21.0, 22.0))
    tempo = compute_set_tempo(events, frame_s=FRAME_S, rising="rising")
    assert tempo.speeds == pytest.approx((1.0, None, None))
    assert tempo.phases[2].each_s == pytest.approx((1.0, 0.0, None))
    assert tempo.phases[2].mean_s == pytest.approx(0.5)


def test_a_travel_for_every_rep_is_asked_for():
    with pytest.raises(ValueError, match="expected 2 values, got 1"):
        compute_set_tempo(make_set([(1.0, 0.0, 1.0)] * 2), frame_s=FRAME_S, travel=[1.0])


@given(
    st.lists(st.tuples(*[st.floats(0.2, 4.0)] * 3), min_size=2, max_size=30), st.floats(0.0, 5.0)
)
def test_times_add_up_to_the_set(tempos, rest_s):
    """Work and rest together are the time from the first start to the last end."""
    events = make_set(tempos, rests_s=rest_s)
    tempo = compute_set_tempo(events, frame_s=FRAME_S, rising="rising")
    whole = events[-1].end_s - events[0].start_s
    assert tempo.under_tension_s + sum(tempo.rests_s) == pytest.approx(whole)
    phases = sum(sum(p.each_s) for p in tempo.phases)
    assert phases == pytest.approx(tempo.under_tension_s)
    assert 0.0 <= tempo.speed_loss_percent < 100.0


@pytest.mark.parametrize("frame_s", [1.0 / 60.0, 1.0 / 30.0])
def test_nine_of_ten_losses_lie_within_their_uncertainty(frame_s):
    """Two reps of 0.8 and 1.0 s, a loss of 20 %; all four edges read off by up to a frame."""
    rng = np.random.default_rng(0)
    inside = 0
    for _ in range(500):
        first, last = np.array([0.8, 1.0]) + np.diff(rng.uniform(-frame_s, frame_s, (2, 2)))[:, 0]
        tempo = compute_set_tempo(
            make_set([(1.0, 0.0, first), (1.0, 0.0, last)]), frame_s=frame_s, rising="rising"
        )
        inside += abs(tempo.speed_loss_percent - 20.0) <= tempo.speed_loss_uncertainty_percent
    assert inside >= 450
    assert math.isfinite(tempo.under_tension_uncertainty_s)
