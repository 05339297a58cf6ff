"""The trends as a CSV file: a row a session of each side of each measure."""

from __future__ import annotations

import csv
import io
import math
from typing import Final

from motioncheck.records.trend import SideLine, Trend, TrendPoint, TrendReport
from motioncheck.sheet.tables import safe_cell

COLUMNS: Final = (
    "person", "movement", "measure", "title", "side", "moment", "unit", "session", "day", "trials",
    "values", "best", "best_uncertainty", "mean", "mean_uncertainty", "segment", "corrected",
    "view", "clips", "marks",
)  # fmt: skip
_PLACES: Final = 3


def trend_csv(report: TrendReport) -> str:
    """Return a row a session of each side of each measure, every session of the report.

    Lines end in a bare newline; what is not known is an empty cell. Uncertainties are half-widths
    of 90 % intervals. Points of one ``segment`` can be compared with each other.
    """
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(COLUMNS)
    for trend in report.trends:
        for line in trend.lines:
            head = _head(report, trend, line)
            writer.writerows(head + _row(point) for point in line.points)
    return buffer.getvalue()


def _head(report: TrendReport, trend: Trend, line: SideLine) -> list[str]:
    texts = (
        report.person.code, trend.movement, trend.measure, trend.title, line.side, trend.moment,
        trend.unit,
    )  # fmt: skip
    return [safe_cell(text) for text in texts]


def _row(point: TrendPoint) -> list[str]:
    return [
        safe_cell(point.session), safe_cell(point.day), str(point.trials), str(point.values),
        _number(point.best), _number(point.best_uncertainty),
        _number(point.mean), _number(point.mean_uncertainty),
        str(point.segment), "yes" if point.corrected else "no",
        safe_cell(point.view), safe_cell("; ".join(point.clips)), safe_cell(" ".join(point.marks)),
    ]  # fmt: skip


def _number(value: float | None) -> str:
    if value is None or not math.isfinite(value):
        return ""
    text = f"{value:.{_PLACES}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
