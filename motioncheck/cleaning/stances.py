"""Where both feet stand side by side, and the stretches in between in which one is away."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from motioncheck.cleaning.runs import IntArray, find_runs
from motioncheck.records.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class StandingRule:
    """When a foot stands and when it is away; lengths in legs, project judgement.

    Attributes
    ----------
    beside_ratio : float
        Feet nearer to each other than this stand side by side; wider ones are not confused.
    rest_ratio : float
        Feet that stand move by less than this within half of ``rest_s``: three times the jitter of
        the model.
    rest_s : float
        So long both feet rest where they stand side by side.
    back_ratio : float
        Feet that come back to within this of where they stood did not walk on.
    away_ratio : float
        Feet further apart than this are not side by side any more. So while one foot stands, the
        middle of both ankles is off its place by half as much; where it comes back, both feet did,
        if only in passing: a mixture of both legs leaves the middle where it is.
    side_ratio : float
        From where the middle of both ankles leaves its place by this much, labels may be wrong.
    away_s : float
        A foot that is away for less than this may be that of a runner.
    turn_ratio : float
        Where the names change while the feet are no further apart than this, one foot may have come
        back and the other left.
    turn_speed_per_s : float
        It may, too, where that takes no more than this speed, in legs per second: that of a runner.
    place_ratio : float
        A foot within this of a place stands there: the ankle gives way by as much when the knee
        bends over it.
    apart_ratio : float
        Places nearer to each other than this cannot be told apart.
    stay_ratio : float
        While the other foot leaves, one that stays moves no further than this from its place.
    sure_share : float
        From the middle between the places, where 0.5 is a place itself, a foot that is so far on
        the way to the far one stands there.
    likely_share : float
        Half as far is enough if the foot of the same name stood elsewhere at another time ...
    elsewhere_share : float
        ... by half the distance between the places, on the near side.
    least_s : float
        Exchanges shorter than this are left to what tells them from frame to frame.
    speed_per_s : float
        Feet of which one stands come nearer to each other no faster than this, in legs per second.
    murky_share : float
        Where more than this share of a stretch is a mixture, the rest of it is not clean either.
    settle_s : float
        Between two mixtures no further apart than this the legs are not clean either: the model
        smooths what it shows.
    blend_share : float
        Legs that are seen with less than this share of the distance they must have are a mixture.
    """

    beside_ratio: float = 0.25
    rest_ratio: float = 0.03
    rest_s: float = 0.3
    back_ratio: float = 0.04
    away_ratio: float = 0.3
    side_ratio: float = 0.04
    away_s: float = 0.5
    turn_ratio: float = 0.45
    turn_speed_per_s: float = 10.0
    place_ratio: float = 0.08
    apart_ratio: float = 0.025
    stay_ratio: float = 0.06
    sure_share: float = 0.2
    likely_share: float = 0.1
    elsewhere_share: float = 0.5
    least_s: float = 0.2
    speed_per_s: float = 3.0
    murky_share: float = 0.2
    settle_s: float = 0.1
    blend_share: float = 0.8


@dataclass(slots=True)
class AwaySpell:
    """A stretch in which one foot is away; lengths in legs.

    Attributes
    ----------
    inner : slice
        Its frames in the track.
    feet : ndarray, shape (N, 2, P, 2)
    off : ndarray, shape (N,)
        How far the ankle that is nearest to a place is from it.
    clear : ndarray of int, shape (C,)
        Its frames in which one foot is away and the other at its place.
    named : ndarray of int, shape (C,)
        What the model calls the one that stands: 0 left, 1 right.
    places : ndarray, shape (2, P, 2)
        Where left and right foot stood.
    along : ndarray, shape (P,)
        Where the points of the standing foot are between the near place (-0.5) and the far one
        (0.5); NaN where these cannot be told apart.
    from_stance : bool
        It is the first after both feet stood side by side.
    """

    inner: slice
    feet: FloatArray
    off: FloatArray
    clear: IntArray
    named: IntArray
    places: FloatArray
    along: FloatArray
    from_stance: bool

    @property
    def name(self) -> int:
        """What the model calls the standing foot most of the time."""
        return int(self.named.mean() > 0.5)

    @property
    def far(self) -> int:
        """The foot that stood higher in the picture."""
        return _find_far(self.places)


def sum_s(frames: IntArray, time_s: FloatArray) -> float:
    """Return how long some frames last together."""
    return float(len(frames) * np.median(np.diff(time_s))) if len(time_s) > 1 else 0.0


def list_spells(feet: FloatArray, time_s: FloatArray, rule: StandingRule) -> Iterator[AwaySpell]:
    """Yield the stretches between two stances at the same place in which one foot is away."""
    stances = _find_stances(feet[:, :, 0], time_s, rule)
    places = [np.asarray(np.median(feet[a:b], axis=0)) for a, b in stances]
    for k in range(len(stances) - 1):
        if np.linalg.norm(places[k + 1] - places[k], axis=-1)[:, 0].max() > rule.back_ratio:
            continue
        first, stop = stances[k][1], stances[k + 1][0]
        place = 0.5 * (places[k] + places[k + 1])
        begin_first = True
        for inner in _split(feet[first:stop], time_s[first:stop], place, rule):
            inner = slice(first + inner.start, first + inner.stop)
            spell = _measure(inner, feet[inner], place, rule, from_stance=begin_first)
            begin_first = False
            if sum_s(spell.clear, time_s[inner]) >= rule.away_s:
                yield spell


def _split(
    feet: FloatArray, time_s: FloatArray, places: FloatArray, rule: StandingRule
) -> list[slice]:
    """Return the stretches in which a foot is away."""
    ankles = feet[:, :, 0]
    moved = np.linalg.norm(ankles.mean(axis=1) - places[:, 0].mean(axis=0), axis=-1)
    out = find_runs(~(moved <= 0.5 * rule.away_ratio)[:, None])
    stretches = []
    for a, b in zip(out.start, out.stop, strict=True):
        begun, ended = _widen(moved, int(a), int(b), rule.side_ratio)
        turns = begun + _find_turns(feet[begun:ended], time_s[begun:ended], places, rule)
        cuts = [begun, *turns.tolist(), ended]
        stretches += [slice(x, y) for x, y in itertools.pairwise(cuts) if y > x]
    return stretches


def _find_turns(
    feet: FloatArray, time_s: FloatArray, places: FloatArray, rule: StandingRule
) -> IntArray:
    """Return the frames in which one foot may have come back and the other left.

    Feet that take turns near home may be those of a runner, who is in the air meanwhile. They are
    not, where what has either name stands at the place of the far foot.
    """
    clear, named, gap = _find_clear(feet[:, :, 0], places[:, 0], rule)
    possible = np.maximum(2.0 * rule.turn_ratio, rule.turn_speed_per_s * np.diff(time_s[clear]))
    turns = (np.diff(named) != 0) & (gap[:-1] + gap[1:] < possible)
    if not turns.any():
        return clear[:0]
    by_name = [_read_place(feet[clear[named == n], n], places, rule) for n in (0, 1)]
    alike = all(bool((share >= rule.sure_share).all()) for share in by_name)
    return clear[:0] if alike else np.asarray(clear[1:][turns])


def _find_clear(
    ankles: FloatArray, places: FloatArray, rule: StandingRule
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return the frames with one foot at a place and one away, who stands, how far apart."""
    gap = np.linalg.norm(ankles[:, 0] - ankles[:, 1], axis=-1)
    off = _measure_off(ankles, places)
    clear = np.flatnonzero((gap >= rule.away_ratio) & (off.min(axis=1) <= rule.place_ratio))
    named = np.asarray(off[clear, 1] < off[clear, 0]).astype(np.intp)
    return clear, named, gap[clear]


