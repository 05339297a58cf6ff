"""The progress note: one printable page with what changed, the cautions, and room for a remark.

It reports measurements and draws no conclusion from them. Everything on it is bounded in number
and in length, so that it stays one page of A4 or Letter paper.
"""

from __future__ import annotations

from typing import Any, Final

from motioncheck import __version__
from motioncheck.records.trend import Trend, TrendReport
from motioncheck.sheet import trend_view as view
from motioncheck.sheet import trend_words as say
from motioncheck.sheet.html import GENERATOR, TEMPLATES, load_templates, make_policy, mark_safe
from motioncheck.sheet.trend_chart import trend_chart
from motioncheck.sheet.trend_html import swatches
from motioncheck.sheet.words import lower_first

MOST_ROWS: Final = 8
MOST_CHARTS: Final = 4
# Beside a long table there is room for one row of pictures.
MOST_CHARTS_LONG: Final = 2
LONG_TABLE: Final = 4
MOST_BREAKS: Final = 2
MOST_INDICES: Final = 2
MOST_CAUTIONS: Final = 3
MOST_NOTES: Final = 1
LONGEST_CAUTION: Final = 290
LONGEST_TEXT: Final = 150
LONGEST_TITLE: Final = 46
# For a report without cautions of its own: no note goes out without this one.
FALLBACK: Final = ("Stop at sharp or rising pain, chest pain, dizziness or numbness.",)
# What is told first when there is not room for everything.
_ORDER: Final = {
    "changed": 0,
    "no change that this method can see": 1,
    "not comparable": 2,
    "no limit": 3,
    "one session so far": 4,
}


def render_note(report: TrendReport) -> str:
    """Render the progress note.

    Parameters
    ----------
    report : TrendReport
        Printed as it is: without a name, the code of the person stands alone.

    Returns
    -------
    str
        A complete HTML document that prints on one page. What does not fit is counted on it and
        stands on the trend page.
    """
    style = (TEMPLATES / "note.css").read_text(encoding="utf-8")
    rows = view.glance_rows(report)
    shown = sorted(rows, key=lambda row: _ORDER[row.word])[:MOST_ROWS]
    # The rows stay in the order of the trend page.
    shown = [row for row in rows if row in shown]
    charted = _charted(report, shown)
    return (
        load_templates()
        .get_template("note.html.j2")
        .render(
            report=report,
            name=shorten(report.person.name, LONGEST_TITLE),
            style=mark_safe(style),
            policy=make_policy(style),
            generator=f"{GENERATOR} {__version__}",
            version=__version__,
            facts=view.facts(report),
            made=say.day_text(report.made_at[:10]),
            headline=view.headline(rows),
            rows=[
                (row, shorten(row.title, LONGEST_TITLE), shorten(row.movement, LONGEST_TITLE))
                for row in shown
            ],
            more_rows=len(rows) - len(shown),
            charts=[_chart(trend, len(charted), len(shown)) for trend in charted],
            breaks=_breaks(charted),
            indices=_indices(charted),
            cautions=[
                shorten(c, LONGEST_CAUTION) for c in (report.cautions or FALLBACK)[:MOST_CAUTIONS]
            ],
            notes=[shorten(n, LONGEST_CAUTION) for n in report.notes[:MOST_NOTES]],
            swatches=swatches(),
        )
    )


def shorten(text: str, longest: int) -> str:
    """Return text cut at a word to so many letters, with an ellipsis where it was cut."""
    text = " ".join(text.split())
    if len(text) <= longest:
        return text
    cut = text[: longest - 1]
    return f"{cut.rsplit(' ', 1)[0] if ' ' in cut else cut}…"


def _charted(report: TrendReport, shown: list[view.GlanceRow]) -> list[Trend]:
    """Return the measures that get a picture: those that changed before the others."""
    anchors = {row.anchor: _ORDER[row.word] for row in sorted(shown, key=_weight, reverse=True)}
    named = [(f"t{number}", trend) for number, trend in enumerate(report.trends, 1)]
    found = [(anchors[a], n, trend) for n, (a, trend) in enumerate(named) if a in anchors]
    most = MOST_CHARTS if len(shown) <= LONG_TABLE else MOST_CHARTS_LONG
    best = sorted(found, key=lambda item: item[:2])[:most]
    return [trend for _, _, trend in sorted(best, key=lambda item: item[1])]


def _weight(row: view.GlanceRow) -> int:
    return _ORDER[row.word]


def _chart(trend: Trend, count: int, rows: int) -> dict[str, Any]:
    # One picture gets the whole width, more stand in two columns; lower where the room is needed.
    width, height = (720, 220) if count == 1 else (356, 142 if count > 2 else 190)
    if rows > 6:
        height = min(height, 132)
    return {
        "title": f"{shorten(trend.title, 34)}",
        "movement": shorten(lower_first(trend.movement_title), 34),
        "svg": mark_safe(trend_chart(trend, width=width, height=height, font=11)),
        "statistic": say.statistic_of(trend.lines[0]) if trend.lines else "",
    }


def _breaks(trends: list[Trend]) -> list[str]:
    found = [
        f"{shorten(trend.title, 34)}, mark {mark.number} on {mark.day_words}: "
        f"{shorten(' '.join(mark.texts), LONGEST_TEXT)}"
        for trend in trends
        for mark in view.marks_of(trend)
        if mark.breaks
    ]
    # The newest matter most: the comparison of the table starts after them.
    return found[-MOST_BREAKS:]


def _indices(trends: list[Trend]) -> list[str]:
    found = [
        f"{shorten(trend.title, 34)}, {shorten(index.name, 34)}: "
        f"{say.amount(index.value, index.unit)} = {shorten(index.formula, 70)}"
        for trend in trends
        for index in trend.indices
        if index.value is not None
    ]
    return found[:MOST_INDICES]
