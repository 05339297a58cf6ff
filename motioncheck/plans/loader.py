"""Reading a plan, and saying in one sentence what is wrong with it."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel, ValidationError

from motioncheck.errors import StandardError
from motioncheck.plans import schema
from motioncheck.plans.schema import KNOWN, Plan

HINT: Final = "Mend it and run the same command again; docs/plans.md lists every key."
MAX_BYTES: Final = 1_000_000
MAX_FOUND: Final = 60
BLOCKS: Final[Mapping[str, type[BaseModel]]] = {
    "sets": schema.SetsBlock,
    "ladder": schema.LadderBlock,
    "superset": schema.SupersetBlock,
    "circuit": schema.CircuitBlock,
}
# What pydantic calls a broken rule, and what was expected in its place.
EXPECTED: Final[Mapping[str, str]] = {
    "int_type": "a whole number",
    "float_type": "a number",
    "finite_number": "a finite number",
    "bool_type": "true or false",
    "string_type": "a text in quotes",
    "tuple_type": "a list",
    "model_type": "a table of keys",
    "model_attributes_type": "a table of keys",
    "string_pattern_mismatch": "the id of a movement (small letters, digits, hyphens)",
}


@dataclass(frozen=True, slots=True)
class LoadedPlan:
    """A valid plan with the place it came from and the SHA-256 of its file."""

    plan: Plan
    path: Path
    source_hash: str


def load_plan(path: Path, movements: Collection[str] | None = None) -> LoadedPlan:
    """Read and validate a plan.

    Parameters
    ----------
    path : Path
        A TOML file.
    movements : collection of str, optional
        Ids of the movements there are; None does not check them.

    Raises
    ------
    StandardError
        If the file cannot be read, is not TOML, or breaks the schema. The message names the
        file, the key, what was expected and what was found, for every problem at once.
    """
    try:
        with path.open("rb") as stream:
            content = stream.read(MAX_BYTES + 1)
    except OSError as error:
        raise StandardError(
            f"Expected a plan at {path}, found none that can be read ({error.strerror}).",
            hint="Check the path of the plan.",
        ) from error
    if len(content) > MAX_BYTES:
        raise StandardError(
            f"{path.name}: expected a plan of at most {MAX_BYTES:,} bytes, found a larger file.",
            hint=HINT,
        )
    plan = parse_plan(content, name=path.name, movements=movements)
    return LoadedPlan(plan, path, hashlib.sha256(content).hexdigest())


def parse_plan(content: bytes, *, name: str, movements: Collection[str] | None = None) -> Plan:
    """Validate the content of a plan; ``name`` is what the file is called in errors.

    Raises
    ------
    StandardError
        As `load_plan`.
    """
    try:
        # Some editors put a byte order mark first.
        data = tomllib.loads(content.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        what = str(error) or "lists nested too deeply"
        raise StandardError(
            f"{name}: expected a TOML file, found a fault: {what}.", hint=HINT
        ) from error
    try:
        return Plan.model_validate(data, context={KNOWN: movements})
    except ValidationError as error:
        problems = "; ".join(describe_problems(error))
        raise StandardError(f"{name} is not a valid plan: {problems}.", hint=HINT) from error


def describe_problems(error: ValidationError) -> list[str]:
    """Return each problem as a clause: the key, what was expected, what was found."""
    problems = error.errors(include_url=False)
    places = [problem["loc"] for problem in problems]
    clauses = []
    for problem in problems:
        loc = problem["loc"]
        # A list with a wrong part also counts as too short; the part is what to mend.
        inside = any(len(place) > len(loc) and place[: len(loc)] == loc for place in places)
        if not (problem["type"] == "too_short" and inside):
            clauses.append(f"{_key(loc)}: {_clause(dict(problem))}")
    return clauses


def _key(loc: tuple[int | str, ...]) -> str:
    """Return where a problem is, in the words of the file: ``block 2 (sets), reps``."""
    words: list[str] = []
    for place, part in enumerate(loc):
        if isinstance(part, int):
            words[-1] += f" {part + 1}"
        elif place == 2 and loc[0] == "block":
            words[-1] += f" ({part})"
        else:
            words.append(part if part.isprintable() else repr(part))
    return ", ".join(words) or "the file"


def _clause(problem: dict[str, Any]) -> str:
    kind, context = str(problem["type"]), problem.get("ctx", {})
    kinds = ", ".join(BLOCKS)
    if kind == "value_error":
        return str(context["error"])
    if kind == "extra_forbidden":
        return f"expected only the keys {', '.join(_keys_at(problem['loc']))}; found another one"
    if kind == "union_tag_invalid":
        return f"expected kind to be one of {kinds}; found {context['tag']!r}"
    if kind == "union_tag_not_found":
        return f"expected kind, one of {kinds}; found none"
    if kind == "missing":
        return "expected this key, found none"
    return f"expected {_expected(kind, context)}, found {_shown(problem.get('input'))}"


def _expected(kind: str, context: Mapping[str, Any]) -> str:
    if kind == "literal_error":
        return str(context["expected"])
    limits = {
        "greater_than": "more than {gt:g}",
        "greater_than_equal": "at least {ge:g}",
        "less_than_equal": "at most {le:g}",
        "string_too_short": "a text of at least {min_length} character",
        "string_too_long": "a text of at most {max_length} characters",
        "too_short": "a list of at least {min_length}",
        "too_long": "a list of at most {max_length}",
    }
    if kind in limits:
        return limits[kind].format(**context)
    return EXPECTED.get(kind, "another kind of value")


def _shown(found: Any) -> str:
    """Return what was found, short enough for a sentence."""
    if isinstance(found, (list, tuple)):
        return f"a list of {len(found)}"
    if isinstance(found, Mapping):
        return "a table of keys"
    if isinstance(found, bool):
        return str(found).lower()
    text = repr(found) if isinstance(found, (str, int, float)) else str(found)
    return text if len(text) <= MAX_FOUND else f"{text[:MAX_FOUND]}…"


def _keys_at(loc: tuple[int | str, ...]) -> list[str]:
    """Return the keys that are allowed where an unknown one was found."""
    names = [part for part in loc[:-1] if isinstance(part, str)]
    model: type[BaseModel] = Plan
    if names[:1] == ["block"] and len(names) > 1:
        model = BLOCKS[names[1]]
        if "item" in names:
            model = schema.Dose
        elif "every_minute" in names:
            model = schema.EveryMinute
    return [field.alias or name for name, field in model.model_fields.items()]
