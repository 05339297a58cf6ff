"""The trends as JSON, and the published schema of it."""

from __future__ import annotations

import json
from typing import Any

from motioncheck.errors import InputError
from motioncheck.records.trend import TREND_SCHEMA_ID, TrendReport
from motioncheck.sheet.json import DIALECT, plain, require_all, schema_of


def trend_to_json(report: TrendReport) -> str:
    """Return the trends as JSON text; what is not known is ``null``, never 0."""
    content = plain(report)
    ordered = {"schema": content.pop("schema"), **content}
    return json.dumps(ordered, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def trend_from_json(text: str | bytes) -> TrendReport:
    """Read trends back.

    Raises
    ------
    InputError
        If it is not JSON, not the trends of this program, or of another schema.
    """
    from pydantic import ValidationError

    hint = "Run `motioncheck trend` again to write a new file."
    found = schema_of(text)
    if found != TREND_SCHEMA_ID:
        raise InputError(
            f"Expected trends of schema {TREND_SCHEMA_ID}, found {found!r}.", hint=hint
        )
    try:
        report: TrendReport = _adapter().validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise InputError(
            f"The trends are damaged at {where}: {first['msg']}.", hint=hint
        ) from error
    return report


def _adapter() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(TrendReport)


def trend_schema() -> dict[str, Any]:
    """Return the JSON Schema of ``trend.json``, made from the records."""
    schema: dict[str, Any] = _adapter().json_schema(mode="serialization")
    require_all(schema)
    for part in schema.get("$defs", {}).values():
        require_all(part)
    schema["properties"]["schema"] = {"const": TREND_SCHEMA_ID, "type": "string"}
    head = {"$schema": DIALECT, "$id": f"urn:{TREND_SCHEMA_ID.replace('/', ':')}"}
    return {**head, **schema, "title": "Trends of one person"}


def trend_schema_text() -> str:
    """Return the schema as the text of ``docs/trend.schema.json``."""
    return json.dumps(trend_schema(), indent=1, ensure_ascii=False) + "\n"
