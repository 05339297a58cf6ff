"""Records as JSON: writing, reading back, and the published schema, the same for every page."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from functools import cache, cached_property
from typing import Any, Generic, TypeVar

from motioncheck.errors import InputError

DIALECT = "https://json-schema.org/draft/2020-12/schema"
T = TypeVar("T")


@dataclasses.dataclass(frozen=True)
class JsonForm(Generic[T]):
    """How one kind of record is written as JSON and read back.

    Parameters
    ----------
    kind : type
        The record; its field ``schema`` holds the schema id.
    schema_id : str
    what : str
        What a reader expected, such as ``a sheet``.
    damaged : str
        How a sentence about a damaged one begins, such as ``The sheet is``.
    hint : str
        What to do then.
    title : str
        Of the published schema.
    """

    kind: type[T]
    schema_id: str
    what: str
    damaged: str
    hint: str
    title: str

    @cached_property
    def _adapter(self) -> Any:
        # Imported here: reading back is rare, and pydantic is slow to import. Kept: building it
        # takes longer than reading a sheet.
        from pydantic import TypeAdapter

        return TypeAdapter(self.kind)

    def write(self, record: T) -> str:
        """Return a record as JSON text.

        Every field is always written. A number that is not known is ``null``; NaN and infinities,
        which JSON does not know, become ``null`` as well.
        """
        content = plain(record)
        # The schema id first, so that a person or a program sees at once what this is.
        return to_text({"schema": content.pop("schema"), **content})

    def read(self, text: str | bytes) -> T:
        """Read a record back; raises `InputError` where it is damaged or of another schema."""
        from pydantic import ValidationError

        found = schema_of(text)
        if found != self.schema_id:
            raise InputError(
                f"Expected {self.what} of schema {self.schema_id}, found {found!r}.",
                hint=self.hint,
            )
        try:
            record: T = self._adapter.validate_json(text)
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(part) for part in first["loc"])
            raise InputError(
                f"{self.damaged} damaged at {where}: {first['msg']}.", hint=self.hint
            ) from error
        return record

    def schema(self) -> dict[str, Any]:
        """Return the JSON Schema, made from the records.

        All fields are required, because all are written; further fields are allowed, so that a
        reader of this version does not stumble over a later one.
        """
        schema: dict[str, Any] = self._adapter.json_schema(mode="serialization")
        for part in (schema, *schema.get("$defs", {}).values()):
            _require_all(part)
        schema["properties"]["schema"] = {"const": self.schema_id, "type": "string"}
        head = {"$schema": DIALECT, "$id": f"urn:{self.schema_id.replace('/', ':')}"}
        return {**head, **schema, "title": self.title}

    def schema_text(self) -> str:
        """Return the schema as the text of its file in ``docs``."""
        return to_text(self.schema())


def _require_all(part: dict[str, Any]) -> None:
    """Make every property of an object required, in place: all of them are always written."""
    properties = part.get("properties")
    if not properties:
        return
    part["required"] = list(properties)
    for rule in properties.values():
        rule.pop("default", None)


def to_text(content: Any) -> str:
    """Return plain values as JSON text that people can read; a line end closes it."""
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


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
