"""Schema of a plan: the file that says what a training session prescribes."""

from __future__ import annotations

from collections.abc import Collection
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator

PLAN_SCHEMA = "motioncheck/plan/1"
# Key of the validation context that holds the movements that are known.
KNOWN = "movements"
MAX_RUNG = 50

Text = Annotated[str, Field(strict=True, min_length=1, max_length=400)]
LongText = Annotated[str, Field(strict=True, max_length=2000)]
MovementId = Annotated[str, Field(strict=True, pattern=r"^[a-z][a-z0-9-]{1,39}$")]
Count = Annotated[int, Field(strict=True, ge=1, le=1000)]
Rounds = Annotated[int, Field(strict=True, ge=1, le=100)]
Rung = Annotated[int, Field(strict=True, ge=1, le=MAX_RUNG)]
Seconds = Annotated[float, Field(strict=True, gt=0, le=7200, allow_inf_nan=False)]
Kilograms = Annotated[float, Field(strict=True, ge=0, le=1000, allow_inf_nan=False)]
Flag = Annotated[bool, Field(strict=True)]


class _Strict(BaseModel):
    """Unknown keys are errors, so that a misspelt one is not silently ignored."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class _Exercise(_Strict):
    """A movement, and with what it is done."""

    movement: MovementId
    load_kg: Kilograms | None = None
    load: Text | None = Field(default=None, description="the load in words: two bells of 8 kg")
    notes: LongText = ""

    @field_validator("movement")
    @classmethod
    def _movement_is_known(cls, value: str, info: ValidationInfo) -> str:
        known: Collection[str] | None = (info.context or {}).get(KNOWN)
        if known is not None and value not in known:
            allowed = ", ".join(sorted(known)) or "none at all"
            raise ValueError(f"expected one of the movements {allowed}; found {value!r}")
        return value


class Dose(_Exercise):
    """How much of a movement: a number of reps, or a hold of some seconds.

    With ``each_side`` the reps or the seconds are those of one side, and both sides are done.
    """

    reps: Count | None = None
    hold_s: Seconds | None = None
    each_side: Flag = False

    @model_validator(mode="after")
    def _one_amount(self) -> Dose:
        if (self.reps is None) == (self.hold_s is None):
            found = "neither" if self.reps is None else "both"
            raise ValueError(f"expected either reps or hold_s, found {found}")
        return self

    @property
    def total_reps(self) -> int:
        """Reps of both sides together, 0 for a hold."""
        return (self.reps or 0) * (2 if self.each_side else 1)

    @property
    def total_hold_s(self) -> float:
        """Seconds of both sides together, 0 for reps."""
        return (self.hold_s or 0.0) * (2 if self.each_side else 1)


class _Block(_Strict):
    """What all blocks have in common."""

    title: Text | None = None


class SetsBlock(Dose, _Block):
    """Sets of one movement with a rest between them."""

    kind: Literal["sets"]
    sets: Rounds
    rest_s: Seconds | None = None


class LadderBlock(_Exercise, _Block):
    """A staged movement in rungs: rung k goes up to stage k and back down, 2k − 1 stages.

    ``rungs`` is how many there are, from the first on, or a list of them in the order in which
    they are done; ``from`` and ``to`` are the first and the last of a run, up or down.
    """

    kind: Literal["ladder"]
    rungs: int | tuple[int, ...] | None = None
    first: Rung | None = Field(default=None, alias="from")
    last: Rung | None = Field(default=None, alias="to")
    rest_s: Seconds | None = None

    @field_validator("rungs", mode="before")
    @classmethod
    def _rungs_exist(cls, value: Any) -> Any:
        """Check number and list in one go; a union would report both of its halves."""
        rungs = value if isinstance(value, list) else [value]
        wrong = [r for r in rungs if type(r) is not int or not 1 <= r <= MAX_RUNG]
        if wrong or not 1 <= len(rungs) <= MAX_RUNG:
            found = repr(wrong[0])[:60] if wrong else f"a list of {len(rungs)}"
            raise ValueError(
                f"expected a whole number from 1 to {MAX_RUNG}, or a list of 1 to {MAX_RUNG} of "
                f"them, found {found}"
            )
        return value

    @model_validator(mode="after")
    def _rungs_are_given_once(self) -> LadderBlock:
        ends = [end is not None for end in (self.first, self.last)]
        if (self.rungs is not None) == any(ends):
            found = "both" if any(ends) else "neither"
            raise ValueError(f"expected either rungs, or from and to, found {found}")
        if any(ends) and not all(ends):
            raise ValueError(
                f"expected from and to together, found {'from' if ends[0] else 'to'} alone"
            )
        return self

    @property
    def order(self) -> tuple[int, ...]:
        """The rungs in the order in which they are done."""
        if isinstance(self.rungs, int):
            return tuple(range(1, self.rungs + 1))
        if self.rungs is not None:
            return self.rungs
        first, last = self.first or 1, self.last or 1
        step = 1 if last >= first else -1
        return tuple(range(first, last + step, step))


class SupersetBlock(_Block):
    """Movements done in turn, A, B, ..., for some rounds, with a rest after each round."""

    kind: Literal["superset"]
    rounds: Rounds
    rest_s: Seconds | None = None
    notes: LongText = ""
    item: tuple[Dose, ...] = Field(min_length=1, max_length=26)


class EveryMinute(_Exercise):
    """Reps that are due at the start of every minute until the work is done.

    ``first_minute`` is the first minute they are due in, counted from 0. They are late when
    they begin more than ``grace_s`` after the start of their minute.
    """

    reps: Count
    first_minute: Annotated[int, Field(strict=True, ge=0, le=60)] = 0
    grace_s: Annotated[float, Field(strict=True, gt=0, le=30, allow_inf_nan=False)] = 5.0


class CircuitBlock(_Block):
    """Movements in order, for some rounds, on a running clock, for time."""

    kind: Literal["circuit"]
    rounds: Rounds
    every_minute: EveryMinute | None = None
    notes: LongText = ""
    item: tuple[Dose, ...] = Field(min_length=1, max_length=26)

    @model_validator(mode="after")
    def _can_be_clocked(self) -> CircuitBlock:
        for number, item in enumerate(self.item, start=1):
            if item.reps is None:
                raise ValueError(f"expected reps in every item of a circuit, item {number} holds")
            if self.every_minute is not None and item.movement == self.every_minute.movement:
                raise ValueError(
                    "expected another movement every minute than in the items, found "
                    f"{item.movement!r} in both"
                )
        return self


Block: TypeAlias = SetsBlock | LadderBlock | SupersetBlock | CircuitBlock


class Plan(_Strict):
    """A session: blocks in the order in which they are done."""

    format: Literal["motioncheck/plan/1"]
    title: Text
    notes: LongText = ""
    block: tuple[Annotated[Block, Field(discriminator="kind")], ...] = Field(
        min_length=1, max_length=60
    )
