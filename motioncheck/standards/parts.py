"""What the sections of a standard are made of: strict models, short texts, known measures."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from motioncheck.measures.catalog import REGISTRY
from motioncheck.wording import find_alike, join_words

SourceTag = Literal["published", "from memory", "common practice, no source"]
Text = Annotated[str, Field(min_length=1, max_length=400)]
Identifier = Annotated[str, Field(pattern=r"^[a-z][a-z0-9-]{1,39}$")]
CheckId = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{1,39}$")]
# Which side of a position or a stage: the working one (front leg, loaded arm), the other one,
# both, either of them, or a measure without sides.
PoseSide = Literal["none", "working", "opposite", "both", "either"]


class Strict(BaseModel):
    """Unknown keys are errors, so that a misspelt one is not silently ignored."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def require_measure(name: str) -> None:
    """Raise `ValueError` for a measure that is not in the registry."""
    if name not in REGISTRY:
        alike = find_alike(name, REGISTRY.names())
        meant = f" (did you mean {join_words(alike, 'or')}?)" if alike else ""
        raise ValueError(f"unknown measure {name!r}{meant}; allowed: {', '.join(REGISTRY.names())}")


def require_series(name: str) -> None:
    """Raise `ValueError` for a measure that is no series over time."""
    require_measure(name)
    if REGISTRY[name].compute is None:
        allowed = ", ".join(s.id for s in REGISTRY if s.compute)
        raise ValueError(f"{name!r} is not measured over time; use one of: {allowed}")


def require_any_view(name: str) -> None:
    """Raise `ValueError` for a measure that some camera cannot see."""
    require_measure(name)
    if REGISTRY[name].plane != "any" or REGISTRY[name].compute is None:
        allowed = ", ".join(s.id for s in REGISTRY if s.plane == "any" and s.compute)
        raise ValueError(f"{name!r} cannot be seen from every side; use one of: {allowed}")


def require_order(at_least: float | None, at_most: float | None) -> None:
    """Raise `ValueError` for limits between which nothing can lie."""
    if at_least is not None and at_most is not None and at_least > at_most:
        raise ValueError(f"at_least ({at_least:g}) must not lie above at_most ({at_most:g})")


class Window(Strict):
    """A range of one measure in which a pose lies.

    ``slack`` is how far outside counts as one unit of doubt; by default the guard band of the
    measure. A limit that is left out does not bind.
    """

    measure: str
    side: PoseSide = "none"
    at_least: float | None = None
    at_most: float | None = None
    slack: float | None = Field(default=None, gt=0, allow_inf_nan=False)

    @field_validator("measure")
    @classmethod
    def _measure_is_known(cls, value: str) -> str:
        require_series(value)
        return value

    @model_validator(mode="after")
    def _fits_the_measure(self) -> Window:
        if REGISTRY[self.measure].sided == (self.side == "none"):
            wants = (
                "a side (working, opposite, both, either)"
                if REGISTRY[self.measure].sided
                else 'side = "none"'
            )
            raise ValueError(f"{self.measure} wants {wants}, found side = {self.side!r}")
        if self.at_least is None and self.at_most is None:
            raise ValueError("a window wants at_least, at_most or both")
        require_order(self.at_least, self.at_most)
        return self

    @property
    def low(self) -> float:
        """Lower limit; minus infinity when there is none."""
        return -float("inf") if self.at_least is None else self.at_least

    @property
    def high(self) -> float:
        """Upper limit; infinity when there is none."""
        return float("inf") if self.at_most is None else self.at_most

    @property
    def doubt(self) -> float:
        """How far outside counts as one unit of doubt, unit of the measure."""
        return REGISTRY[self.measure].guard if self.slack is None else self.slack
