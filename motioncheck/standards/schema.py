"""Schema of a standard: the file that says how a movement is split and what is checked."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from motioncheck.measures.catalog import REGISTRY
from motioncheck.measures.registry import Plane
from motioncheck.records import Comparison

STANDARD_SCHEMA = "motioncheck/standard/1"
# Measures of the whole set; every other measure belongs to a single repetition.
SET_MEASURES = ("rate_per_min", "rhythm_cv_percent")
SourceTag = Literal["published", "from memory", "common practice, no source"]
Text = Annotated[str, Field(min_length=1, max_length=400)]
Identifier = Annotated[str, Field(pattern=r"^[a-z][a-z0-9-]{1,39}$")]
CheckId = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{1,39}$")]


class _Strict(BaseModel):
    """Unknown keys are errors, so that a misspelt one is not silently ignored."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Split(_Strict):
    """How the movement is cut into repetitions.

    ``signal`` is a measure that any camera can show. ``turn`` says whether the rep turns at its
    lowest or highest value. With ``sides = "alternating"`` each side is followed by itself;
    with ``"both"`` a sided signal is averaged over the sides.
    """

    kind: Literal["cycle"]
    signal: str
    turn: Literal["lowest", "highest"]
    sides: Literal["both", "alternating"]
    side_from: str | None = Field(
        default=None, description="sided measure whose lower value tells the working side"
    )
    min_change: float = Field(gt=0, description="smallest change of the signal that is a rep")
    min_time_s: float = Field(gt=0, le=10, description="shortest time between turns of one side")
    max_time_s: float = Field(gt=0, le=120, description="longest time of a rep")
    min_share: float = Field(
        default=0.4, gt=0, lt=1, description="smallest rep as a share of the typical one"
    )
    phases: tuple[Text, Text, Text] = Field(description="names of way out, turn, way back")
    lowering: Literal["first", "second", "none"] = Field(
        default="none", description="which moving phase lowers the body (for the tempo)"
    )

    @field_validator("signal", "side_from")
    @classmethod
    def _signal_is_known(cls, value: str | None) -> str | None:
        if value is None:
            return None
        _known_measure(value)
        if REGISTRY[value].plane != "any" or REGISTRY[value].compute is None:
            allowed = ", ".join(s.id for s in REGISTRY if s.plane == "any" and s.compute)
            raise ValueError(f"{value!r} cannot be seen from every side; use one of: {allowed}")
        return value

    @model_validator(mode="after")
    def _sides_fit(self) -> Split:
        if self.side_from is not None and not REGISTRY[self.side_from].sided:
            raise ValueError(f"side_from wants a sided measure, found {self.side_from!r}")
        if self.sides == "alternating" and self.side_from is None and not self._sided:
            raise ValueError(f"signal {self.signal!r} has no sides; give side_from as well")
        return self

    @property
    def _sided(self) -> bool:
        return REGISTRY[self.signal].sided


class Judgement(_Strict):
    """One measure compared with one threshold at one moment."""

    measure: str
    moment: Literal["turn", "start", "end", "max", "min", "mean", "range", "spread"]
    side: Literal["none", "working", "opposite", "near", "worst", "difference"] = "none"
    absolute: bool = Field(default=False, description="compare the size, whatever the sign")
    comparison: Comparison
    threshold: float
    clear_miss: float | None = Field(
        default=None,
        description="value beyond which it is a miss; in between it is too close to call",
    )
    bears: float | None = Field(
        default=None,
        gt=0,
        allow_inf_nan=False,
        description="largest half-width of the 90 % interval with which it is still judged",
    )
    unit: Literal["deg", "ratio", "s", "1/min", "%"]
    plane: Plane

    @property
    def bearable(self) -> float:
        """Largest half-width that this can bear: ``bears``, or the default of its measure."""
        return REGISTRY[self.measure].bears if self.bears is None else self.bears

    @model_validator(mode="after")
    def _fits_the_measure(self) -> Judgement:
        _known_measure(self.measure)
        spec = REGISTRY[self.measure]
        if self.unit != spec.unit:
            raise ValueError(f"unit of {self.measure} is {spec.unit!r}, found {self.unit!r}")
        if spec.sided == (self.side == "none"):
            wants = (
                "a side (working, opposite, near, worst, difference)"
                if spec.sided
                else 'side = "none"'
            )
            raise ValueError(f"{self.measure} wants {wants}, found side = {self.side!r}")
        if spec.plane not in ("any", self.plane):
            raise ValueError(
                f"{self.measure} is measured in the plane {spec.plane!r}, found {self.plane!r}"
            )
        low, high = spec.span
        for key in ("threshold", "clear_miss"):
            number = getattr(self, key)
            if number is not None and not low <= number <= high:
                raise ValueError(
                    f"{key} of {self.measure} must be from {low:g} to {high:g} {self.unit}, "
                    f"found {number:g}"
                )
        self._check_order()
        return self

    def _check_order(self) -> None:
        if self.clear_miss is None:
            return
        wrong = (
            self.clear_miss < self.threshold
            if self.comparison == "at most"
            else self.clear_miss > self.threshold
        )
        if wrong:
            raise ValueError(
                f"clear_miss ({self.clear_miss:g}) must lie on the bad side of the threshold "
                f"({self.comparison} {self.threshold:g})"
            )


