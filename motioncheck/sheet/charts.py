"""Charts as inline SVG, made by small functions without a plotting library.

Colour carries no meaning alone: reps with a miss also have a heavy bar and a mark, left and right
differ by solid and dashed lines.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from motioncheck.records import Comparison, Event, MeasureTable, Sheet
from motioncheck.records.arrays import FloatArray
from motioncheck.sheet.canvas import Canvas, draw_band, draw_line, finite_runs, svg_of, ticks
from motioncheck.sheet.words import (
    limit_text,
    measure_title,
    number_text,
    split_side,
    unit_suffix,
    worst_verdict,
)

GRID = np.linspace(0.0, 1.0, 61)
# Half the width of a letter, about, in sizes of the font.
HALF_LETTER = 0.3


@dataclass(frozen=True, slots=True)
class Limit:
    """A threshold drawn as a line."""

    value: float
    comparison: Comparison


@dataclass(frozen=True, slots=True)
class ChartSpec:
    """What the charts show: one measure, or the left and the right of one measure.

    Parameters
    ----------
    measures : tuple of str
        Ids in the measure table, left before right.
    title : str
        Name of the measure without its side.
    unit : str
        Unit of the measure.
    limits : tuple of Limit
        Thresholds to draw.
    """

    measures: tuple[str, ...]
    title: str
    unit: str = "deg"
    limits: tuple[Limit, ...] = ()


def default_chart(sheet: Sheet, table: MeasureTable) -> ChartSpec:
    """Return the chart the standard asks for: its measure, both sides where there are two.

    Parameters
    ----------
    sheet : Sheet
        Names the measure and the thresholds.
    table : MeasureTable
        Tells which sides exist.
    """
    wanted = sheet.movement.chart_measure
    sided = tuple(f"{wanted}_{side}" for side in ("left", "right"))
    names = (wanted,) if wanted in table.values else tuple(m for m in sided if m in table.values)
    seen = tuple(m for m in names if np.isfinite(table.values[m]).any())
    base = split_side(wanted)[0]
    # A limit on the difference of the sides, or on the set, is no level of the curve itself.
    checks = [
        c
        for c in sheet.movement.checks
        if split_side(c.measure)[0] == base and c.scope == "rep" and c.side != "difference"
    ]
    limits = tuple(dict.fromkeys(Limit(c.threshold, c.comparison) for c in checks))
    unit = checks[0].unit if checks else _unit_of(sheet, names)
    # The side stands in the title only when a single line is drawn.
    title = measure_title(names[0] if len(names) == 1 else base)
    return ChartSpec(seen or names, title, unit, limits)


def _unit_of(sheet: Sheet, names: Sequence[str]) -> str:
    for event in sheet.events:
        for name in names:
            if name in event.measures:
                return event.measures[name].unit
    return "deg"


def draw_axes(canvas: Canvas, unit: str, x_unit: str) -> str:
    """Draw the ruled lines and the numbers of both axes."""
    low, high = canvas.y_range
    out = []
    bottom = canvas.height - canvas.bottom
    for value in ticks(low, high, 5):
        y = canvas.y(value)
        text = number_text(value, 0 if abs(high - low) >= 5 else 2) + unit_suffix(unit)
        out.append(
            f'<path class="rule" d="M{canvas.left:.1f} {y:.1f}H{canvas.width - canvas.right:.1f}"/>'
            f'<text x="{canvas.left - 6:.1f}" y="{y + canvas.font * 0.35:.1f}" '
            f'text-anchor="end">{escape(text)}</text>'
        )
    wanted = 5 if canvas.width < 600 else 10
    for value in ticks(*canvas.x_range, wanted, steps=(1.0, 2.0, 5.0, 10.0)):
        places = 0 if float(value).is_integer() else 1
        text = f"{number_text(value, places)}{x_unit}"
        # The last number is moved inward where half of it would be cut off.
        x = min(canvas.x(value), canvas.width - HALF_LETTER * canvas.font * len(text))
        out.append(
            f'<text x="{x:.1f}" y="{bottom + canvas.font * 1.25:.1f}" '
            f'text-anchor="middle">{text}</text>'
        )
    out.append(
        f'<path class="axis" d="M{canvas.left:.1f} {bottom:.1f}'
        f'H{canvas.width - canvas.right:.1f}"/>'
    )
    return "".join(out)


def _limits(canvas: Canvas, spec: ChartSpec) -> str:
    out = []
    for limit in spec.limits:
        y = canvas.y(limit.value)
        words = limit_text(limit.comparison, limit.value, spec.unit)
        # The words stand on the side of the line where a rep meets the check.
        side = canvas.font * 1.05 if limit.comparison == "at most" else -canvas.font * 0.4
        out.append(
            f'<path class="limit" d="M{canvas.left:.1f} {y:.1f}'
            f'H{canvas.width - canvas.right:.1f}"/>'
            f'<text class="limit-text" x="{canvas.width - canvas.right - 4:.1f}" '
            f'y="{y + side:.1f}" text-anchor="end">{escape(words)}</text>'
        )
    return "".join(out)


def draw_reps(canvas: Canvas, events: Sequence[Event]) -> str:
    """Shade each rep and number it; where numbers would touch, only some are printed."""
    room = (canvas.width - canvas.left - canvas.right) / max(len(events), 1)
    every = max(1, math.ceil(canvas.font * 1.9 / room))
    out = []
    for index, event in enumerate(events):
        x0, x1 = canvas.x(event.start_s), canvas.x(event.end_s)
        miss = worst_verdict(event.findings) == "misses" and not event.struck
        height = canvas.height - canvas.top - canvas.bottom
        css = "rep-band rep-miss" if miss else "rep-band"
        if event.struck or event.added:
            css = "rep-struck" if event.struck else "rep-added"
        out.append(
            f'<rect class="{css}" x="{x0:.1f}" y="{canvas.top:.1f}" '
            f'width="{max(x1 - x0 - 1, 1):.1f}" height="{height:.1f}"/>'
        )
        if miss:
            out.append(
                f'<rect class="miss-bar" x="{x0:.1f}" y="{canvas.top - 5:.1f}" '
                f'width="{max(x1 - x0 - 1, 1):.1f}" height="5"/>'
            )
        if index % every == 0:
            number = "rep-number out" if event.struck else "rep-number"
            out.append(
                f'<text class="{number}" x="{(x0 + x1) / 2:.1f}" y="{canvas.top - 9:.1f}" '
                f'text-anchor="middle">{event.number}</text>'
            )
    return "".join(out)


def _turns(canvas: Canvas, table: MeasureTable, event: Event, names: Sequence[str]) -> str:
    index = int(np.argmin(np.abs(table.time_s - event.turn_s)))
    out = []
    for name in measures_of(event, names):
        value = float(table.values[name][index])
        if math.isfinite(value):
            x, y = canvas.x(float(table.time_s[index])), canvas.y(value)
            out.append(f'<circle class="turn" cx="{x:.1f}" cy="{y:.1f}" r="4"/>')
    return "".join(out)


def _gaps(canvas: Canvas, table: MeasureTable, names: Sequence[str]) -> str:
    """Mark along the foot of the chart where none of the lines could be measured."""
    missing = np.all([~np.isfinite(table.values[name]) for name in names], axis=0)
    blanks = np.where(missing, 0.0, np.nan)
    out = []
    for run in finite_runs(blanks):
        x0 = canvas.x(float(table.time_s[run.start]))
        x1 = canvas.x(float(table.time_s[run.stop - 1]))
        y = canvas.height - canvas.bottom - 7
        out.append(
            f'<rect class="gap" x="{x0:.1f}" y="{y:.1f}" width="{max(x1 - x0, 2):.1f}" height="7"/>'
        )
    return "".join(out)


def measures_of(event: Event, names: Sequence[str]) -> list[str]:
    """Return the charted measures that belong to the side of an event."""
    if event.side == "both":
        return list(names)
    own = [name for name in names if split_side(name)[1] in {"", event.side}]
    return own or list(names)


def _y_range(spec: ChartSpec, arrays: Sequence[FloatArray]) -> tuple[float, float] | None:
    known = np.concatenate([np.ravel(a) for a in arrays]) if arrays else np.empty(0)
    known = known[np.isfinite(known)]
    if not known.size:
        return None
    low, high = float(known.min()), float(known.max())
    # A threshold far outside what was seen would flatten the curve; it stands in the table.
    reach = max(high - low, 1e-6) * 0.6
    near = [m.value for m in spec.limits if low - reach <= m.value <= high + reach]
    low, high = min([low, *near]), max([high, *near])
    pad = max(high - low, 1e-3) * 0.07
    return low - pad, high + pad


def _near_limits(spec: ChartSpec, y_range: tuple[float, float]) -> ChartSpec:
    near = tuple(m for m in spec.limits if y_range[0] <= m.value <= y_range[1])
    return ChartSpec(spec.measures, spec.title, spec.unit, near)


def line_class(name: str, names: Sequence[str]) -> str:
    """Return the line style: dashed for the right side when both sides are drawn."""
    return "line right" if len(names) > 1 and split_side(name)[1] == "right" else "line"


def time_chart(
    sheet: Sheet, table: MeasureTable, spec: ChartSpec, *, width: int, height: int, font: int
) -> str:
    """Draw the measure over time with reps, thresholds, turns, gaps and uncertainty.

    Parameters
    ----------
    sheet : Sheet
        Holds the events.
    table : MeasureTable
        Holds the measures over time; NaN leaves a gap in the line.
    spec : ChartSpec
        What to draw.
    width, height, font : int
        Size of the drawing and its letters, picture units.

    Returns
    -------
    str
        An ``<svg>`` element, or an empty string when there is nothing to draw.
    """
    names = [name for name in spec.measures if name in table.values]
    if not names or len(table.time_s) < 2:
        return ""
    edges = [table.values[n] + s * _margin(table, n) for n in names for s in (-1.0, 1.0)]
    y_range = _y_range(spec, [*(table.values[n] for n in names), *edges])
    if y_range is None:
        return ""
    x_range = (float(table.time_s[0]), float(table.time_s[-1]))
    canvas = Canvas(width, height, font, x_range, y_range)
    body = [draw_reps(canvas, sheet.events), draw_axes(canvas, spec.unit, " s")]
    body += [draw_band(canvas, table.time_s, table.values[n], _margin(table, n)) for n in names]
    body.append(_limits(canvas, _near_limits(spec, y_range)))
    body += [draw_line(canvas, table.time_s, table.values[n], line_class(n, names)) for n in names]
    body += [_turns(canvas, table, event, names) for event in sheet.events]
    body.append(_gaps(canvas, table, names))
    label = f"{spec.title} over time, {len(sheet.events)} events, {x_range[1] - x_range[0]:.0f} s."
    return svg_of(canvas, label, "".join(body))


def _margin(table: MeasureTable, name: str) -> FloatArray:
    if name in table.uncertainty:
        return table.uncertainty[name]
    return np.full(len(table.time_s), np.nan)


def resample_rep(time_s: FloatArray, values: FloatArray, event: Event) -> FloatArray:
    """Return a measure on an even grid from the start to the end of one event.

    Grid points that fall into a gap stay NaN: nothing is joined across it.
    """
    at = event.start_s + GRID * (event.end_s - event.start_s)
    known = np.isfinite(values)
    if known.sum() < 2:
        return np.full(len(GRID), np.nan)
    result = np.interp(at, time_s[known], values[known], left=np.nan, right=np.nan)
    in_gap = np.interp(at, time_s, (~known).astype(np.float64)) > 0.0
    return np.where(in_gap, np.nan, result)


def overlay_chart(
    sheet: Sheet, table: MeasureTable, spec: ChartSpec, *, width: int, height: int, font: int
) -> str:
    """Draw the reps over each other from 0 to 100 % of the rep, with their median.

    Parameters and result are those of `time_chart`.
    """
    names = [name for name in spec.measures if name in table.values]
    curves = [
        (name, worst_verdict(event.findings) == "misses",
         resample_rep(table.time_s, table.values[name], event))
        for event in sheet.events
        if not event.struck and event.end_s > event.start_s
        for name in measures_of(event, names)
    ]  # fmt: skip
    y_range = _y_range(spec, [curve for _, _, curve in curves])
    if y_range is None:
        return ""
    canvas = Canvas(width, height, font, (0.0, 100.0), y_range, top=14.0, right=20.0)
    percent = GRID * 100.0
    body = [draw_axes(canvas, spec.unit, " %"), _limits(canvas, _near_limits(spec, y_range))]
    for name, miss, curve in curves:
        css = line_class(name, names).replace("line", "one-miss" if miss else "one")
        body.append(draw_line(canvas, percent, curve, css))
    for name in names:
        own = np.array([curve for owner, _, curve in curves if owner == name])
        if len(own) > 1:
            css = line_class(name, names).replace("line", "median")
            body.append(draw_line(canvas, percent, _median(own), css))
    laid = sum(not e.struck and e.end_s > e.start_s for e in sheet.events)
    label = f"{spec.title} within each rep, {laid} laid over each other."
    return svg_of(canvas, label, "".join(body))


def _median(curves: FloatArray) -> FloatArray:
    """Return the median of each column that has at least two values, NaN elsewhere.

    Curves with a gap are left out where enough whole ones remain: the median would jump at the
    edges of the gap.
    """
    whole = curves[np.isfinite(curves).all(axis=1)]
    curves = whole if len(whole) >= 2 else curves
    enough = np.isfinite(curves).sum(axis=0) >= 2
    middle = np.full(curves.shape[1], np.nan)
    if enough.any():
        middle[enough] = np.nanmedian(curves[:, enough], axis=0)
    return middle
