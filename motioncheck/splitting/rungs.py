"""Rungs: ways up from the first stage to a highest one and back, put together from visits."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from motioncheck.splitting.stages import StageVisit


@dataclass(frozen=True, slots=True)
class Rung:
    """One way from stage 1 up to a highest stage and back to stage 1.

    ``visits`` are indices of the visits. ``skipped_up`` and ``skipped_down`` are the stages left
    out before and after the highest one, ``reached``. ``complete`` is False when the beginning or
    the end at stage 1 was not seen. ``in_order`` is False when a stage was gone back to on the
    way, whether or not one was skipped.
    """

    number: int
    reached: int
    visits: tuple[int, ...]
    start_s: float
    end_s: float
    skipped_up: tuple[int, ...]
    skipped_down: tuple[int, ...]
    complete: bool
    in_order: bool


def find_rungs(visits: Sequence[StageVisit]) -> list[Rung]:
    """Put visits together to ways up from stage 1 and back.

    Parameters
    ----------
    visits : sequence of StageVisit
        In time order.

    Returns
    -------
    list of Rung
        In time order.

    Notes
    -----
    A rung of k stages has 2 k - 1 visits. Between two climbs stage 1 is seen once or twice: when
    the body leaves it for none of the stages in between, the first rung ends with the one visit
    and the next begins with the other; when it does not, the one visit belongs to both. A visit of
    stage 1 that is neither the end of a climb nor the beginning of one is a rung of a single
    stage.
    """
    stages = [v.stage for v in visits]
    floors = [n for n, stage in enumerate(stages) if stage == 1]
    cuts = sorted({0, *floors, len(stages) - 1}) if stages else []
    spans = [(a, b) for a, b in itertools.pairwise(cuts) if not stages[a] == stages[b] == 1]
    spans += [(a, b) for a, b in itertools.pairwise(floors) if b > a + 1]
    taken = {n for span in spans for n in span}
    spans += [(n, n) for n in floors if n not in taken]
    if len(stages) == 1 and not floors:
        spans = [(0, 0)]
    return [_make_rung(n, visits, *span) for n, span in enumerate(sorted(spans), start=1)]


def _make_rung(number: int, visits: Sequence[StageVisit], first: int, last: int) -> Rung:
    stages = [v.stage for v in visits[first : last + 1]]
    reached = max(stages)
    top, leave = stages.index(reached), len(stages) - 1 - stages[::-1].index(reached)
    up, down = stages[: top + 1], stages[leave:][::-1]
    in_order = (
        up == sorted(up) and down == sorted(down) and set(stages[top : leave + 1]) == {reached}
    )
    return Rung(
        number=number,
        reached=reached,
        visits=tuple(range(first, last + 1)),
        start_s=visits[first].start_s,
        end_s=visits[last].end_s,
        skipped_up=_skipped(up),
        skipped_down=_skipped(down),
        complete=stages[0] == stages[-1] == 1,
        in_order=in_order,
    )


def _skipped(way: Sequence[int]) -> tuple[int, ...]:
    """Stages between the lowest seen on a way and its top that were left out."""
    return tuple(n for n in range(way[0], max(way)) if n not in way)
