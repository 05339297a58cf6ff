"""What happens in a clip, and how a movement is registered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from tempo import Rep, plan_reps

if TYPE_CHECKING:
    from bodies import Array, Body
    from numpy.random import Generator
    from pose import Motion
    from scenario import Clip


@dataclass(frozen=True)
class Hold:
    """A pose kept still: ``start_s`` is when it is fully reached, ``end_s`` when it is left."""

    number: int
    side: str
    start_s: float
    end_s: float
    planted: tuple[str, ...] = ()


@dataclass(frozen=True)
class Stage:
    """One visit to a stage of a staged movement; start and end bound the still time."""

    number: int
    stage: int
    rung: int
    side: str
    start_s: float
    end_s: float
    planted: tuple[str, ...] = ()


@dataclass(frozen=True)
class Rung:
    """One way up to the stage ``reached`` and back down again."""

    number: int
    reached: int
    side: str
    planted: tuple[str, ...] = ()


@dataclass(frozen=True)
class Schedule:
    """The true events of a clip and its length; ``script`` is the movement's own plan."""

    reps: list[Rep]
    total_s: float
    absent_s: list[tuple[float, float]] = field(default_factory=list)
    holds: list[Hold] = field(default_factory=list)
    stages: list[Stage] = field(default_factory=list)
    rungs: list[Rung] = field(default_factory=list)
    script: Any = None

    @property
    def planted(self) -> list[str]:
        """Return the names of all faults of the clip, sorted."""
        rows = [*self.reps, *self.holds, *self.stages, *self.rungs]
        return sorted({fault for row in rows for fault in row.planted})


def shift_reps(reps: list[Rep], by_s: float) -> list[Rep]:
    """Move repetitions in time."""
    return [
        replace(r, start_s=r.start_s + by_s, turn_s=r.turn_s + by_s, end_s=r.end_s + by_s)
        for r in reps
    ]


Planner = Callable[["Clip", "Generator"], Schedule]
Builder = Callable[["Clip", "Body", "Array", Schedule, "Generator"], "Motion"]


@dataclass(frozen=True)
class Movement:
    """How one movement is made: first its events, then, with a body and frame times, its poses."""

    plan: Planner
    build: Builder


def repeated(make: Callable[..., Motion], *, sides: tuple[str, ...] = ("both",)) -> Movement:
    """Register a movement of equal repetitions, made by ``make(body, time_s, reps, rng)``."""

    def plan(clip: Clip, rng: Generator) -> Schedule:
        reps, total_s = plan_reps(
            clip.timing, count=clip.count, sides=sides, faults=clip.faults, rng=rng
        )
        return Schedule(reps=reps, total_s=total_s)

    def build(clip: Clip, body: Body, time_s: Array, schedule: Schedule, rng: Generator) -> Motion:
        return make(body, time_s, schedule.reps, rng)

    return Movement(plan=plan, build=build)
