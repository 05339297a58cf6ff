"""Left and right legs that the pose model exchanged for a while are put back.

Seen from the side, the legs hide each other at every step, and the model may carry on with the
wrong one. Each picture by itself looks right; only the movement over time tells. Because the model
smooths its own output, it does not jump: the labels slide to the other leg within a few frames, and
what it reports on the way is a blend of both legs. So the labels of the whole clip are chosen at
once by dynamic programming (A. J. Viterbi, IEEE Trans. Inf. Theory 13, 1967), as the cheapest chain
of trusted frames in which each leg moves on as it was moving; single frames may be left out of the
chain at a price.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from motioncheck.cleaning.runs import BoolArray, IntArray
from motioncheck.records.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class SwapCosts:
    """What speaks for and against an exchange; project judgement, tuned on rendered clips.

    A step from one trusted frame to the next costs 1 when no point goes where it was heading; the
    other costs are relative to that.

    Attributes
    ----------
    jitter : float
        Distance from where a point was heading that means nothing, in leg lengths.
    pull : float
        Acceleration of normal movement, in leg lengths per second squared: how far a point may
        stray from its heading grows with the square of the time between two frames.
    limit : float
        The multiple of the allowed distance from which a point costs its full share.
    change : float
        Cost of beginning or ending an exchange.
    skip_per_s : float
        Cost of frames left out of the chain, for each second of them.
    swapped_per_s : float
        Cost of contradicting the model for a second: without evidence its labels stand, and it is
        not believed to be wrong for long.
    longest_slide_s : float
        Longest step in the chain of trusted frames.
    memory_s : float
        Frames further apart than this say nothing about each other.
    """

    jitter: float = 0.05
    pull: float = 30.0
    limit: float = 4.0
    change: float = 0.1
    skip_per_s: float = 8.0
    swapped_per_s: float = 0.5
    longest_slide_s: float = 0.1
    memory_s: float = 0.3


class LegLabels(NamedTuple):
    """Answer of `find_swaps`.

    Attributes
    ----------
    swapped : ndarray of bool, shape (T,)
        Left and right must be exchanged.
    blended : ndarray of bool, shape (T,)
        The frame shows a mixture of both legs on the way into or out of an exchange.
    """

    swapped: BoolArray
    blended: BoolArray


# A step never spans more frames than this, to keep fast clips affordable.
MOST_FRAMES = 8
# In leg lengths: labels of a skipped frame are told apart, or both are wrong, beyond these.
CLEARLY_CLOSER = 0.05
NEITHER = 0.1


def find_swaps(
    points: FloatArray,
    weight: FloatArray,
    time_s: FloatArray,
    *,
    leg_px: float,
    costs: SwapCosts | None = None,
    settled: BoolArray | None = None,
) -> LegLabels:
    """Find the frames in which the left and the right leg are exchanged.

    Parameters
    ----------
    points : ndarray, shape (T, 2, P, 2)
        The P joints of the left leg (``[:, 0]``) and of the right one, pixels. NaN = missing;
        only frames in which all are known are judged.
    weight : ndarray, shape (T, 2, P)
        How much each point counts, such as its visibility.
    time_s : ndarray, shape (T,)
        Time of each frame, not necessarily uniform.
    leg_px : float
        Length of the leg, the unit of distances.
    costs : SwapCosts, optional
    settled : ndarray of bool, shape (T,), optional
        Frames that are known to have the right labels.

    Returns
    -------
    LegLabels
        False where nobody was found, and where nothing tells the legs apart: the labels of the
        model then stand.
    """
    costs = costs or SwapCosts()
    known = np.zeros(len(time_s), dtype=bool) if settled is None else settled
    labels = LegLabels(np.zeros(len(time_s), dtype=bool), np.zeros(len(time_s), dtype=bool))
    found = np.all(np.isfinite(points), axis=(1, 2, 3)) & np.all(np.isfinite(weight), axis=(1, 2))
    frames = np.nonzero(found)[0]
    pauses = np.nonzero(np.diff(time_s[frames]) > costs.memory_s)[0] + 1
    for part in np.split(frames, pauses):
        if len(part) >= 3:
            chain = _Chain(
                points[part] / leg_px, weight[part] + 1e-3, time_s[part], costs, known[part]
            )
            labels.swapped[part], labels.blended[part] = chain.solve()
    return labels


class _Chain:
    """The cheapest chain of trusted frames through one stretch of a clip, in leg lengths."""

    def __init__(
        self,
        points: FloatArray,
        weight: FloatArray,
        time_s: FloatArray,
        costs: SwapCosts,
        settled: BoolArray,
    ) -> None:
        self.settled = settled
        self.points, self.weight, self.time_s, self.costs = points, weight, time_s, costs
        speed = np.diff(points, axis=0) / np.diff(time_s)[:, None, None, None]
        self.speed_before = np.concatenate([speed[:1], speed])
        self.speed_after = np.concatenate([speed, speed[-1:]])
        self.frame_s = float(np.median(np.diff(time_s)))
        longest = int(costs.longest_slide_s / self.frame_s + 1e-6)
        self.longest = min(max(2, min(longest, MOST_FRAMES)), len(points) - 1)

    def solve(self) -> tuple[BoolArray, BoolArray]:
        """Return which frames are swapped and which are blended, each of shape (T,)."""
        steps = [[self._step_cost(k, turn) for turn in (False, True)] for k in self._reach()]
        frames, labels = self._cheapest([[one.tolist() for one in pair] for pair in steps])
        return self._label_all(frames, labels)

    def _reach(self) -> range:
        return range(1, self.longest + 1)

    def _step_cost(self, k: int, turn: bool) -> FloatArray:
        """Cost of stepping from each frame to the one ``k`` later, legs exchanged or not.

        Each of the two frames is extrapolated to the other at its own velocity.
        """
        elapsed = self.time_s[k:] - self.time_s[:-k]
        allowed = self.costs.jitter + 0.5 * self.costs.pull * elapsed**2
        side = slice(None, None, -1) if turn else slice(None)
        here, there = self.points[:-k], self.points[k:, side]
        weight = self.weight[:-k] + self.weight[k:, side]
        weight = weight / weight.sum(axis=(1, 2), keepdims=True)
        move = there - here
        cost = np.zeros(len(move))
        for speed in (self.speed_before[:-k], self.speed_after[k:, side]):
            square = np.sum((move - speed * elapsed[:, None, None, None]) ** 2, axis=-1)
            square /= (self.costs.limit * allowed[:, None, None]) ** 2
            # Bounded, so that one wild point does not outweigh all others.
            cost += 0.5 * np.sum(weight * np.minimum(square, 1.0), axis=(1, 2))
        skipped = self.costs.skip_per_s * self.frame_s * (k - 1)
        return cost + skipped + (self.costs.change if turn else 0.0)

    def _cheapest(self, steps: list[list[list[float]]]) -> tuple[IntArray, IntArray]:
        """Return the frames of the cheapest chain and the label of each (1 = swapped)."""
        stay = self.costs.swapped_per_s * self.frame_s
        # Of a settled frame only the label it has is possible.
        closed = np.where(self.settled, np.inf, 0.0).tolist()
        best = [(0.0, stay + closed[0])]
        came_from: list[tuple[tuple[int, int], tuple[int, int]]] = [((0, 0), (0, 1))]
        # Plain floats: for two states they are several times faster than small arrays.
        for now in range(1, len(self.points)):
            total, origin = [np.inf, np.inf], [(1, 0), (1, 1)]
            for k in range(1, min(self.longest, now) + 1):
                keep, turn = steps[k - 1][0][now - k], steps[k - 1][1][now - k]
                plain, swapped = best[now - k]
                for label, options in enumerate(
                    ((plain + keep, swapped + turn), (plain + turn, swapped + keep))
                ):
                    before = int(options[1] < options[0])
                    cost = options[before] + stay * k * label
                    if cost < total[label]:
                        total[label], origin[label] = cost, (k, before)
            best.append((total[0], total[1] + closed[now]))
            came_from.append((origin[0], origin[1]))
        return self._walk_back(came_from, int(best[-1][1] < best[-1][0]))

    @staticmethod
    def _walk_back(
        came_from: list[tuple[tuple[int, int], tuple[int, int]]], label: int
    ) -> tuple[IntArray, IntArray]:
        frame = len(came_from) - 1
        chain = [(frame, label)]
        while frame > 0:
            k, label = came_from[frame][label]
            frame -= k
            chain.append((frame, label))
        frames, labels = np.array(chain[::-1]).T
        return frames, labels

    def _label_all(self, frames: IntArray, labels: IntArray) -> tuple[BoolArray, BoolArray]:
        """Label the frames that were left out, too: whatever lies closer to the straight way."""
        swapped = np.zeros(len(self.points), dtype=bool)
        swapped[frames] = labels == 1
        blended = np.zeros_like(swapped)
        for i in np.nonzero(np.diff(frames) > 1)[0]:
            first, last = int(frames[i]), int(frames[i + 1])
            plain, exchanged = self._off_the_way(first, last, swapped[first], swapped[last])
            inner = slice(first + 1, last)
            changes = swapped[first] != swapped[last]
            differ = np.abs(plain - exchanged) > CLEARLY_CLOSER
            swapped[inner] = np.where(differ, exchanged < plain, swapped[first])
            swapped[inner] &= ~self.settled[inner]
            # Legs that keep their labels may well leave the straight way.
            blended[inner] = changes & (np.minimum(plain, exchanged) > NEITHER)
        return swapped, blended

    def _off_the_way(
        self, first: int, last: int, first_swapped: bool, last_swapped: bool
    ) -> tuple[FloatArray, FloatArray]:
        """Mean distance from the straight way between two frames, as labelled and exchanged."""
        start = self.points[first, ::-1] if first_swapped else self.points[first]
        end = self.points[last, ::-1] if last_swapped else self.points[last]
        now = self.time_s[first + 1 : last]
        share = (now - self.time_s[first]) / (self.time_s[last] - self.time_s[first])
        way = start + share[:, None, None, None] * (end - start)
        inner = self.points[first + 1 : last]
        off = [np.linalg.norm(p - way, axis=-1).mean(axis=(1, 2)) for p in (inner, inner[:, ::-1])]
        return off[0], off[1]
