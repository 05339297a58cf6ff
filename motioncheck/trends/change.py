"""The minimal detectable change: which figure holds for a person, and what two points need.

The figure is, in this order: from the person's own repeat clips of one session, where there are
enough of them; from the standard or from common practice; from the calibrated uncertainty of the
trials themselves.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

from motioncheck.records.trend import Mdc
from motioncheck.trends.figures import Figure
from motioncheck.trends.reliability import (
    Z_90,
    Z_95,
    compute_mdc95,
    compute_sem,
    compute_sem_from_differences,
    compute_two_way,
)
from motioncheck.wording import with_unit

# With fewer degrees of freedom the own figure is so wide that a true change of twice the 2.77 SEM
# of a well known error would be found in fewer than 90 of 100 cases (non-central t: 87.5 % at 5,
# 90.1 % at 6).
MIN_DF = 6
Design = Literal["differences", "two-way", "within days"]
NONE_KNOWN = "No figure is known for this measure, and its trials carry no uncertainty."
AFRESH = (
    "Clips of one session only tell this if the phone was put up anew between them; the person's "
    "own ups and downs from day to day are not in it and count as change."
)


@dataclass(frozen=True, slots=True)
class OwnError:
    """Standard error of measurement from repeat clips.

    ``sem`` is in the unit of the values, ``df`` its degrees of freedom. ``days`` are the sessions
    with two clips or more, ``clips`` all clips in them.
    """

    sem: float
    df: int
    days: int
    clips: int
    design: Design


def find_own_error(days: Sequence[Sequence[float]]) -> OwnError | None:
    """Find the standard error of measurement from the repeats of several sessions.

    Parameters
    ----------
    days : sequence of sequences of float
        The values of each session, one a clip, in the order of filming. NaN values are left out,
        and sessions with fewer than two values.

    Returns
    -------
    OwnError or None
        None where nothing was repeated, or where all repeats are equal to the last digit: then
        they are copies, not trials.

    Notes
    -----
    The sessions are the subjects, the clips of a session the trials. As many clips in every
    session: error of the two-way analysis of variance, which leaves out what the first clip of a
    session always has less than the second; with two clips a session that is the standard
    deviation of the differences over root two. Otherwise, or with one session only: pooled
    variance within sessions. Source: Weir 2005.
    """
    repeats = [[v for v in day if not math.isnan(v)] for day in days]
    repeats = [day for day in repeats if len(day) > 1]
    if not repeats:
        return None
    clips = sum(len(day) for day in repeats)
    counts = {len(day) for day in repeats}
    design: Design
    if len(repeats) < 2 or len(counts) > 1:
        squares = sum(_squares(day) for day in repeats)
        df = clips - len(repeats)
        sem, design = math.sqrt(squares / df), "within days"
    elif counts == {2}:
        sem = compute_sem_from_differences([second - first for first, second in repeats])
        df, design = len(repeats) - 1, "differences"
    else:
        table = compute_two_way(repeats)
        sem, df, design = compute_sem(table), table.df_error, "two-way"
    # Rounding leaves about 1e-16 of the values where all repeats are equal.
    smallest = 1e-9 * max(abs(v) for day in repeats for v in day)
    return OwnError(sem, df, len(repeats), clips, design) if sem > smallest else None


def _squares(values: Sequence[float]) -> float:
    mean = sum(values) / len(values)
    return sum((v - mean) ** 2 for v in values)


def student_quantile(df: int | None) -> float:
    """Return the 97.5 % quantile of Student's t; of the normal distribution without ``df``."""
    if df is None:
        return Z_95
    from scipy.special import stdtrit

    return float(stdtrit(df, 0.975))


