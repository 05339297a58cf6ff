"""A session: the plan and what was done of it, put together for the sheet."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from motioncheck.plans import every_minute
from motioncheck.plans.align import PAUSE_LIMIT_S, Alignment, align
from motioncheck.plans.clock import RUN_GAP_S, compute_circuit
from motioncheck.plans.fatigue import Set, find_drifts, find_form_losses
from motioncheck.plans.parts import Part, cut_parts
from motioncheck.plans.schema import Block, Plan, SetsBlock
from motioncheck.plans.sets import build_extra, build_sets, join_tallies
from motioncheck.plans.slots import Slot, compute_totals, list_slots, plan_movements
from motioncheck.plans.words import write_form, write_headline
from motioncheck.records.session import (
    BlockResult,
    Bout,
    CircuitResult,
    ClipLink,
    Count,
    Drift,
    FormLoss,
    MovementTotal,
    Piece,
    SessionCue,
    SessionSheet,
    SetResult,
    Tally,
    Unmatched,
)

MAX_CUES = 3
HOW = (
    "The sets of the plan and what was found in the clips were laid against each other as one "
    "whole, both in order, so that as little as possible is missing, extra, or short. What fits "
    "nowhere is listed as extra; nothing is counted twice.",
    "A pause of up to half of the rest that the plan gives, or of up to "
    f"{PAUSE_LIMIT_S:.0f} s where it gives none, is within a set; a longer one as well while the "
    "set is short of its count.",
    "To standard: at least one check meets, none misses, and none is too close to call. Checks "
    "that the camera could not show do not count against anybody; how many reps had such a check "
    "is given.",
    "A hold is as planned within 1 s.",
)
HOW_CLOCK = (
    "On the clock a rep counts in the minute in which it ends; its seconds are shared between the "
    f"minutes. Gaps of up to {RUN_GAP_S:g} s between reps of one movement are work; all that is "
    "neither work nor a rep due that minute is rest.",
    "Reps due every minute that begin up to "
    f"{every_minute.EARLY_S:g} s before it belong to it. Reps beyond those of a minute make up for "
    "what the minute before is short of.",
    "The finish ahead is for the pace so far in the time free for the work, each minute to come "
    "losing the time that the reps due in it took so far.",
)
HOW_DRIFT = (
    "A drift is the median of all slopes between two reps, with an interval that holds nine of ten "
    "for all checks of a set together. What a value may be off by for a whole clip cancels in it; "
    "what changes from rep to rep widens it. Sets of fewer than six reps show none.",
)


@dataclass(frozen=True, slots=True)
class SessionFacts:
    """What the sheet says beside what is computed.

    ``titles`` maps movement ids to titles; ``start_s`` starts the clock of the first circuit, on
    the clock of the clip that shows its first rep.
    """

    titles: Mapping[str, str]
    clips: tuple[ClipLink, ...] = ()
    cautions: tuple[str, ...] = ()
    plan_file: str = ""
    plan_sha256: str = ""
    version: str = ""
    start_s: float | None = None
    options: Mapping[str, str | float | int | bool | None] = field(default_factory=dict)


def build_session(plan: Plan, bouts: Sequence[Bout], facts: SessionFacts) -> SessionSheet:
    """Lay what was done against the plan and put the session sheet together.

    Parameters
    ----------
    plan : Plan
    bouts : sequence of Bout
        In time order; clips whose place in time is not known, in the order they were filmed.
    facts : SessionFacts
    """
    slots = list_slots(plan)
    known = set(plan_movements(plan))
    every = cut_parts(bouts)
    alignment = align(slots, [part for part in every if part.movement in known])
    sets = build_sets(slots, alignment, facts.titles)
    extra = build_extra(alignment, facts.titles)
    blocks = _build_blocks(plan, slots, alignment, sets, facts)
    drifts, losses = _find_fatigue(slots, alignment, known)
    return SessionSheet(
        title=plan.title,
        notes=plan.notes,
        plan_file=facts.plan_file,
        plan_sha256=facts.plan_sha256,
        headline=write_headline(blocks, extra),
        form=write_form(blocks, extra),
        blocks=blocks,
        extra=extra,
        unmatched=_find_unmatched(bouts, every, known, facts.titles),
        totals=_add_up(plan, blocks, extra, facts.titles),
        cues=_pick_cues([p for p in every if p.movement in known], facts.titles),
        drifts=drifts,
        form_losses=losses,
        clips=facts.clips,
        cautions=facts.cautions,
        how_matched=_how(blocks),
        version=facts.version,
        options=facts.options,
    )


def _how(blocks: Sequence[BlockResult]) -> tuple[str, ...]:
    clocked = any(block.circuit is not None for block in blocks)
    return (*HOW, *(HOW_CLOCK if clocked else ()), *HOW_DRIFT)


def _build_blocks(
    plan: Plan,
    slots: Sequence[Slot],
    alignment: Alignment,
    sets: Sequence[SetResult | None],
    facts: SessionFacts,
) -> tuple[BlockResult, ...]:
    start_s = facts.start_s
    results = []
    for number, block in enumerate(plan.block, start=1):
        circuit = None
        for k, slot in enumerate(slots):
            if slot.block == number and slot.circuit is not None:
                taken = alignment.taken[k]
                circuit = compute_circuit(slot.circuit, taken, facts.titles, start_s=start_s)
                start_s = None
        results.append(
            BlockResult(
                number=number,
                kind=block.kind,
                title=block.title or name_block(block, facts.titles),
                notes=block.notes,
                sets=tuple(s for s in sets if s is not None and s.block == number),
                circuit=circuit,
            )
        )
    return tuple(results)


def name_block(block: Block, titles: Mapping[str, str]) -> str:
    """Return what a block without a title is called."""
    if block.kind == "superset":
        return "Superset"
    if block.kind == "circuit":
        return "Circuit on the clock"
    title = titles.get(block.movement, block.movement)
    return title if isinstance(block, SetsBlock) else f"{title}, ladder"


def _find_unmatched(
    bouts: Sequence[Bout], every: Sequence[Part], known: set[str], titles: Mapping[str, str]
) -> tuple[Unmatched, ...]:
    """List what the plan does not have, and bouts in which nothing was counted."""
    found = [(p.bout, p.piece, len(p.events)) for p in every if p.movement not in known]
    found += [(b, Piece(b.clip, b.start_s, b.end_s, b.sheet), 0) for b in bouts if not b.events]
    return tuple(
        Unmatched(
            movement=bout.movement or "other",
            title=titles.get(bout.movement, bout.movement or "other"),
            events=count,
            piece=piece,
        )
        for bout, piece, count in found
    )


def _add_up(
    plan: Plan,
    blocks: Sequence[BlockResult],
    extra: Sequence[SetResult],
    titles: Mapping[str, str],
) -> tuple[MovementTotal, ...]:
    """Add up each movement of the plan over the session."""
    sets = [s for block in blocks for s in block.sets] + list(extra)
    circuits = [block.circuit for block in blocks if block.circuit is not None]
    rows = []
    for total in compute_totals(plan):
        name = total.movement
        mine = [s for s in sets if s.movement == name]
        counts = [c for circuit in circuits for c in _counts(circuit) if c.movement == name]
        due = [c.every_minute for c in circuits if c.every_minute]
        planned = total.reps + sum(c.prescribed for c in due if c.movement == name)
        tallies: list[Tally] = [*(s.tally for s in mine), *(c.tally for c in counts)]
        rows.append(
            MovementTotal(
                movement=name,
                title=titles.get(name, name),
                planned_reps=planned or None,
                done_reps=sum(s.done for s in mine if s.amount == "reps")
                + sum(c.done + c.extra for c in counts),
                planned_hold_s=total.hold_s or None,
                done_hold_s=round(sum(s.hold_s or 0.0 for s in mine), 3),
                planned_stages=total.stages or None,
                done_stages=sum(s.done for s in mine if s.amount == "stages"),
                tally=join_tallies(tallies),
            )
        )
    return tuple(rows)


def _counts(circuit: CircuitResult) -> list[Count]:
    return [*circuit.counts, *([circuit.every_minute] if circuit.every_minute else [])]


def _find_fatigue(
    slots: Sequence[Slot], alignment: Alignment, known: set[str]
) -> tuple[tuple[Drift, ...], tuple[FormLoss, ...]]:
    """Look for drift and loss of form in every set, and for drift over the session."""
    sets = [
        _set_of(slot, name, mine)
        for slot, mine in zip(slots, alignment.taken, strict=True)
        for name in sorted(slot.movements)
        if any(part.movement == name for part in mine)
    ]
    drifts = [drift for one in sets for drift in find_drifts(one)]
    for name in sorted(known):
        mine = [one for one in sets if one.movement == name]
        if len(mine) > 1:
            events = tuple(e for one in mine for e in one.events)
            clips = tuple(c for one in mine for c in one.clips)
            drifts += find_drifts(Set(0, "Whole session", name, events, clips))
    return tuple(drifts), tuple(loss for one in sets for loss in find_form_losses(one))


def _set_of(slot: Slot, movement: str, mine: Sequence[Part]) -> Set:
    chosen = [part for part in mine if part.movement == movement]
    return Set(
        slot.block,
        slot.label,
        movement,
        tuple(event for part in chosen for event in part.events),
        tuple(f"{p.bout.clip} {p.bout.clip_sha256}" for p in chosen for _ in p.events),
    )


def _pick_cues(done: Sequence[Part], titles: Mapping[str, str]) -> tuple[SessionCue, ...]:
    """Pick the cues that most events call for."""
    called: Counter[tuple[str, str]] = Counter()
    of: Counter[str] = Counter()
    for part in done:
        for event in part.events:
            of[part.movement] += 1
            cues = {f.cue for f in event.findings if f.verdict == "misses" and f.cue}
            called.update((part.movement, cue) for cue in cues)
    ranked = sorted(called.items(), key=lambda item: (-item[1], item[0]))
    return tuple(
        SessionCue(movement, titles.get(movement, movement), cue, count, of[movement])
        for (movement, cue), count in ranked[:MAX_CUES]
    )
