"""The session in one line."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from motioncheck.plans.sets import join_tallies
from motioncheck.records.session import BlockResult, CircuitResult, SetResult, SetStatus, Tally

_SHORT: dict[SetStatus, str] = {"fewer": "short", "more": "with more than planned"}


def write_headline(blocks: Sequence[BlockResult], extra: Sequence[SetResult]) -> str:
    """Return how much of the plan was done: the sets, then each circuit."""
    sets = [s for block in blocks for s in block.sets]
    parts = [_sets_line(sets, len(extra))] if sets or extra else []
    parts += [_circuit_line(block.circuit) for block in blocks if block.circuit is not None]
    return " ".join(parts)


def write_form(blocks: Sequence[BlockResult], extra: Sequence[SetResult]) -> str:
    """Return what the checks say of everything that was done."""
    tallies = [s.tally for s in extra]
    for block in blocks:
        tallies += [s.tally for s in block.sets]
        if block.circuit is not None:
            tallies += [c.tally for c in block.circuit.counts]
            tallies += [block.circuit.every_minute.tally] if block.circuit.every_minute else []
    return form_text(join_tallies(tallies))


def _sets_line(sets: Sequence[SetResult], extra: int) -> str:
    counts = Counter(s.status for s in sets)
    if not sets:
        return f"{extra} extra."
    noun = "set" if len(sets) == 1 else "sets"
    line = f"{counts['as planned']} of {len(sets)} {noun} as planned"
    for status in ("fewer", "more", "missing"):
        if counts[status]:
            line += f", {counts[status]} {_SHORT.get(status, status)}"
    return f"{line}{f', {extra} extra' if extra else ''}."


def _circuit_line(circuit: CircuitResult) -> str:
    done = sum(c.done for c in circuit.counts)
    asked = sum(c.prescribed for c in circuit.counts)
    if circuit.finished:
        time = "" if circuit.total_s is None else f" in {clock_text(circuit.total_s)}"
        return f"Circuit finished{time}."
    return f"Circuit not finished: {done} of {asked} reps."


def form_text(tally: Tally) -> str:
    """Return what the checks say of reps, holds and stages, such as ``6 to standard, 2 missed``."""
    if tally.done == 0:
        return "Nothing of the plan was found in the clips."
    words = (
        (tally.to_standard, "to standard"),
        (tally.close, "too close to call"),
        (tally.missed, "missed"),
        (tally.unjudged, "not judged"),
    )
    said = ", ".join(f"{count} {word}" for count, word in words if count)
    return f"Of {tally.done} reps, holds and stages: {said}."


def clock_text(seconds: float) -> str:
    """Return a time as minutes and seconds: ``12:34``."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"
