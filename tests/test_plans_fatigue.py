"""Analytic: planted drifts and losses of form are found, and clean sets raise no alarm."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from session_examples import finding, rep

from motioncheck.plans.fatigue import (
    Set,
    find_drifts,
    find_form_losses,
    find_loss,
    list_series,
)


def a_set(values, *, half_width=4.0, clips=None, check="depth", verdicts=None):
    events = tuple(
        rep(
            2.0 * i,
            findings=(
                finding(
                    verdicts[i] if verdicts else "meets", v, uncertainty=half_width, check=check
                ),
            ),
        )
        for i, v in enumerate(values)
    )
    names = clips or ("a.mp4",) * len(events)
    return Set(1, "Set 1 of 1", "air-squat", events, tuple(names))


def test_an_exact_line_gives_its_slope_per_ten_reps():
    """Falls by 0.8 a rep: 8 per ten. The interval is that of the values alone: they lie on it.

    12 reps: the sum of squares about their mean is 143. Half of 4 / 1.645 over its root, times
    1.645, times ten: 10 x 2 / 11.96 = 1.67.
    """
    (drift,) = find_drifts(a_set([90 - 0.8 * i for i in range(12)]))
    assert drift.per_ten == pytest.approx(-8.0)
    assert drift.half_width == pytest.approx(1.672, abs=0.002)
    assert drift.seen
    assert drift.text == "falls by 8.0° ± 1.7° per ten reps"
    assert (drift.values, drift.side, drift.unit) == (12, "both", "deg")


def test_a_bias_of_the_whole_clip_cancels():
    rng = np.random.default_rng(3)
    values = 90 + rng.normal(0, 1.5, 20) + 0.5 * np.arange(20)
    (one,) = find_drifts(a_set(values))
    (other,) = find_drifts(a_set(values + 11.0))
    assert one.per_ten == pytest.approx(other.per_ten)
    assert one.half_width == pytest.approx(other.half_width)


def test_what_values_are_known_to_widens_the_interval():
    values = [90 - 0.3 * i for i in range(12)]
    (sure,) = find_drifts(a_set(values, half_width=2.0))
    (rough,) = find_drifts(a_set(values, half_width=12.0))
    assert sure.seen
    assert not rough.seen
    assert rough.half_width == pytest.approx(6 * sure.half_width, rel=1e-3)
    assert rough.text.startswith("no drift that this method can see (it would see ")


def test_between_clips_the_whole_uncertainty_counts():
    """Two clips whose phone stood differently: 8 degrees apart, known to 6 each."""
    values = [90.0] * 8 + [82.0] * 8
    (one,) = find_drifts(a_set(values, half_width=6.0))
    (two,) = find_drifts(a_set(values, half_width=6.0, clips=["a.mp4"] * 8 + ["b.mp4"] * 8))
    assert two.half_width > one.half_width
    assert not two.seen


def test_one_wild_rep_does_not_make_a_drift():
    values = [90.0 + 0.3 * (-1) ** i for i in range(14)]
    values[-1] = 20.0
    (drift,) = find_drifts(a_set(values))
    assert not drift.seen


def test_very_long_sessions_are_thinned_and_keep_their_slope():
    (drift,) = find_drifts(a_set([90 - 0.01 * i for i in range(3100)]))
    assert drift.per_ten == pytest.approx(-0.1)
    assert drift.values == 3100


def test_too_few_values_give_no_drift():
    assert find_drifts(a_set([90.0 - i for i in range(5)])) == ()


def test_sides_and_checks_are_followed_by_themselves():
    events = tuple(
        rep(i, side=side, findings=(finding(value=90.0 + i, side=side), finding(check="tempo")))
        for i, side in enumerate(["left", "right"] * 6)
    )
    series = list_series(events, ["a.mp4"] * 12)
    assert {(s.check, s.side, s.rep[:2]) for s in series} == {
        ("depth", "left", (1.0, 3.0)),
        ("depth", "right", (2.0, 4.0)),
        ("tempo", "both", (1.0, 2.0)),
    }


def test_values_that_could_not_be_seen_are_left_out():
    done = a_set([90.0 - i for i in range(10)], verdicts=["not visible"] * 5 + ["meets"] * 5)
    assert find_drifts(done) == ()
    missing = a_set([None, float("nan"), *range(6)])
    assert find_drifts(missing)[0].values == 6


@pytest.mark.parametrize("reps", [8, 15, 30])
def test_clean_sets_raise_hardly_any_alarm(reps):
    """300 sets of four checks without drift: one in ten may be said to drift, by the level.

    The values scatter as much as they are known to, so nothing but the level protects them.
    """
    rng = np.random.default_rng(reps)
    alarms = 0
    for _ in range(300):
        values = 90 + rng.normal(0, 4 / 1.645, (reps, 4))
        events = tuple(
            rep(i, findings=tuple(finding(value=v, check=f"c{j}") for j, v in enumerate(row)))
            for i, row in enumerate(values)
        )
        done = Set(1, "", "air-squat", events, ("a.mp4",) * reps)
        alarms += any(drift.seen for drift in find_drifts(done))
    # Binomial with p = 0.1: 300 sets have more than 45 in one case of 1000.
    assert alarms <= 45


def test_planted_drifts_are_found_and_their_interval_holds_the_truth():
    rng = np.random.default_rng(11)
    seen = inside = 0
    for _ in range(200):
        values = 90 - 0.6 * np.arange(20) + rng.normal(0, 2.0, 20)
        (drift,) = find_drifts(a_set(values))
        seen += drift.seen
        inside += abs(drift.per_ten + 6.0) <= drift.half_width
    assert seen >= 195
    # 90 % of 200 is 180, standard deviation 4.2; the interval may be wider than it has to be.
    assert inside >= 168


@pytest.mark.parametrize(
    ("missed", "start"),
    [
        ("..........", None),
        ("....x.....", None),  # once is no loss
        (".........x", None),  # nor is the last rep alone
        ("......xxxx", 6),
        ("......x.xx", 6),
        (".....x..xx", 8),  # the first one did not last
        ("xxxxxxxxxx", 0),
        ("x.x.......", None),  # came back
        ("xx........", None),
        (".x.x.x.x.x", 1),  # 5 of 9 from there on, 2 of 3 near
        ("..x..x..x.", None),
        ("........xx", 8),
        ("", None),
    ],
)
def test_form_is_lost_where_most_reps_miss_from_there_on(missed, start):
    assert find_loss([c == "x" for c in missed]) == start


def test_a_loss_is_told_by_its_rep_and_unseen_reps_are_left_out():
    verdicts = ["meets"] * 5 + ["not visible"] + ["misses", "not visible", "misses", "misses"]
    done = a_set([90.0] * 10, verdicts=verdicts)
    (loss,) = find_form_losses(done)
    assert (loss.rep, loss.misses, loss.reps) == (7, 3, 3)
    assert loss.text == "missed from rep 7 on (3 of 3), before that in 0 of 5"
    assert loss.title == "Thighs level at the bottom"


def test_misses_from_the_first_rep_are_not_called_tiring():
    (loss,) = find_form_losses(a_set([90.0] * 6, verdicts=["misses"] * 6))
    assert loss.rep == 1
    assert "not a matter of tiring" in loss.text


def test_clean_sets_lose_no_form():
    assert find_form_losses(a_set([90.0] * 20)) == ()
    close = a_set([90.0] * 20, verdicts=["too close to call"] * 20)
    assert find_form_losses(close) == ()
    assert find_form_losses(replace(close, events=(), clips=())) == ()


def test_single_misses_at_random_are_hardly_ever_called_a_loss():
    """A rep in ten misses by chance, sets of 20: the rule needs most reps of the rest."""
    rng = np.random.default_rng(5)
    alarms = sum(find_loss(list(rng.random(20) < 0.1)) is not None for _ in range(2000))
    assert alarms / 2000 < 0.05
