"""Link sightings into stretches without a jump, and stretches into persons.

A stretch ends where the body would have had to move faster than people do, or where its size
changes at once: there the model has gone over to someone (or something) else. Stretches are joined
again only where place, size and clothes fit. Nothing is ever averaged across a jump.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from motioncheck.landmarks.sightings import (
    PARTS,
    FloatArray,
    Sighting,
    compute_clothes_difference,
)

# Project judgement, tried on sprinting, jumping and kicking bodies at 10 to 60 frames a second.
# The trunk of an athlete stays below 6 m/s; 0.3 m (0.6 trunk lengths) is what the model's own
# estimate of a trunk may be off from one frame to the next.
REACH_M: Final = 0.3
SPEED_M_S: Final = 6.0
# Longest way within a stretch, and longest time unseen: beyond, only joining can decide.
LONGEST_STEP_M: Final = 1.0
LONGEST_GAP_S: Final = 0.5
SIZE_RATIO: Final = (0.7, 1.4)
# The same limits for the size in a single frame, which wobbles more than a mean over many.
STEP_SIZE_RATIO: Final = (0.55, 1.8)
# Differences above are somebody else's clothes. In a real clip of six people one after the other
# the most alike two were 38 apart, and nobody moved away from himself by more than 14.
OTHER_CLOTHES: Final = 32.0
# After a short absence at the same place the same person may have turned round or the lamp gone.
SOON_S: Final = 1.0
# A stretch shorter than this shows a person too briefly to be known again after a longer absence.
BRIEF_S: Final = 0.5
# A body that stays within this part of its reach is not looked at more closely.
NEAR: Final = 0.3
# How many sightings at the end of a stretch say where, how large and how dressed the person is.
MEMORY: Final = 15

Stretch = list[Sighting]


@dataclass(frozen=True, slots=True, eq=False)
class Person:
    """Stretches that belong to one person, in time order."""

    stretches: tuple[Stretch, ...]

    @property
    def sightings(self) -> list[Sighting]:
        """All sightings, in time order."""
        return [sighting for stretch in self.stretches for sighting in stretch]

    @property
    def first(self) -> Sighting:
        """The first sighting."""
        return self.stretches[0][0]

    @property
    def seconds(self) -> float:
        """Time from the start to the end of each stretch, summed."""
        return sum(compute_length_s(stretch) for stretch in self.stretches)

    @property
    def px_per_m(self) -> float:
        """Median size; proportional to how tall the person appears."""
        return compute_size(self.sightings)


def link_sightings(frames: Sequence[Sequence[Sighting]]) -> list[Stretch]:
    """Link sightings of successive frames into stretches without a jump.

    Parameters
    ----------
    frames : sequence of sequence of Sighting
        The people seen in each frame, in time order.

    Returns
    -------
    stretches : list of list of Sighting
        Every sighting is in exactly one of them, duplicates of the same body excepted.
    """
    done: list[Stretch] = []
    running: list[Stretch] = []
    for sightings in frames:
        bodies = drop_duplicates(sightings)
        if not bodies:
            continue
        now = bodies[0].time_s
        done += [s for s in running if now - s[-1].time_s > LONGEST_GAP_S]
        running = [s for s in running if now - s[-1].time_s <= LONGEST_GAP_S]
        pairs = assign(running, bodies)
        for stretch, body in pairs:
            running[stretch].append(bodies[body])
        linked = {body for _, body in pairs}
        running += [[body] for i, body in enumerate(bodies) if i not in linked]
    return sorted(done + running, key=lambda stretch: stretch[0].frame)


def drop_duplicates(sightings: Sequence[Sighting]) -> list[Sighting]:
    """Drop sightings that show the same body as another one which the model sees better."""
    kept: list[Sighting] = []
    for body in sorted(sightings, key=lambda s: -float(s.pose.visibility.mean())):
        if np.isfinite(body.px_per_m) and all(compute_way_m(body, k) > 0.15 for k in kept):
            kept.append(body)
    return kept


def assign(running: Sequence[Stretch], bodies: Sequence[Sighting]) -> list[tuple[int, int]]:
    """Choose which body continues which stretch, so that the sum of the costs is smallest.

    Returns
    -------
    pairs : list of (index in ``running``, index in ``bodies``)
        Only pairs that can be the same person.
    """
    if not running or not bodies:
        return []
    cost = np.array([[compute_step_cost(stretch, body) for body in bodies] for stretch in running])
    possible = np.isfinite(cost)
    if min(cost.shape) == 1:
        best = np.unravel_index(int(np.argmin(np.where(possible, cost, np.inf))), cost.shape)
        return [(int(best[0]), int(best[1]))] if possible[best] else []
    from scipy.optimize import linear_sum_assignment

    # One pair of the impossible kind must outweigh all possible ones together.
    rows, columns = linear_sum_assignment(np.where(possible, cost, 1e3))
    return [(int(r), int(c)) for r, c in zip(rows, columns, strict=True) if possible[r, c]]


def compute_step_cost(stretch: Stretch, body: Sighting) -> float:
    """Compute how badly a body continues a stretch: 0 = perfectly, infinity = impossible."""
    last = stretch[-1]
    reach_m = min(REACH_M + SPEED_M_S * (body.time_s - last.time_s), LONGEST_STEP_M)
    way = compute_way_m(last, body) / reach_m
    size = body.px_per_m / compute_size(stretch[-MEMORY:])
    if way > 1.0 or not STEP_SIZE_RATIO[0] < size < STEP_SIZE_RATIO[1]:
        return float("inf")
    cost = way + abs(float(np.log(size)))
    if way <= NEAR:
        return cost
    clothes = compute_clothes_difference(compute_mean_clothes(stretch[-MEMORY:]), body.clothes)
    clothes /= OTHER_CLOTHES
    # A short way in other clothes is a step over to somebody who stands close by.
    return float("inf") if way + clothes > 2.0 else cost + 0.5 * clothes


def compute_way_m(a: Sighting, b: Sighting) -> float:
    """Compute the distance between the trunks of two sightings in metres on the body."""
    return float(np.linalg.norm(a.centre_px - b.centre_px) / np.sqrt(a.px_per_m * b.px_per_m))


def compute_size(sightings: Sequence[Sighting]) -> float:
    """Return the median number of pixels a metre."""
    return float(np.median([s.px_per_m for s in sightings]))


def compute_mean_clothes(sightings: Sequence[Sighting]) -> FloatArray:
    """Return the median clothes, shape (5, 3); NaN where never seen."""
    clothes = np.array([s.clothes for s in sightings])
    result = np.full((PARTS, 3), np.nan)
    known = np.isfinite(clothes[:, :, 0]).any(axis=0)
    result[known] = np.nanmedian(clothes[:, known], axis=0)
    return result


def join_stretches(stretches: Sequence[Stretch]) -> list[Person]:
    """Join stretches into persons: someone who walked out and came back, or was lost for a while.

    Long stretches come first, because they say most surely what the person looks like.

    Parameters
    ----------
    stretches : sequence of list of Sighting
        As `link_sightings` gives them.

    Returns
    -------
    persons : list of Person
        In order of their first sighting.
    """
    groups: list[list[Stretch]] = []
    for stretch in sorted(stretches, key=len, reverse=True):
        fits = [(compute_group_cost(group, stretch), i) for i, group in enumerate(groups)]
        cost, best = min(fits, default=(float("inf"), -1))
        if np.isfinite(cost):
            groups[best] = sorted([*groups[best], stretch], key=lambda s: s[0].frame)
        else:
            groups.append([stretch])
    persons = [Person(tuple(group)) for group in _merge_groups(groups)]
    return sorted(persons, key=lambda person: person.first.frame)


def _merge_groups(groups: list[list[Stretch]]) -> list[list[Stretch]]:
    """Join persons whose stretches, put in order, follow each other as those of one person.

    Two long stretches that are apart in time may be found to be of one person only when the short
    one between them is known.
    """
    while True:
        pairs = [
            (_compute_merged_cost(a, b), i, j)
            for i, a in enumerate(groups)
            for j, b in enumerate(groups[:i])
        ]
        cost, i, j = min(pairs, default=(float("inf"), -1, -1))
        if not np.isfinite(cost):
            return groups
        merged = sorted([*groups[i], *groups[j]], key=lambda s: s[0].frame)
        groups = [merged, *(g for n, g in enumerate(groups) if n not in (i, j))]


def _compute_merged_cost(a: Sequence[Stretch], b: Sequence[Stretch]) -> float:
    """Compute how badly two persons are one: the worst gap between a stretch of each."""
    own = {id(stretch) for stretch in a}
    ordered = sorted([*a, *b], key=lambda s: s[0].frame)
    worst = 0.0
    for earlier, later in pairwise(ordered):
        if earlier[-1].frame >= later[0].frame:
            return float("inf")  # Seen at the same time.
        if (id(earlier) in own) != (id(later) in own):
            worst = max(worst, _compute_gap_cost(earlier, later))
    return worst


def compute_group_cost(group: Sequence[Stretch], stretch: Stretch) -> float:
    """Compute how badly a stretch fits to a person: infinity = somebody else."""
    before = [s for s in group if s[-1].frame < stretch[0].frame]
    after = [s for s in group if s[0].frame > stretch[-1].frame]
    if len(before) + len(after) < len(group):
        return float("inf")  # Seen at the same time.
    costs = []
    if before:
        costs.append(_compute_gap_cost(before[-1], stretch))
    if after:
        costs.append(_compute_gap_cost(stretch, after[0]))
    return max(costs)


def _compute_gap_cost(earlier: Stretch, later: Stretch) -> float:
    gap_s = later[0].time_s - earlier[-1].time_s
    brief = min(compute_length_s(earlier), compute_length_s(later)) < BRIEF_S
    if brief and gap_s > SOON_S:
        return float("inf")
    way = compute_way_m(earlier[-1], later[0]) / (REACH_M + SPEED_M_S * gap_s)
    size = compute_size(later[:MEMORY]) / compute_size(earlier[-MEMORY:])
    clothes = compute_clothes_difference(compute_mean_clothes(earlier), compute_mean_clothes(later))
    clothes /= OTHER_CLOTHES * (2.0 if gap_s < SOON_S and way < 0.5 else 1.0)
    if way > 1.0 or clothes > 1.0 or not SIZE_RATIO[0] < size < SIZE_RATIO[1]:
        return float("inf")
    return way + clothes + abs(float(np.log(size)))


def compute_length_s(stretch: Stretch) -> float:
    """Return the time from the first to the last sighting."""
    return stretch[-1].time_s - stretch[0].time_s
