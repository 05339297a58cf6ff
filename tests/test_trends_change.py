"""Where the minimal detectable change is from, and how often it says "changed": simulations.

Simulated people have a true value for each session and clips with a normal error about it. Rates
are allowed 2.58 standard errors of the simulation, sqrt(p (1 - p) / people), above 5 % and below
90 %: a right method fails that in 1 of 200 seeds, and the seed is fixed.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from trend_trials import make_trial

from motioncheck.measures import REGISTRY
from motioncheck.records.trend import Mdc
from motioncheck.standards import load_standards
from motioncheck.trends.change import (
    MIN_DF,
    best_allowance,
    choose_mdc,
    expected_best,
    find_own_error,
    needed_change,
    student_quantile,
)
from motioncheck.trends.compare import find_changes, find_limits
from motioncheck.trends.figures import Figure, find_figure, load_figures
from motioncheck.trends.points import build_line
from motioncheck.trends.reliability import Z_90, Z_95, compute_mdc95

PEOPLE = 3000
ERROR = 4.0
# Clips of each session; the first and the last are compared.
ENOUGH = {
    "2 clips x 7 sessions": (2,) * 7,
    "3 clips x 4 sessions": (3,) * 4,
    "3 clips x 6 sessions": (3,) * 6,
    "5 clips x 3 sessions": (5,) * 3,
    "uneven": (1, 3, 2, 2, 3, 2),
    "one session of 8, then one clip": (8, 1),
}
TOO_FEW = {
    "2 clips x 3 sessions": (2,) * 3,
    "2 clips x 6 sessions": (2,) * 6,
    "3 clips x 3 sessions": (3,) * 3,
}


def at_most(rate, people=PEOPLE):
    return rate + 2.58 * math.sqrt(rate * (1 - rate) / people)


def at_least(rate, people=PEOPLE):
    return rate - 2.58 * math.sqrt(rate * (1 - rate) / people)


def simulate_people(counts, *, seed, people=PEOPLE, error=ERROR):
    """Return for each person the values of each session; nobody changes."""
    rng = np.random.default_rng(seed)
    values = rng.normal(100.0, error, (people, sum(counts)))
    cuts = np.cumsum(counts)[:-1]
    return [[part.tolist() for part in np.split(row, cuts)] for row in values]


def apart_and_needed(days):
    """Return the difference of the last and first means, and what the own figure asks for."""
    own = find_own_error(days)
    mdc = Mdc(math.nan, own.sem, "own", own.df, "")
    needed = needed_change(mdc, (len(days[0]), len(days[-1])))
    return np.mean(days[-1]) - np.mean(days[0]), needed, own


@pytest.mark.parametrize("counts", [*ENOUGH.values(), *TOO_FEW.values()], ids=[*ENOUGH, *TOO_FEW])
def test_own_figure_calls_a_change_what_is_none_in_one_of_twenty_at_most(counts):
    found = [apart_and_needed(days) for days in simulate_people(counts, seed=11)]
    apart, needed = np.array([f[0] for f in found]), np.array([f[1] for f in found])
    assert (np.abs(apart) > needed).mean() <= at_most(0.05)
    # The same people, judged by 1.96 whatever the degrees of freedom: the test would notice.
    df = found[0][2].df
    if df <= 8:
        plain = needed * Z_95 / student_quantile(df)
        assert (np.abs(apart) > plain).mean() > at_most(0.05)


@pytest.mark.parametrize("counts", ENOUGH.values(), ids=ENOUGH)
def test_own_figure_finds_nine_of_ten_changes_of_twice_its_size(counts):
    """Twice what the program says, and twice what it would say if the error were known."""
    found = [apart_and_needed(days) for days in simulate_people(counts, seed=12)]
    apart, needed = np.array([f[0] for f in found]), np.array([f[1] for f in found])
    assert found[0][2].df >= MIN_DF
    assert (np.abs(apart + 2 * needed) > needed).mean() >= at_least(0.90)
    true = Z_95 * ERROR * math.sqrt(1 / counts[0] + 1 / counts[-1])
    assert (np.abs(apart + 2 * true) > needed).mean() >= at_least(0.90)


def test_fewer_degrees_of_freedom_than_the_least_would_miss_too_many():
    """Why it is six: with five, fewer than nine of ten changes of twice the true figure."""
    days = simulate_people((2,) * MIN_DF, seed=13, people=8000)
    found = [apart_and_needed(d) for d in days]
    assert found[0][2].df == MIN_DF - 1
    true = Z_95 * ERROR
    seen = np.mean([abs(a + 2 * true) > n for a, n, _ in found])
    assert seen < at_least(0.90, 8000)


@pytest.mark.parametrize("counts", [(1, 1), (2, 2, 2)], ids=["single clips", "2 clips x 3"])
def test_published_figure_holds_when_sessions_differ_as_published(counts):
    """The published error is one of sessions: all clips of a session share it."""
    figure = Figure(12.0, "published", "Somebody 2000.")
    sem = 12.0 / compute_mdc95(1.0)
    rng = np.random.default_rng(14)
    people = 2000
    none = twice = 0
    for _ in range(people):
        true = rng.normal(100.0, sem, len(counts))
        days = [
            [v + rng.normal(0, 0.5) for _ in range(n)] for v, n in zip(true, counts, strict=True)
        ]
        mdc = choose_mdc(find_own_error(days), figure, None, "deg")
        assert mdc.origin == "published"
        needed = needed_change(mdc, (counts[0], counts[-1]))
        # What clips of half a degree add to it is part of the error, and little.
        apart = np.mean(days[-1]) - np.mean(days[0])
        none += abs(apart) > needed
        twice += abs(apart + 24.0) > needed
    assert none / people <= at_most(0.05, people)
    assert twice / people >= at_least(0.90, people)


@pytest.mark.parametrize("counts", [(2,) * 7, (2, 2, 2, 2, 2, 2, 4)], ids=["even", "more clips"])
@pytest.mark.parametrize("reps", [(5, 5), (3, 12)], ids=["as many reps", "more reps"])
def test_words_of_whole_lines_hold_for_mean_and_best(counts, reps):
    """From trials to words, with reps that differ within a clip; the last session has more."""
    rng = np.random.default_rng(15)
    people = 350
    said = {(s, size): 0 for s in ("mean", "best") for size in (0.0, 2.0)}
    for _ in range(people):
        sessions, last = {}, len(counts) - 1
        for week, clips in enumerate(counts):
            n = reps[1] if week == last else reps[0]
            made = [simulate_clip(rng, week, clip, n) for clip in range(clips)]
            sessions[made[0].day, made[0].session] = made
        line = build_line(sessions, "higher")
        limits = find_limits(line, None, "higher", "deg")
        assert limits.mean.origin == limits.best.origin == "own"
        for change in find_changes(line.points, limits, "higher", "deg")[:2]:
            said[change.statistic, 0.0] += change.word == "changed"
            said[change.statistic, 2.0] += (
                abs(change.difference + 2 * change.needed) > change.needed
            )
    for statistic in ("mean", "best"):
        assert said[statistic, 0.0] / people <= at_most(0.05, people)
        assert said[statistic, 2.0] / people >= at_least(0.90, people)


def simulate_clip(rng, week, clip, reps):
    values = 100.0 + rng.normal(0, 3.0) + rng.normal(0, 3.0, reps)
    return make_trial(
        week,
        clip=clip,
        moment="turn",
        count=reps,
        mean=float(values.mean()),
        lowest=float(values.min()),
        highest=float(values.max()),
        sd=float(values.std(ddof=1)),
    )


def test_designs_and_their_degrees_of_freedom():
    """Analytic: (n - 1)(k - 1) where as many clips a session, else clips less sessions."""
    two = find_own_error([[1.0, 2.0], [4.0, 4.0], [9.0, 10.0]])
    assert (two.design, two.df, two.days, two.clips) == ("differences", 2, 3, 6)
    # Differences 1, 0, 1: SD 0.5774, over root two.
    assert two.sem == pytest.approx(math.sqrt(1 / 3) / math.sqrt(2))
    three = find_own_error([[1.0, 2.0, 4.0], [4.0, 4.0, 4.0], [9.0, 11.0, 9.0]])
    assert (three.design, three.df) == ("two-way", 4)
    uneven = find_own_error([[1.0, 3.0], [4.0], [5.0, 6.0, 7.0]])
    # Sums of squares 2 and 2 with 1 and 2 degrees of freedom.
    assert (uneven.design, uneven.df, uneven.days) == ("within days", 3, 2)
    assert uneven.sem == pytest.approx(math.sqrt(4 / 3))
    single = find_own_error([[5.0, 6.0, 7.0]])
    assert (single.design, single.df, single.sem) == ("within days", 2, 1.0)


def test_no_repeats_and_copies_give_no_own_error():
    assert find_own_error([[1.0], [2.0]]) is None
    assert find_own_error([]) is None
    assert find_own_error([[3.0, 3.0], [7.1, 7.1], [0.1, 0.1]]) is None
    assert find_own_error([[math.nan, 3.0], [7.0, math.nan]]) is None


def test_own_figure_is_used_from_the_least_degrees_of_freedom_on():
    figure = Figure(12.0, "published", "Somebody 2000.")
    few, enough = [[100.0, 101.0], [99.0, 103.0]] * 3, [[100.0, 101.0], [99.0, 103.0]] * 4
    before = choose_mdc(find_own_error(few), figure, 5.0, "deg")
    assert (before.value, before.origin, before.df) == (12.0, "published", None)
    assert "SEM" in before.text
    assert f"5 of the {MIN_DF} degrees" in before.text
    after = choose_mdc(find_own_error(enough), figure, 5.0, "deg")
    assert (after.origin, after.df) == ("own", 7)
    # Student's t of 7 degrees of freedom, from any table: 2.365.
    assert after.value == pytest.approx(2.365 * math.sqrt(2) * after.sem, rel=1e-3)
    assert "put up anew" in after.text


def test_without_a_figure_the_calibrated_uncertainty_is_used():
    """Analytic: 5 / 1.6449 = 3.040 is the SEM, 2.7718 times that the change."""
    mdc = choose_mdc(None, None, 5.0, "deg")
    assert (mdc.origin, mdc.df) == ("calibrated", None)
    assert mdc.sem == pytest.approx(3.040, abs=0.0005)
    assert mdc.value == pytest.approx(8.426, abs=0.001)
    assert needed_change(mdc, (1, 1)) == pytest.approx(mdc.value)
    wider = needed_change(mdc, (1, 1), half_widths=(3.0, 4.0))
    assert wider == pytest.approx(1.96 * 5.0 / Z_90, rel=1e-4)
    nothing = choose_mdc(None, None, None, "deg")
    assert (nothing.value, nothing.origin) == (None, "")
    assert needed_change(nothing, (1, 1)) is None


def test_only_an_own_figure_gets_smaller_with_more_clips():
    own = Mdc(9.0, 3.0, "own", 10, "")
    assert needed_change(own, (4, 4)) == pytest.approx(needed_change(own, (1, 1)) / 2)
    published = Mdc(12.0, 4.33, "published", None, "")
    assert needed_change(published, (4, 4)) == 12.0


@given(st.integers(1, 200), st.integers(1, 9), st.integers(1, 9))
def test_needed_change_falls_with_clips_and_degrees_of_freedom(df, one, two):
    mdc, more = (Mdc(1.0, 2.0, "own", d, "") for d in (df, df + 1))
    assert needed_change(mdc, (one, two)) == needed_change(mdc, (two, one))
    assert needed_change(mdc, (one + 1, two)) < needed_change(mdc, (one, two))
    assert needed_change(more, (one, two)) < needed_change(mdc, (one, two))
    assert needed_change(mdc, (one, two)) > Z_95 * 2.0 * math.sqrt(1 / one + 1 / two)


def test_best_of_more_tries_is_expected_higher():
    """Reference: the mean of the largest of 2, 5 and 10 normal values is 0.564, 1.163, 1.539."""
    assert expected_best(1) == 0.0
    found = [expected_best(n) for n in (2, 5, 10)]
    assert found == pytest.approx([0.564, 1.163, 1.539], abs=0.03)
    assert best_allowance((5, 5), (1, 1), 3.0, 2.0) == 0.0
    assert best_allowance((5, 10), (1, 1), 3.0, 2.0) == pytest.approx(3 * 0.376, abs=0.05)
    assert best_allowance((5, 10), (1, 2), math.nan, 2.0) == pytest.approx(2 * 0.376, abs=0.04)


def test_figures_of_common_practice_are_of_known_measures_in_their_unit():
    units = {"deg": 1.0, "s": 0.01, "ratio": 0.01}
    for measure, figure in load_figures().items():
        assert REGISTRY[measure].unit in units
        assert figure.origin == "common practice"
        assert "Common practice, no source" in figure.source
        # A change that a verdict of one value would not even notice cannot count.
        assert figure.change is None or figure.change > REGISTRY[measure].guard


def test_figure_of_the_standard_comes_first_and_says_whether_it_is_published():
    standards = {k: s.standard for k, s in load_standards().items()}
    knee = find_figure(standards["knee-flexion"], "knee_flexion", "range")
    assert (knee.change, knee.origin) == (12.0, "published")
    straight = find_figure(standards["knee-flexion"], "knee_flexion", "range end")
    assert straight.change == 10.0
    trunk = find_figure(standards["trunk-forward-flexion"], "trunk_inclination", "range")
    assert trunk.origin == "common practice"
    squat = find_figure(standards["air-squat"], "knee_flexion", "turn")
    assert (squat.change, squat.origin) == (12.0, "common practice")


def test_no_figure_for_differences_of_two_readings_or_for_measures_known_too_badly():
    assert find_figure(None, "knee_flexion", "gain") is None
    assert find_figure(None, "ankle_height_ratio", "turn") is None
    ankle = find_figure(None, "ankle_flexion", "turn")
    assert ankle.change is None
    mdc = choose_mdc(None, ankle, 5.0, "deg")
    assert (mdc.value, mdc.origin) == (None, "")
    assert "too badly" in mdc.text
