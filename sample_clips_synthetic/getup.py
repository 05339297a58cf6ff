"""The get-up: from lying to standing in seven stages and back, the loaded arm straight up.

A rung goes up to one stage and back down; between rungs the arm is lowered, so that each rung
begins and ends with its own visit to stage 1.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from getup_poses import GetUp
from keyed import Key, Keyed
from keyed_plan import Script, Step
from schedule import Movement, Rung, Schedule, Stage
from sizes import Sizes
from tempo import Rep

if TYPE_CHECKING:
    from bodies import Array, Body
    from numpy.random import Generator
    from pose import Motion
    from scenario import Clip

LOADED = "right"
FREE = "left"
STAGES = ("lying", "elbow", "sitting", "bridge", "kneeling", "upright", "standing")
# Time of a move to the next stage or back, as a share of the clip's pace; the longest moves are
# sweeping the leg under and standing up.
SHARES = {1: 0.95, 2: 0.9, 3: 0.9, 4: 1.25, 5: 1.0, 6: 1.35}
ARM_S, LOWERED_S = 0.8, 1.0
RUSHED_S = 0.1
BENT_DEG = 50.0
# The foot steps before or after the hips move.
STEP_UP = {f"{FREE}_foot": (0.15, 0.95), "hip": (0.0, 1.0)}
LATE_FOOT = {f"{FREE}_foot": (0.45, 1.0), "hip": (0.0, 0.85)}
STEP_DOWN = {f"{FREE}_foot": (0.0, 0.7), "hip": (0.1, 1.0)}


class _Climb:
    """Lays out the rungs one after another."""

    def __init__(self, clip: Clip, rng: Generator) -> None:
        self.clip, self.rng = clip, rng
        self.script = Script(rng, jitter=clip.timing.jitter)
        self.stages: list[Stage] = []
        self.rungs: list[Rung] = []
        self.reps: list[Rep] = []
        self.script.go("lying", 0.0, clip.timing.lead_s, lowered=True)

    def rung(self, reached: int, planted: tuple[str, ...]) -> None:
        """Go up to a stage and back, then lower the arm."""
        number = len(self.rungs) + 1
        start_s = self.script.clock
        up = list(range(1, reached + 1))
        if "skipped_stage" in planted:
            up.remove(4)
        for before, stage in zip([0, *up], up, strict=False):
            self._visit(number, before, stage, planted if before < stage else ())
        turn = self.stages[-1]
        for before, stage in zip(range(reached, 1, -1), range(reached - 1, 0, -1), strict=True):
            self._visit(number, before, stage, ())
        last = number == len(self.clip.rungs)
        self.script.go("lying", ARM_S, self.clip.timing.tail_s if last else LOWERED_S, lowered=True)
        self.rungs.append(Rung(number=number, reached=reached, side=LOADED, planted=planted))
        self.reps.append(
            Rep(
                number=number,
                side=LOADED,
                start_s=start_s,
                turn_s=0.5 * (turn.start_s + turn.end_s),
                end_s=self.script.steps[-1].reach_s,
                planted=planted,
            )
        )

    def _visit(self, rung: int, before: int, stage: int, planted: tuple[str, ...]) -> None:
        timing = self.clip.timing
        share = SHARES[min(before, stage)] if before else ARM_S / timing.out_s
        wishes: dict[str, Any] = {}
        faults: tuple[str, ...] = ()
        hold_s, exact = timing.hold_s, False
        if "bent_loaded_arm" in planted and stage in (5, 6):
            wishes, faults = {"bend": BENT_DEG}, ("bent_loaded_arm",)
        if "rushed_stage" in planted and stage == 3:
            hold_s, exact, faults = RUSHED_S, True, ("rushed_stage",)
        if "skipped_stage" in planted and stage == 5:
            share, faults = 1.45, ("skipped_stage",)
        parts = {(6, 7): STEP_UP, (7, 6): STEP_DOWN}
        if (before, stage) in ((4, 5), (3, 5), (5, 4)):
            share *= 0.55
            late = {}
            if before == 3:
                self.script.go("drawn", share * timing.out_s)
                late = LATE_FOOT
            self.script.go("sweeping", share * timing.out_s, parts=late, **wishes)
        step = self.script.go(
            STAGES[stage - 1],
            share * timing.out_s,
            hold_s,
            exact=exact,
            parts=parts.get((before, stage)),
            **wishes,
        )
        self.stages.append(
            Stage(
                number=len(self.stages) + 1,
                stage=stage,
                rung=rung,
                side=LOADED,
                start_s=step.reach_s,
                end_s=step.leave_s,
                planted=faults,
            )
        )


def plan_getup(clip: Clip, rng: Generator) -> Schedule:
    """Plan the rungs of a clip; ``clip.rungs`` names the stage each goes up to."""
    climb = _Climb(clip, rng)
    for number, reached in enumerate(clip.rungs, start=1):
        climb.rung(reached, clip.faults.get(number, ()))
    return Schedule(
        reps=climb.reps,
        total_s=climb.script.clock,
        stages=climb.stages,
        rungs=climb.rungs,
        script=climb.script.steps,
    )


def build_getup(
    clip: Clip, body: Body, time_s: Array, schedule: Schedule, rng: Generator
) -> Motion:
    """Return the motion of a get-up."""
    poses = GetUp(Sizes.of(body), LOADED)
    steps: list[Step] = schedule.script
    keys = [
        Key(
            reach_s=step.reach_s,
            leave_s=step.leave_s,
            pose=getattr(poses, step.name)(**step.wishes),
            parts=step.parts,
        )
        for step in steps
    ]
    return Keyed(body, time_s, keys, rng)


GET_UP = Movement(plan=plan_getup, build=build_getup)