class Check(Judgement):
    """A line of the standard: a judgement with its name, cue and source.

    ``instead`` lists the same question asked of another measure, for clips in which the first one
    is known too badly; the first that can be borne is used. ``scope`` says whether it is asked of
    every repetition, once of the whole set, or once of left against right.
    """

    id: CheckId
    title: Text
    scope: Literal["rep", "set", "sides"] = "rep"
    cue: Text
    praise: Text
    source_tag: SourceTag
    source: Text
    instead: tuple[Judgement, ...] = ()
    enabled: bool = True

    @model_validator(mode="after")
    def _scope_fits_the_measures(self) -> Check:
        for judgement in (self, *self.instead):
            if (judgement.measure in SET_MEASURES) != (self.scope == "set"):
                raise ValueError(
                    f'scope = "set" goes with {" and ".join(SET_MEASURES)}, and only with them; '
                    f"found scope = {self.scope!r} with {judgement.measure}"
                )
            if self.scope == "sides" and judgement.side != "working":
                raise ValueError(
                    f'scope = "sides" wants side = "working", found side = {judgement.side!r}'
                )
        return self


class Camera(_Strict):
    """How to film this movement."""

    best_view: Literal["side", "front"]
    advice: Text


class Standard(_Strict):
    """A movement: how to split it, what to check, what to beware of."""

    format: Literal["motioncheck/standard/1"]
    id: Identifier
    title: Text
    summary: Text
    cutoff_hz: float = Field(ge=1, le=15, description="low-pass cutoff for the landmarks")
    chart_measure: str = Field(description="measure drawn over time")
    chart_measure_front: str | None = Field(
        default=None, description="measure drawn when the first cannot be seen"
    )
    camera: Camera
    split: Split
    check: tuple[Check, ...] = Field(min_length=1)
    faults: tuple[Text, ...] = Field(min_length=1)
    cautions: tuple[Text, ...] = Field(min_length=1)

    @field_validator("chart_measure", "chart_measure_front")
    @classmethod
    def _chart_is_known(cls, value: str | None) -> str | None:
        if value is not None:
            _known_measure(value)
        return value

    @field_validator("check")
    @classmethod
    def _ids_differ(cls, checks: tuple[Check, ...]) -> tuple[Check, ...]:
        seen: set[str] = set()
        for check in checks:
            if check.id in seen:
                raise ValueError(f"check id {check.id!r} is used twice")
            seen.add(check.id)
        return checks

    @model_validator(mode="after")
    def _sides_can_be_compared(self) -> Standard:
        for check in self.check:
            if check.scope == "sides" and self.split.sides != "alternating":
                raise ValueError(
                    f'check {check.id!r}: scope = "sides" wants split.sides = "alternating", '
                    f"found {self.split.sides!r}"
                )
        return self


def _known_measure(name: str) -> None:
    if name not in REGISTRY:
        raise ValueError(f"unknown measure {name!r}; allowed: {', '.join(REGISTRY.names())}")
