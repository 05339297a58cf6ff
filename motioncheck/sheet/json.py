"""The feedback sheet as JSON, the published schema of it, and reading it back."""

from __future__ import annotations

from typing import Any

from motioncheck.records import SCHEMA_ID, Sheet
from motioncheck.sheet.form import JsonForm

FORM = JsonForm(
    Sheet,
    SCHEMA_ID,
    what="a sheet",
    damaged="The sheet is",
    hint="Check the clip again to write a new sheet.",
    title="Feedback sheet of one clip",
)


def sheet_to_json(sheet: Sheet) -> str:
    """Return it as JSON text; what is not known is ``null``, never 0."""
    return FORM.write(sheet)


def sheet_from_json(text: str | bytes) -> Sheet:
    """Read ``sheet.json`` back; raises `InputError` where it is damaged or of another schema."""
    return FORM.read(text)


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of ``sheet.json``, made from the records."""
    return FORM.schema()


def schema_text() -> str:
    """Return the schema as the text of ``docs/sheet.schema.json``."""
    return FORM.schema_text()
