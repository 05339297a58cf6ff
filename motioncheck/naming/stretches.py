"""From candidate events to stretches: which movement is done when, and how sure that is."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from motioncheck.naming.evidence import Candidate
from motioncheck.records.arrays import FloatArray

OTHER = "other"
STEP_S = 0.1
# An event of this score speaks neither for its movement nor for "other".
EVEN_SCORE = 0.5
# Nothing speaks more strongly against a movement than an event of this score does.
LEAST_SCORE = 0.15
# An event of which less is known speaks for nothing, but may lie within a set.
LEAST_KNOWN = 0.5
# An event that was cut off shows this much of itself, enough to keep another one company.
NEIGHBOUR_KNOWN = 0.3
# Evidence a second, in natural units, between two events of a set, and away from all of them.
PAUSE_GAIN, AWAY_GAIN = -0.05, -3.0
# What a change from one movement to another, or to none, has to be worth.
CHANGE_COST = 0.5
# From evidence to certainty, fitted on the clips for tuning: see docs/naming.md.
SURE_SLOPE, SURE_OFFSET = 9.0, -0.7


@dataclass(frozen=True, slots=True)
class Stretch:
    """A time in which one movement is done, or ``other``.

    ``confidence`` is how often such a name is right, 0 to 1; ``runner_up`` is the movement that
    comes next, ``other`` when none has anything to say for itself. ``events`` counts its events.
    """

    movement: str
    start_s: float
    end_s: float
    confidence: float
    runner_up: str
    events: int = 0


def find_stretches(
    candidates: Sequence[Candidate], start_s: float, end_s: float
) -> tuple[Stretch, ...]:
    """Divide a time among movements and ``other``.

    Parameters
    ----------
    candidates : sequence of Candidate
    start_s, end_s : float
        The time to divide.

    Returns
    -------
    tuple of Stretch
        Without gaps or overlaps, in time order.

    Notes
    -----
    Every movement gains or loses in every tenth of a second by the logarithm of the score of its
    event there; ``other`` gains nothing. Of all ways to divide the time that with the largest sum
    is taken, where each change costs something (Viterbi's algorithm).
    """
    names = sorted({c.movement for c in candidates})
    edges = _edges(start_s, end_s)
    if not names or len(edges) < 2:
        return (Stretch(OTHER, start_s, end_s, 1.0, OTHER),) if end_s > start_s else ()
    gains = np.stack(
        [_gain([c for c in candidates if c.movement == n], edges) for n in names]
        + [np.zeros(len(edges) - 1)]
    )
    path = _best_path(gains)
    stretches = []
    for first, last in _runs(path):
        stretches.append(_describe(first, last, int(path[first]), gains, edges, names, candidates))
    return tuple(stretches)


def _edges(start_s: float, end_s: float) -> FloatArray:
    count = max(1, math.ceil((end_s - start_s) / STEP_S - 1e-9))
    return np.asarray(np.minimum(start_s + STEP_S * np.arange(count + 1), end_s))


def _gain(candidates: Sequence[Candidate], edges: FloatArray) -> FloatArray:
    """Evidence for one movement in every step."""
    middle, lasts = (edges[1:] + edges[:-1]) / 2.0, np.diff(edges)
    rate = np.full(len(middle), AWAY_GAIN)
    ordered = sorted(candidates, key=lambda c: c.start_s)
    for start_s, end_s in _find_pauses(ordered):
        rate[(middle > start_s) & (middle < end_s)] = PAUSE_GAIN
    best = np.full(len(middle), -np.inf)
    for c, lone in zip(ordered, _find_lone(ordered), strict=True):
        inside = (middle >= c.start_s) & (middle <= c.end_s)
        best[inside] = np.maximum(best[inside], weigh(c) * (c.alone if lone else 1.0))
    return np.where(np.isfinite(best), best, rate) * lasts


def _find_pauses(ordered: Sequence[Candidate]) -> list[tuple[float, float]]:
    """List the pauses of sets: short enough, and with a well seen event before and after them."""
    pauses: list[tuple[float, float]] = []
    waiting: list[tuple[float, float]] = []
    reached = -math.inf
    for c in ordered:
        if c.start_s - reached > c.pause_s:
            waiting, reached = [], -math.inf
        elif c.start_s > reached:
            waiting.append((reached, c.start_s))
        if c.known >= LEAST_KNOWN:
            pauses += waiting
            waiting, reached = [], max(reached, c.end_s)
        elif math.isfinite(reached):
            reached = max(reached, c.end_s)
    return pauses


def _find_lone(ordered: Sequence[Candidate]) -> list[bool]:
    """Tell of each event whether no other good one of the same movement is near."""
    good = [c.score > EVEN_SCORE and c.known >= NEIGHBOUR_KNOWN for c in ordered]
    lone = [True] * len(ordered)
    last = -1
    for i, c in enumerate(ordered):
        if not good[i]:
            continue
        if last >= 0 and c.start_s - ordered[last].end_s <= ordered[last].pause_s:
            lone[i] = lone[last] = False
        last = i
    return lone


def weigh(candidate: Candidate) -> float:
    """Return the evidence of an event a second: what was not seen cannot speak for it."""
    gain = math.log(max(candidate.score, LEAST_SCORE) / EVEN_SCORE)
    if gain <= 0.0:
        return gain
    return gain * candidate.known if candidate.known >= LEAST_KNOWN else PAUSE_GAIN


def _best_path(gains: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """State of every step with the largest sum of gains less the cost of changes.

    The last state is "other".
    """
    states, steps = gains.shape
    # Out of one movement and into another: two changes, even where nothing lies in between.
    cost = np.full((states, states), 2.0 * CHANGE_COST)
    cost[-1, :] = cost[:, -1] = CHANGE_COST
    np.fill_diagonal(cost, 0.0)
    total = gains[:, 0].copy()
    came_from = np.zeros((steps, states), dtype=np.intp)
    for i in range(1, steps):
        ways = total[:, None] - cost
        came_from[i] = ways.argmax(axis=0)
        total = ways.max(axis=0) + gains[:, i]
    path = np.empty(steps, dtype=np.intp)
    path[-1] = int(np.argmax(total))
    for i in range(steps - 1, 0, -1):
        path[i - 1] = came_from[i, path[i]]
    return path


def _runs(path: np.ndarray[tuple[int], np.dtype[np.intp]]) -> list[tuple[int, int]]:
    """First and one past the last step of every run of one state."""
    cuts = [0, *(np.flatnonzero(np.diff(path)) + 1).tolist(), len(path)]
    return list(itertools.pairwise(cuts))


def _describe(
    first: int,
    last: int,
    state: int,
    gains: FloatArray,
    edges: FloatArray,
    names: list[str],
    candidates: Sequence[Candidate],
) -> Stretch:
    start_s, end_s = float(edges[first]), float(edges[last])
    means = gains[:, first:last].sum(axis=1) / (end_s - start_s)
    order = [i for i in np.argsort(-means, kind="stable") if i != state]
    runner = int(order[0])
    margin = float(means[state] - means[runner])
    labels = [*names, OTHER]
    mine = [
        c
        for c in candidates
        if c.movement == labels[state] and start_s <= (c.start_s + c.end_s) / 2.0 <= end_s
    ]
    confidence = 1.0 / (1.0 + math.exp(-(SURE_SLOPE * margin + SURE_OFFSET)))
    return Stretch(labels[state], start_s, end_s, confidence, labels[runner], len(mine))
