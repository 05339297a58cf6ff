"""Which part of what was done belongs to which set of the plan.

The plan is a row of slots, what was done a row of parts, both in order. They are laid against
each other as one whole, at the least cost (dynamic programming over both rows; the textbook form
for sequences is Needleman and Wunsch 1970): a set may be done in several parts, be missing, or run
on into the next one without a rest, and a part may be extra. The costs are a judgement of this
project. Their scale: a set that is missing costs 1.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from statistics import median

from motioncheck.plans.amounts import compute_mismatch, judge_amount, measure_done
from motioncheck.plans.parts import Part, cut_by_counts, gap_s
from motioncheck.plans.schema import CircuitBlock
from motioncheck.plans.slots import Slot, circuit_reps
from motioncheck.records import Event

MISSING = 1.0
# A set that is off by this share of its count costs as much as a missing one, one that is off by
# less in proportion: sets are mostly done about right, or left out.
WRONG_SHARE = 0.6
# An extra part costs this, and so much more the closer it comes to a whole set.
EXTRA, EXTRA_BY_SIZE = 0.15, 0.6
# A pause within a set: shorter than the limit; longer before the count was reached, and so much
# more whenever it doubles.
SHORT_PAUSE, LONG_PAUSE, LONGER_PAUSE = 0.02, 0.12, 0.1
# Something new of the same movement after no pause at all, down to nothing at the limit.
SOON = 0.4
# A set that ran on into the next one without a rest.
NO_REST = 0.9
# A circuit that does not begin with the reps due at its start.
NO_START = 0.5
# Pauses up to this share of the rest that the plan gives are within a set; where it gives none, up
# to so many seconds.
PAUSE_SHARE, PAUSE_LIMIT_S = 0.5, 20.0
# Parts of one set at most, such as the ways up and back of a staged movement.
MAX_PARTS = 24
# Parts with so many times the stages of a rung are never looked at as that rung.
MANY_STAGES = 2.5
TINY = 1e-9


@dataclass(frozen=True, slots=True)
class Alignment:
    """Parts of each slot (empty: missing), parts that are extra, and slots without a rest before.

    ``taken[k]`` belongs to slot ``k``; ``joined`` holds slots that the one before ran on into.
    """

    taken: tuple[tuple[Part, ...], ...]
    extra: tuple[Part, ...]
    joined: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class _Move:
    """What to do next: parts ``upto`` are used, slots ``then`` are settled."""

    cost: float
    then: int
    upto: int


class _Table:
    """Costs of all moves; what slots of the same kind share is worked out once."""

    def __init__(self, slots: Sequence[Slot], parts: Sequence[Part]) -> None:
        self.slots, self.parts = slots, parts
        asked = [replace(slot.prescribed, rest_s=None) for slot in slots]
        self.kinds = [asked.index(one) for one in asked]
        self.limits = [_pause_limit(slots, slot) for slot in slots]
        self.extra = [_extra_cost(slots, part) for part in parts]
        self.soon = [self._soon(i) for i in range(len(parts))]
        self._apart: dict[tuple[int, int, int], float] = {}
        self._short: dict[tuple[int, int, int], bool] = {}

    def moves(self, k: int, i: int) -> Iterator[_Move]:
        """Yield what can be done with slot k and part i, the likeliest first."""
        if k < len(self.slots) and i < len(self.parts):
            yield from self._matches(k, i)
        if i < len(self.parts):
            yield _Move(self.extra[i] + self.soon[i], k, i + 1)
        if k < len(self.slots):
            yield _Move(MISSING * _weight(self.slots[k]), k + 1, i)

    def _matches(self, k: int, i: int) -> Iterator[_Move]:
        slot = self.slots[k]
        if self.parts[i].movement not in slot.movements:
            return
        if slot.circuit is not None:
            yield from self._circuit(k, i)
            return
        cost, stages = self.soon[i], 0
        for j in range(i, min(i + MAX_PARTS, len(self.parts))):
            part = self.parts[j]
            stages += sum(e.kind == "stage" for e in part.events)
            if part.movement != slot.movement or stages > self._most_stages(slot):
                break
            if j > i:
                cost += self._pause(k, i, j)
                if math.isinf(cost):
                    break
            yield _Move(self._mismatch(k, i, j + 1) + cost, k + 1, j + 1)
        yield from self._run_on(k, i)

    def _most_stages(self, slot: Slot) -> float:
        wanted = slot.prescribed.stages
        return math.inf if wanted is None else max(MANY_STAGES * wanted, 3.0)

    def _mismatch(self, k: int, i: int, j: int) -> float:
        key = (self.kinds[k], i, j)
        if key not in self._apart:
            apart = compute_mismatch(self.slots[k].prescribed, self._events(i, j))
            self._apart[key] = _wrong(apart)
        return self._apart[key]

    def _events(self, i: int, j: int) -> list[Event]:
        return [event for part in self.parts[i:j] for event in part.events]

    def _is_short(self, k: int, i: int, j: int) -> bool:
        """Whether a set is short of its count after parts i to j - 1."""
        key = (self.kinds[k], i, j)
        if key not in self._short:
            asked = self.slots[k].prescribed
            done = measure_done(self._events(i, j), asked)
            self._short[key] = judge_amount(asked, done) == "fewer"
        return self._short[key]

    def _pause(self, k: int, i: int, j: int) -> float:
        """Cost of the pause before part j in a set that began with part i."""
        before, after = self.parts[j - 1], self.parts[j]
        if self.slots[k].prescribed.each_side and _sides(before) != _sides(after):
            return 0.0  # changing sides is no pause
        gap, limit = gap_s(before, after), self.limits[k]
        if gap is not None and gap <= limit:
            return SHORT_PAUSE
        if not self._is_short(k, i, j):
            return math.inf
        return LONG_PAUSE + (0.0 if gap is None else LONGER_PAUSE * math.log2(gap / limit))

    def _soon(self, i: int) -> float:
        """Cost of taking part i for something new, right after more of the same movement."""
        part = self.parts[i]
        if i == 0 or part.movement != self.parts[i - 1].movement or part.events[0].kind == "stage":
            return 0.0
        limits = [
            limit
            for slot, limit in zip(self.slots, self.limits, strict=True)
            if slot.circuit is None and slot.movement == part.movement
        ]
        gap = gap_s(self.parts[i - 1], part)
        if gap is None or not limits:
            return 0.0
        return SOON * max(0.0, 1.0 - max(gap, 0.0) / min(limits))

    def _run_on(self, k: int, i: int) -> Iterator[_Move]:
        """One part that is several sets of reps done without a rest between them."""
        first, done = self.slots[k], len(self.parts[i].events)
        total = first.prescribed.reps or 0
        for n in range(k + 1, len(self.slots)):
            slot = self.slots[n]
            reps = slot.prescribed.reps
            if (slot.block, slot.movement) != (first.block, first.movement) or not reps:
                return
            total += reps
            if done <= total - reps / 2:
                return
            apart = _wrong(abs(done - total) / max(done, total))
            yield _Move(apart + NO_REST * (n - k) + self.soon[i], n + 1, i + 1)

    def _circuit(self, k: int, i: int) -> Iterator[_Move]:
        """Give a circuit a whole run of parts; those that are not its own are extra."""
        slot = self.slots[k]
        if slot.circuit is None:
            return
        items = {item.movement for item in slot.circuit.item}
        total, done = circuit_reps(slot.circuit), 0
        foreign = _start_cost(slot.circuit, self.parts[i])
        for j in range(i, len(self.parts)):
            part = self.parts[j]
            if part.movement in items:
                done += len(part.events)
            elif part.movement not in slot.movements:
                foreign += self.extra[j]
                continue  # it never ends with a part of something else
            apart = abs(done - total) / max(done, total, 1)
            yield _Move(_weight(slot) * apart + foreign, k + 1, j + 1)


def align(slots: Sequence[Slot], parts: Sequence[Part]) -> Alignment:
    """Lay what was done against the plan.

    Parameters
    ----------
    slots : sequence of Slot
        The plan in order.
    parts : sequence of Part
        What was done in time order; movements that the plan does not have are never taken.

    Returns
    -------
    Alignment
        Among equal ways the one that has the missing sets last.
    """
    table = _Table(slots, parts)
    cost = [[0.0] * (len(parts) + 1) for _ in range(len(slots) + 1)]
    best: dict[tuple[int, int], _Move] = {}
    for k in range(len(slots), -1, -1):
        for i in range(len(parts), -1, -1):
            lowest = math.inf
            for move in table.moves(k, i):
                total = move.cost + cost[move.then][move.upto]
                # The first of equals stays: a match before a gap.
                if total < lowest - TINY:
                    lowest, best[k, i] = total, move
            if math.isfinite(lowest):
                cost[k][i] = lowest
    return _follow(slots, parts, best)


def _follow(
    slots: Sequence[Slot], parts: Sequence[Part], best: dict[tuple[int, int], _Move]
) -> Alignment:
    taken: list[tuple[Part, ...]] = [()] * len(slots)
    extra: list[Part] = []
    joined: set[int] = set()
    k = i = 0
    while (k, i) in best:
        move = best[k, i]
        mine = list(parts[i : move.upto])
        if move.then == k:
            extra += mine
        elif move.then == k + 1:
            taken[k] = tuple(p for p in mine if p.movement in slots[k].movements)
            extra += [p for p in mine if p.movement not in slots[k].movements]
        else:
            counts = [slot.prescribed.reps or 0 for slot in slots[k : move.then]]
            for n, piece in enumerate(cut_by_counts(mine[0], counts)):
                taken[k + n] = (piece,) if piece.events else ()
            joined |= set(range(k + 1, move.then))
        k, i = move.then, move.upto
    return _place_the_rest(slots, taken, extra, joined)


def _place_the_rest(
    slots: Sequence[Slot], taken: list[tuple[Part, ...]], extra: list[Part], joined: set[int]
) -> Alignment:
    """Give missing sets the extra ones that would fit them: they were done out of order."""
    left = group_extra(extra)
    for k, slot in enumerate(slots):
        if taken[k] or slot.circuit is not None:
            continue
        fits = [g for g in left if g[0].movement == slot.movement]
        far = [compute_mismatch(slot.prescribed, [e for p in g for e in p.events]) for g in fits]
        if fits and min(far) < 1.0 - EXTRA:
            chosen = fits[far.index(min(far))]
            left.remove(chosen)
            taken[k] = chosen
    rest = tuple(part for group in left for part in group)
    return Alignment(tuple(taken), rest, frozenset(joined))


def group_extra(parts: Sequence[Part]) -> list[tuple[Part, ...]]:
    """Join extra parts of one movement with only short pauses between them."""
    groups: list[tuple[Part, ...]] = []
    for part in parts:
        if groups and groups[-1][-1].movement == part.movement:
            gap = gap_s(groups[-1][-1], part)
            if gap is not None and 0.0 <= gap <= PAUSE_LIMIT_S:
                groups[-1] = (*groups[-1], part)
                continue
        groups.append((part,))
    return groups


def _wrong(apart: float) -> float:
    """Cost of a set whose count is off by a share of it."""
    return MISSING * min(1.0, apart / WRONG_SHARE)


def _pause_limit(slots: Sequence[Slot], slot: Slot) -> float:
    """Return the longest pause that is surely within a set of this block."""
    rests = [s.prescribed.rest_s for s in slots if s.block == slot.block and s.prescribed.rest_s]
    return PAUSE_SHARE * min(rests) if rests else PAUSE_LIMIT_S


def _weight(slot: Slot) -> float:
    """Return how many sets a slot stands for."""
    return 1.0 if slot.circuit is None else float(slot.circuit.rounds * len(slot.circuit.item))


def _extra_cost(slots: Sequence[Slot], part: Part) -> float:
    """Cost of leaving a part out: more for one that could be a whole set of the plan."""
    sizes: list[float] = []
    for slot in slots:
        if slot.circuit is not None:
            sizes += [i.total_reps for i in slot.circuit.item if i.movement == part.movement]
        elif slot.movement == part.movement:
            asked = slot.prescribed
            sizes.append(float(asked.hold_s or asked.reps or asked.stages or 1))
    if not sizes:
        return EXTRA
    size = float(len(part.events))
    if part.events[0].kind == "hold":
        size = part.end_s - part.start_s
    return EXTRA + EXTRA_BY_SIZE * min(1.0, size / median(sizes))


def _start_cost(circuit: CircuitBlock, first: Part) -> float:
    """Cost of a circuit that does not begin with the reps that are due at its start.

    How many of these there are is open, so without it a set before the circuit could take them.
    """
    due = circuit.every_minute
    begins = due is None or due.first_minute > 0 or first.movement == due.movement
    return 0.0 if begins else NO_START


def _sides(part: Part) -> frozenset[str]:
    return frozenset(event.side for event in part.events)
