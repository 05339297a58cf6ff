"""The registry of measures: every named quantity with its formula, plane, unit, sign and source.

A measure is computed over time by a pure function of the body in the picture. Sided measures
exist as ``<id>_left`` and ``<id>_right``; left and right are the person's own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from motioncheck.measures.body import BodyPicture
from motioncheck.records.arrays import FloatArray

Plane = Literal["sagittal", "frontal", "frontal strict", "transverse", "any"]
# A check can bear a 90 % interval this many times as wide as the guard band of its measure, unless
# its standard says otherwise; project judgement.
BEARABLE_GUARDS = 2.5
PLANES: tuple[Plane, ...] = ("sagittal", "frontal", "frontal strict", "transverse", "any")
Compute = Callable[[BodyPicture, str], FloatArray]


@dataclass(frozen=True, slots=True)
class MeasureSpec:
    """One measure.

    Attributes
    ----------
    id : str
        Name without side.
    title : str
        Short name for the sheet.
    plane : str
        Plane in which the camera must see it: ``sagittal`` (side view), ``frontal`` (front or
        back view), ``frontal strict`` (square front or back view, because flexion leaks into
        it), ``transverse``, or ``any``.
    unit : str
        ``deg``, ``ratio``, ``s``, ``1/min`` or ``%``.
    guard : float
        Half-width of the band in which a verdict is too close to call, in a square view.
    per_turn : float
        How strongly the measure suffers when the body is turned out of its plane: error in units
        per (1 - cos turn).
    points : tuple of str
        Landmarks it needs; ``*`` stands for the side.
    span : tuple of float
        Values a body can have at all; a threshold outside is refused.
    unit_words : str
        What one unit of a ratio is, such as ``foot lengths``.
    compute : callable or None
        None for measures of time, which come from the events instead of the picture.
    picture_only : bool
        It is not taken from the fitted body, which does not know it.
    """

    id: str
    title: str
    sided: bool
    plane: Plane
    unit: str
    sign: str
    formula: str
    guard: float
    per_turn: float
    points: tuple[str, ...]
    source: str
    guard_source: str
    span: tuple[float, float]
    compute: Compute | None
    unit_words: str = ""
    picture_only: bool = False

    @property
    def bears(self) -> float:
        """Largest half-width with which a value is still worth judging, unit of the measure."""
        return BEARABLE_GUARDS * self.guard

    def ids(self) -> tuple[str, ...]:
        """Return the column names: one, or one a side."""
        if not self.sided:
            return (self.id,)
        return (f"{self.id}_left", f"{self.id}_right")


class Registry:
    """All measures by id, in the given order; an id can be used once only."""

    def __init__(self, specs: Iterable[MeasureSpec]) -> None:
        self._specs: dict[str, MeasureSpec] = {}
        for spec in specs:
            if spec.id in self._specs:
                raise ValueError(f"measure {spec.id!r} is registered twice")
            self._specs[spec.id] = spec

    def __getitem__(self, measure: str) -> MeasureSpec:
        return self._specs[measure]

    def __contains__(self, measure: object) -> bool:
        return measure in self._specs

    def __iter__(self) -> Iterator[MeasureSpec]:
        return iter(self._specs.values())

    def names(self) -> tuple[str, ...]:
        """Return the ids without side."""
        return tuple(self._specs)

    def column_spec(self, column: str) -> MeasureSpec:
        """Return the measure that a column such as ``knee_flexion_left`` belongs to."""
        for suffix in ("_left", "_right"):
            base = column.removesuffix(suffix)
            if base != column and base in self._specs and self._specs[base].sided:
                return self._specs[base]
        return self._specs[column]
