"""The feedback sheet as one HTML file that needs no network and no script."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from motioncheck.records import VERDICTS, MeasureTable, Sheet, Still
from motioncheck.sheet import charts, corrected, limits, ranges, view, words
from motioncheck.sheet.charts import ChartSpec
from motioncheck.sheet.drawing import shrink_jpeg

if TYPE_CHECKING:
    from jinja2 import Environment

TEMPLATES = Path(__file__).parent / "templates"
GENERATOR = "motioncheck"
# Thirteen pictures of this size, grown by a third as text, stay well below 3 MB together.
MAX_STILL_BYTES = 120_000


def render_html(
    sheet: Sheet,
    table: MeasureTable,
    stills: Mapping[int, Still],
    *,
    chart: ChartSpec | None = None,
    person: str = "",
) -> str:
    """Render the feedback sheet.

    Parameters
    ----------
    sheet : Sheet
        What the check found.
    table : MeasureTable
        Measures over time, for the charts.
    stills : mapping of int to Still
        Pictures by index into ``sheet.events``; may be empty.
    chart : ChartSpec, optional
        What the charts show; by default the measure named by the standard.
    person : str, optional
        Printed beside the clip name when given.

    Returns
    -------
    str
        A complete HTML document, under 3 MB. It loads nothing, runs nothing, and every text that
        came from outside is escaped.
    """
    spec = chart or charts.default_chart(sheet, table)
    style = (TEMPLATES / "sheet.css").read_text(encoding="utf-8")
    template = load_templates().get_template("sheet.html.j2")
    return template.render(
        sheet=sheet,
        person=person,
        style=mark_safe(style),
        policy=make_policy(style),
        generator=GENERATOR,
        verdict_marks=[words.mark_of(v) for v in VERDICTS],
        **_summary_parts(sheet),
        **_picture_parts(sheet, stills),
        **_chart_parts(sheet, table, spec),
    )


def make_policy(style: str) -> str:
    """Return a content policy that allows this style and embedded pictures, nothing else."""
    # The template puts the style between its tags without a character more.
    digest = base64.b64encode(hashlib.sha256(style.encode("utf-8")).digest()).decode("ascii")
    rules = ("default-src 'none'", "img-src data:", f"style-src 'sha256-{digest}'",
             "base-uri 'none'", "form-action 'none'")  # fmt: skip
    return "; ".join(rules)


def _summary_parts(sheet: Sheet) -> dict[str, Any]:
    first_notes, notes = words.split_notes(sheet.summary.notes)
    return {
        "first_notes": first_notes,
        "notes": notes,
        "facts": view.facts(sheet),
        "noun": words.noun_of(sheet.movement.event_kind),
        "ranges": ranges.range_groups(sheet.summary.ranges),
        "rungs": ranges.rung_rows(sheet),
        "cues": view.cue_lines(sheet.summary, sheet.movement.event_kind),
        "groups": view.rep_groups(sheet),
        "spots": limits.blind_spots(sheet),
        "blind_line": limits.blind_line(sheet),
        "measured": limits.measured_rows(sheet),
        "corrections": corrected.correction_rows(sheet),
        "states": corrected.states(sheet),
        "table": view.build_table(sheet),
        "set_checks": view.set_checks(sheet.summary),
        "tempo": view.tempo_lines(sheet.summary, sheet.movement.event_kind),
    }


def _picture_parts(sheet: Sheet, stills: Mapping[int, Still]) -> dict[str, Any]:
    known = {i: still for i, still in stills.items() if 0 <= i < len(sheet.events)}
    return {
        "pictures": [(p, _data_url(p.still)) for p in view.pictures(sheet, known)],
        "still_note": view.still_note(sheet, known),
    }


def _data_url(still: Still) -> str:
    jpeg = still.jpeg
    if len(jpeg) > MAX_STILL_BYTES:
        jpeg = shrink_jpeg(jpeg, max_bytes=MAX_STILL_BYTES)
    return "data:image/jpeg;base64," + base64.b64encode(jpeg).decode("ascii")


def _chart_parts(sheet: Sheet, table: MeasureTable, spec: ChartSpec) -> dict[str, Any]:
    """Draw each chart twice: a wide one, and one whose letters can be read on a phone."""
    names = [name for name in spec.measures if name in table.values]
    wide = charts.time_chart(sheet, table, spec, width=1040, height=260, font=14)
    narrow = charts.time_chart(sheet, table, spec, width=370, height=250, font=12)
    over = charts.overlay_chart(sheet, table, spec, width=520, height=260, font=14)
    return {
        "chart": spec,
        "chart_wide": mark_safe(wide),
        "chart_narrow": mark_safe(narrow),
        "chart_overlay": mark_safe(over),
        "two_sides": len(names) > 1,
    }


def mark_safe(text: str) -> Any:
    """Return text made by this package as it may stand in a page."""
    from markupsafe import Markup

    return Markup(text)


@lru_cache(maxsize=1)
def load_templates() -> Environment:
    """Return what renders the templates of this room."""
    # Imported here: start-up of the command line must not pay for a template engine.
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["value"] = words.value_text
    environment.filters["seconds"] = words.seconds_text
    environment.filters["places"] = words.number_text
    environment.filters["items_of"] = lambda mapping: list(mapping.items())
    return environment
