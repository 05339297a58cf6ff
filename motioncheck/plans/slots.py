"""A plan as a row of slots: what is to be done, in order, and what it adds up to."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace

from motioncheck.plans.schema import (
    Block,
    CircuitBlock,
    Dose,
    LadderBlock,
    Plan,
    SetsBlock,
    SupersetBlock,
)
from motioncheck.records.session import Prescribed


@dataclass(frozen=True, slots=True)
class Slot:
    """One set, rung or item of a round; a circuit is one slot with all its movements.

    ``block``, ``number`` (set, round or rung) and ``item`` count from 1.
    """

    block: int
    number: int
    item: int
    label: str
    movement: str
    prescribed: Prescribed
    circuit: CircuitBlock | None = None

    @property
    def movements(self) -> frozenset[str]:
        """The movements that belong here."""
        return (
            frozenset({self.movement}) if self.circuit is None else circuit_movements(self.circuit)
        )


@dataclass(frozen=True, slots=True)
class Total:
    """What a plan asks of one movement: reps, seconds of holding, stages of a ladder.

    Reps and seconds of both sides are counted together. ``every_minute`` is how many reps are due
    each minute of a circuit; how many that makes is open until it is done.
    """

    movement: str
    sets: int = 0
    reps: int = 0
    hold_s: float = 0.0
    stages: int = 0
    every_minute: int = 0


def stages_of(rung: int) -> tuple[int, ...]:
    """Return the stages of a rung in order: up to its own number and back down."""
    return (*range(1, rung + 1), *range(rung - 1, 0, -1))


def list_slots(plan: Plan) -> tuple[Slot, ...]:
    """Return every set of a plan in the order in which it is done.

    ``prescribed.rest_s`` of a slot is the rest before it. A rest after the last set of a block
    is nobody's: what follows is another exercise.
    """
    slots: list[Slot] = []
    for number, block in enumerate(plan.block, start=1):
        rest_s: float | None = None
        for slot, after_s in _block_slots(number, block):
            slots.append(replace(slot, prescribed=replace(slot.prescribed, rest_s=rest_s)))
            rest_s = after_s
    return tuple(slots)


def _block_slots(number: int, block: Block) -> Iterator[tuple[Slot, float | None]]:
    """Yield the slots of a block, each with the rest after it."""
    if isinstance(block, SetsBlock):
        for k in range(1, block.sets + 1):
            label = f"Set {k} of {block.sets}"
            yield Slot(number, k, 1, label, block.movement, prescribe(block)), block.rest_s
    elif isinstance(block, LadderBlock):
        for k, rung in enumerate(block.order, start=1):
            asked = Prescribed(
                "stages",
                stages=len(stages_of(rung)),
                rung=rung,
                load=block.load or "",
                load_kg=block.load_kg,
                notes=block.notes,
            )
            yield Slot(number, k, 1, f"Rung {rung}", block.movement, asked), block.rest_s
    elif isinstance(block, SupersetBlock):
        for k in range(1, block.rounds + 1):
            for j, item in enumerate(block.item, start=1):
                after_s = block.rest_s if j == len(block.item) else None
                label = f"Round {k}, {chr(64 + j)}"
                yield Slot(number, k, j, label, item.movement, prescribe(item)), after_s
    else:
        asked = Prescribed("reps", reps=circuit_reps(block), notes=block.notes)
        yield Slot(number, 1, 1, "Circuit", block.item[0].movement, asked, block), None


def prescribe(dose: Dose) -> Prescribed:
    """Return what one set asks for, both sides of the reps together."""
    return Prescribed(
        "hold" if dose.reps is None else "reps",
        reps=None if dose.reps is None else dose.total_reps,
        hold_s=dose.hold_s,
        each_side=dose.each_side,
        load=dose.load or "",
        load_kg=dose.load_kg,
        notes=dose.notes,
    )


def circuit_reps(block: CircuitBlock) -> int:
    """Return the reps of the work of a circuit; those due every minute come on top."""
    return block.rounds * sum(item.total_reps for item in block.item)


def circuit_movements(block: CircuitBlock) -> frozenset[str]:
    """Return every movement of a circuit, the one of every minute included."""
    names = {item.movement for item in block.item}
    return frozenset(names | ({block.every_minute.movement} if block.every_minute else set()))


def plan_movements(plan: Plan) -> tuple[str, ...]:
    """Return the movements of a plan in the order in which they first come."""
    names: dict[str, None] = {}
    for block in plan.block:
        if isinstance(block, (SetsBlock, LadderBlock)):
            names[block.movement] = None
        else:
            names |= dict.fromkeys(item.movement for item in block.item)
        if isinstance(block, CircuitBlock) and block.every_minute:
            names[block.every_minute.movement] = None
    return tuple(names)


def compute_totals(plan: Plan) -> tuple[Total, ...]:
    """Compute what the plan asks of each movement, in the order in which they first come."""
    totals: dict[str, Total] = defaultdict(lambda: Total(""))
    for slot in list_slots(plan):
        if slot.circuit is not None:
            _add_circuit(totals, slot.circuit)
            continue
        asked, so_far = slot.prescribed, totals[slot.movement]
        totals[slot.movement] = replace(
            so_far,
            sets=so_far.sets + 1,
            reps=so_far.reps + (asked.reps or 0),
            hold_s=so_far.hold_s + (asked.hold_s or 0.0) * (2 if asked.each_side else 1),
            stages=so_far.stages + (asked.stages or 0),
        )
    return tuple(replace(totals[name], movement=name) for name in plan_movements(plan))


def _add_circuit(totals: dict[str, Total], block: CircuitBlock) -> None:
    for item in block.item:
        so_far = totals[item.movement]
        totals[item.movement] = replace(
            so_far,
            sets=so_far.sets + block.rounds,
            reps=so_far.reps + block.rounds * item.total_reps,
        )
    if block.every_minute:
        so_far = totals[block.every_minute.movement]
        totals[block.every_minute.movement] = replace(
            so_far, every_minute=so_far.every_minute + block.every_minute.reps
        )


def compute_timed_s(plan: Plan) -> tuple[float, float] | None:
    """Compute the seconds of work and of rest that the plan fixes.

    Returns
    -------
    tuple of float, or None
        Work and rest; their sum is what the clock shows at the end. None when any set is counted
        in reps or stages, because then the plan does not fix how long it takes.
    """
    slots = list_slots(plan)
    if any(slot.prescribed.hold_s is None for slot in slots):
        return None
    work = [
        (slot.prescribed.hold_s or 0.0) * (2 if slot.prescribed.each_side else 1) for slot in slots
    ]
    return math.fsum(work), math.fsum(slot.prescribed.rest_s or 0.0 for slot in slots)
