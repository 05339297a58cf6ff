"""Range of motion: what is reported beside the checks, and what is usual for age and sex."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pydantic import Field, model_validator

from motioncheck.measures.catalog import REGISTRY
from motioncheck.standards.parts import SourceTag, Strict, Text, require_measure

Sex = Literal["female", "male", "any"]


@dataclass(frozen=True, slots=True)
class Person:
    """What is known of the person in the clip; it chooses the norms that are shown beside a value.

    ``age_years`` and ``sex`` are None when nobody said; nothing is guessed from the picture.
    """

    age_years: int | None = None
    sex: Literal["female", "male"] | None = None


ANYONE = Person()


class Norm(Strict):
    """Usual values of people of an age and a sex.

    ``mean`` is that of the group; ``sd`` the spread between its people where the source gives it.
    ``low`` and ``high`` enclose the middle of the group where the source gives that instead.
    ``how`` says how it was measured there, because passive motion goes further than active.
    """

    sex: Sex = "any"
    age_from: int = Field(default=0, ge=0, le=120)
    age_to: int = Field(default=120, ge=0, le=120)
    mean: float | None = None
    sd: float | None = Field(default=None, gt=0)
    low: float | None = None
    high: float | None = None
    how: Text
    source_tag: SourceTag
    source: Text

    @model_validator(mode="after")
    def _says_something(self) -> Norm:
        if self.age_from > self.age_to:
            raise ValueError(f"age_from ({self.age_from}) must not lie above age_to")
        if self.mean is None and self.low is None and self.high is None:
            raise ValueError("a norm wants mean, low or high")
        return self

    def fits(self, person: Person) -> bool:
        """Tell whether it is for a person; what is not known of them excludes nothing."""
        age = person.age_years
        right_age = age is None or self.age_from <= age <= self.age_to
        return right_age and (person.sex is None or self.sex in ("any", person.sex))


class Range(Strict):
    """One line of the range of motion: best and mean of the trials of each side.

    ``moment`` is where each trial is read, ``best`` which of them is the best one. ``change`` is
    the smallest change between sessions that is more than the method's own error, where a source
    gives one.
    """

    measure: str
    title: Text
    moment: Literal["turn", "max", "min", "end", "start"] = "turn"
    best: Literal["highest", "lowest"] = "highest"
    bears: float | None = Field(
        default=None,
        gt=0,
        allow_inf_nan=False,
        description="largest half-width of the 90 % interval with which a trial is reported",
    )
    norm: tuple[Norm, ...] = ()
    change: float | None = Field(default=None, gt=0)
    change_source: str = ""

    @model_validator(mode="after")
    def _measure_is_known(self) -> Range:
        require_measure(self.measure)
        if REGISTRY[self.measure].compute is None:
            raise ValueError(f"{self.measure!r} is no range of motion")
        return self

    @property
    def bearable(self) -> float:
        """Largest half-width of a trial: ``bears``, or the default of its measure."""
        return REGISTRY[self.measure].bears if self.bears is None else self.bears
