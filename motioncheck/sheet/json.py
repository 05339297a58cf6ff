"""The sheet as JSON, the published schema of it, and reading it back."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from functools import cache
from typing import Any

from motioncheck.errors import InputError
from motioncheck.records import SCHEMA_ID, Sheet

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def sheet_to_json(sheet: Sheet) -> str:
    """Return the sheet as JSON text.

    Every field is always written. A number that could not be measured is ``null``; NaN and
    infinities, which JSON does not know, become ``null`` as well.
    """
    content = plain(sheet)
    # The schema id first, so that a person or a program sees at once what this is.
    ordered = {"schema": content.pop("schema"), **content}
    return json.dumps(ordered, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


@cache
def _name_fields(kind: type) -> tuple[str, ...]:
    """Return the names of the fields of a record, none for any other type."""
    return tuple(f.name for f in dataclasses.fields(kind)) if dataclasses.is_dataclass(kind) else ()


def plain(value: Any) -> Any:
    """Return records, mappings and tuples as dicts and lists of plain values."""
    kind: Any = type(value)
    names = _name_fields(kind)
    if names:
        return {name: plain(getattr(value, name)) for name in names}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, (bool, str)) or value is None:
        return value
    if hasattr(value, "item"):  # a numpy scalar
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def sheet_from_json(text: str | bytes) -> Sheet:
    """Read a sheet back.

    Parameters
    ----------
    text : str or bytes
        Content of ``sheet.json``.

    Raises
    ------
    InputError
        If it is not JSON, not a sheet of this program, or of another schema.
    """
    from pydantic import ValidationError

    hint = "Check the clip again to write a new sheet."
    found = schema_of(text)
    if found != SCHEMA_ID:
        raise InputError(f"Expected a sheet of schema {SCHEMA_ID}, found {found!r}.", hint=hint)
    try:
        sheet: Sheet = _adapter().validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise InputError(f"The sheet is damaged at {where}: {first['msg']}.", hint=hint) from error
    return sheet


def schema_of(text: str | bytes) -> str:
    """Return the schema id a JSON text names, empty when it is not JSON or names none."""
    content = read_object(text)
    return str(content.get("schema", ""))


def read_object(text: str | bytes) -> dict[str, Any]:
    """Return a JSON object, an empty one for anything else."""
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    return content if isinstance(content, dict) else {}


@cache
def _adapter() -> Any:
    # Imported here: reading sheets back is rare, and pydantic is slow to import. Kept: building
    # it takes longer than reading a sheet.
    from pydantic import TypeAdapter

    return TypeAdapter(Sheet)


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of ``sheet.json``, made from the records.

    All fields are required, because all are written; further fields are allowed, so that a reader
    of this version does not stumble over a later one.
    """
    schema: dict[str, Any] = _adapter().json_schema(mode="serialization")
    require_all(schema)
    for part in schema.get("$defs", {}).values():
        require_all(part)
    schema["properties"]["schema"] = {"const": SCHEMA_ID, "type": "string"}
    head = {"$schema": DIALECT, "$id": f"urn:{SCHEMA_ID.replace('/', ':')}"}
    return {**head, **schema, "title": "Feedback sheet of one clip"}


def require_all(part: dict[str, Any]) -> None:
    """Make every property of an object required, in place: all of them are always written."""
    properties = part.get("properties")
    if not properties:
        return
    part["required"] = list(properties)
    for rule in properties.values():
        rule.pop("default", None)


def schema_text() -> str:
    """Return the schema as the text of ``docs/sheet.schema.json``."""
    return json.dumps(json_schema(), indent=1, ensure_ascii=False) + "\n"
