"""Legs of a split stance that traded places while the body stood still.

In a lunge both feet stand on the floor, far apart. Then one ankle cannot go to the place of the
other within a third of a second, and both at once, while the hips rest: the model has exchanged
the legs. It may keep that up for as long as the stance is held, which the movement from frame to
frame alone does not tell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motioncheck.cleaning.runs import BoolArray, IntArray, find_runs
from motioncheck.records.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class CrossingRule:
    """What cannot be a movement; lengths in legs, project judgement.

    Attributes
    ----------
    apart_ratio : float
        The ankles are at least this far apart along the floor.
    level_ratio : float
        Neither is higher than the other by more than this: a swinging foot is.
    miss_ratio : float
        Each ankle comes to within this of where the other one was.
    rest_ratio : float
        The middle of the hips moves by less than this meanwhile.
    span_s : float
        All of it happens within this time.
    still_s : float
        For so long before and after, both ankles rest as well: feet that run do not.
    still_ratio : float
        Resting ankles move by less than this.
    together_ratio : float
        Legs this near to each other end the stance, and with it the exchange.
    """

    apart_ratio: float = 0.35
    level_ratio: float = 0.25
    miss_ratio: float = 0.15
    rest_ratio: float = 0.08
    span_s: float = 0.4
    still_s: float = 0.15
    still_ratio: float = 0.06
    together_ratio: float = 0.15


def find_crossings(
    ankles: FloatArray,
    hips: FloatArray,
    time_s: FloatArray,
    *,
    leg_px: float,
    rule: CrossingRule | None = None,
) -> BoolArray:
    """Find the frames in which the legs are exchanged after such a crossing.

    Parameters
    ----------
    ankles : ndarray, shape (T, 2, 2)
        Left and right ankle, pixels; NaN = missing.
    hips : ndarray, shape (T, 2)
        Middle of the hips, pixels.
    time_s : ndarray, shape (T,)
        Strictly increasing.
    leg_px : float
        Length of the leg.
    rule : CrossingRule, optional

    Returns
    -------
    ndarray of bool, shape (T,)
        From the middle of a crossing to the next one, or to where the legs come together; a
        crossing that is followed by neither is left alone. That the labels were right before the
        first one is taken from the model: it exchanges legs that already stand apart.
    """
    rule = rule or CrossingRule()
    exchanged = np.zeros(len(time_s), dtype=np.bool_)
    if len(time_s) < 3:
        return exchanged
    crossed = _find_moments(ankles / leg_px, hips / leg_px, time_s, rule)
    apart = np.abs(ankles[:, 0] - ankles[:, 1]) / leg_px
    near = np.asarray((apart < rule.together_ratio).all(axis=1), dtype=np.bool_)
    together = _find_long(near, time_s, rule.span_s)
    begun: int | None = None
    for frame in np.flatnonzero(together | crossed):
        if begun is not None:
            exchanged[begun:frame] = True
            begun = None
        elif not together[frame]:
            begun = int(frame)
    return exchanged


def _find_long(mask: BoolArray, time_s: FloatArray, shortest_s: float) -> BoolArray:
    """Keep the runs of True that last: on their way past each other the legs meet, too."""
    kept = np.zeros_like(mask)
    runs = find_runs(mask[:, None])
    for first, stop in zip(runs.start, runs.stop, strict=True):
        kept[first:stop] = time_s[stop - 1] - time_s[first] >= shortest_s
    return kept


def _find_moments(
    ankles: FloatArray, hips: FloatArray, time_s: FloatArray, rule: CrossingRule
) -> BoolArray:
    """Return the middle frame of every crossing, shape (T,)."""
    half = rule.span_s / 2.0

    def at(offset_s: float) -> IntArray:
        return np.clip(np.searchsorted(time_s, time_s + offset_s), 0, len(time_s) - 1)

    before, after = at(-half), at(half)
    earlier, later = at(-half - rule.still_s), at(half + rule.still_s)
    restless = np.maximum(
        np.linalg.norm(ankles[before] - ankles[earlier], axis=-1).max(axis=1),
        np.linalg.norm(ankles[later] - ankles[after], axis=-1).max(axis=1),
    )
    here, there = ankles[before], ankles[after]
    gap = here[:, 0] - here[:, 1]
    miss = np.linalg.norm(there - here[:, ::-1], axis=-1).max(axis=1)
    moved = np.linalg.norm(hips[after] - hips[before], axis=-1)
    # Comparisons with NaN are False.
    crossing = (
        (np.abs(gap[:, 0]) >= rule.apart_ratio)
        & (np.abs(gap[:, 1]) <= rule.level_ratio)
        & (miss <= rule.miss_ratio)
        & (moved <= rule.rest_ratio)
        & (restless <= rule.still_ratio)
        & (time_s - half >= time_s[0])
        & (time_s + half <= time_s[-1])
    )
    middle = np.zeros(len(time_s), dtype=np.bool_)
    runs = find_runs(crossing[:, None])
    for first, stop in zip(runs.start, runs.stop, strict=True):
        best = first + int(np.argmin(miss[first:stop]))
        # Where the ankles pass each other is where the labels change.
        a, b = before[best], after[best]
        side = np.sign(ankles[a : b + 1, 0, 0] - ankles[a : b + 1, 1, 0])
        changes = np.flatnonzero(side != side[0])
        middle[a + (int(changes[0]) if len(changes) else (b - a) // 2)] = True
    return middle
