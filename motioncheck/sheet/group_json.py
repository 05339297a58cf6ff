"""The group sheet as JSON, and the published schema of it."""

from __future__ import annotations

import json
from typing import Any

from motioncheck.errors import InputError
from motioncheck.records.group import GROUP_SCHEMA_ID, GroupSheet
from motioncheck.sheet.json import DIALECT, plain, require_all, schema_of


def group_to_json(group: GroupSheet) -> str:
    """Return the group sheet as JSON text; what is not known is ``null``, never 0."""
    content = plain(group)
    ordered = {"schema": content.pop("schema"), **content}
    return json.dumps(ordered, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def group_from_json(text: str | bytes) -> GroupSheet:
    """Read a group sheet back.

    Raises
    ------
    InputError
        If it is not JSON, not a group sheet of this program, or of another schema.
    """
    from pydantic import ValidationError

    hint = "Run the batch again to write a new group sheet."
    found = schema_of(text)
    if found != GROUP_SCHEMA_ID:
        raise InputError(
            f"Expected a group sheet of schema {GROUP_SCHEMA_ID}, found {found!r}.", hint=hint
        )
    try:
        group: GroupSheet = _adapter().validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise InputError(
            f"The group sheet is damaged at {where}: {first['msg']}.", hint=hint
        ) from error
    return group


def _adapter() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(GroupSheet)


def group_schema() -> dict[str, Any]:
    """Return the JSON Schema of ``group.json``, made from the records."""
    schema: dict[str, Any] = _adapter().json_schema(mode="serialization")
    require_all(schema)
    for part in schema.get("$defs", {}).values():
        require_all(part)
    schema["properties"]["schema"] = {"const": GROUP_SCHEMA_ID, "type": "string"}
    head = {"$schema": DIALECT, "$id": f"urn:{GROUP_SCHEMA_ID.replace('/', ':')}"}
    return {**head, **schema, "title": "Group sheet of many clips"}


def group_schema_text() -> str:
    """Return the schema as the text of ``docs/group.schema.json``."""
    return json.dumps(group_schema(), indent=1, ensure_ascii=False) + "\n"
