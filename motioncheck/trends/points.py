"""The points of one line: the trials of each session, their best and mean, and where it breaks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from motioncheck.records.history import Better, Trial
from motioncheck.records.trend import TrendPoint
from motioncheck.trends.segments import compare_setups, pick_comparable

CREPT = "The view has crept away from that of the first session of this line."
Sessions = Mapping[tuple[str, str], Sequence[Trial]]


@dataclass(frozen=True, slots=True)
class Line:
    """The points of one side with the trials each of them is made of."""

    points: tuple[TrendPoint, ...]
    trials: tuple[tuple[Trial, ...], ...]


def mean_of(trial: Trial) -> float:
    """Return the mean that stands for one clip.

    For a line of the range of motion that of the first three trials, as the sheet gives it; the
    mean of all values otherwise, and where there are fewer than three.
    """
    if trial.moment.startswith("range") and trial.mean_of_first is not None:
        return trial.mean_of_first
    return trial.mean


def best_of(trial: Trial, better: Better) -> float:
    """Return the best value of one clip; NaN where neither direction is the better one."""
    if better == "higher":
        return trial.highest
    return trial.lowest if better == "lower" else math.nan


def build_line(sessions: Sessions, better: Better) -> Line:
    """Return one point a session, in the order given (by day).

    Parameters
    ----------
    sessions : mapping
        Trials by (day, session) of one series and side, each in the order of filming.
    better : str
        Which direction is the better one; there is no best value without.

    Notes
    -----
    Points of one segment can be compared, and need not follow each other: a session filmed as
    earlier ones were goes back to their segment.
    """
    points: list[TrendPoint] = []
    kept: list[tuple[Trial, ...]] = []
    # The first trial of each segment; every later one is compared with it, not with its
    # neighbour, so that a view that creeps is noticed.
    anchors: list[Trial] = []
    segment = 0
    for (day, session), trials in sessions.items():
        chosen = trials
        if len(trials) > 1:
            chosen = pick_comparable(trials, _nearest_first(anchors, segment))
        segment = _find_segment(anchors, segment, chosen[0])
        marks = compare_setups(kept[-1][-1], chosen[0]).marks if kept else ()
        if points and segment != points[-1].segment and not marks:
            marks = (CREPT,)
        if len(chosen) < len(trials):
            marks = (*marks, _left_out(len(trials) - len(chosen)))
        points.append(_build_point(session, day, chosen, better, segment, marks))
        kept.append(tuple(chosen))
    return Line(tuple(points), tuple(kept))


def _nearest_first(anchors: Sequence[Trial], segment: int) -> list[Trial]:
    """Return the anchors with that of the running segment first, then the latest."""
    others = [a for i, a in enumerate(anchors) if i != segment]
    return [*anchors[segment : segment + 1], *reversed(others)]


def _find_segment(anchors: list[Trial], segment: int, trial: Trial) -> int:
    """Return the segment a trial belongs to: the running one, an earlier one, else a new one."""
    if anchors and compare_setups(anchors[segment], trial).comparable:
        return segment
    for i in reversed(range(len(anchors))):
        if compare_setups(anchors[i], trial).comparable:
            return i
    anchors.append(trial)
    return len(anchors) - 1


def _left_out(count: int) -> str:
    clips = "clip was" if count == 1 else "clips were"
    return f"{count} {clips} left out: filmed or measured in a way that cannot be compared."


def _build_point(
    session: str,
    day: str,
    trials: Sequence[Trial],
    better: Better,
    segment: int,
    marks: tuple[str, ...],
) -> TrendPoint:
    best: float | None = None
    best_width: float | None = None
    if better:
        pick = max if better == "higher" else min
        top = pick(trials, key=lambda t: best_of(t, better))
        best, best_width = best_of(top, better), top.uncertainty
    return TrendPoint(
        session=session,
        day=day,
        trials=len(trials),
        values=sum(t.count for t in trials),
        best=best,
        mean=sum(mean_of(t) for t in trials) / len(trials),
        best_uncertainty=best_width,
        mean_uncertainty=_join_widths(trials),
        segment=segment,
        marks=marks,
        corrected=any(t.corrected for t in trials),
        clips=tuple(t.clip for t in trials),
        view=trials[0].view,
    )


def _join_widths(trials: Sequence[Trial]) -> float | None:
    """Return the uncertainty of the mean: not smaller than that of one clip.

    Clips of one person by one camera share most of their error, so it does not average out.
    """
    if len(trials) == 1:
        return trials[0].uncertainty
    squares = [t.uncertainty**2 for t in trials if t.uncertainty is not None]
    return math.sqrt(sum(squares) / len(squares)) if squares else None
