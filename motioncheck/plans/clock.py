"""The clock of a circuit: what happened in every minute, and when the work would be done.

Rules, chosen so that every rep and every second is counted once:

- The clock starts with the first rep of the circuit, or where the user says, and ends with the
  last prescribed rep; if the work is not finished, with the last rep seen.
- A rep of the work counts in the minute in which it **ends**, because only then it is done. One
  that ends on the minute belongs to the minute before.
- **Seconds** are shared: a rep across the minute gives each minute its part. Gaps of up to
  `RUN_GAP_S` between reps of one movement belong to the work. Where reps of the work and reps due
  every minute overlap, the time is that of the latter. What is left of a minute is rest, so that
  work, reps due every minute, and rest add up to the clock in every minute.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypedDict

from motioncheck.plans.amounts import count_verdicts
from motioncheck.plans.every_minute import assign_minutes, describe_due
from motioncheck.plans.forecast import Forecast
from motioncheck.plans.parts import Part, on_session_clock
from motioncheck.plans.schema import CircuitBlock
from motioncheck.plans.timed import MINUTE_S, TINY_S, Timed, minute_of_end
from motioncheck.records.session import CircuitResult, Count, MinuteRow, Span, SpanKind

# A gap between two reps of one movement up to this is part of the work (project judgement).
RUN_GAP_S = 2.0


def compute_circuit(
    block: CircuitBlock,
    parts: Sequence[Part],
    titles: Mapping[str, str],
    *,
    start_s: float | None = None,
) -> CircuitResult:
    """Compute the timeline of a circuit.

    Parameters
    ----------
    block : CircuitBlock
    parts : sequence of Part
        What was done of it, in time order.
    titles : mapping of str to str
        Movement id to title.
    start_s : float, optional
        Start of the clock, on the clock of the clip that shows the first part. By default the
        start of the first rep.
    """
    notes: list[str] = []
    if parts and not all(parts[0].bout.shares_clock(part.bout) for part in parts):
        notes.append(
            "The circuit is in several clips whose place in time is not known, so there is no "
            "clock for it; the reps are counted."
        )
        return _without_clock(block, parts, titles, notes)
    reps = _list_reps(parts)
    if not reps:
        return _without_clock(block, parts, titles, notes)
    zero = reps[0].start_s if start_s is None else on_session_clock(parts[0].bout, start_s)
    counted = [rep.since(zero) for rep in reps if rep.end_s > zero + TINY_S]
    if len(counted) < len(reps):
        notes.append(
            f"Not counted: {_reps(len(reps) - len(counted))} before the start of the clock."
        )
    if not counted:
        return _without_clock(block, parts, titles, notes)
    circuit = _Circuit(block, counted)
    after = len(counted) - len(circuit.reps)
    if after:
        notes.append(f"Not counted: {_reps(after)} after the work was done.")
    rows = circuit.make_rows()
    return CircuitResult(
        clip=parts[0].bout.clip,
        start_s=round(zero - (parts[0].bout.starts_at or 0.0), 3),
        total_s=round(circuit.end_s, 3),
        finished=circuit.finished,
        rounds=block.rounds,
        rounds_done=circuit.rounds_done(),
        counts=tuple(circuit.count(name, titles) for name in circuit.wanted),
        every_minute=circuit.count_due(rows, titles),
        work_s=round(math.fsum(row.work_s for row in rows), 3),
        every_minute_s=round(math.fsum(row.every_minute_s for row in rows), 3),
        rest_s=round(math.fsum(row.rest_s for row in rows), 3),
        pace_per_min=rows[-1].pace_per_min,
        finish_s=rows[-1].finish_s,
        rows=rows,
        pieces=tuple(part.piece for part in parts),
        notes=tuple(notes),
    )


def _reps(count: int) -> str:
    return f"{count} rep" if count == 1 else f"{count} reps"


def _list_reps(parts: Sequence[Part]) -> list[Timed]:
    """Return the reps of all parts on the clock of the session, in time order."""
    reps = [
        Timed(
            part.movement,
            on_session_clock(part.bout, event.start_s),
            on_session_clock(part.bout, event.end_s),
            event,
        )
        for part in parts
        for event in part.events
        if event.kind == "rep"
    ]
    return sorted(reps, key=lambda rep: (rep.start_s, rep.end_s))


def work_of(block: CircuitBlock) -> dict[str, int]:
    """Return the reps of the work by movement, in the order of the items."""
    wanted: dict[str, int] = {}
    for item in block.item:
        wanted[item.movement] = wanted.get(item.movement, 0) + block.rounds * item.total_reps
    return wanted


class _WithWhat(TypedDict):
    load: str
    load_kg: float | None
    notes: str


def with_what(block: CircuitBlock, movement: str) -> _WithWhat:
    """Return load and notes of a movement of a circuit, from the first place it stands."""
    asked = [*block.item, *([block.every_minute] if block.every_minute else [])]
    one = next(a for a in asked if a.movement == movement)
    return {"load": one.load or "", "load_kg": one.load_kg, "notes": one.notes}


@dataclass
class _Circuit:
    """Reps of a circuit on its own clock, sorted into minutes."""

    block: CircuitBlock
    reps: list[Timed]

    def __post_init__(self) -> None:
        self.wanted = work_of(self.block)
        self.finished, self.end_s = self._end()
        self.reps = [
            rep
            for rep in self.reps
            if (rep.end_s <= self.end_s + TINY_S)
            or (rep.movement not in self.wanted and rep.start_s < self.end_s)
        ]
        self.minutes = max(1, math.ceil((self.end_s - TINY_S) / MINUTE_S))

    def _end(self) -> tuple[bool, float]:
        """Tell whether the work is finished, and when the clock ends."""
        last: list[float] = []
        for movement, total in self.wanted.items():
            ends = sorted(rep.end_s for rep in self.reps if rep.movement == movement)
            if len(ends) < total:
                return False, max(rep.end_s for rep in self.reps)
            last.append(ends[total - 1])
        return True, max(last)

    def of(self, movement: str) -> list[Timed]:
        """Return the reps of a movement in the order of their ends."""
        return sorted((r for r in self.reps if r.movement == movement), key=lambda r: r.end_s)

    def rounds_done(self) -> int:
        """Return how many whole rounds the reps done would make."""
        each = {name: total // self.block.rounds for name, total in self.wanted.items()}
        return min(min(len(self.of(n)), self.wanted[n]) // each[n] for n in each)

    def count(self, movement: str, titles: Mapping[str, str]) -> Count:
        """Count the reps of one movement of the work."""
        mine, total = self.of(movement), self.wanted[movement]
        return Count(
            movement=movement,
            title=titles.get(movement, movement),
            prescribed=total,
            done=min(len(mine), total),
            extra=max(len(mine) - total, 0),
            tally=count_verdicts([rep.event for rep in mine]),
            **with_what(self.block, movement),
        )

    def count_due(self, rows: Sequence[MinuteRow], titles: Mapping[str, str]) -> Count | None:
        """Count the reps that were due every minute."""
        due = self.block.every_minute
        if due is None:
            return None
        mine = self.of(due.movement)
        done = sum(min(row.done, row.due) for row in rows)
        return Count(
            movement=due.movement,
            title=titles.get(due.movement, due.movement),
            prescribed=sum(row.due for row in rows),
            done=done,
            extra=len(mine) - done,
            tally=count_verdicts([rep.event for rep in mine]),
            **with_what(self.block, due.movement),
        )

    def make_rows(self) -> tuple[MinuteRow, ...]:
        """Sort reps and seconds into minutes and look ahead at the end of each."""
        work, extra = self._work_by_minute()
        spans = self._spans_by_minute()
        due = self.block.every_minute
        every = self.of(due.movement) if due else []
        groups = assign_minutes(every, due, self.minutes) if due else {}
        forecast = Forecast(sum(self.wanted.values()), due)
        rows = []
        for minute in range(self.minutes):
            clock_s = round(min(MINUTE_S, self.end_s - MINUTE_S * minute), 3)
            seconds = {kind: _seconds(spans[minute], kind) for kind in ("work", "every minute")}
            told = describe_due(groups.get(minute, []), due, minute, clock_s)
            ended = sum(minute_of_end(rep.end_s) == minute for rep in every)
            forecast.add(work[minute].total(), ended, clock_s, seconds["every minute"])
            rows.append(
                MinuteRow(
                    minute=minute,
                    clock_s=clock_s,
                    due=told.due,
                    done=told.done,
                    started_after_s=told.started_after_s,
                    completed_after_s=told.completed_after_s,
                    complete=told.complete,
                    late=told.late,
                    work_reps={name: work[minute][name] for name in self.wanted},
                    extra_reps=extra[minute],
                    work_s=seconds["work"],
                    every_minute_s=seconds["every minute"],
                    rest_s=round(clock_s - seconds["work"] - seconds["every minute"], 3),
                    left=forecast.left,
                    pace_per_min=forecast.pace_per_min(),
                    finish_s=forecast.finish_s(max(told.due - told.done, 0)),
                    spans=tuple(spans[minute]),
                )
            )
        return tuple(rows)

    def _work_by_minute(self) -> tuple[list[Counter[str]], list[int]]:
        """Return per minute the reps of the work by movement, and the reps beyond it."""
        work: list[Counter[str]] = [Counter() for _ in range(self.minutes)]
        extra = [0] * self.minutes
        for movement, total in self.wanted.items():
            for n, rep in enumerate(self.of(movement)):
                minute = min(minute_of_end(rep.end_s), self.minutes - 1)
                if n < total:
                    work[minute][movement] += 1
                else:
                    extra[minute] += 1
        return work, extra

    def _spans_by_minute(self) -> list[list[Span]]:
        spans: list[list[Span]] = [[] for _ in range(self.minutes)]
        for run in cover(join_runs(self.reps), self.wanted):
            for minute in range(self.minutes):
                start = max(run.start_s, MINUTE_S * minute)
                end = min(run.end_s, MINUTE_S * (minute + 1), self.end_s)
                a, b = (round(t - MINUTE_S * minute, 3) for t in (start, end))
                if b > a:
                    spans[minute].append(Span(run.kind, run.movement, a, b))
        return spans


def _seconds(spans: Sequence[Span], kind: SpanKind) -> float:
    return round(math.fsum(s.end_s - s.start_s for s in spans if s.kind == kind), 3)


def join_runs(reps: Sequence[Timed]) -> list[tuple[str, float, float]]:
    """Join reps of one movement with short gaps between them: movement, start, end."""
    runs: list[tuple[str, float, float]] = []
    for rep in sorted(reps, key=lambda r: (r.start_s, r.end_s)):
        if runs and runs[-1][0] == rep.movement and rep.start_s - runs[-1][2] <= RUN_GAP_S:
            runs[-1] = (rep.movement, runs[-1][1], max(runs[-1][2], rep.end_s))
        else:
            runs.append((rep.movement, rep.start_s, rep.end_s))
    return runs


def cover(runs: Sequence[tuple[str, float, float]], work: Mapping[str, int]) -> list[Span]:
    """Cut runs so that none overlap: what is due every minute comes first, then the later run."""
    edges = sorted({edge for run in runs for edge in run[1:]})
    spans: list[Span] = []
    for start, end in itertools.pairwise(edges):
        here = [run for run in runs if run[1] <= start and run[2] >= end]
        if not here:
            continue
        movement = max(here, key=lambda run: (run[0] not in work, run[1]))[0]
        kind: SpanKind = "work" if movement in work else "every minute"
        if spans and spans[-1].movement == movement and spans[-1].end_s == start:
            spans[-1] = Span(kind, movement, spans[-1].start_s, end)
        else:
            spans.append(Span(kind, movement, start, end))
    return spans


def _without_clock(
    block: CircuitBlock, parts: Sequence[Part], titles: Mapping[str, str], notes: Sequence[str]
) -> CircuitResult:
    """Count the reps of a circuit that has no clock."""
    reps = _list_reps(parts)
    circuit = _Circuit(block, reps) if reps else None
    wanted = work_of(block)
    none = count_verdicts([])
    counts = tuple(
        circuit.count(name, titles)
        if circuit
        else Count(name, titles.get(name, name), total, 0, 0, none, **with_what(block, name))
        for name, total in wanted.items()
    )
    return CircuitResult(
        clip=parts[0].bout.clip if parts else "",
        start_s=None,
        total_s=None,
        finished=all(c.done == c.prescribed for c in counts),
        rounds=block.rounds,
        rounds_done=circuit.rounds_done() if circuit else 0,
        counts=counts,
        every_minute=None,
        work_s=None,
        every_minute_s=None,
        rest_s=None,
        pace_per_min=None,
        finish_s=None,
        pieces=tuple(part.piece for part in parts),
        notes=tuple(notes),
    )
