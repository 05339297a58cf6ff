"""Ordered stages in words: each way up and back, what it reached and what it left out."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby, pairwise

from motioncheck.records import Event, Rung
from motioncheck.standards import StageSplit, Standard
from motioncheck.wording import join_words


def describe_rungs(events: Sequence[Event], standard: Standard) -> tuple[Rung, ...]:
    """Return a `Rung` for each group of stages, in time order; empty for other movements."""
    if not isinstance(standard.split, StageSplit):
        return ()
    stages = [e for e in events if e.kind == "stage" and e.stage is not None]
    return tuple(
        _describe(number, list(group), standard.split)
        for number, (_, group) in enumerate(groupby(stages, key=lambda e: e.group), start=1)
    )


def _describe(number: int, stages: Sequence[Event], split: StageSplit) -> Rung:
    order = [e.stage or 0 for e in stages]
    skipped = find_skipped(order)
    rushed = [e.stage or 0 for e in stages if e.end_s - e.start_s < split.min_time_s]
    reached = max(order)
    complete = order[0] == 1 and order[-1] == 1
    return Rung(
        number=number,
        side=stages[0].side,
        start_s=stages[0].start_s,
        end_s=stages[-1].end_s,
        reached=reached,
        stages=len(split.stage),
        visited=tuple(order),
        skipped=tuple(skipped),
        rushed=tuple(sorted(set(rushed))),
        complete=complete,
        text=_text(reached, len(split.stage), skipped, rushed, order),
    )


def find_skipped(order: Sequence[int]) -> list[int]:
    """Return the stages left out between neighbours, in the order they should have come."""
    missing: list[int] = []
    for a, b in pairwise(order):
        step = 1 if b > a else -1
        missing += range(a + step, b, step)
    return missing


def _text(
    reached: int, count: int, skipped: Sequence[int], rushed: Sequence[int], order: Sequence[int]
) -> str:
    said = [f"up to stage {reached} of {count}"]
    said.append("and back" if order[-1] == 1 else f"and back to stage {order[-1]} only")
    if order[0] != 1:
        said.append(f", begun at stage {order[0]}")
    parts = [" ".join(said).replace(" ,", ",")]
    if skipped:
        parts.append(f"left out: {join_words([str(n) for n in skipped])}")
    if rushed:
        names = [str(n) for n in sorted(set(rushed))]
        parts.append(f"passed without a pause: {join_words(names)}")
    if not skipped and not rushed:
        parts.append("every stage in order")
    return "; ".join(parts)
