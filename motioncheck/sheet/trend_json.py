"""The trends as JSON, and the published schema of it."""

from __future__ import annotations

from typing import Any

from motioncheck.records.trend import TREND_SCHEMA_ID, TrendReport
from motioncheck.sheet.form import JsonForm

FORM = JsonForm(
    TrendReport,
    TREND_SCHEMA_ID,
    what="trends",
    damaged="The trends are",
    hint="Run `motioncheck trend` again to write a new file.",
    title="Trends of one person",
)


def trend_to_json(report: TrendReport) -> str:
    """Return it as JSON text; what is not known is ``null``, never 0."""
    return FORM.write(report)


def trend_from_json(text: str | bytes) -> TrendReport:
    """Read ``trend.json`` back; raises `InputError` where it is damaged or of another schema."""
    return FORM.read(text)


def trend_schema() -> dict[str, Any]:
    """Return the JSON Schema of ``trend.json``, made from the records."""
    return FORM.schema()


def trend_schema_text() -> str:
    """Return the schema as the text of ``docs/trend.schema.json``."""
    return FORM.schema_text()
