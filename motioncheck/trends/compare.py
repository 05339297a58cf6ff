"""Comparing sessions of one side: what changed, what did not, what cannot be compared."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from motioncheck.records.history import Better, Trial
from motioncheck.records.trend import Change, Mdc, Statistic, TrendPoint
from motioncheck.trends.change import (
    amount,
    best_allowance,
    choose_mdc,
    find_own_error,
    needed_change,
)
from motioncheck.trends.figures import Figure
from motioncheck.trends.points import Line, best_of, mean_of
from motioncheck.trends.segments import compare_setups
from motioncheck.wording import MINUS

NO_LIMIT = "What change counts is not known for this measure, so nothing is said about it."
NOT_COMPARABLE = "Filmed or measured in another way, so the two are not compared."


@dataclass(frozen=True, slots=True)
class Limits:
    """What holds for one side: a figure for the mean and one for the best of a session.

    ``sd_within`` is the usual spread of the values of one clip; NaN where no clip has two.
    """

    mean: Mdc
    best: Mdc
    sd_within: float


def find_limits(line: Line, figure: Figure | None, better: Better, unit: str) -> Limits:
    """Find the minimal detectable change of one side from its own trials or from elsewhere.

    Repeats count from those sessions that can be compared with the last one.
    """
    last = line.trials[-1][0]
    alike = [day for day in line.trials if compare_setups(last, day[0]).comparable]
    widths = [t.uncertainty for day in alike for t in day if t.uncertainty is not None]
    usual = median(widths) if widths else None
    repeats = [day for day in alike if len(day) > 1]
    means = find_own_error([[mean_of(t) for t in day] for day in repeats])
    bests = find_own_error([[best_of(t, better) for t in day] for day in repeats])
    return Limits(
        choose_mdc(means, figure, usual, unit),
        choose_mdc(bests, figure, usual, unit),
        _spread_within([t for day in alike for t in day]),
    )


def _spread_within(trials: Sequence[Trial]) -> float:
    squares = [(t.count - 1, t.sd**2) for t in trials if t.sd is not None and t.count > 1]
    df = sum(n for n, _ in squares)
    return math.sqrt(sum(n * s for n, s in squares) / df) if df else math.nan


def find_changes(
    points: Sequence[TrendPoint], limits: Limits, better: Better, unit: str
) -> tuple[Change, ...]:
    """Compare the last session with earlier ones, by the mean and, where there is one, the best.

    Returns
    -------
    tuple of Change
        Last against the first and the latest of its segment, then, as not comparable, against the
        one before and the first of all where these are of another segment. Each pair once.
    """
    last = len(points) - 1
    same = [i for i, p in enumerate(points) if p.segment == points[last].segment and i < last]
    earlier = dict.fromkeys(i for i in (*same[:1], *same[-1:], last - 1, 0) if 0 <= i < last)
    statistics: tuple[Statistic, ...] = ("mean", "best") if better else ("mean",)
    return tuple(
        compare_points(points[i], points[last], statistic, limits, better, unit)
        for i in earlier
        for statistic in statistics
    )


def compare_points(
    before: TrendPoint,
    after: TrendPoint,
    statistic: Statistic,
    limits: Limits,
    better: Better,
    unit: str,
) -> Change:
    """Compare two sessions by one statistic: ``changed`` only beyond what is needed."""
    one, two = (_value_of(p, statistic) for p in (before, after))
    if one is None or two is None or before.segment != after.segment:
        return Change(
            statistic,
            before.day,
            after.day,
            one,
            two,
            None,
            None,
            "not comparable",
            None,
            NOT_COMPARABLE,
        )
    apart = two - one
    needed = _needed(before, after, statistic, limits)
    told = f"{_size(one, unit)} then, {_size(two, unit)} now: {_moved(apart, unit)}."
    if needed is None:
        return Change(
            statistic,
            before.day,
            after.day,
            one,
            two,
            apart,
            None,
            "no limit",
            None,
            f"{told} {NO_LIMIT}",
        )
    changed = abs(apart) > needed
    beyond = "more than" if changed else "not more than"
    word = "changed" if changed else "no change that this method can see"
    up = apart > 0
    return Change(
        statistic=statistic,
        from_day=before.day,
        to_day=after.day,
        from_value=one,
        to_value=two,
        difference=apart,
        needed=needed,
        word="changed" if changed else "no change that this method can see",
        better=up == (better == "higher") if changed and better else None,
        text=f"{told} That is {beyond} the {_size(needed, unit)} needed: {word}.",
    )


def _value_of(point: TrendPoint, statistic: Statistic) -> float | None:
    return point.best if statistic == "best" else point.mean


def _needed(
    before: TrendPoint, after: TrendPoint, statistic: Statistic, limits: Limits
) -> float | None:
    clips = (before.trials, after.trials)
    if statistic == "mean":
        widths = (before.mean_uncertainty, after.mean_uncertainty)
        return needed_change(limits.mean, clips, half_widths=widths)
    widths = (before.best_uncertainty, after.best_uncertainty)
    base = needed_change(limits.best, (1, 1), half_widths=widths)
    if base is None or limits.best.sem is None:
        return None
    tries = (before.values, after.values)
    return base + best_allowance(tries, clips, limits.sd_within, limits.best.sem)


def _size(value: float, unit: str) -> str:
    return amount(value, unit).replace("-", MINUS)


def _moved(apart: float, unit: str) -> str:
    size = _size(abs(apart), unit)
    if apart == 0.0:
        return "the same"
    return f"{size} {'more' if apart > 0 else 'less'}"
