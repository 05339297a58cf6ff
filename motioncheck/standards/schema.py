"""Schema of a standard: the file that says how a movement is split and what is checked."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, field_validator, model_validator

from motioncheck.measures.catalog import REGISTRY
from motioncheck.measures.registry import Plane
from motioncheck.records import Comparison
from motioncheck.standards.parts import (
    CheckId,
    Identifier,
    SourceTag,
    Strict,
    Text,
    require_measure,
    require_order,
    require_series,
)
from motioncheck.standards.ranges import Norm, Range
from motioncheck.standards.splits import CycleSplit, HoldSplit, Split, StageSplit
from motioncheck.wording import join_words

STANDARD_SCHEMA = "motioncheck/standard/1"
# Measures of the whole set; every other measure belongs to a single repetition, hold or stage.
SET_MEASURES = (
    "rate_per_min",
    "rhythm_cv_percent",
    "reps_in_30_s",
    "time_of_five_s",
    "stages_skipped",
)
Moment = Literal["turn", "start", "end", "max", "min", "mean", "range", "spread", "gain"]


class Judgement(Strict):
    """One measure compared with one threshold at one moment."""

    measure: str
    moment: Moment
    phase: str | None = Field(default=None, description="read within this phase of the rep only")
    part: tuple[float, float] = Field(
        default=(0.0, 1.0), description="and there within these shares of its time"
    )
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
    unit: Literal["deg", "ratio", "s", "1/min", "%", "count"]
    plane: Plane

    @property
    def bearable(self) -> float:
        """Largest half-width that this can bear: ``bears``, or the default of its measure."""
        return REGISTRY[self.measure].bears if self.bears is None else self.bears

    @model_validator(mode="after")
    def _fits_the_measure(self) -> Judgement:
        require_measure(self.measure)
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
        if not 0.0 <= self.part[0] < self.part[1] <= 1.0:
            raise ValueError(f"part must be two rising shares from 0 to 1, found {self.part}")
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
    every repetition, once of the whole set, or once of left against right. ``norm`` says what is
    usual for age and sex; it is printed beside a finding of the set and decides nothing.
    """

    id: CheckId
    title: Text
    scope: Literal["rep", "set", "sides"] = "rep"
    cue: Text
    praise: Text
    source_tag: SourceTag
    source: Text
    instead: tuple[Judgement, ...] = ()
    stages: tuple[int, ...] = Field(
        default=(), description="numbers of the stages it is asked of; empty: of all"
    )
    norm: tuple[Norm, ...] = ()
    enabled: bool = True

    @model_validator(mode="after")
    def _norm_fits_the_scope(self) -> Check:
        if self.norm and self.scope != "set":
            raise ValueError(f'norm goes with scope = "set" only, found scope = {self.scope!r}')
        return self

    @model_validator(mode="after")
    def _scope_fits_the_measures(self) -> Check:
        for judgement in (self, *self.instead):
            if (judgement.measure in SET_MEASURES) != (self.scope == "set"):
                raise ValueError(
                    f'scope = "set" goes with {join_words(SET_MEASURES)}, and only with them; '
                    f"found scope = {self.scope!r} with {judgement.measure}"
                )
            if self.scope == "sides" and judgement.side != "working":
                raise ValueError(
                    f'scope = "sides" wants side = "working", found side = {judgement.side!r}'
                )
        return self


class Camera(Strict):
    """How to film this movement.

    Farther off the best view than ``judged_within_deg`` degrees nothing of the movement can be
    judged and a clip is refused; None, the usual case: from everywhere something can be.
    """

    best_view: Literal["side", "front"]
    advice: Text
    judged_within_deg: float | None = Field(default=None, gt=0.0, lt=90.0, allow_inf_nan=False)


