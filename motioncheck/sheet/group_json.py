"""The group sheet as JSON, and the published schema of it."""

from __future__ import annotations

from typing import Any

from motioncheck.records.group import GROUP_SCHEMA_ID, GroupSheet
from motioncheck.sheet.form import JsonForm

FORM = JsonForm(
    GroupSheet,
    GROUP_SCHEMA_ID,
    what="a group sheet",
    damaged="The group sheet is",
    hint="Run the batch again to write a new group sheet.",
    title="Group sheet of many clips",
)


def group_to_json(group: GroupSheet) -> str:
    """Return it as JSON text; what is not known is ``null``, never 0."""
    return FORM.write(group)


def group_from_json(text: str | bytes) -> GroupSheet:
    """Read ``group.json`` back; raises `InputError` where it is damaged or of another schema."""
    return FORM.read(text)


def group_schema() -> dict[str, Any]:
    """Return the JSON Schema of ``group.json``, made from the records."""
    return FORM.schema()


def group_schema_text() -> str:
    """Return the schema as the text of ``docs/group.schema.json``."""
    return FORM.schema_text()
