"""Bouts cut into parts: runs of events of one movement without a pause.

A part is the smallest thing that the alignment moves about. A set is one part or more.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from motioncheck.plans.amounts import begins_a_way
from motioncheck.records import Event
from motioncheck.records.session import Bout, Piece

# A longer gap between two reps starts a new part. Parts may be joined again, so this only has to
# be shorter than any rest between sets (project judgement).
PART_GAP_S = 4.0


@dataclass(frozen=True, slots=True)
class Part:
    """A run of events of one movement in one clip; times on the clock of the clip.

    ``index`` is its place in time among all parts, ``rest_s`` the time since the event before it,
    None where there is none or where it was not filmed.
    """

    bout: Bout
    events: tuple[Event, ...]
    index: int = 0
    rest_s: float | None = None

    @property
    def movement(self) -> str:
        """Id of the movement."""
        return self.bout.movement

    @property
    def start_s(self) -> float:
        """Start of the first event."""
        return self.events[0].start_s

    @property
    def end_s(self) -> float:
        """End of the last event."""
        return max(event.end_s for event in self.events)

    @property
    def piece(self) -> Piece:
        """Where it was filmed."""
        return Piece(self.bout.clip, self.start_s, self.end_s, self.bout.sheet)


def on_session_clock(bout: Bout, time_s: float) -> float:
    """Return a time of a clip on the clock of the session; its own clock where that is unknown."""
    return time_s + (bout.starts_at or 0.0)


def gap_s(before: Part, after: Part) -> float | None:
    """Return the time from the end of a part to the start of another, None when not known."""
    if not before.bout.shares_clock(after.bout):
        return None
    start = on_session_clock(after.bout, after.start_s)
    return start - on_session_clock(before.bout, before.end_s)


def order_bouts(bouts: Sequence[Bout]) -> list[Bout]:
    """Return bouts in time order.

    Clips whose place in time is known for all of them are put in that order; otherwise the
    clips stay in the order in which they were given, and only bouts within a clip are sorted.
    """
    rank: dict[tuple[str, str], int] = {}
    for bout in bouts:
        rank.setdefault((bout.clip, bout.clip_sha256), len(rank))
    timed = all(bout.starts_at is not None for bout in bouts)

    def key(bout: Bout) -> tuple[float, float]:
        if timed:
            return on_session_clock(bout, bout.start_s), 0.0
        return rank[(bout.clip, bout.clip_sha256)], bout.start_s

    return sorted(bouts, key=key)


def cut_parts(bouts: Sequence[Bout]) -> list[Part]:
    """Cut bouts into parts, in time order; bouts without events give none.

    A new part starts where the movement changes, after a gap of more than `PART_GAP_S` between
    reps, where the events name another set or rung, and with every hold.
    """
    ordered = order_bouts(bouts)
    parts: list[Part] = []
    for clip in _clips(ordered):
        pairs = [(e, b) for b in clip for e in b.events if math.isfinite(e.start_s + e.end_s)]
        pairs.sort(key=lambda pair: (pair[0].start_s, pair[0].end_s))
        start = 0
        for i in range(1, len(pairs) + 1):
            if i == len(pairs) or _starts_anew(pairs[i - 1], pairs[i]):
                events = tuple(event for event, _ in pairs[start:i])
                parts.append(Part(pairs[start][1], events))
                start = i
    return [_placed(parts, i) for i in range(len(parts))]


def _placed(parts: Sequence[Part], i: int) -> Part:
    gap = gap_s(parts[i - 1], parts[i]) if i else None
    return replace(parts[i], index=i, rest_s=None if gap is None else max(gap, 0.0))


def _clips(ordered: Sequence[Bout]) -> Iterator[list[Bout]]:
    """Yield the bouts of each clip."""
    groups: dict[tuple[str, str], list[Bout]] = {}
    for bout in ordered:
        groups.setdefault((bout.clip, bout.clip_sha256), []).append(bout)
    yield from groups.values()


def _starts_anew(before: tuple[Event, Bout], after: tuple[Event, Bout]) -> bool:
    (old, old_bout), (new, new_bout) = before, after
    if old_bout.movement != new_bout.movement or old.kind != new.kind or new.kind == "hold":
        return True
    if new.kind == "stage" and begins_a_way(old, new):
        return True
    if old.group is not None and new.group is not None:
        return old.group != new.group
    return new.start_s - old.end_s > PART_GAP_S


def cut_by_counts(part: Part, counts: Sequence[int]) -> list[Part]:
    """Cut a part after so many events each; the last one keeps the rest."""
    pieces: list[Part] = []
    start = 0
    for i, count in enumerate(counts):
        stop = len(part.events) if i == len(counts) - 1 else start + count
        piece = replace(part, events=part.events[start:stop])
        if pieces and piece.events:
            piece = replace(piece, rest_s=max(piece.start_s - pieces[-1].end_s, 0.0))
        pieces.append(piece)
        start = stop
    return pieces
