"""The ground of a trend picture: ruled lines, days, and the band of usual values."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from html import escape
from typing import Final

import numpy as np

from motioncheck.records.trend import NormBand, Trend
from motioncheck.sheet import trend_words as say
from motioncheck.sheet.canvas import Canvas, ticks
from motioncheck.sheet.words import number_text, unit_suffix

_DAY_STEPS: Final = (1, 2, 7, 14)


_MONTH_STEPS: Final = (1, 2, 3, 6, 12, 24, 60, 120)


def norm_drawn(norms: Sequence[NormBand]) -> NormBand | None:
    """Return what is drawn of the usual values: the first band, else the first mean.

    The ones that fit best are listed first.
    """
    bands = [n for n in norms if n.low is not None or n.high is not None]
    means = [n for n in norms if n.mean is not None]
    return next(iter([*bands, *means]), None)


def norm_edges(norm: NormBand) -> tuple[float, float]:
    """Return the edges of a band; one that is missing is infinitely far, a mean is its own edge."""
    if norm.low is None and norm.high is None and norm.mean is not None:
        return norm.mean, norm.mean
    low = -np.inf if norm.low is None else norm.low
    high = np.inf if norm.high is None else norm.high
    return low, high


def draw_norm(canvas: Canvas, trend: Trend) -> str:
    """Draw the usual values as a band, or a line where only a mean is known.

    Where they are far off, words say on which side.
    """
    norm = norm_drawn(trend.norms)
    if norm is None:
        return ""
    low, high = norm_edges(norm)
    bottom, top = canvas.y_range
    span = say.norm_span(norm, trend.unit) or f"mean {say.amount(norm.mean, trend.unit)}"
    words, left = f"usual {span}", canvas.left + 4
    if low >= top or high <= bottom:
        where, y = ("above", canvas.top + canvas.font) if low >= top else (
            "below", canvas.height - canvas.bottom - canvas.font * 0.5)  # fmt: skip
        text = f"{words} ({where} this picture)"
        return f'<text class="norm-text" x="{left:.1f}" y="{y:.1f}">{escape(text)}</text>'
    y0, y1 = canvas.y(min(high, top)), canvas.y(max(low, bottom))
    wide = canvas.width - canvas.left - canvas.right
    edges = dict.fromkeys(v for v in (low, high) if bottom < v < top)
    rules = "".join(f"M{canvas.left:.1f} {canvas.y(v):.1f}h{wide:.1f}" for v in edges)
    band = (
        f'<rect class="norm" x="{canvas.left:.1f}" y="{y0:.1f}" width="{wide:.1f}" '
        f'height="{y1 - y0:.1f}"/>'
        if high > low
        else ""
    )
    return (
        f'{band}<path class="norm-edge" d="{rules}"/>'
        f'<text class="norm-text" x="{left:.1f}" y="{y0 + canvas.font * 1.1:.1f}">'
        f"{escape(words)}</text>"
    )


def draw_rules(canvas: Canvas, unit: str) -> str:
    """Draw the ruled lines with their numbers, and the foot of the picture."""
    low, high = canvas.y_range
    out = []
    for value in ticks(low, high, 5):
        y = canvas.y(value)
        text = number_text(value, 0 if high - low >= 5 else 2) + unit_suffix(unit)
        out.append(
            f'<path class="rule" d="M{canvas.left:.1f} {y:.1f}H{canvas.width - canvas.right:.1f}"/>'
            f'<text x="{canvas.left - 6:.1f}" y="{y + canvas.font * 0.35:.1f}" '
            f'text-anchor="end">{escape(text)}</text>'
        )
    foot = canvas.height - canvas.bottom
    end = canvas.width - canvas.right
    out.append(f'<path class="axis" d="M{canvas.left:.1f} {foot:.1f}H{end:.1f}"/>')
    return "".join(out)


def draw_days(canvas: Canvas, first: str) -> str:
    """Write days under the axis, as many as there is room for, and the year where it changes."""
    start = date.fromisoformat(first).toordinal()
    room = int((canvas.width - canvas.left - canvas.right) / (canvas.font * 4.2))
    low, high = (start + v for v in canvas.x_range)
    foot = canvas.height - canvas.bottom
    out, year = [], 0
    for day in day_ticks(low, high, max(room, 2)):
        x = canvas.x(day.toordinal() - start)
        out.append(
            f'<path class="axis" d="M{x:.1f} {foot:.1f}v4"/><text x="{x:.1f}" '
            f'y="{foot + canvas.font * 1.35:.1f}" text-anchor="middle">'
            f"{day.day} {say.MONTHS[day.month - 1]}</text>"
        )
        if day.year != year:
            year = day.year
            out.append(
                f'<text x="{x:.1f}" y="{foot + canvas.font * 2.6:.1f}" '
                f'text-anchor="middle">{year}</text>'
            )
    return "".join(out)


def day_ticks(low: float, high: float, most: int) -> list[date]:
    """Return at most so many round days inside a span of day numbers (ordinals, may be broken)."""
    for step in _DAY_STEPS:
        start = int(-(-low // step)) * step
        days = list(range(start, int(high) + 1, step))
        if 0 < len(days) <= most:
            return [date.fromordinal(day) for day in days]
    for step in _MONTH_STEPS:
        found = _month_starts(low, high, step)
        if len(found) <= most:
            return found or [date.fromordinal(int(high))]
    return found[:most]


def _month_starts(low: float, high: float, step: int) -> list[date]:
    first, last = date.fromordinal(int(low)), date.fromordinal(int(high))
    months = range(first.year * 12 + first.month - 1, last.year * 12 + last.month)
    days = [date(m // 12, m % 12 + 1, 1) for m in months if m % step == 0]
    return [day for day in days if low <= day.toordinal() <= high]
