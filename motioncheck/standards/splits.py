"""How a movement is cut out of a clip: repetitions, holds, or stages in a fixed order."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from motioncheck.measures.catalog import REGISTRY
from motioncheck.standards.parts import Strict, Text, Window, require_any_view, require_series

SideOrder = Literal["lower", "higher"]


class CycleSplit(Strict):
    """Repetitions: away from a resting value and back again.

    ``signal`` is a measure that any camera can show. ``turn`` says whether the rep turns at its
    lowest or highest value. With ``sides = "alternating"`` each side is followed by itself;
    with ``"both"`` a sided signal is averaged over the sides.
    """

    kind: Literal["cycle"]
    signal: str
    turn: Literal["lowest", "highest"]
    sides: Literal["both", "alternating"]
    side_from: str | None = Field(
        default=None, description="sided measure that tells the working side by its value"
    )
    side_is: SideOrder = Field(
        default="lower", description="whether side_from is lower or higher on the working side"
    )
    side_level: float | None = Field(
        default=None,
        description="a side that is not seen works unless side_from of the other is beyond this",
    )
    min_change: float = Field(gt=0, description="smallest change of the signal that is a rep")
    reach: float | None = Field(
        default=None, description="value that the signal must come to at the turn to be a rep"
    )
    at_turn_from: float | None = Field(
        default=None, description="value beyond which the body is at the turn, however far it goes"
    )
    min_time_s: float = Field(gt=0, le=10, description="shortest time between turns of one side")
    max_time_s: float = Field(gt=0, le=120, description="longest time of a rep")
    min_share: float = Field(
        default=0.4, gt=0, lt=1, description="smallest rep as a share of the typical one"
    )
    phases: tuple[Text, Text, Text] = Field(description="names of way out, turn, way back")
    lowering: Literal["first", "second", "none"] = Field(
        default="none", description="which moving phase lowers the body (for the tempo)"
    )
    flight: bool = Field(default=False, description="look for a jump inside each rep")

    @field_validator("signal", "side_from")
    @classmethod
    def _signal_is_known(cls, value: str | None) -> str | None:
        if value is not None:
            require_any_view(value)
        return value

    @model_validator(mode="after")
    def _sides_fit(self) -> CycleSplit:
        if self.side_from is not None and not REGISTRY[self.side_from].sided:
            raise ValueError(f"side_from wants a sided measure, found {self.side_from!r}")
        if self.sides == "alternating" and self.side_from is None and not self._sided:
            raise ValueError(f"signal {self.signal!r} has no sides; give side_from as well")
        if self.min_time_s >= self.max_time_s:
            raise ValueError(
                f"min_time_s ({self.min_time_s:g}) must be less than max_time_s "
                f"({self.max_time_s:g})"
            )
        return self

    @property
    def _sided(self) -> bool:
        return REGISTRY[self.signal].sided


class HoldSplit(Strict):
    """Positions that are held still.

    ``angles`` are the measures that must stay still; ``position`` says what the pose is, so that
    standing still is not taken for it. With ``sides = "each"`` the working side is the one on
    which the position fits better.
    """

    kind: Literal["hold"]
    angles: tuple[str, ...] = Field(min_length=1)
    position: tuple[Window, ...] = Field(min_length=1)
    sides: Literal["both", "each"]
    min_time_s: float = Field(default=2.0, gt=0, le=60, description="shortest hold that counts")
    tolerance_deg: float = Field(
        default=6.0, gt=0, le=45, description="how far an angle may stray from its running median"
    )
    max_speed: float = Field(
        default=0.03, gt=0, le=1, description="fastest mid-hip, statures a second"
    )

    @field_validator("angles")
    @classmethod
    def _angles_are_known(cls, values: tuple[str, ...]) -> tuple[str, ...]:
        for value in values:
            require_series(value)
            if REGISTRY[value].unit != "deg":
                raise ValueError(f"angles wants measures in degrees, found {value!r}")
        return values


class Stage(Strict):
    """One position of an ordered sequence."""

    name: Text
    window: tuple[Window, ...] = Field(min_length=1)


class StageSplit(Strict):
    """Positions in a fixed order, there and back.

    ``side_from`` is a sided measure that tells the working side (the loaded arm) by its mean.
    """

    kind: Literal["stages"]
    side_from: str
    side_is: SideOrder = "higher"
    side_level: float | None = Field(
        default=None,
        description="value beyond which a side works when the other one cannot be seen",
    )
    min_time_s: float = Field(
        default=0.5, gt=0, le=10, description="a stage left sooner than this was rushed"
    )
    max_speed: float = Field(
        default=0.08, gt=0, le=2, description="fastest mid-hip within a stage, statures a second"
    )
    stage: tuple[Stage, ...] = Field(min_length=2, max_length=20)

    @field_validator("side_from")
    @classmethod
    def _side_is_known(cls, value: str) -> str:
        require_any_view(value)
        if not REGISTRY[value].sided:
            raise ValueError(f"side_from wants a sided measure, found {value!r}")
        return value


Split = Annotated[CycleSplit | HoldSplit | StageSplit, Field(discriminator="kind")]
