"""How well a measurement repeats: analysis of variance, ICC, SEM, MDC, limits of agreement.

Missing data: a subject (row) with a NaN is left out as a whole. Where too few are left for a
figure, it is NaN.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from motioncheck.errors import ShapeError
from motioncheck.records.arrays import FloatArray

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

# Quantiles of the normal distribution that leave 5 % and 10 % outside, both sides together.
Z_95 = 1.959963984540054
Z_90 = 1.6448536269514722


@dataclass(frozen=True, slots=True)
class TwoWay:
    """Mean squares of a two-way analysis of variance without replication.

    Attributes
    ----------
    subjects, trials : int
        Rows and columns that were used.
    ms_subjects, ms_trials, ms_error : float
        Mean squares between rows, between columns, and of what is left; unit squared.
    ms_within : float
        Mean square within rows, columns and error together, as a one-way analysis gives it.
    df_error : int
        Degrees of freedom of ``ms_error``.
    """

    subjects: int
    trials: int
    ms_subjects: float
    ms_trials: float
    ms_error: float
    ms_within: float
    df_error: int


@dataclass(frozen=True, slots=True)
class Icc:
    """The six intraclass correlations of Shrout and Fleiss; ``_1`` of one score, ``_k`` of a mean.

    ``icc1``: each subject has other raters. ``icc2``: raters are a sample, agreement counts.
    ``icc3``: these raters only, consistency counts.
    """

    icc1_1: float
    icc2_1: float
    icc3_1: float
    icc1_k: float
    icc2_k: float
    icc3_k: float


@dataclass(frozen=True, slots=True)
class Agreement:
    """Bias and limits of agreement of two methods, and how well these are known.

    ``se_bias`` and ``se_limit`` are standard errors; all in the unit of the values.
    """

    pairs: int
    bias: float
    sd: float
    lower: float
    upper: float
    se_bias: float
    se_limit: float


def _complete_rows(scores: ArrayLike) -> FloatArray:
    values = np.asarray(scores, dtype=np.float64)
    if values.ndim != 2 or values.shape[1] < 2:
        raise ShapeError(
            f"Expected scores of shape (subjects, trials) with two or more trials, "
            f"found shape {values.shape}."
        )
    kept: FloatArray = values[~np.isnan(values).any(axis=1)]
    return kept


def compute_two_way(scores: ArrayLike) -> TwoWay:
    """Compute the mean squares of subjects by trials, one score a cell.

    Parameters
    ----------
    scores : array_like, shape (subjects, trials)
        Any unit. Rows with a NaN are left out.

    Returns
    -------
    TwoWay
        Mean squares are NaN with fewer than two complete rows.

    Raises
    ------
    ShapeError
        If the scores are not two-dimensional or have fewer than two trials.

    Notes
    -----
    Source: textbook formulas, as used by Shrout & Fleiss 1979 (*Psychol. Bull.* 86:420) and Weir
    2005 (*J. Strength Cond. Res.* 19:231).
    """
    values = _complete_rows(scores)
    n, k = values.shape
    if n < 2:
        return TwoWay(n, k, math.nan, math.nan, math.nan, math.nan, 0)
    # The grand mean is taken off first: sums of squares of large numbers lose digits.
    centred = values - values.mean()
    rows, columns = centred.mean(axis=1), centred.mean(axis=0)
    left = centred - rows[:, None] - columns[None, :]
    df_error = (n - 1) * (k - 1)
    return TwoWay(
        subjects=n,
        trials=k,
        ms_subjects=float(k * (rows**2).sum() / (n - 1)),
        ms_trials=float(n * (columns**2).sum() / (k - 1)),
        ms_error=float((left**2).sum() / df_error),
        ms_within=float(((centred - rows[:, None]) ** 2).sum() / (n * (k - 1))),
        df_error=df_error,
    )


def compute_icc(table: TwoWay) -> Icc:
    """Compute the intraclass correlations from the mean squares.

    Returns
    -------
    Icc
        Without unit, at most 1; negative where subjects differ less than their trials do. NaN
        where all scores are equal or the mean squares are NaN.

    Notes
    -----
    An ICC depends on how much the subjects differ; the SEM does not (Weir 2005). Source: Shrout
    & Fleiss 1979.
    """
    n, k = table.subjects, table.trials
    between, within = table.ms_subjects, table.ms_within
    error, trials = table.ms_error, table.ms_trials
    over_trials = (trials - error) / n if n else math.nan
    return Icc(
        icc1_1=_ratio(between - within, between + (k - 1) * within),
        icc2_1=_ratio(between - error, between + (k - 1) * error + k * over_trials),
        icc3_1=_ratio(between - error, between + (k - 1) * error),
        icc1_k=_ratio(between - within, between),
        icc2_k=_ratio(between - error, between + over_trials),
        icc3_k=_ratio(between - error, between),
    )


def _ratio(top: float, bottom: float) -> float:
    return top / bottom if bottom else math.nan


def compute_sem(table: TwoWay) -> float:
    """Return the standard error of measurement of one score: root of the error mean square.

    Unit of the scores; NaN where the mean square is. Source: Weir 2005.
    """
    return math.sqrt(table.ms_error)


def compute_sem_from_icc(sd: float, icc: float) -> float:
    """Return ``sd * sqrt(1 - icc)``, ``sd`` being the spread between subjects.

    NaN in, NaN out; NaN as well for an ICC above 1. Source: Weir 2005. Where the scores
    themselves are there, `compute_sem` is the better figure.
    """
    return sd * math.sqrt(1.0 - icc) if icc <= 1.0 else math.nan


def compute_sem_from_differences(differences: ArrayLike) -> float:
    """Return the SEM from test-retest differences: their standard deviation over root two.

    Parameters
    ----------
    differences : array_like, shape (pairs,)
        Second score minus first; NaN pairs are left out.

    Returns
    -------
    sem : float
        Unit of the scores. NaN with fewer than two pairs. It is the same number as the root of
        the error mean square of the two columns. Source: Weir 2005.
    """
    values = np.asarray(differences, dtype=np.float64)
    values = values[~np.isnan(values)]
    return float(values.std(ddof=1)) / math.sqrt(2.0) if len(values) > 1 else math.nan


def compute_sem_of_mean(sem: float, k: int) -> float:
    """Return the SEM of the mean of ``k`` scores whose errors are independent; NaN for k < 1."""
    return sem / math.sqrt(k) if k >= 1 else math.nan


def compute_mdc95(sem: float) -> float:
    """Return the minimal detectable change of two single scores: ``1.96 * sqrt(2) * SEM``.

    A larger difference is seen in 5 % of those who did not change. For an SEM that is known well;
    see `motioncheck.trends.change` for one of few degrees of freedom. Source: Weir 2005.
    """
    return Z_95 * math.sqrt(2.0) * sem


def compute_mdc90(sem: float) -> float:
    """Return the same for 10 %: ``1.645 * sqrt(2) * SEM``."""
    return Z_90 * math.sqrt(2.0) * sem


def compute_agreement(
    first: ArrayLike, second: ArrayLike, *, multiplier: float = Z_95
) -> Agreement:
    """Compute the limits of agreement of two methods (Bland and Altman).

    Parameters
    ----------
    first, second : array_like, shape (pairs,)
        One value of each method on the same subject, same unit. Pairs with a NaN are left out.
    multiplier : float
        The paper of 1986 rounds 1.96 to 2.

    Returns
    -------
    Agreement
        The bias is first minus second. NaN where there are fewer than two pairs.

    Raises
    ------
    ShapeError
        If the two differ in length or are not one-dimensional.

    Notes
    -----
    The standard error of a limit is the ``sqrt(3 / n)`` times the standard deviation of the paper.
    Source: Bland & Altman 1986 (*Lancet* 327:307).
    """
    one, two = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if one.ndim != 1 or one.shape != two.shape:
        raise ShapeError(
            f"Expected two lists of values of the same length, found shapes {one.shape} and "
            f"{two.shape}."
        )
    apart = one - two
    apart = apart[~np.isnan(apart)]
    n = len(apart)
    if n < 2:
        return Agreement(n, *(math.nan,) * 6)
    bias, sd = float(apart.mean()), float(apart.std(ddof=1))
    return Agreement(
        pairs=n,
        bias=bias,
        sd=sd,
        lower=bias - multiplier * sd,
        upper=bias + multiplier * sd,
        se_bias=sd / math.sqrt(n),
        se_limit=sd * math.sqrt(3.0 / n),
    )
