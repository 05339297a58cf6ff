"""Cited: worked examples of the papers. Property and reference: `pingouin` on random scores."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from motioncheck.errors import ShapeError
from motioncheck.trends.reliability import (
    compute_agreement,
    compute_icc,
    compute_mdc90,
    compute_mdc95,
    compute_sem,
    compute_sem_from_differences,
    compute_sem_from_icc,
    compute_sem_of_mean,
    compute_two_way,
)

# Shrout and Fleiss 1979, table 2: six targets, four judges (data from memory).
SHROUT_FLEISS = [
    [9, 2, 5, 8],
    [6, 1, 3, 2],
    [8, 4, 6, 8],
    [7, 1, 2, 6],
    [10, 5, 6, 9],
    [6, 2, 4, 7],
]
# Weir 2005, sets A and B: eight people, two trials (data from memory).
WEIR_A = np.array(
    [
        [146, 148, 170, 90, 157, 156, 176, 205],
        [140, 152, 152, 99, 145, 153, 167, 218],
    ]
).T
WEIR_B = np.array(
    [
        [166, 168, 160, 150, 147, 146, 156, 155],
        [160, 172, 142, 159, 135, 143, 147, 168],
    ]
).T
# Bland and Altman 1986: peak flow by a large and a small meter, first readings (from memory).
LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
SMALL = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_shrout_and_fleiss_mean_squares_are_those_of_their_table_3():
    """Cited: 11.24, 6.26, 32.49, 1.02 (two decimals as printed; data from memory)."""
    table = compute_two_way(SHROUT_FLEISS)
    assert table.ms_subjects == pytest.approx(11.24, abs=0.005)
    assert table.ms_within == pytest.approx(6.26, abs=0.005)
    assert table.ms_trials == pytest.approx(32.49, abs=0.005)
    assert table.ms_error == pytest.approx(1.02, abs=0.005)
    assert (table.subjects, table.trials, table.df_error) == (6, 4, 15)


def test_shrout_and_fleiss_six_correlations():
    """Cited: .17 .29 .71 .44 .62 .91 as printed; four decimals computed from the same data."""
    icc = compute_icc(compute_two_way(SHROUT_FLEISS))
    found = (icc.icc1_1, icc.icc2_1, icc.icc3_1, icc.icc1_k, icc.icc2_k, icc.icc3_k)
    assert found == pytest.approx((0.17, 0.29, 0.71, 0.44, 0.62, 0.91), abs=0.005)
    assert found == pytest.approx((0.1657, 0.2898, 0.7148, 0.4428, 0.6201, 0.9093), abs=5e-5)


def test_weir_set_a():
    """Cited: means 156 and 153.25, SEM about 7.6, change about 21 (data from memory)."""
    table = compute_two_way(WEIR_A)
    assert WEIR_A.mean(axis=0) == pytest.approx([156.0, 153.25])
    assert WEIR_A.std(axis=0, ddof=1) == pytest.approx([32.8, 32.9], abs=0.05)
    assert table.ms_subjects == pytest.approx(2098.54, abs=0.005)
    assert table.ms_trials == pytest.approx(30.25)
    assert table.ms_error == pytest.approx(57.107, abs=0.0005)
    assert compute_icc(table).icc3_1 == pytest.approx(0.947, abs=0.0005)
    assert compute_sem(table) == pytest.approx(7.557, abs=0.0005)
    assert compute_mdc95(compute_sem(table)) == pytest.approx(20.95, abs=0.005)


def test_weir_set_b_has_the_same_error_and_a_much_lower_correlation():
    """Cited: spread 8.3 and 13.4, ICC .538, the SEM of set A (data from memory)."""
    table = compute_two_way(WEIR_B)
    assert WEIR_B.std(axis=0, ddof=1) == pytest.approx([8.3, 13.4], abs=0.05)
    assert table.ms_subjects == pytest.approx(189.96, abs=0.005)
    assert compute_icc(table).icc3_1 == pytest.approx(0.538, abs=0.0005)
    assert compute_sem(table) == pytest.approx(compute_sem(compute_two_way(WEIR_A)), rel=1e-12)


def test_bland_and_altman_peak_flow():
    """Cited: bias -2.1, SD 38.8, limits -79.7 to 75.5 with twice the SD, 9.4 and 16.3."""
    found = compute_agreement(LARGE, SMALL, multiplier=2.0)
    assert found.pairs == 17
    assert found.bias == pytest.approx(-2.1176, abs=5e-5)
    assert found.sd == pytest.approx(38.7651, abs=5e-5)
    # The paper subtracts the rounded numbers: -2.1 - 2 * 38.8 and -2.1 + 2 * 38.8.
    assert (found.lower, found.upper) == pytest.approx((-79.7, 75.5), abs=0.1)
    assert found.se_bias == pytest.approx(9.4, abs=0.05)
    assert found.se_limit == pytest.approx(16.3, abs=0.05)
    exact = compute_agreement(LARGE, SMALL)
    assert (exact.lower, exact.upper) == pytest.approx((-78.10, 73.86), abs=0.005)


@pytest.mark.parametrize(
    ("sem", "change", "places"),
    [
        # Konor et al. 2012, weight-bearing lunge: degrees twice, then centimetres. The paper
        # prints 7.7 for the second, from an SEM that was not rounded yet.
        (1.8, 4.99, 0.005),
        (2.8, 7.76, 0.005),
        (0.4, 1.11, 0.005),
        # Reurink et al. 2013, active and passive knee extension; printed as 15 and 21.
        (5.3, 14.69, 0.005),
        (7.6, 21.07, 0.005),
        # Johnson et al. 2012, turning of the trunk; printed as 2.8, 6.3 and 2.1.
        (1.0, 2.77, 0.005),
        (2.3, 6.38, 0.005),
        (0.8, 2.22, 0.005),
        # Munro, Herrington and Carolan 2012, knee in a single-leg squat; printed as 7.54.
        (2.72, 7.54, 0.005),
    ],
)
def test_published_errors_give_the_published_changes(sem, change, places):
    assert compute_mdc95(sem) == pytest.approx(change, abs=places)


@pytest.mark.parametrize(
    ("sd", "icc", "sem", "change"), [(10, 0.90, 3.162, 8.765), (8, 0.75, 4.0, 11.087)]
)
def test_error_from_spread_and_correlation(sd, icc, sem, change):
    """Analytic: 10 * sqrt(0.1) and 8 * sqrt(0.25), times 2.7718."""
    assert compute_sem_from_icc(sd, icc) == pytest.approx(sem, abs=0.0005)
    assert compute_mdc95(compute_sem_from_icc(sd, icc)) == pytest.approx(change, abs=0.001)
    assert math.isnan(compute_sem_from_icc(sd, 1.01))


def test_smaller_changes_for_nine_in_ten_and_for_means():
    """Analytic: 1.6449 * sqrt(2) = 2.3262; the mean of four has half the error."""
    assert compute_mdc90(1.0) == pytest.approx(2.3262, abs=5e-5)
    assert compute_sem_of_mean(6.0, 4) == 3.0
    assert math.isnan(compute_sem_of_mean(6.0, 0))


SCORES = arrays(
    np.float64,
    st.tuples(st.integers(2, 9), st.integers(2, 5)),
    elements=st.floats(-200, 200).map(lambda x: round(x, 3)),
)


@given(SCORES)
def test_mean_squares_add_up_to_the_spread_of_all_scores(scores):
    table = compute_two_way(scores)
    n, k = scores.shape
    parts = (
        (n - 1) * table.ms_subjects + (k - 1) * table.ms_trials + table.df_error * table.ms_error
    )
    total = ((scores - scores.mean()) ** 2).sum()
    assert parts == pytest.approx(total, rel=1e-9, abs=1e-6)
    within = (k - 1) * table.ms_trials + table.df_error * table.ms_error
    assert n * (k - 1) * table.ms_within == pytest.approx(within, rel=1e-9, abs=1e-6)


@given(SCORES, st.floats(-50, 50), st.floats(-50, 50))
def test_error_does_not_depend_on_what_people_or_later_trials_have_more(scores, person, later):
    moved = scores.copy()
    moved[0] += person
    moved[:, -1] += later
    before, after = compute_two_way(scores).ms_error, compute_two_way(moved).ms_error
    assert after == pytest.approx(before, rel=1e-6, abs=1e-6)


@given(SCORES)
def test_no_correlation_is_above_one(scores):
    icc = compute_icc(compute_two_way(scores))
    single = [v for v in (icc.icc1_1, icc.icc3_1) if not math.isnan(v)]
    assert all(v <= 1.0 + 1e-12 for v in single)


@given(arrays(np.float64, st.tuples(st.integers(3, 12), st.just(2)), elements=st.floats(-99, 99)))
def test_two_trials_give_the_same_error_by_differences_and_by_analysis_of_variance(scores):
    by_table = compute_sem(compute_two_way(scores))
    by_pairs = compute_sem_from_differences(scores[:, 1] - scores[:, 0])
    assert by_pairs == pytest.approx(by_table, rel=1e-6, abs=1e-6)


def test_a_row_with_a_hole_is_left_out_as_a_whole():
    holed = np.vstack([WEIR_A.astype(float), [np.nan, 150.0]])
    assert compute_two_way(holed) == compute_two_way(WEIR_A)
    assert compute_sem_from_differences([1.0, np.nan, 3.0]) == pytest.approx(1.0)
    assert compute_agreement([*LARGE, np.nan], [*SMALL, 3.0]) == compute_agreement(LARGE, SMALL)


def test_too_few_scores_give_nan():
    assert math.isnan(compute_sem(compute_two_way([[1.0, 2.0]])))
    assert math.isnan(compute_icc(compute_two_way([[1.0, 2.0]])).icc2_1)
    assert math.isnan(compute_sem_from_differences([1.0]))
    assert math.isnan(compute_agreement([1.0], [2.0]).sd)
    assert math.isnan(compute_icc(compute_two_way([[3.0, 3.0], [3.0, 3.0]])).icc3_1)


def test_misshaped_scores_are_refused():
    with pytest.raises(ShapeError, match="two or more trials"):
        compute_two_way([1.0, 2.0])
    with pytest.raises(ShapeError, match="same length"):
        compute_agreement([1.0, 2.0], [1.0])


@pytest.mark.parametrize("seed", range(6))
def test_pingouin_finds_the_same_correlations(seed):
    """Reference library, on random scores of differing size and spread."""
    pingouin, pandas = load_pingouin()
    rng = np.random.default_rng(seed)
    n, k = int(rng.integers(5, 12)), int(rng.integers(2, 6))
    scores = rng.normal(0, 9, (n, 1)) + rng.normal(0, 4, (1, k)) + rng.normal(90, 5, (n, k))
    long = pandas.DataFrame(
        {"day": np.repeat(np.arange(n), k), "clip": np.tile(np.arange(k), n), "y": scores.ravel()}
    )
    with warnings.catch_warnings():
        # Of the library about pandas, not of ours.
        warnings.simplefilter("ignore", category=DeprecationWarning)
        theirs = pingouin.intraclass_corr(long, targets="day", raters="clip", ratings="y")["ICC"]
        anova = pingouin.rm_anova(long, dv="y", within="clip", subject="day", detailed=True)
    icc = compute_icc(compute_two_way(scores))
    ours = (icc.icc1_1, icc.icc2_1, icc.icc3_1, icc.icc1_k, icc.icc2_k, icc.icc3_k)
    assert ours == pytest.approx(tuple(theirs), abs=1e-6)
    table = compute_two_way(scores)
    assert [table.ms_trials, table.ms_error] == pytest.approx(list(anova["MS"]), rel=1e-6)


def load_pingouin():
    with warnings.catch_warnings():
        # Deprecations inside the library and what it imports.
        warnings.simplefilter("ignore", category=DeprecationWarning)
        warnings.simplefilter("ignore", category=FutureWarning)
        import pandas
        import pingouin
    return pingouin, pandas


@settings(max_examples=50)
@given(st.lists(st.floats(-300, 300), min_size=2, max_size=30), st.floats(-100, 100))
def test_a_fixed_offset_moves_bias_and_limits_alike(values, offset):
    first = np.array(values)
    apart = np.linspace(0, 5, len(first))
    plain, moved = (compute_agreement(first + apart + o, first) for o in (0.0, offset))
    assert moved.bias - plain.bias == pytest.approx(offset, abs=1e-6)
    assert moved.lower - plain.lower == pytest.approx(offset, abs=1e-6)
    assert moved.sd == pytest.approx(plain.sd, abs=1e-6)