def choose_mdc(
    own: OwnError | None, figure: Figure | None, half_width: float | None, unit: str
) -> Mdc:
    """Return the minimal detectable change that holds, with where it is from in words.

    Parameters
    ----------
    own : OwnError or None
        From repeat clips; used from ``MIN_DF`` degrees of freedom on.
    figure : Figure or None
        What the standard or common practice gives.
    half_width : float or None
        Usual half-width of the 90 % interval of one trial, for measures without a figure.
    unit : str
        Unit of the measure, for the text.
    """
    if own is not None and own.df >= MIN_DF:
        quantile = student_quantile(own.df)
        value = quantile * math.sqrt(2.0) * own.sem
        return Mdc(value, own.sem, "own", own.df, _own_text(own, value, quantile, unit))
    so_far = _so_far_text(own, unit)
    if figure is not None:
        if figure.change is None:
            return Mdc(None, None, "", None, f"{figure.source}{so_far}")
        sem = figure.change / compute_mdc95(1.0)
        size = amount(figure.change, unit)
        return Mdc(figure.change, sem, figure.origin, None, f"{size}. {figure.source}{so_far}")
    if half_width is None or math.isnan(half_width):
        return Mdc(None, None, "", None, f"{NONE_KNOWN}{so_far}")
    sem = half_width / Z_90
    value = compute_mdc95(sem)
    text = (
        f"{amount(value, unit)}, from the calibrated uncertainty of the trials: ± "
        f"{amount(half_width, unit)} at 90 % is a standard error of {amount(sem, unit)}, and "
        f"1.96 × √2 of that is the change.{so_far}"
    )
    return Mdc(value, sem, "calibrated", None, text)


def needed_change(
    mdc: Mdc,
    clips: tuple[int, int],
    *,
    half_widths: tuple[float | None, float | None] = (None, None),
) -> float | None:
    """Return by how much two points must differ to count as changed; None without a figure.

    Parameters
    ----------
    mdc : Mdc
        What holds for two single clips.
    clips : tuple of int
        How many clips each of the two values is the mean of; 1 for a best value.
    half_widths : tuple of float or None
        Half-widths of the 90 % intervals of the two, used where the figure is calibrated.

    Notes
    -----
    Only an own figure gets smaller with more clips: the error of one clip is shared by all its
    reps, and repeats tell how much differs between clips. A figure from elsewhere is one from
    session to session, and how much of it all clips of a session share is not known.
    """
    if mdc.value is None or mdc.sem is None:
        return None
    if mdc.origin == "own":
        first, last = clips
        return student_quantile(mdc.df) * mdc.sem * math.sqrt(1.0 / first + 1.0 / last)
    before, after = half_widths
    if mdc.origin == "calibrated" and before is not None and after is not None:
        return Z_95 * math.hypot(before, after) / Z_90
    return mdc.value


def expected_best(tries: int) -> float:
    """Return by how much the best of so many equal tries is above their mean, in their SD.

    Blom's approximation for normal values (Blom 1958, from memory); 0 for one try.
    """
    if tries <= 1:
        return 0.0
    return NormalDist().inv_cdf((tries - 0.375) / (tries + 0.25))


def best_allowance(
    tries: tuple[int, int], clips: tuple[int, int], sd_within: float, sem: float
) -> float:
    """Return what the best of more tries gains by chance alone, in the unit of the measure.

    Parameters
    ----------
    tries : tuple of int
        Values (reps) of the two sessions.
    clips : tuple of int
        Clips of the two sessions.
    sd_within : float
        Spread of the values of one clip; NaN counts as none.
    sem : float
        Error of one clip; it adds to the spread only where the numbers of clips differ.
    """
    between = sem if clips[0] != clips[1] else 0.0
    spread = math.hypot(0.0 if math.isnan(sd_within) else sd_within, between)
    return abs(expected_best(tries[0]) - expected_best(tries[1])) * spread


def amount(value: float, unit: str) -> str:
    """Return a change with its unit: a decimal for degrees, two for ratios and seconds."""
    return with_unit(value, unit, digits=1)


def _own_text(own: OwnError, value: float, quantile: float, unit: str) -> str:
    how = {
        "differences": "standard deviation of the differences of two clips over √2",
        "two-way": "root of the error mean square of a two-way analysis of variance",
        "within days": "pooled spread within sessions",
    }[own.design]
    return (
        f"{amount(value, unit)}, from {own.clips} own clips of {own.days} "
        f"session{'s' if own.days > 1 else ''} with repeats: SEM {amount(own.sem, unit)} ({how}, "
        f"{own.df} degrees of freedom), times √2 and {quantile:.2f} (Student's t; Weir 2005). That "
        "is between two sessions of one clip each; means of more clips count from less on. "
        f"{AFRESH}"
    )


def _so_far_text(own: OwnError | None, unit: str) -> str:
    if own is None:
        return ""
    return (
        f" Own repeats so far: SEM {amount(own.sem, unit)} with {own.df} of the {MIN_DF} degrees "
        "of freedom that an own figure needs."
    )
