"""The trends of one person as one HTML file that needs no network and no script."""

from __future__ import annotations

from typing import Any

from motioncheck import __version__
from motioncheck.records.trend import Trend, TrendReport
from motioncheck.sheet import trend_view as view
from motioncheck.sheet import trend_words as say
from motioncheck.sheet.html import GENERATOR, TEMPLATES, load_templates, make_policy, mark_safe
from motioncheck.sheet.trend_axes import norm_drawn
from motioncheck.sheet.trend_chart import (
    DENSE,
    is_dense,
    mark_path,
    norm_place,
    trend_chart,
)
from motioncheck.sheet.words import lower_first, sentence


def render_trend(report: TrendReport) -> str:
    """Render the trend page.

    Parameters
    ----------
    report : TrendReport
        Printed as it is: without a name, the code of the person stands alone.

    Returns
    -------
    str
        A complete HTML document. It loads nothing and runs nothing, and every text that came from
        outside is escaped.
    """
    style = trend_style()
    rows = view.glance_rows(report)
    return (
        load_templates()
        .get_template("trend.html.j2")
        .render(
            report=report,
            style=mark_safe(style),
            policy=make_policy(style),
            generator=f"{GENERATOR} {__version__}",
            version=__version__,
            facts=view.facts(report),
            headline=view.headline(rows),
            rows=rows,
            movements=[
                (title, [_trend(anchor, trend) for anchor, trend in trends])
                for title, trends in view.by_movement(report.trends)
            ],
            made=say.day_text(report.made_at[:10]),
            swatches=swatches(),
            dense_from=DENSE,
        )
    )


def trend_style() -> str:
    """Return the style of the trend pages."""
    names = ("sheet.css", "trend.css")
    return "".join((TEMPLATES / name).read_text(encoding="utf-8") for name in names)


def swatches() -> dict[str, Any]:
    """Return the mark of each side as path data for a legend of 34 by 12 units."""
    return {side: mark_path(side, 17.0, 6.0, 4.4) for side in ("left", "right", "both")}


def _trend(anchor: str, trend: Trend) -> dict[str, Any]:
    rows, sessions = view.session_rows(trend)
    marks = view.marks_of(trend)
    drawn = norm_drawn(trend.norms)
    statistics = {say.statistic_of(line) for line in trend.lines}
    return {
        "anchor": anchor,
        "trend": trend,
        "small_title": lower_first(trend.title),
        "wide": mark_safe(trend_chart(trend, width=1040, height=330, font=14)),
        "narrow": mark_safe(trend_chart(trend, width=370, height=290, font=12)),
        "dense": is_dense(trend),
        "sides": [str(line.side) for line in trend.lines if line.points],
        "statistic": " or ".join(sorted(statistics)) or "mean",
        "has_best": any(p.best is not None for line in trend.lines for p in line.points),
        "has_views": any(p.view for line in trend.lines for p in line.points),
        "rows": rows,
        "sessions": sessions,
        "marks": marks[: view.MOST_MARKS],
        "more_marks": len(marks) - view.MOST_MARKS,
        "says": view.main_changes(trend),
        "changes": view.change_rows(trend),
        "mdcs": say.mdc_lines(trend),
        "has_limit": any(say.mdc_of(trend, line).value is not None for line in trend.lines),
        "norms": [(say.norm_text(norm, trend.unit), norm is drawn) for norm in trend.norms],
        "stretches": len({p.segment for line in trend.lines for p in line.points}) > 1,
        "norm_place": norm_place(trend),
        "only_mean": drawn is not None and not say.norm_span(drawn, trend.unit),
        "indices": [
            (
                index,
                sentence(index.name).rstrip("."),
                say.amount(index.value, index.unit),
                say.day_text(index.day),
            )
            for index in trend.indices
        ],
        "corrected": any(p.corrected for line in trend.lines for p in line.points),
    }
