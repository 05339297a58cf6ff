"""Finding repetitions in one signal: away from a resting value and back again.

All thresholds are shares of the movement's own size, so that no clip needs tuning. The signal is
turned so that a repetition is a hill; ``lowest`` movements are handled by its negative.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from motioncheck.records.arrays import FloatArray

# Ripple smaller than this share of a rep is a pause, not a turn.
RIPPLE_SHARE = 0.30
# Start, end and pause of a rep: at least this share of the way from rest or turn, and on from
# there to where the speed falls below this share of its peak (common practice, no source).
EDGE_SHARE = 0.05
SLOW_SHARE = 0.10
# From this long a rest at the turn on, the turn is its middle.
REST_AT_TURN_S = 0.2
# The stretch around the turn that counts as "at the turn".
TURN_SHARE = 0.02
# First and last rep are unfinished when the signal never came within this share of rest.
REST_SHARE = 0.35
# Before a set and after it a rest may last; one of more than this is no part of the rep.
LONG_REST_S = 1.0
# Gaps up to this length are bridged for counting (values inside stay missing).
BRIDGE_S = 0.5
# How far beyond the edge of a stretch to look for the body.
EDGE_LOOK_S = 0.25

BoolArray = np.ndarray[tuple[int], np.dtype[np.bool_]]


@dataclass(frozen=True, slots=True)
class Cycle:
    """One hill of the signal.

    ``start_s``, ``turn_s``, ``end_s`` have sub-frame precision. ``hold_from_s`` and
    ``hold_to_s`` enclose the pause at the turn (equal to the turn when there is none).
    """

    start_s: float
    turn_s: float
    end_s: float
    hold_from_s: float
    hold_to_s: float
    size: float
    complete: bool


@dataclass(frozen=True, slots=True)
class CycleRule:
    """What a repetition must be.

    Attributes
    ----------
    min_change : float
        Smallest change of the signal, in its unit.
    min_time_s, max_time_s : float
        Shortest time between turns, longest time of a rep.
    min_share : float
        Smallest rep as a share of the median rep (0.4: common practice, no source).
    """

    min_change: float
    min_time_s: float
    max_time_s: float
    min_share: float = 0.4


def find_cycles(
    time_s: FloatArray, signal: FloatArray, *, rule: CycleRule, present: BoolArray | None = None
) -> list[Cycle]:
    """Find the hills of a signal.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Strictly increasing.
    signal : ndarray, shape (T,)
        Any unit; NaN where not measurable. Gaps longer than 0.5 s end a stretch.
    rule : CycleRule
        What counts as a repetition.
    present : ndarray of bool, shape (T,), optional
        Where the body is in the picture at all. A stretch that begins or ends only because a limb
        is hidden does not cut off a rep; one that begins or ends with the body (or the clip) does.

    Returns
    -------
    list of Cycle
        In time order. Cycles cut off by the start or end of a stretch have ``complete = False``.
    """
    stretches = _stretches(time_s, signal)
    peaks = [p for t, x in stretches for p in _peak_sizes(x, rule.min_change)]
    if not peaks:
        return []
    typical = float(np.median(peaks))
    smallest = max(rule.min_change, rule.min_share * typical)
    found: list[Cycle] = []
    for t, x in stretches:
        edges = (_is_hard(time_s, present, t[0], -1), _is_hard(time_s, present, t[-1], +1))
        found += _cycles_in(t, x, smallest, typical, rule, edges)
    return found


def _is_hard(time_s: FloatArray, present: BoolArray | None, edge_s: float, direction: int) -> bool:
    """Tell whether the body itself is missing just beyond the edge of a stretch."""
    if present is None:
        return True
    a, b = sorted((edge_s, edge_s + direction * EDGE_LOOK_S))
    if a < time_s[0] or b > time_s[-1]:
        return True
    beyond = present[(time_s >= a) & (time_s <= b)]
    return bool(len(beyond) == 0 or beyond.mean() < 0.5)


def _stretches(time_s: FloatArray, signal: FloatArray) -> list[tuple[FloatArray, FloatArray]]:
    """Cut at long gaps; short gaps are bridged by straight lines."""
    ok = np.isfinite(signal)
    t, x = time_s[ok], signal[ok]
    if len(t) < 3:
        return []
    cuts = np.flatnonzero(np.diff(t) > BRIDGE_S) + 1
    pieces = zip(np.split(t, cuts), np.split(x, cuts), strict=True)
    return [(a, b) for a, b in pieces if len(a) >= 3]


def find_turns(x: FloatArray, ripple: float) -> list[tuple[int, int]]:
    """Find alternating high and low turns, ignoring ripple.

    Parameters
    ----------
    x : ndarray, shape (T,)
        Finite values.
    ripple : float
        A turn counts once the signal has gone back by more than this.

    Returns
    -------
    list of (index, kind)
        kind +1 for a high turn, -1 for a low one. The ends of the stretch are not turns.
    """
    turns: list[tuple[int, int]] = []
    high = low = 0
    direction = 0
    for i in range(1, len(x)):
        if x[i] > x[high]:
            high = i
        if x[i] < x[low]:
            low = i
        if direction >= 0 and x[high] - x[i] > ripple:
            if direction > 0 or high > 0:
                turns.append((high, 1))
            direction, low = -1, i
            high = i
        elif direction <= 0 and x[i] - x[low] > ripple:
            if direction < 0 or low > 0:
                turns.append((low, -1))
            direction, high = 1, i
            low = i
    return turns


def _peak_sizes(x: FloatArray, min_change: float) -> list[float]:
    """Sizes of hills found with a cautious ripple, to learn what is typical here."""
    spread = float(np.percentile(x, 95) - np.percentile(x, 5))
    ripple = max(0.5 * min_change, 0.25 * spread)
    peaks = [i for i, kind in find_turns(x, ripple) if kind > 0]
    sizes = []
    for n, i in enumerate(peaks):
        left = peaks[n - 1] if n else 0
        right = peaks[n + 1] if n + 1 < len(peaks) else len(x) - 1
        valley = max(x[left : i + 1].min(), x[i : right + 1].min())
        sizes.append(float(x[i] - valley))
    return [s for s in sizes if s >= min_change]


def _cycles_in(
    t: FloatArray,
    x: FloatArray,
    smallest: float,
    typical: float,
    rule: CycleRule,
    hard: tuple[bool, bool],
) -> list[Cycle]:
    peaks = [i for i, kind in find_turns(x, max(RIPPLE_SHARE * smallest, 1e-9)) if kind > 0]
    peaks = _with_edges(x, peaks, smallest)
    peaks = _merge_close(t, x, peaks, smallest, rule.min_time_s)
    lows = [0, *[_argmin(x, a, b) for a, b in itertools.pairwise(peaks)], len(x) - 1]
    if peaks:
        lows[0] = _argmin(x, 0, peaks[0])
        lows[-1] = _argmin(x, peaks[-1], len(x) - 1)
    rest = float(np.median(x[lows])) if len(lows) > 2 else float(x[lows].min())
    cycles = []
    for n, peak in enumerate(peaks):
        left, right = lows[n], lows[n + 1]
        size = float(x[peak] - max(x[left], x[right]))
        reach = float(x[peak] - min(x[left], x[right]))
        if reach < smallest:
            continue
        high_rest = rest + REST_SHARE * max(typical, reach)
        first, last = n == 0, n == len(peaks) - 1
        cut = (
            (first and hard[0] and x[left] > high_rest)
            or (last and hard[1] and x[right] > high_rest)
            or (first and peak == 0)
            or (last and peak == len(x) - 1)
        )
        if (first and not hard[0]) or (last and not hard[1]):
            size = reach
        if size < smallest and not cut:
            continue
        cycle = _measure(t, x, (left, peak, right), rest=rest, complete=not cut)
        if cycle.end_s - cycle.start_s <= rule.max_time_s:
            cycles.append(cycle)
    return cycles


def _with_edges(x: FloatArray, peaks: list[int], smallest: float) -> list[int]:
    """Add a peak at the very start or end of a stretch: a rep that was cut off at its top."""
    if len(x) == 0:
        return peaks
    first_low = _argmin(x, 0, peaks[0] if peaks else len(x) - 1)
    if x[0] - x[first_low] >= smallest and (not peaks or peaks[0] != 0):
        peaks = [0, *peaks]
    last = len(x) - 1
    last_low = _argmin(x, peaks[-1] if peaks else 0, last)
    if x[last] - x[last_low] >= smallest and (not peaks or peaks[-1] != last):
        peaks = [*peaks, last]
    return peaks


def _merge_close(
    t: FloatArray, x: FloatArray, peaks: list[int], smallest: float, min_time_s: float
) -> list[int]:
    """Keep the higher of two tops that are too close in time or not parted by a real return."""
    kept: list[int] = []
    for peak in peaks:
        if kept:
            before = kept[-1]
            dip = min(x[before], x[peak]) - x[_argmin(x, before, peak)]
            if t[peak] - t[before] < min_time_s or dip < smallest:
                if x[peak] > x[before]:
                    kept[-1] = peak
                continue
        kept.append(peak)
    return kept


def _argmin(x: FloatArray, a: int, b: int) -> int:
    return a + int(np.argmin(x[a : b + 1]))


def _measure(
    t: FloatArray, x: FloatArray, where: tuple[int, int, int], *, rest: float, complete: bool
) -> Cycle:
    left, peak, right = where
    # A single wild value below rest must not move the edges of the rep there.
    from_low, to_low = max(x[left], rest), max(x[right], rest)
    up, down = x[peak] - from_low, x[peak] - to_low
    speed = np.abs(np.gradient(x, t))
    start = _last_crossing(t, x, left, peak, from_low + EDGE_SHARE * up)
    end = _first_crossing(t, x, peak, right, to_low + EDGE_SHARE * down)
    hold_from = _last_crossing(t, x, left, peak, x[peak] - EDGE_SHARE * up)
    hold_to = _first_crossing(t, x, peak, right, x[peak] - EDGE_SHARE * down)
    out, back = (start, hold_from), (hold_to, end)
    start = _until_slow(t, speed, out, start, float(t[left]))
    start = max(start, _leave_rest(t, x, speed, (left, peak), from_low + REST_SHARE * up))
    hold_from = _until_slow(t, speed, out, hold_from, float(t[peak]))
    hold_to = _until_slow(t, speed, back, hold_to, float(t[peak]))
    end = _until_slow(t, speed, back, end, float(t[right]))
    end = min(end, _leave_rest(t, x, speed, (right, peak), to_low + REST_SHARE * down))
    turn = _turn_time(t, x, where)
    if hold_to - hold_from >= REST_AT_TURN_S:
        turn = (hold_from + hold_to) / 2.0
    hold_from, hold_to = min(hold_from, turn), max(hold_to, turn)
    return Cycle(start, turn, end, hold_from, hold_to, float(max(up, down)), complete)


def _leave_rest(
    t: FloatArray, x: FloatArray, speed: FloatArray, way: tuple[int, int], level: float
) -> float:
    """Find where a side of the hill leaves a rest that is not quite as low as the lowest value.

    A limb may creep about for seconds before a set. Going from the peak to the low end of its
    side, the first slow moment below a level; when it is over within `LONG_REST_S`, the low end.
    """
    low, peak = way
    step = 1 if low > peak else -1
    slow = SLOW_SHARE * float(speed[min(way) : max(way) + 1].max())
    for i in range(peak, low, step):
        if x[i] < level and speed[i] < slow:
            return float(t[i] if abs(t[i] - t[low]) > LONG_REST_S else t[low])
    return float(t[low])


def _until_slow(
    t: FloatArray, speed: FloatArray, phase_s: tuple[float, float], edge_s: float, limit_s: float
) -> float:
    """Move an edge of a phase outward, at most to a limit, to where the movement gets slow."""
    moving = (t >= phase_s[0]) & (t <= phase_s[1])
    if not moving.any():
        return edge_s
    slow = SLOW_SHARE * speed[moving].max()
    low_s, high_s = sorted((edge_s, limit_s))
    on_the_way = np.flatnonzero((t >= low_s) & (t <= high_s))
    for i in on_the_way if limit_s > edge_s else on_the_way[::-1]:
        edge_s = float(t[i])
        if speed[i] < slow:
            break
    return edge_s


def _turn_time(t: FloatArray, x: FloatArray, where: tuple[int, int, int]) -> float:
    """Middle of the stretch within 2 % of the top; a parabola where that is under 3 samples."""
    left, peak, right = where
    near = x[peak] - TURN_SHARE * (x[peak] - min(x[left], x[right]))
    a = _last_crossing(t, x, left, peak, near)
    b = _first_crossing(t, x, peak, right, near)
    if left < peak < right and b - a < 3.0 * (t[peak + 1] - t[peak]):
        return _parabola_top(t, x, peak)
    return (a + b) / 2.0


def _parabola_top(t: FloatArray, x: FloatArray, peak: int) -> float:
    before, top, after = x[peak - 1], x[peak], x[peak + 1]
    curve = before - 2.0 * top + after
    if curve >= 0:
        return float(t[peak])
    shift = 0.5 * (before - after) / curve
    return float(t[peak] + shift * (t[peak + 1] - t[peak - 1]) / 2.0)


def _last_crossing(t: FloatArray, x: FloatArray, a: int, b: int, level: float) -> float:
    """Time at which x last rises through a level between samples a and b."""
    below = np.flatnonzero(x[a:b] < level)
    if len(below) == 0:
        return float(t[a])
    i = a + int(below[-1])
    return _interpolate(t, x, i, level)


def _first_crossing(t: FloatArray, x: FloatArray, a: int, b: int, level: float) -> float:
    """Time at which x first falls through a level between samples a and b."""
    below = np.flatnonzero(x[a + 1 : b + 1] < level)
    if len(below) == 0:
        return float(t[b])
    i = a + int(below[0])
    return _interpolate(t, x, i, level)


def _interpolate(t: FloatArray, x: FloatArray, i: int, level: float) -> float:
    if x[i + 1] == x[i]:
        return float(t[i])
    share = (level - x[i]) / (x[i + 1] - x[i])
    return float(t[i] + np.clip(share, 0.0, 1.0) * (t[i + 1] - t[i]))
