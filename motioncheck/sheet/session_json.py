"""The session sheet as JSON, and the published schema of it."""

from __future__ import annotations

import json
from typing import Any

from motioncheck.errors import InputError
from motioncheck.records.session import SESSION_SCHEMA_ID, SessionSheet
from motioncheck.sheet.json import DIALECT, plain, require_all, schema_of


def session_to_json(sheet: SessionSheet) -> str:
    """Return the session sheet as JSON text; what is not known is ``null``, never 0."""
    content = plain(sheet)
    ordered = {"schema": content.pop("schema"), **content}
    return json.dumps(ordered, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def session_from_json(text: str | bytes) -> SessionSheet:
    """Read a session sheet back.

    Raises
    ------
    InputError
        If it is not JSON, not a session sheet of this program, or of another schema.
    """
    from pydantic import ValidationError

    hint = "Run the session again to write a new sheet."
    found = schema_of(text)
    if found != SESSION_SCHEMA_ID:
        raise InputError(
            f"Expected a session sheet of schema {SESSION_SCHEMA_ID}, found {found!r}.", hint=hint
        )
    try:
        sheet: SessionSheet = _adapter().validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise InputError(
            f"The session sheet is damaged at {where}: {first['msg']}.", hint=hint
        ) from error
    return sheet


def _adapter() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(SessionSheet)


def session_schema() -> dict[str, Any]:
    """Return the JSON Schema of ``session.json``, made from the records."""
    schema: dict[str, Any] = _adapter().json_schema(mode="serialization")
    require_all(schema)
    for part in schema.get("$defs", {}).values():
        require_all(part)
    schema["properties"]["schema"] = {"const": SESSION_SCHEMA_ID, "type": "string"}
    head = {"$schema": DIALECT, "$id": f"urn:{SESSION_SCHEMA_ID.replace('/', ':')}"}
    return {**head, **schema, "title": "Sheet of one training session"}


def session_schema_text() -> str:
    """Return the schema as the text of ``docs/session.schema.json``."""
    return json.dumps(session_schema(), indent=1, ensure_ascii=False) + "\n"
