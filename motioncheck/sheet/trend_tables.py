"""The trends as a CSV file: a row a session of each side of each measure."""

from __future__ import annotations

from typing import Final

from motioncheck.records.trend import SideLine, Trend, TrendPoint, TrendReport
from motioncheck.sheet.tables import Cell, cell_text, csv_text

COLUMNS: Final = (
    "person", "movement", "measure", "title", "side", "moment", "unit", "session", "day", "trials",
    "values", "best", "best_uncertainty", "mean", "mean_uncertainty", "segment", "corrected",
    "view", "clips", "marks",
)  # fmt: skip


def trend_csv(report: TrendReport) -> str:
    """Return a row a session of each side of each measure, every session of the report.

    Lines end in a bare newline; what is not known is an empty cell. Uncertainties are half-widths
    of 90 % intervals. Points of one ``segment`` can be compared with each other.
    """
    rows = [
        map(cell_text, (*_head(report, trend, line), *_row(point)))
        for trend in report.trends
        for line in trend.lines
        for point in line.points
    ]
    return csv_text([COLUMNS, *rows])


def _head(report: TrendReport, trend: Trend, line: SideLine) -> tuple[Cell, ...]:
    return (
        report.person.code, trend.movement, trend.measure, trend.title, line.side, trend.moment,
        trend.unit,
    )  # fmt: skip


def _row(point: TrendPoint) -> tuple[Cell, ...]:
    return (
        point.session, point.day, point.trials, point.values,
        point.best, point.best_uncertainty, point.mean, point.mean_uncertainty,
        point.segment, point.corrected, point.view, "; ".join(point.clips), " ".join(point.marks),
    )  # fmt: skip
