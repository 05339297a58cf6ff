"""The comparison page: what the picture, the pose model's own 3-D and the fitted body say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np

from motioncheck.records import Event, Sheet
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.sheet.canvas import Canvas, draw_between, draw_line, finite_runs, svg_of
from motioncheck.sheet.charts import draw_axes, draw_reps
from motioncheck.sheet.html import GENERATOR, TEMPLATES, load_templates, make_policy, mark_safe
from motioncheck.sheet.words import split_side, value_text

# A band wider than this many times the range of the lines is cut off, so that they can be read.
BAND_REACH = 0.6
BAR_HEIGHT = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """One measure over time from three sources; arrays of shape (T,), NaN where missing.

    Attributes
    ----------
    column : str
        Id in the measure table, with its side.
    title, unit : str
    time_s : ndarray
    picture : ndarray
        Read off the picture, where the picture shows the plane.
    model : ndarray
        The same measure of the pose model's own 3-D landmarks.
    body, half_width : ndarray
        The fitted body with the half-width of its 90 % interval.
    from_body : ndarray of bool
        Where the sheet takes the value of the fitted body.
    """

    column: str
    title: str
    unit: str
    time_s: FloatArray
    picture: FloatArray
    model: FloatArray
    body: FloatArray
    half_width: FloatArray
    from_body: BoolArray


def render_comparison(sheet: Sheet, compared: Sequence[Compared]) -> str:
    """Render the comparison page.

    Parameters
    ----------
    sheet : Sheet
        Its events are shaded and numbered.
    compared : sequence of Compared
        In the order of the page; the two sides of a measure follow each other.

    Returns
    -------
    str
        A complete HTML document that loads nothing and runs nothing.
    """
    style = "".join(
        (TEMPLATES / n).read_text(encoding="utf-8") for n in ("sheet.css", "compare.css")
    )
    return (
        load_templates()
        .get_template("compare.html.j2")
        .render(
            sheet=sheet,
            style=mark_safe(style),
            policy=make_policy(style),
            generator=GENERATOR,
            groups=[
                (title, [_figure(sheet.events, c) for c in members])
                for title, members in groupby(compared, key=lambda c: c.title)
            ],
            has_body=any(np.isfinite(c.body).any() for c in compared),
        )
    )


def _figure(events: Sequence[Event], compared: Compared) -> dict[str, Any]:
    wide = compare_chart(events, compared, width=1040, height=230, font=14)
    narrow = compare_chart(events, compared, width=370, height=230, font=12)
    return {
        "side": split_side(compared.column)[1],
        "wide": mark_safe(wide),
        "narrow": mark_safe(narrow),
        "remark": describe(compared),
    }


def describe(compared: Compared) -> str:
    """Say how well the fitted body knows the measure, and how far the other sources are from it."""
    width = compared.half_width[np.isfinite(compared.half_width)]
    if len(width) == 0:
        return "There is no fitted body to compare with."
    parts = [f"Fitted body: usually ± {value_text(float(np.median(width)), compared.unit)}"]
    for name, other in (("picture", compared.picture), ("pose model", compared.model)):
        gap = (other - compared.body)[np.isfinite(other - compared.body)]
        if len(gap):
            text = value_text(float(np.median(np.abs(gap))), compared.unit)
            parts.append(f"{name}: usually {text} away from it")
        else:
            parts.append(f"{name}: cannot show it from here")
    return "; ".join(parts) + "."


def compare_chart(
    events: Sequence[Event], compared: Compared, *, width: int, height: int, font: int
) -> str:
    """Draw one measure over time from all sources.

    Returns
    -------
    str
        An ``<svg>`` element, or an empty string when no source knows anything.
    """
    y_range = _y_range(compared)
    if y_range is None or len(compared.time_s) < 2:
        return ""
    time_s = compared.time_s
    canvas = Canvas(width, height, font, (float(time_s[0]), float(time_s[-1])), y_range)
    lower = np.clip(compared.body - compared.half_width, *y_range)
    upper = np.clip(compared.body + compared.half_width, *y_range)
    body = [
        draw_reps(canvas, events),
        draw_axes(canvas, compared.unit, " s"),
        draw_between(canvas, time_s, lower, upper, "body-band"),
        draw_line(canvas, time_s, compared.model, "model-line"),
        draw_line(canvas, time_s, compared.picture, "picture-line"),
        draw_line(canvas, time_s, compared.body, "body-line"),
        _used(canvas, compared),
    ]
    side = split_side(compared.column)[1]
    label = f"{compared.title}{', ' if side else ''}{side} over time from three sources."
    return svg_of(canvas, label, "".join(body))


def _y_range(compared: Compared) -> tuple[float, float] | None:
    lines = np.concatenate([compared.picture, compared.model, compared.body])
    lines = lines[np.isfinite(lines)]
    if not len(lines):
        return None
    low, high = float(lines.min()), float(lines.max())
    reach = max(high - low, 1e-3) * BAND_REACH
    edges = [compared.body - compared.half_width, compared.body + compared.half_width]
    known = np.concatenate([e[np.isfinite(e)] for e in edges])
    if len(known):
        low = max(min(low, float(known.min())), low - reach)
        high = min(max(high, float(known.max())), high + reach)
    pad = max(high - low, 1e-3) * 0.07
    return low - pad, high + pad


def _used(canvas: Canvas, compared: Compared) -> str:
    """Mark along the foot of the chart where the sheet takes the fitted body."""
    out = []
    for run in finite_runs(np.where(compared.from_body, 0.0, np.nan)):
        x0 = canvas.x(float(compared.time_s[run.start]))
        x1 = canvas.x(float(compared.time_s[run.stop - 1]))
        y = canvas.height - canvas.bottom - BAR_HEIGHT
        out.append(
            f'<rect class="body-bar" x="{x0:.1f}" y="{y:.1f}" width="{max(x1 - x0, 1):.1f}" '
            f'height="{BAR_HEIGHT:.0f}"/>'
        )
    return "".join(out)
