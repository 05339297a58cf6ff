"""A measure over the sessions of a person, as inline SVG.

Left and right differ by mark, dash and a word at the end of the line, so that nothing hangs on
colour. Long histories are drawn as a line with a band instead of single marks: a page of a
thousand sessions stays light.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Final

import numpy as np

from motioncheck.records.arrays import FloatArray
from motioncheck.records.trend import SideLine, Trend, TrendPoint
from motioncheck.sheet import trend_view as view
from motioncheck.sheet import trend_words as say
from motioncheck.sheet.canvas import Canvas, draw_band, draw_line, path_of, svg_of, thin
from motioncheck.sheet.trend_axes import draw_days, draw_norm, draw_rules, norm_drawn, norm_edges
from motioncheck.sheet.words import plural

# From this many sessions on, single marks would touch each other.
DENSE: Final = 120
# Sides are moved apart by this much, so that their bars do not cover each other.
_APART: Final = {"left": -3.0, "right": 3.0, "both": 0.0}


@dataclass(frozen=True, slots=True)
class _Drawn:
    """One side, ready to be drawn: places on both axes, NaN where there is no value."""

    line: SideLine
    x: FloatArray
    y: FloatArray
    band: FloatArray
    segment: tuple[int, ...]
    limit: float | None
    last_limit: float | None
    css: str

    def runs(self) -> list[slice]:
        """Return the points that can be compared and follow each other."""
        found, start = [], 0
        for _, own in groupby(self.segment):
            stop = start + len(list(own))
            found.append(slice(start, stop))
            start = stop
        return found

    def limits(self) -> list[tuple[float, float, float, float]]:
        """Return for each stretch where a value does not count as changed: from x, to x, low, high.

        The band stands around the first value of the stretch.
        """
        found = []
        for segment in dict.fromkeys(self.segment):
            own = np.flatnonzero((np.array(self.segment) == segment) & np.isfinite(self.y))
            limit = self.last_limit if segment == self.segment[-1] else self.limit
            if limit is not None and own.size > 1:
                value = float(self.y[own[0]])
                span = float(self.x[own[0]]), float(self.x[own[-1]])
                found.append((*span, value - limit, value + limit))
        return found

    def bridges(self) -> list[tuple[int, int]]:
        """Return pairs of points that can be compared, with others in between that cannot."""
        latest: dict[int, int] = {}
        found = []
        for i, segment in enumerate(self.segment):
            if not np.isfinite(self.y[i]):
                continue
            before = latest.get(segment)
            if before is not None and any(s != segment for s in self.segment[before:i]):
                found.append((before, i))
            latest[segment] = i
        return found


def trend_chart(trend: Trend, *, width: int, height: int, font: int) -> str:
    """Draw a measure over the sessions.

    Parameters
    ----------
    trend : Trend
        Its sides, limit and usual values. Values that are None leave a gap.
    width, height, font : int
        Size of the drawing and its letters, picture units.

    Returns
    -------
    str
        An ``<svg>`` element, empty when no session has a value.
    """
    first = min((p.day for line in trend.lines for p in line.points), default="")
    drawn = [_prepare(trend, line, first) for line in trend.lines if line.points]
    drawn = [d for d in drawn if np.isfinite(d.y).any()]
    if not drawn:
        return ""
    y_range = _y_range(trend, drawn)
    right = font * (3.6 if any(d.css != "both" for d in drawn) else 1.2)
    # Room for the numbers of marks, only where there are marks.
    top = font * (1.8 if view.marks_of(trend) else 0.7)
    canvas = Canvas(width, height, font, _x_range(drawn), y_range, top, font * 3.1, right)
    body = [
        draw_rules(canvas, trend.unit),
        draw_norm(canvas, trend),
        draw_days(canvas, first),
    ]
    body += [_limit_band(canvas, d) for d in drawn]
    body.append(_marks(canvas, trend, drawn))
    dense = max(len(d.y) for d in drawn) > DENSE
    body += [_line(canvas, d, dense=dense) for d in drawn]
    if not dense:
        body += [_points(canvas, d) for d in drawn]
    body += [_names(canvas, drawn), _letters(canvas, drawn)]
    sessions = plural(max(len(d.y) for d in drawn), "session")
    label = f"{trend.title} over {sessions}. The table below has the same in numbers."
    return svg_of(canvas, label, "".join(body))


def is_dense(trend: Trend) -> bool:
    """Return True where there are too many sessions for a mark each."""
    return max((len(line.points) for line in trend.lines), default=0) > DENSE


def norm_place(trend: Trend) -> str:
    """Return where the usual values lie: ``drawn``, ``above``, ``below``, empty for none."""
    first = min((p.day for line in trend.lines for p in line.points), default="")
    drawn = [_prepare(trend, line, first) for line in trend.lines if line.points]
    drawn = [d for d in drawn if np.isfinite(d.y).any()]
    norm = norm_drawn(trend.norms)
    if norm is None or not drawn:
        return ""
    low, high = _y_range(trend, drawn)
    bottom, top = norm_edges(norm)
    if bottom >= high:
        return "above"
    return "below" if top <= low else "drawn"


def _prepare(trend: Trend, line: SideLine, first: str) -> _Drawn:
    statistic = say.statistic_of(line)
    limit = say.mdc_of(trend, line).value
    needed = line.changes[0].needed if line.changes else None
    return _Drawn(
        line=line,
        x=_days_since(line.points, first),
        y=_array(say.value_of(p, statistic) for p in line.points),
        band=_array(say.band_of(p, statistic) for p in line.points),
        segment=tuple(p.segment for p in line.points),
        limit=limit,
        # What the word about the last point was measured by.
        last_limit=limit if needed is None else needed,
        css=side_class(line.side, len(trend.lines)),
    )


def _array(values: Iterable[float | None]) -> FloatArray:
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)


def _days_since(points: Sequence[TrendPoint], first: str) -> FloatArray:
    """Return days since the first one; sessions of one day share it evenly."""
    start = date.fromisoformat(first).toordinal()
    places: list[float] = []
    for day, own in groupby(p.day for p in points):
        count = len(list(own))
        whole = date.fromisoformat(day).toordinal() - start
        places += [whole + i / count for i in range(count)]
    return np.array(places, dtype=np.float64)


def _x_range(drawn: Sequence[_Drawn]) -> tuple[float, float]:
    low = min(float(d.x.min()) for d in drawn)
    high = max(float(d.x.max()) for d in drawn)
    pad = max((high - low) * 0.025, 0.6)
    return low - pad, high + pad


def _y_range(trend: Trend, drawn: Sequence[_Drawn]) -> tuple[float, float]:
    edges = [float(v) for d in drawn for v in (*(d.y - _zero(d.band)), *(d.y + _zero(d.band)))]
    edges = [v for v in edges if np.isfinite(v)]
    edges += [v for d in drawn for *_, low, high in d.limits() for v in (low, high)]
    low, high = min(edges), max(edges)
    norm = norm_drawn(trend.norms)
    if norm is not None:
        # Usual values far off would flatten the line; then only words say where they are.
        bottom, top = norm_edges(norm)
        reach = max(high - low, 1e-6) * 0.8
        if bottom <= high + reach and top >= low - reach:
            low, high = min(low, max(bottom, low - reach)), max(high, min(top, high + reach))
    pad = max((high - low) * 0.05, abs(high) * 0.005, 1e-3)
    return low - pad, high + pad


def _zero(values: FloatArray) -> FloatArray:
    return np.where(np.isfinite(values), values, 0.0)


def _limit_band(canvas: Canvas, drawn: _Drawn) -> str:
    """Draw where a value of a stretch would not count as changed since its first one."""
    css = f"mdc {drawn.css}"
    out = []
    for start, end, low, high in drawn.limits():
        x0, x1 = canvas.x(start), canvas.x(end)
        wide = x1 - x0
        y0, y1 = canvas.y(high), canvas.y(low)
        out.append(
            f'<rect class="mdc-fill" x="{x0:.1f}" y="{y0:.1f}" width="{wide:.1f}" '
            f'height="{y1 - y0:.1f}"/>'
            f'<path class="{css}" d="M{x0:.1f} {y0:.1f}h{wide:.1f}M{x0:.1f} {y1:.1f}h{wide:.1f}"/>'
        )
    return "".join(out)


def _line(canvas: Canvas, drawn: _Drawn, *, dense: bool) -> str:
    # More points than the picture is wide only weigh; the lowest and highest stay.
    x, y, band = _with_gaps(drawn, most=round(canvas.width * 0.8))
    css = f"line {drawn.css}{' long' if dense else ''}"
    out = [draw_band(canvas, x, y, band)] if dense else []
    out.append(draw_line(canvas, x, y, css))
    places = [
        [(canvas.x(float(drawn.x[i])), canvas.y(float(drawn.y[i]))) for i in pair]
        for pair in drawn.bridges()
    ]
    if places:
        path = "".join(path_of(pair) for pair in places)
        out.append(f'<path class="bridge {drawn.css}" d="{path}"/>')
    return "".join(out)


def _with_gaps(drawn: _Drawn, *, most: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return places, values and bands with a gap between stretches.

    A session without a value is no gap in time: the line goes on to the next one.
    """
    found: list[FloatArray] = []
    gap = np.full((3, 1), np.nan)
    for run in drawn.runs():
        known = np.flatnonzero(np.isfinite(drawn.y[run])) + run.start
        share = max(most * len(known) // len(drawn.y), 4)
        kept = known[thin(drawn.y[known], share)] if known.size else known
        found += [np.array([drawn.x[kept], drawn.y[kept], drawn.band[kept]]), gap]
    x, y, band = np.concatenate(found, axis=1)
    return x, y, band


def _points(canvas: Canvas, drawn: _Drawn) -> str:
    side = drawn.line.side
    radius = 3.2 if len(drawn.y) > DENSE // 3 else 4.4
    bars, marks = [], []
    for x_day, value, band in zip(drawn.x, drawn.y, drawn.band, strict=True):
        if not np.isfinite(value):
            continue
        x, y = canvas.x(float(x_day)) + _APART[side], canvas.y(float(value))
        if np.isfinite(band):
            y0, y1 = canvas.y(float(value + band)), canvas.y(float(value - band))
            bars.append(f"M{x - 3:.1f} {y0:.1f}h6m-3 0V{y1:.1f}m-3 0h6")
        marks.append(mark_path(side, x, y, radius))
    return (
        f'<path class="bar {drawn.css}" d="{"".join(bars)}"/>'
        f'<path class="point {drawn.css}" d="{"".join(marks)}"/>'
    )


def side_class(side: str, lines: int) -> str:
    """Return the style of a side; values of both sides differ from left ones only beside them."""
    return "both third" if side == "both" and lines > 1 else side


def mark_path(side: str, x: float, y: float, radius: float) -> str:
    """Return path data of a point: a disc, for the right a square, for both sides a diamond."""
    if side == "both":
        arm = radius * 1.15
        step = f"{arm:.1f} {arm:.1f}"
        return f"M{x:.1f} {y - arm:.1f}l{step}l-{step}l-{arm:.1f} -{arm:.1f}z"
    if side == "right":
        half = radius * 0.92
        return f"M{x - half:.1f} {y - half:.1f}h{2 * half:.1f}v{2 * half:.1f}h{-2 * half:.1f}z"
    arc = f"a{radius:.1f} {radius:.1f} 0 1 0"
    return f"M{x - radius:.1f} {y:.1f}{arc} {2 * radius:.1f} 0{arc} {-2 * radius:.1f} 0"


def _marks(canvas: Canvas, trend: Trend, drawn: Sequence[_Drawn]) -> str:
    """Draw a numbered line where something changed, through the whole picture at a break."""
    places: dict[tuple[str, str], tuple[float, float]] = {}
    for d in drawn:
        before = None
        for point, x in zip(d.line.points, d.x, strict=True):
            middle = float(x) if before is None else (before + float(x)) / 2
            places.setdefault((point.day, point.session), (middle, float(x)))
            before = float(x)
    foot, free = canvas.height - canvas.bottom, -canvas.font
    breaks: list[str] = []
    small: list[str] = []
    numbers: list[str] = []
    for mark in view.marks_of(trend):
        if (mark.day, mark.session) not in places:
            continue
        middle, own = places[mark.day, mark.session]
        x = canvas.x(middle if mark.breaks else own)
        end = f"V{foot:.1f}" if mark.breaks else "v7"
        (breaks if mark.breaks else small).append(f"M{x:.1f} {canvas.top:.1f}{end}")
        if mark.number <= view.MOST_MARKS and x - free >= canvas.font * 1.3:
            free = x
            numbers.append(
                f'<text class="mark-number" x="{x:.1f}" y="{canvas.top - canvas.font * 0.4:.1f}" '
                f'text-anchor="middle">{mark.number}</text>'
            )
    parts = [
        f'<path class="{css}" d="{"".join(d)}"/>'
        for css, d in (("break", breaks), ("small-mark", small))
        if d
    ]
    return "".join(parts + numbers)


def _names(canvas: Canvas, drawn: Sequence[_Drawn]) -> str:
    """Write the side beside the end of its line, moved apart where they would touch."""
    if len(drawn) == 1 and drawn[0].line.side == "both":
        return ""
    ends: list[tuple[float, str]] = []
    for d in drawn:
        last = int(np.flatnonzero(np.isfinite(d.y))[-1])
        ends.append((canvas.y(float(d.y[last])), d.css))
    ends.sort()
    places = [y for y, _ in ends]
    for i in range(1, len(places)):
        apart = max(canvas.font * 1.15 - (places[i] - places[i - 1]), 0.0) / 2
        places = [y - apart if n < i else y + apart for n, y in enumerate(places)]
    x = canvas.width - canvas.right + 5
    return "".join(
        f'<text class="side-name {css}" x="{x:.1f}" y="{y + canvas.font * 0.35:.1f}">'
        f"{css.split()[0]}</text>"
        for y, (_, css) in zip(places, ends, strict=True)
    )


def _letters(canvas: Canvas, drawn: Sequence[_Drawn]) -> str:
    """Write the letter of each stretch over the axis where it begins or goes on."""
    if len({s for d in drawn for s in d.segment}) < 2:
        return ""
    longest = max(drawn, key=lambda d: len(d.y))
    free, y = -canvas.font, canvas.height - canvas.bottom - 5
    out = []
    for run in longest.runs():
        x = canvas.x(float(longest.x[run.start]))
        if x - free >= canvas.font * 1.2:
            free = x
            letter = say.letter_of(longest.segment[run.start])
            out.append(
                f'<text class="stretch" x="{x + canvas.font * 0.7:.1f}" y="{y:.1f}" '
                f'text-anchor="middle">{letter}</text>'
            )
    return "".join(out)
