"""The session sheet as JSON, and the published schema of it."""

from __future__ import annotations

from typing import Any

from motioncheck.records.session import SESSION_SCHEMA_ID, SessionSheet
from motioncheck.sheet.form import JsonForm

FORM = JsonForm(
    SessionSheet,
    SESSION_SCHEMA_ID,
    what="a session sheet",
    damaged="The session sheet is",
    hint="Run the session again to write a new sheet.",
    title="Sheet of one training session",
)


def session_to_json(sheet: SessionSheet) -> str:
    """Return it as JSON text; what is not known is ``null``, never 0."""
    return FORM.write(sheet)


def session_from_json(text: str | bytes) -> SessionSheet:
    """Read ``session.json`` back; raises `InputError` where it is damaged or of another schema."""
    return FORM.read(text)


def session_schema() -> dict[str, Any]:
    """Return the JSON Schema of ``session.json``, made from the records."""
    return FORM.schema()


def session_schema_text() -> str:
    """Return the schema as the text of ``docs/session.schema.json``."""
    return FORM.schema_text()
