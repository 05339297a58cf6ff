"""The ground under the charts: scales, ticks, lines with gaps, and the SVG frame."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

import numpy as np

from motioncheck.records.arrays import FloatArray

MAX_POINTS: Final = 900


@dataclass(frozen=True, slots=True)
class Canvas:
    """A drawing area in picture units, and the data range it shows."""

    width: float
    height: float
    font: float
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    top: float = 30.0
    bottom: float = 34.0
    right: float = 10.0

    @property
    def left(self) -> float:
        """Margin that holds the numbers of the upright axis."""
        return self.font * 3.3

    def x(self, value: float) -> float:
        """Return the horizontal place of a value."""
        low, high = self.x_range
        return self.left + (value - low) / (high - low) * (self.width - self.left - self.right)

    def y(self, value: float) -> float:
        """Return the vertical place of a value."""
        low, high = self.y_range
        inside = self.height - self.top - self.bottom
        return self.height - self.bottom - (value - low) / (high - low) * inside


def ticks(
    low: float, high: float, count: int, *, steps: tuple[float, ...] = (1.0, 2.0, 2.5, 5.0, 10.0)
) -> list[float]:
    """Return about ``count`` round numbers inside a range."""
    raw = max(high - low, 1e-9) / max(count, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in steps if m * power >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    return [n * step for n in range(first, math.floor(high / step + 1e-9) + 1)]


def finite_runs(values: FloatArray) -> Iterator[slice]:
    """Yield stretches without a missing value, so that gaps are never joined."""
    edges = np.diff(np.concatenate(([0], np.isfinite(values).astype(np.int8), [0])))
    starts, stops = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    for start, stop in zip(starts.tolist(), stops.tolist(), strict=True):
        yield slice(start, stop)


def thin(values: FloatArray, limit: int) -> list[int]:
    """Return indices to draw: all of them, or the lowest and highest of each small stretch."""
    if len(values) <= limit:
        return list(range(len(values)))
    keep = {0, len(values) - 1}
    for part in np.array_split(np.arange(len(values)), max(limit // 2, 1)):
        keep.add(int(part[np.argmin(values[part])]))
        keep.add(int(part[np.argmax(values[part])]))
    return sorted(keep)


def path_of(points: Sequence[tuple[float, float]]) -> str:
    """Return path data through points of the drawing."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def draw_line(canvas: Canvas, x: FloatArray, y: FloatArray, css: str) -> str:
    """Draw one measure; a point that stands alone becomes a short dash, so it is not lost."""
    parts = []
    for run in finite_runs(y):
        share = max(int(MAX_POINTS * (run.stop - run.start) / max(len(y), 1)), 4)
        picks = [run.start + i for i in thin(y[run], share)]
        points = [(canvas.x(float(x[i])), canvas.y(float(y[i]))) for i in picks]
        if len(points) == 1:
            points.append((points[0][0] + 1.5, points[0][1]))
        parts.append(path_of(points))
    return f'<path class="{css}" d="{"".join(parts)}"/>' if parts else ""


def draw_band(canvas: Canvas, x: FloatArray, y: FloatArray, margin: FloatArray) -> str:
    """Draw the uncertainty as a band about the line."""
    return draw_between(canvas, x, y - margin, y + margin)


def draw_between(
    canvas: Canvas, x: FloatArray, lower: FloatArray, upper: FloatArray, css: str = "band"
) -> str:
    """Fill what lies between two lines; nothing where one of them is missing."""
    parts = []
    for run in finite_runs(lower + upper):
        share = max(int(MAX_POINTS / 2 * (run.stop - run.start) / max(len(x), 1)), 4)
        picks = [run.start + i for i in thin((lower + upper)[run], share)]
        top = [(canvas.x(float(x[i])), canvas.y(float(upper[i]))) for i in picks]
        bottom = [(canvas.x(float(x[i])), canvas.y(float(lower[i]))) for i in picks]
        parts.append(path_of(top + bottom[::-1]) + "Z")
    return f'<path class="{css}" d="{"".join(parts)}"/>' if parts else ""


def svg_of(canvas: Canvas, label: str, body: str) -> str:
    """Return the drawing as one ``<svg>`` element with a label for screen readers."""
    return (
        f'<svg class="chart" role="img" aria-label="{escape(label)}" '
        f'viewBox="0 0 {canvas.width:.0f} {canvas.height:.0f}" '
        f'font-size="{canvas.font:.0f}" xmlns="http://www.w3.org/2000/svg">{body}</svg>'
    )
