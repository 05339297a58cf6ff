"""The value of a measure at a moment of an event."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

import numpy as np
import numpy.typing as npt

from motioncheck.records import Event, MeasureTable
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.records.result import Source

# Half-width of the stretch averaged at the turn: a share of the rep, so that a fast turn is not
# flattened, with a limit so that a slow one is not smeared.
TURN_SHARE = 0.03
TURN_LIMIT_S = 0.10
# Just before the start the body rests; that is when "start" is read. Just after the end likewise.
REST_S = 0.25
# At least this share of a whole-rep stretch must have been seen.
MIN_SEEN = 0.6
# A largest or smallest value can be taken from part of the rep.
MIN_SEEN_EXTREME = 0.4
EXTREME_SHARE = 0.05
TRIM_SHARE = 0.2
# The middle part of a hold or stage.
STILL_SHARE = 0.8
INSTANTS = ("turn", "start", "end")


@dataclass(frozen=True, slots=True)
class Reading:
    """A value with the half-width of its 90 % interval; NaN when not measurable.

    ``source`` is where most of the frames that were read have it from; empty for times.
    """

    value: float
    uncertainty: float
    source: Source = ""


Span = tuple[float, float]
ANY_TIME: Span = (-float("inf"), float("inf"))
MISSING = Reading(float("nan"), float("nan"))


def read_measure(
    table: MeasureTable,
    column: str,
    event: Event,
    moment: str,
    *,
    free_s: Span = ANY_TIME,
    bears: float = float("inf"),
    within: Span | None = None,
) -> Reading:
    """Read one column of the table at a moment of an event.

    Parameters
    ----------
    table : MeasureTable
    column : str
        Measure id with side, such as ``knee_flexion_left``.
    event : Event
    moment : str
        ``turn``, ``start``, ``end`` (short averages at that instant), or ``max``, ``min``,
        ``mean``, ``range``, ``spread`` over the whole event; ``gain`` is how far it rises above
        what it is at its beginning.
    free_s : (float, float)
        From the end of the event before to the start of the one after: the rest that is read at
        ``start`` and ``end`` does not reach beyond.
    bears : float
        At ``turn``, ``start`` and ``end``, frames with a larger half-width count only where there
        are no others. Over a whole event all frames count: its extremes may well be where the
        measure is hardest to tell.
    within : (float, float), optional
        Only this part of the event counts for ``max`` to ``gain``; by default all of it.

    Returns
    -------
    Reading
        NaN when the column is empty there, or when less than 60 % of a whole event was seen
        (40 % for ``max`` and ``min``). A mean is that of the middle 60 % of the values, a largest
        or smallest value the mean of the most extreme 5 %.
    """
    chosen = _window(table.time_s, event, moment, free_s, within)
    read = _Frames(
        table.values[column][chosen],
        table.uncertainty[column][chosen],
        table.from_body[column][chosen],
    )
    seen = read[np.isfinite(read.values)]
    if moment in INSTANTS:
        well = seen[seen.widths <= bears]
        return _average(well if len(well.values) else seen)
    enough = MIN_SEEN_EXTREME if moment in ("max", "min") else MIN_SEEN
    if len(seen.values) == 0 or len(seen.values) < enough * len(read.values):
        return MISSING
    return _over_event(seen, moment)


@dataclass(frozen=True, slots=True, eq=False)
class _Frames:
    """What is read: values, half-widths, and whether each is that of the fitted body, (N,)."""

    values: FloatArray
    widths: FloatArray
    from_body: BoolArray

    def __getitem__(self, rows: BoolArray | npt.NDArray[np.intp]) -> _Frames:
        return _Frames(self.values[rows], self.widths[rows], self.from_body[rows])

    @property
    def width(self) -> float:
        return float(np.mean(self.widths))

    @property
    def source(self) -> Source:
        return "body" if 2 * int(self.from_body.sum()) > len(self.from_body) else "image"


def _window(
    time_s: FloatArray, event: Event, moment: str, free_s: Span, within: Span | None
) -> BoolArray:
    if moment == "turn" and event.kind != "rep":
        # A hold or a stage has no turn: what it is like in its middle part.
        half = STILL_SHARE * (event.end_s - event.start_s) / 2.0
        centre, before, after = (event.start_s + event.end_s) / 2.0, half, half
    elif moment == "turn":
        half = min(TURN_LIMIT_S, TURN_SHARE * (event.end_s - event.start_s))
        centre, before, after = event.turn_s, half, half
    elif moment == "start":
        centre, after = event.start_s, 0.0
        before = min(REST_S, max(event.start_s - free_s[0], 0.0))
    elif moment == "end":
        centre, before = event.end_s, 0.0
        after = min(REST_S, max(free_s[1] - event.end_s, 0.0))
    else:
        first, last = (event.start_s, event.end_s) if within is None else within
        return np.asarray((time_s >= first) & (time_s <= last))
    inside = (time_s >= centre - before) & (time_s <= centre + after)
    if not inside.any():
        inside = np.zeros(len(time_s), dtype=np.bool_)
        inside[int(np.argmin(np.abs(time_s - centre)))] = True
    return np.asarray(inside)


def _average(seen: _Frames) -> Reading:
    if len(seen.values) == 0:
        return MISSING
    # Ten times as quick as that of numpy for so few values.
    return Reading(float(median(seen.values.tolist())), seen.width, seen.source)


def _over_event(seen: _Frames, moment: str) -> Reading:
    if moment == "mean":
        return Reading(_trimmed_mean(seen.values), seen.width, seen.source)
    if moment == "range":
        return Reading(float(np.ptp(seen.values)), seen.width * float(np.sqrt(2.0)), seen.source)
    if moment == "gain":
        return _gain(seen)
    if moment == "spread":
        return Reading(float(np.std(seen.values)), seen.width, seen.source)
    return _extreme(seen, largest=moment == "max")


def _gain(seen: _Frames) -> Reading:
    """How far the values rise above the first ones; 0 when they only fall."""
    first = float(np.median(seen.values[: max(1, len(seen.values) // 10)]))
    top = _extreme(seen, largest=True).value
    return Reading(max(top - first, 0.0), seen.width * float(np.sqrt(2.0)), seen.source)


def _trimmed_mean(seen: FloatArray) -> float:
    """Mean of the middle 60 %, so that a short loss of the body in a rep decides nothing."""
    cut = int(TRIM_SHARE * len(seen))
    return float(np.mean(np.sort(seen)[cut : len(seen) - cut]))


def _extreme(seen: _Frames, *, largest: bool) -> Reading:
    """Mean of the most extreme samples, so that a single wild one decides nothing."""
    count = max(3, round(EXTREME_SHARE * len(seen.values)))
    order = np.argsort(seen.values)
    chosen = seen[order[-count:] if largest else order[:count]]
    return Reading(float(np.mean(chosen.values)), chosen.width, chosen.source)