def _measure_off(ankles: FloatArray, places: FloatArray) -> FloatArray:
    """Return the distance of each ankle from the nearer place, shape (N, 2)."""
    off = np.linalg.norm(ankles[:, :, None] - places[None, None], axis=-1)
    return np.asarray(off.min(axis=2))


def _widen(moved: FloatArray, first: int, stop: int, least: float) -> tuple[int, int]:
    """Return the frames around in which the middle moves away and comes back."""
    while first > 0 and least < moved[first - 1] <= moved[first]:
        first -= 1
    while stop < len(moved) and least < moved[stop] <= moved[stop - 1]:
        stop += 1
    return first, stop


def _find_stances(
    ankles: FloatArray, time_s: FloatArray, rule: StandingRule
) -> list[tuple[int, int]]:
    """Return first and stop frame of each stretch in which both feet rest side by side."""
    half = rule.rest_s / 2.0
    early = np.clip(np.searchsorted(time_s, time_s - half), 0, len(time_s) - 1)
    late = np.clip(np.searchsorted(time_s, time_s + half), 0, len(time_s) - 1)
    moved = np.maximum(
        np.linalg.norm(ankles[late] - ankles, axis=-1),
        np.linalg.norm(ankles - ankles[early], axis=-1),
    ).max(axis=1)
    gap = np.linalg.norm(ankles[:, 0] - ankles[:, 1], axis=-1)
    # Comparisons with NaN are False.
    resting = np.asarray((moved <= rule.rest_ratio) & (gap <= rule.beside_ratio))
    runs = find_runs(resting[:, None])
    return [
        (int(a), int(b))
        for a, b in zip(runs.start, runs.stop, strict=True)
        if time_s[b - 1] - time_s[a] >= rule.rest_s
    ]


def _measure(
    inner: slice, feet: FloatArray, places: FloatArray, rule: StandingRule, *, from_stance: bool
) -> AwaySpell:
    clear, named, _ = _find_clear(feet[:, :, 0], places[:, 0], rule)
    off = _measure_off(feet[:, :, 0], places[:, 0]).min(axis=1)
    along = _read_place(feet[clear, named], places, rule)
    return AwaySpell(inner, feet, off, clear, named, places, along, from_stance)


def _find_far(places: FloatArray) -> int:
    # In a picture, down is positive; a lens at the height of the floor would show no difference.
    return int(places[1, 0, 1] < places[0, 0, 1])


def _read_place(points: FloatArray, places: FloatArray, rule: StandingRule) -> FloatArray:
    """Return where a standing foot, shape (N, P, 2), is between the places, as `along`."""
    far = _find_far(places)
    way = places[far] - places[1 - far]
    length = np.linalg.norm(way, axis=-1)
    # The height in the picture is what tells near from far.
    upright = np.abs(way[:, 1]) >= np.abs(way[:, 0])
    if len(points) == 0:
        return np.full(len(way), np.nan)
    offset = points - 0.5 * (places[0] + places[1])
    share = np.median((offset * way).sum(axis=-1), axis=0) / np.maximum(length, 1e-9) ** 2
    return np.where(upright & (length >= rule.apart_ratio), share, np.nan)
