"""A stage in which left and right arm are exchanged: what was read off the arms is withheld."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from motioncheck.measures import REGISTRY
from motioncheck.records import Event, Finding, MeasureTable
from motioncheck.skeleton import Side
from motioncheck.standards import StageSplit, Standard

ARM_POINTS = {"*_elbow", "*_wrist"}
REASON = "the other arm reads as the working one here: left and right arm were taken for each other"


def withhold_exchanged(
    events: Sequence[Event], standard: Standard, table: MeasureTable
) -> tuple[Event, ...]:
    """Withhold what was read off the arms in stages where they are exchanged.

    One arm works all the way up and back. Where a stage shows the other one as the working arm and
    the working arm as the other, the pose model mixed them up, and a verdict about either would be
    about the wrong arm. Its findings become *not visible*, and its measures are left out.

    Parameters
    ----------
    events : sequence of Event
        With findings and measures. Only stages are looked at.
    standard : Standard
    table : MeasureTable

    Returns
    -------
    tuple of Event
        The same events, in order.

    Notes
    -----
    Exchanged is: the median over the stage is on the working side of ``side_level`` for the other
    arm, and beyond it for the working one (project judgement). Where one of them is unknown
    nothing is withheld.
    """
    split = standard.split
    if not isinstance(split, StageSplit) or split.side_level is None:
        return tuple(events)
    if not ARM_POINTS & set(REGISTRY[split.side_from].points):
        return tuple(events)
    return tuple(_withhold(e) if _is_exchanged(e, split, table) else e for e in events)


def _is_exchanged(event: Event, split: StageSplit, table: MeasureTable) -> bool:
    if event.side == "both" or split.side_level is None:
        return False
    inside = (table.time_s >= event.start_s) & (table.time_s <= event.end_s)
    other: Side = "right" if event.side == "left" else "left"
    works = []
    for side in (event.side, other):
        values = table.values[f"{split.side_from}_{side}"][inside]
        values = values[np.isfinite(values)]
        if not len(values):
            return False
        value = float(np.median(values))
        lower = value < split.side_level
        works.append(lower if split.side_is == "lower" else not lower)
    return works == [False, True]


def _withhold(event: Event) -> Event:
    measures = {c: v for c, v in event.measures.items() if not _is_of_an_arm(c)}
    findings = tuple(_blind(f) if _is_of_an_arm(f.measure) else f for f in event.findings)
    return replace(event, measures=measures, findings=findings)


def _is_of_an_arm(column: str) -> bool:
    spec = REGISTRY.column_spec(column)
    return spec.sided and bool(ARM_POINTS & set(spec.points))


def _blind(finding: Finding) -> Finding:
    if finding.verdict == "not visible":
        return finding
    return replace(
        finding, verdict="not visible", value=None, uncertainty=None, reason=REASON, cue=""
    )
