"""Finding stages: poses in a known order, each with a stop."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from motioncheck.errors import ShapeError
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.splitting.stillness import (
    AXIS_HZ,
    Stretch,
    find_rest,
    find_stretches,
    fit_lines,
    list_runs,
)

Direction = Literal["up", "down", "turn"]
# Stillness within a stage that is broken for less than this goes on.
RESTLESS_S = 0.3
EDGE_S = 0.1


@dataclass(frozen=True, slots=True)
class StageWindow:
    """A range of one signal, and how far outside of it counts as one unit of misfit.

    ``measure`` is the column of the signal; ``tolerance`` is above 0, in the unit of the signal.
    The misfit counts at most ``most`` tolerances, so that a bad landmark is not worse than a wrong
    pose. With the default a single window missed by as much for a second or more means that the
    body is not in the stage, if the stage has at most five windows; at 2 it takes several.
    """

    measure: int
    low: float
    high: float
    tolerance: float
    most: float = 3.0


@dataclass(frozen=True, slots=True)
class StageShape:
    """The windows that make a stage; at least one."""

    windows: tuple[StageWindow, ...]


@dataclass(frozen=True, slots=True)
class StageRule:
    """How stages are told apart. All defaults: common practice, no source.

    Costs are mean squared misfits, in tolerances, times seconds.

    Attributes
    ----------
    min_time_s : float
        A stage held still for less is rushed.
    speed_limit : float
        The body is still below this speed, in statures a second.
    visit_cost : float
        A stage counts as visited when its misfit gets as low as this.
    other_cost : float
        Misfit of belonging to no stage at all.
    step_cost : float
        Cost of going from a stage to its neighbour.
    skip_cost : float
        Cost on top for every stage left out.
    leave_cost : float
        Cost of going from a stage to none, and from none to a stage.
    merge_s : float
        Leaving a stage for less than this, and coming back to it, is no second visit.
    bridge_s : float
        Gaps up to this length are bridged.
    """

    min_time_s: float = 0.5
    speed_limit: float = 0.05
    visit_cost: float = 1.0
    other_cost: float = 1.5
    step_cost: float = 0.1
    skip_cost: float = 0.5
    leave_cost: float = 0.15
    merge_s: float = 1.0
    bridge_s: float = 0.5


@dataclass(frozen=True, slots=True)
class StageVisit:
    """One stop at a stage.

    ``stage`` counts from 1. ``start_s`` is when the body came to rest there and ``end_s`` when it
    began to move on; for a stage passed through without a stop both are the moment at which it
    fitted best. ``direction`` is ``turn`` where the stages before and after lie on the same side.
    ``rushed`` tells that the stop was shorter than the rule wants; never so when it is cut off,
    which ``complete`` = False tells. ``misfit`` is the mean squared distance from the windows,
    in tolerances, during the stop; NaN where none of them is known then.
    """

    stage: int
    start_s: float
    end_s: float
    direction: Direction
    rushed: bool
    complete: bool
    misfit: float


def find_stages(
    time_s: FloatArray,
    signals: FloatArray,
    speed: FloatArray,
    stages: tuple[StageShape, ...],
    rule: StageRule,
) -> list[StageVisit]:
    """Find which stage the body is at when.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Strictly increasing.
    signals : ndarray, shape (T, K)
        What the windows look at. Where one is NaN, the others of a stage decide; where all of
        them are, the frame is a gap.
    speed : ndarray, shape (T,)
        Speed of the whole body in statures a second, such as the mean over its joints; a frame
        where it is NaN is a gap.
    stages : tuple of StageShape
        In their order.
    rule : StageRule
        How stages are told apart.

    Returns
    -------
    list of StageVisit
        In time order. Frames that fit no stage belong to no visit.

    Raises
    ------
    ShapeError
        If the lengths differ, or a window looks at a column that is not there.

    Notes
    -----
    The most likely sequence of stages under the costs of the rule (Viterbi): staying is free,
    the next stage is cheap, a skip dearer. A stage that such a path leads through without ever
    coming near its windows was not visited.
    """
    columns = [w.measure for shape in stages for w in shape.windows]
    if columns and max(columns) >= signals.shape[1]:
        raise ShapeError(f"signals: expected {max(columns) + 1} columns, found {signals.shape}.")
    visits: list[StageVisit] = []
    for stretch in find_stretches(time_s, signals, speed, bridge_s=rule.bridge_s):
        visits += _find_in(stretch, stages, rule)
    return _add_directions(visits)


def compute_misfits(signals: FloatArray, stages: Sequence[StageShape]) -> FloatArray:
    """Compute how badly every frame fits every stage.

    Parameters
    ----------
    signals : ndarray, shape (N, K)
    stages : sequence of StageShape, length S

    Returns
    -------
    ndarray, shape (N, S)
        Mean over the known windows of the squared distance outside, in tolerances. 0 inside of
        all. NaN where no window of the stage is known.
    """
    misfits = np.full((len(signals), len(stages)), np.nan)
    for n, shape in enumerate(stages):
        parts = [_outside(signals[:, w.measure], w) for w in shape.windows]
        squares = np.square(np.stack(parts, axis=1))
        known = np.isfinite(squares)
        some = known.any(axis=1)
        total = np.where(known, squares, 0.0).sum(axis=1)
        misfits[some, n] = total[some] / known.sum(axis=1)[some]
    return misfits


def _outside(values: FloatArray, window: StageWindow) -> FloatArray:
    beyond = np.maximum(window.low - values, values - window.high)
    return np.asarray(np.clip(beyond / window.tolerance, 0.0, window.most))


def _find_in(stretch: Stretch, stages: tuple[StageShape, ...], rule: StageRule) -> list[StageVisit]:
    level, _ = fit_lines(stretch.values)
    speed, _ = fit_lines(stretch.speed[:, None])
    misfits = compute_misfits(level, stages)
    # A stage of which nothing is known is as likely as none.
    costs = np.where(np.isfinite(misfits), misfits, rule.other_cost)
    costs = np.column_stack([costs, np.full(len(costs), rule.other_cost)])
    path = _find_path(costs / AXIS_HZ, rule)
    still = speed[:, 0] < rule.speed_limit
    stops = []
    for stage, first, stop in _list_visits(path, misfits, rule):
        a, b = _find_stop(still, misfits[:, stage], first, stop)
        stops.append((stage, a, b))
    visits = []
    for n, (stage, a, b) in enumerate(stops):
        part = misfits[a : b + 1, stage]
        part = part[np.isfinite(part)]
        misfit = float(part.mean()) if len(part) else float("nan")
        sizes = _sizes([stages[k] for k in _list_around(stops, n)], stretch.values.shape[1])
        visits.append(_measure(stretch, sizes, (stage, a, b), misfit, rule))
    return visits


def _list_around(stops: list[tuple[int, int, int]], n: int) -> set[int]:
    """Return the stages that a stop is one of, or is next to, up to those with a rest.

    What only other stages look at may stray meanwhile: it does not tell these stages apart.
    """
    around = {stops[n][0]}
    for way in (stops[n + 1 :], stops[:n][::-1]):
        for stage, first, last in way:
            around.add(stage)
            if last > first:
                break
    return around


def _find_path(costs: FloatArray, rule: StageRule) -> list[int]:
    """Return the cheapest sequence of states; the last state is none of the stages."""
    count = costs.shape[1]
    apart = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    change = np.where(apart > 0, rule.step_cost + rule.skip_cost * (apart - 1), 0.0)
    change[-1, :-1] = change[:-1, -1] = rule.leave_cost
    total = costs[0]
    origins = np.zeros(costs.shape, dtype=np.intp)
    for n in range(1, len(costs)):
        ways = total[:, None] + change
        origins[n] = ways.argmin(axis=0)
        total = ways[origins[n], np.arange(count)] + costs[n]
    path = [int(total.argmin())]
    for n in range(len(costs) - 1, 0, -1):
        path.append(int(origins[n, path[-1]]))
    return path[::-1]


def _list_visits(
    path: list[int], misfits: FloatArray, rule: StageRule
) -> list[tuple[int, int, int]]:
    """List the runs of one stage that come near to it, as (stage, first, one past the last)."""
    visits: list[tuple[int, int, int]] = []
    begin = 0
    for stage, run in itertools.groupby(path):
        first, begin = begin, begin + sum(1 for _ in run)
        if stage == misfits.shape[1]:
            continue
        part = misfits[first:begin, stage]
        if not (part <= rule.visit_cost).any():
            continue
        if visits and visits[-1][0] == stage and first - visits[-1][2] < rule.merge_s * AXIS_HZ:
            visits[-1] = (stage, visits[-1][1], begin)
        else:
            visits.append((stage, first, begin))
    return visits


def _find_stop(still: BoolArray, misfit: FloatArray, first: int, stop: int) -> tuple[int, int]:
    """First and last index of the longest stillness in a run; without any, its best fit twice."""
    rests: list[tuple[int, int]] = []
    for a, b in list_runs(still[first:stop]):
        if rests and a - rests[-1][1] < RESTLESS_S * AXIS_HZ:
            rests[-1] = (rests[-1][0], b)
        else:
            rests.append((a, b))
    if not rests:
        part = misfit[first:stop]
        best = first + int(np.median(np.flatnonzero(part <= np.nanmin(part))))
        return best, best
    a, b = max(rests, key=lambda r: r[1] - r[0])
    return first + a, first + b - 1


def _measure(
    stretch: Stretch,
    sizes: FloatArray,
    stop: tuple[int, int, int],
    misfit: float,
    rule: StageRule,
) -> StageVisit:
    stage, first, last = stop
    t, edge = stretch.time_s, round(EDGE_S * AXIS_HZ)
    from_edge, to_edge = first <= edge, last >= len(t) - 1 - edge
    start_s, end_s = float(t[first]), float(t[last])
    rest_s = end_s - start_s
    if last > first and not from_edge:
        start_s = max(start_s, find_rest(t, stretch.values, first, sizes=sizes, rest_s=rest_s))
    if last > first and not to_edge:
        back = (-t[::-1], stretch.values[::-1], len(t) - 1 - last)
        end_s = min(end_s, -find_rest(*back, sizes=sizes, rest_s=rest_s))
    if end_s < start_s:
        start_s = end_s = (start_s + end_s) / 2.0
    complete = not (from_edge or to_edge)
    return StageVisit(
        stage=stage + 1,
        start_s=start_s,
        end_s=end_s,
        direction="turn",
        rushed=complete and end_s - start_s < rule.min_time_s,
        complete=complete,
        misfit=misfit,
    )


def _sizes(stages: Sequence[StageShape], count: int) -> FloatArray:
    """Smallest movement of each signal that counts; infinite for one that none looks at."""
    sizes = np.full(count, np.inf)
    for shape in stages:
        for window in shape.windows:
            sizes[window.measure] = min(sizes[window.measure], window.tolerance)
    return sizes


def _add_directions(visits: list[StageVisit]) -> list[StageVisit]:
    """Say whether each visit lies on the way up or down; a visit of the same stage says nothing."""
    stages = [v.stage for v in visits]
    directed = []
    for n, visit in enumerate(visits):
        before = stages[n] - stages[n - 1] if n else 0
        after = stages[n + 1] - stages[n] if n + 1 < len(stages) else 0
        up, down = max(before, after) > 0, min(before, after) < 0
        way: Direction = "turn" if up == down else "up" if up else "down"
        directed.append(replace(visit, direction=way))
    return directed
