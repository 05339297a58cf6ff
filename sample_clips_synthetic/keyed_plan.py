"""Scripts of keyed movements: which pose when, planned before there is a body."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from keyed import Key, Pose
from sizes import Sizes

if TYPE_CHECKING:
    from bodies import Body
    from numpy.random import Generator


@dataclass(frozen=True)
class Step:
    """A pose by name, with what it is to be like, and when it is reached and left, seconds."""

    name: str
    reach_s: float
    leave_s: float
    wishes: dict[str, Any] = field(default_factory=dict)
    parts: dict[str, tuple[float, float]] = field(default_factory=dict)


class Script:
    """Steps one after another; each duration varies a little, from the clip's seed."""

    def __init__(self, rng: Generator, *, jitter: float = 0.06) -> None:
        self.rng, self.jitter = rng, jitter
        self.clock = 0.0
        self.steps: list[Step] = []

    def go(
        self,
        name: str,
        move_s: float,
        hold_s: float = 0.0,
        *,
        parts: dict[str, tuple[float, float]] | None = None,
        exact: bool = False,
        **wishes: object,
    ) -> Step:
        """Add a move to a pose and how long it is kept; ``exact`` keeps the hold as given."""
        pace = 1 + self.rng.uniform(-self.jitter, self.jitter, size=2)
        reach = self.clock + move_s * float(pace[0])
        self.clock = reach + hold_s * (1.0 if exact else float(pace[1]))
        step = Step(name, reach, self.clock, dict(wishes), parts or {})
        self.steps.append(step)
        return step


PoseMaker = Callable[..., Pose]


def make_keys(steps: list[Step], body: Body, poses: dict[str, PoseMaker]) -> list[Key]:
    """Turn the steps of a script into keys for one body."""
    sizes = Sizes.of(body)
    return [
        Key(
            reach_s=step.reach_s,
            leave_s=step.leave_s,
            pose=poses[step.name](sizes, **step.wishes),
            parts=step.parts,
        )
        for step in steps
    ]
