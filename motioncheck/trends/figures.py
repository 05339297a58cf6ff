"""The change between sessions that a source or common practice gives for a measure."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from motioncheck.measures import REGISTRY
from motioncheck.measures.registry import MeasureSpec
from motioncheck.records.trend import MdcOrigin
from motioncheck.standards import Range, Standard

PRACTICE = "common practice, no source"
# Moments that are the difference of two readings; a figure for one reading is too small for them.
OF_TWO_READINGS = ("range", "spread", "gain")


@dataclass(frozen=True, slots=True)
class Figure:
    """A change that counts, in the unit of its measure; None where none is to be reported."""

    change: float | None
    origin: MdcOrigin
    source: str


@lru_cache(maxsize=1)
def load_figures() -> dict[str, Figure]:
    """Return the figures of common practice by id of the measure."""
    text = resources.files("motioncheck.trends").joinpath("changes.toml").read_text("utf-8")
    found: dict[str, Figure] = {}
    for row in tomllib.loads(text)["figure"]:
        note = f" {row['note']}" if "note" in row else ""
        figure = Figure(
            row["change"] or None, "common practice", f"Common practice, no source.{note}"
        )
        found |= {measure: figure for measure in row["measures"]}
    return found


def find_spec(measure: str) -> MeasureSpec | None:
    """Return the entry of a measure; None for one that an older program knew."""
    if measure not in REGISTRY:
        return None
    return REGISTRY[measure]


def find_range(standard: Standard | None, measure: str, moment: str) -> Range | None:
    """Return the line of the range of motion that a series belongs to, None without one.

    In the history, the moment of such a line is ``range`` where it is read at the turn, else
    ``range end`` and so on. The same moment of a rep belongs to it as well.
    """
    lines = standard.range_of_motion if standard else ()
    at = moment.removeprefix("range").strip() or "turn"
    return next((r for r in lines if r.measure == measure and r.moment == at), None)


def find_figure(standard: Standard | None, measure: str, moment: str) -> Figure | None:
    """Return the figure of the standard, else that of common practice, else None."""
    line = find_range(standard, measure, moment)
    if line is None and moment in OF_TWO_READINGS:
        return None
    if line is not None and line.change is not None:
        practice = line.change_source.lower().startswith(PRACTICE)
        return Figure(
            line.change, "common practice" if practice else "published", line.change_source
        )
    return load_figures().get(measure)
