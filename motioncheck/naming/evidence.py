"""What speaks for a movement: its own events in a clip, and how well each fits its signature."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from motioncheck.checks.moments import read_measure
from motioncheck.measures import REGISTRY
from motioncheck.naming.other_ways import find_reps
from motioncheck.naming.poses import find_poses
from motioncheck.records import Event, MeasureTable
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.rules import split_table
from motioncheck.skeleton import Side
from motioncheck.splitting import Motion
from motioncheck.standards import CycleSplit, Feature, HoldSplit, Standard

SIDES: tuple[Side, Side] = ("left", "right")
OTHER_SIDE = {"left": "right", "right": "left"}
# Measures of an event that are no series over time.
LENGTHS = ("rep_time_s", "hold_time_s")
# What can be read of an event that was cut off by the edge of what was filmed.
EXTREMES = ("turn", "max", "min")
# Longest pause within a set, seconds: from a hold to the next one the body changes sides.
PAUSE_S = {"cycle": 5.0, "hold": 10.0, "stages": 10.0}
# On the way from one movement to another much looks like a single rep; little looks like a hold.
ALONE = {"cycle": 0.2, "hold": 1.0, "stages": 1.0}
# An event found in another way is left out when its own split found one as good in its place.
SAME_PLACE, AS_GOOD = 0.5, 0.9
# A single stage may be anything, standing for one; this many different ones are a sequence.
FEWEST_STAGES = 3


@dataclass(frozen=True, slots=True)
class Candidate:
    """An event that may belong to a movement.

    ``score`` is 1 when everything that can be seen of it lies in the ranges of the signature, 0
    when something lies certainly outside. ``known`` is the share of the signature that this camera
    showed. The next event of the same set begins within ``pause_s`` after it; without any other
    near it, it is worth the share ``alone``.
    """

    movement: str
    start_s: float
    end_s: float
    score: float
    known: float
    pause_s: float = PAUSE_S["cycle"]
    alone: float = ALONE["cycle"]


def find_candidates(
    table: MeasureTable, motion: Motion, present: BoolArray, standard: Standard
) -> tuple[Candidate, ...]:
    """Split a whole clip as one movement would be, and score the events.

    Parameters
    ----------
    table : MeasureTable
    motion : Motion
    present : ndarray of bool, shape (T,)
        As for `motioncheck.rules.split_table`.
    standard : Standard
        One with a signature.

    Returns
    -------
    tuple of Candidate
        In time order. Events of which nothing in the signature is known are left out; those cut
        off by the edge of what was filmed are among them.
    """
    timeline = split_table(table, motion, standard, present)
    pairs = [*((e, True) for e in timeline.events), *((e, False) for e in timeline.partial)]
    found = _score_all(table, standard, pairs)
    if standard.split.kind == "stages":
        return tuple(c for group in _sequences(found) for c in _weaken_short(group))
    own = [candidate for _, candidate in found]
    if isinstance(standard.split, HoldSplit):
        others = _score_poses(table, motion, standard, standard.split)
    else:
        pairs = find_reps(table, standard, present)
        others = [candidate for _, candidate in _score_all(table, standard, pairs)]
    return tuple(sorted([*own, *_leave_out_known(others, own)], key=lambda c: (c.start_s, c.end_s)))


def _score_all(
    table: MeasureTable, standard: Standard, pairs: Iterable[tuple[Event, bool]]
) -> list[tuple[Event, Candidate]]:
    """Score events, each with whether it is whole, in time order."""
    kind = standard.split.kind
    found = []
    for event, whole in sorted(pairs, key=lambda p: (p[0].start_s, p[0].end_s)):
        score, known = score_event(table, event, standard.signature, whole=whole)
        if _rests_long(event, standard):
            score = 0.0
        if known > 0.0:
            span = (event.start_s, event.end_s)
            candidate = Candidate(standard.id, *span, score, known, PAUSE_S[kind], ALONE[kind])
            found.append((event, candidate))
    return found


def _rests_long(event: Event, standard: Standard) -> bool:
    """Tell whether a repetition rests at its turn for longer than two of them may lie apart."""
    if not isinstance(standard.split, CycleSplit):
        return False
    turn = standard.split.phases[1]
    rest_s = sum(p.end_s - p.start_s for p in event.phases if p.name == turn)
    return rest_s > PAUSE_S["cycle"]


def _score_poses(
    table: MeasureTable, motion: Motion, standard: Standard, split: HoldSplit
) -> list[Candidate]:
    poses = find_poses(
        table,
        motion.hip,
        standard.signature,
        _fit_all,
        max_speed=split.max_speed,
        min_time_s=split.min_time_s,
    )
    return [Candidate(standard.id, *pose, PAUSE_S["hold"], ALONE["hold"]) for pose in poses]


def _leave_out_known(others: Iterable[Candidate], own: list[Candidate]) -> list[Candidate]:
    """Leave out what is mostly covered by an event that fits as well, of its own split or not.

    A hold may go on where its own split lost it, a repetition is there once.
    """

    def covers(a: Candidate, b: Candidate) -> bool:
        shared_s = min(a.end_s, b.end_s) - max(a.start_s, b.start_s)
        lasts_s = b.end_s - b.start_s
        if b.pause_s == PAUSE_S["cycle"]:
            lasts_s = min(lasts_s, a.end_s - a.start_s)
        as_good = a.score * a.known >= AS_GOOD * b.score * b.known
        return as_good and shared_s > SAME_PLACE * lasts_s

    kept: list[Candidate] = []
    for c in sorted(others, key=lambda c: -c.score * c.known):
        if not any(covers(a, c) for a in (*own, *kept)):
            kept.append(c)
    return kept


def _sequences(found: list[tuple[Event, Candidate]]) -> list[list[tuple[Event, Candidate]]]:
    """Part the stages where the pause is too long, or where one does not fit at all."""
    groups: list[list[tuple[Event, Candidate]]] = [[]]
    for pair in found:
        last = groups[-1][-1][1] if groups[-1] else None
        if last is not None and pair[1].start_s - last.end_s > last.pause_s:
            groups.append([])
        groups[-1].append(pair)
    return groups


def _weaken_short(group: list[tuple[Event, Candidate]]) -> list[Candidate]:
    """Take from the scores of a sequence in which too few different stages were visited."""
    stages = {event.stage for event, c in group if c.score > 0.0 and c.known >= 0.5}
    share = min(1.0, len(stages) / FEWEST_STAGES)
    return [c if share == 1.0 else replace(c, score=c.score * share**2) for _, c in group]


def score_event(
    table: MeasureTable, event: Event, signature: tuple[Feature, ...], *, whole: bool = True
) -> tuple[float, float]:
    """Return how well an event fits a signature, 0 to 1, and the share of it that is known.

    The fits of the features are multiplied: every one of them is asked for. What cannot be read
    does not count; of an event that was cut off (not ``whole``) that is all but its extremes.
    The name of a side is that which fits better: legs may be exchanged for a whole event.
    """
    sides = sorted(SIDES, key=lambda side: side != event.side)
    ways = [_score_side(table, replace(event, side=s), signature, whole=whole) for s in sides]
    return max(ways, key=lambda way: way[0] * way[1])


def _score_side(
    table: MeasureTable, event: Event, signature: tuple[Feature, ...], *, whole: bool
) -> tuple[float, float]:
    asked = [f for f in signature if whole or (f.moment in EXTREMES and f.measure not in LENGTHS)]
    fits = [fit_feature(table, event, feature) for feature in asked]
    known = [f for f in fits if np.isfinite(f)]
    lacking = any(f.needed and np.isnan(fit) for f, fit in zip(asked, fits, strict=True))
    if not known or lacking:
        return 0.0, 0.0
    return float(np.prod(known)), len(known) / len(signature)


def fit_feature(table: MeasureTable, event: Event, feature: Feature) -> float:
    """Return 1 inside the range of a feature, falling to 0 at ``slack`` outside; NaN if unknown."""
    if feature.measure in LENGTHS:
        return _fit(event.end_s - event.start_s, feature)
    if REGISTRY[feature.measure].compute is None:
        value = event.measures.get(feature.measure)
        return _fit(float("nan") if value is None or value.value is None else value.value, feature)
    values = [_read(table, column, event, feature) for column in _columns(event, feature)]
    if feature.side == "difference":
        values = [values[0] - values[1] if event.side in SIDES else abs(values[0] - values[1])]
    fits = [_fit(value, feature) for value in values]
    known = [f for f in fits if np.isfinite(f)]
    if not known:
        return float("nan")
    if feature.side == "either":
        # The side that was not seen may be the one that fits.
        return max(known) if len(known) == len(fits) or max(known) == 1.0 else float("nan")
    return min(known)


def _columns(event: Event, feature: Feature) -> tuple[str, ...]:
    """Columns that a feature asks for; an event without a side is asked on both."""
    if feature.side == "none":
        return (feature.measure,)
    if feature.side in ("both", "either") or event.side not in SIDES:
        return tuple(f"{feature.measure}_{side}" for side in SIDES)
    working, opposite = event.side, OTHER_SIDE[event.side]
    sides = {
        "working": (working,),
        "opposite": (opposite,),
        "difference": (working, opposite),
    }[feature.side]
    return tuple(f"{feature.measure}_{side}" for side in sides)


def _read(table: MeasureTable, column: str, event: Event, feature: Feature) -> float:
    return read_measure(table, column, event, feature.moment).value


def _fit(value: float, feature: Feature) -> float:
    return float(_fit_all(np.array([value]), feature)[0])


def _fit_all(values: FloatArray, feature: Feature) -> FloatArray:
    low = -np.inf if feature.at_least is None else feature.at_least
    high = np.inf if feature.at_most is None else feature.at_most
    outside = np.maximum(np.maximum(low - values, values - high), 0.0)
    return np.asarray(np.maximum(1.0 - outside / feature.slack, 0.0))