class Feature(Strict):
    """What tells this movement from others: a value that its reps have at a moment.

    Like a line of the checks, but a wide range that sloppy reps meet as well. ``slack`` is how
    far outside is certainly another movement, unit of the measure. A ``difference`` is that of
    the working from the opposite side, and without a sign where an event has no side. An event of
    which a ``needed`` feature is not seen says nothing for the movement.
    """

    measure: str
    moment: Moment
    side: Literal["none", "working", "opposite", "both", "either", "difference"] = "none"
    at_least: float | None = None
    at_most: float | None = None
    slack: float = Field(gt=0, allow_inf_nan=False)
    needed: bool = False

    @model_validator(mode="after")
    def _fits_the_measure(self) -> Feature:
        require_measure(self.measure)
        if REGISTRY[self.measure].sided == (self.side == "none"):
            raise ValueError(f"{self.measure}: side = {self.side!r} does not fit the measure")
        if self.at_least is None and self.at_most is None:
            raise ValueError("a feature wants at_least, at_most or both")
        require_order(self.at_least, self.at_most)
        return self


class NamingSignal(Strict):
    """Another signal that shows the reps, for naming the movement only.

    Of a sided one the larger (``lowest``: smaller) of both sides counts at every moment, so that it
    does not matter which leg the pose model takes for which. Times and shares are those of the
    split, which must be into repetitions.
    """

    signal: str
    turn: Literal["lowest", "highest"]
    min_change: float = Field(gt=0, allow_inf_nan=False)

    @field_validator("signal")
    @classmethod
    def _signal_is_known(cls, value: str) -> str:
        require_measure(value)
        if REGISTRY[value].compute is None:
            raise ValueError(f"{value} is no measure over time")
        return value


class Standard(Strict):
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
    planar: tuple[str, ...] = Field(
        default=(),
        description="measures of limbs that move in the plane of the picture of the best view; "
        "there the picture is believed before the fitted body",
    )
    camera: Camera
    split: Split
    signature: tuple[Feature, ...] = Field(
        default=(), description="how the movement is told from others; none: only when asked for"
    )
    naming_signal: tuple[NamingSignal, ...] = Field(
        default=(), description="other signals that show the reps, for naming only"
    )
    check: tuple[Check, ...] = Field(min_length=1)
    range_of_motion: tuple[Range, ...] = ()
    faults: tuple[Text, ...] = Field(min_length=1)
    cautions: tuple[Text, ...] = Field(min_length=1)

    @field_validator("chart_measure", "chart_measure_front")
    @classmethod
    def _chart_is_known(cls, value: str | None) -> str | None:
        if value is not None:
            require_measure(value)
        return value

    @field_validator("planar")
    @classmethod
    def _planar_is_known(cls, values: tuple[str, ...]) -> tuple[str, ...]:
        for value in values:
            require_series(value)
        return values

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
    def _checks_fit_the_split(self) -> Standard:
        for check in self.check:
            if check.scope == "sides" and not self.by_sides:
                wants = "alternating" if isinstance(self.split, CycleSplit) else "each"
                raise ValueError(
                    f'check {check.id!r}: scope = "sides" wants split.sides = "{wants}", '
                    f"found {getattr(self.split, 'sides', 'stages')!r}"
                )
            self._check_phases(check)
            self._check_stages(check)
        return self

    def _check_phases(self, check: Check) -> None:
        allowed = list(self.split.phases) if isinstance(self.split, CycleSplit) else []
        if isinstance(self.split, CycleSplit) and self.split.flight:
            allowed += ["flight", "landing"]
        for form in (check, *check.instead):
            if form.phase is not None and form.phase not in allowed:
                names = ", ".join(allowed) or "none"
                raise ValueError(
                    f"check {check.id!r}: unknown phase {form.phase!r}; this split has: {names}"
                )

    def _check_stages(self, check: Check) -> None:
        count = len(self.split.stage) if isinstance(self.split, StageSplit) else 0
        wrong = [n for n in check.stages if not 1 <= n <= count]
        if wrong:
            raise ValueError(
                f"check {check.id!r}: stages must be from 1 to {count}, found {wrong[0]}"
            )

    @property
    def by_sides(self) -> bool:
        """Whether each event works one side, and the sides are compared with each other."""
        if isinstance(self.split, CycleSplit):
            return self.split.sides == "alternating"
        return isinstance(self.split, HoldSplit) and self.split.sides == "each"

    @property
    def event_word(self) -> str:
        """What one event is called: rep, hold or stage."""
        return {"cycle": "rep", "hold": "hold", "stages": "stage"}[self.split.kind]
