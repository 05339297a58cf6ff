"""Whether a plan asks of each movement what can be counted of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from motioncheck.errors import StandardError
from motioncheck.plans import LoadedPlan, load_plan
from motioncheck.plans.loader import HINT
from motioncheck.plans.schema import Block, CircuitBlock, LadderBlock, SupersetBlock
from motioncheck.standards import LoadedStandard, Standard
from motioncheck.standards.splits import HoldSplit, StageSplit


def load_fitting_plan(path: Path, standards: Mapping[str, LoadedStandard]) -> LoadedPlan:
    """Read a plan whose movements can be done as it asks.

    Parameters
    ----------
    path : Path
        A TOML file.
    standards : mapping of str to LoadedStandard
        The movements there are.

    Raises
    ------
    StandardError
        As `load_plan`; and if seconds of holding are asked of a movement that is done in reps, reps
        of one that is held, or rungs of one that has no such stages: they could only be missing.
    """
    loaded = load_plan(path, standards)
    problems = [
        f"block {number} ({block.kind}){where}: {problem}"
        for number, block in enumerate(loaded.plan.block, start=1)
        for where, problem in _find_problems(block, standards)
    ]
    if problems:
        raise StandardError(f"{path.name} is not a valid plan: {'; '.join(problems)}.", hint=HINT)
    return loaded


def _find_problems(
    block: Block, standards: Mapping[str, LoadedStandard]
) -> Iterator[tuple[str, str]]:
    """Yield place and fault of each amount that cannot be counted."""
    if isinstance(block, LadderBlock):
        problem = _check_rungs(standards[block.movement].standard, max(block.order))
        if problem:
            yield "", problem
        return
    parts = [("", block)] if not isinstance(block, (SupersetBlock, CircuitBlock)) else [
        (f", item {number}", item) for number, item in enumerate(block.item, start=1)
    ]  # fmt: skip
    for where, dose in parts:
        problem = _check_amount(standards[dose.movement].standard, holds=dose.hold_s is not None)
        if problem:
            yield where, problem
    if isinstance(block, CircuitBlock) and block.every_minute is not None:
        problem = _check_amount(standards[block.every_minute.movement].standard, holds=False)
        if problem:
            yield ", every_minute", problem


def _check_rungs(standard: Standard, highest: int) -> str:
    if not isinstance(standard.split, StageSplit):
        return f"expected a movement in stages for a ladder, found {standard.id!r}, which has none"
    stages = len(standard.split.stage)
    if highest > stages:
        return f"expected rungs up to {stages}, the stages of {standard.id}; found {highest}"
    return ""


def _check_amount(standard: Standard, *, holds: bool) -> str:
    held = isinstance(standard.split, HoldSplit)
    if held and not holds:
        return f"expected hold_s, because {standard.id} is held; found reps"
    if holds and not held:
        return f"expected reps, because {standard.id} is not held; found hold_s"
    return ""
