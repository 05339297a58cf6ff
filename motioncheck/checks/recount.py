"""The summary of a set whose events or verdicts somebody corrected."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from motioncheck.checks.recount_set import is_near, redo_set
from motioncheck.checks.summary import (
    DEFAULT_FRAME_S,
    choose_cues,
    compare_measures,
    compute_rest,
    compute_tempo,
    compute_tension,
    list_to_fix,
    praise_plainly,
    spread_of_checks,
    summarise,
    write_headline,
    write_notes,
)
from motioncheck.records import (
    VERDICTS,
    AppliedCorrection,
    Event,
    Finding,
    RangeResult,
    Sheet,
    Summary,
    Tempo,
)
from motioncheck.standards import Standard
from motioncheck.wording import join_words, with_unit

TRIALS = 3
NO_STANDARD = (
    "The standard of this check is not at hand any more, so after the correction no single check "
    "is praised."
)
NO_TIMES = "Nor are there mean times of lowering, pause and rising, or rungs."
NUMBERS = (
    "The numbers are those of the measurement: what is struck keeps its number, what is added is "
    "numbered after the last."
)


def recount(
    sheet: Sheet,
    marked: Sheet,
    set_findings: Sequence[Finding],
    *,
    standard: Standard | None = None,
) -> Summary:
    """Summarise what holds after the corrections.

    Parameters
    ----------
    sheet : Sheet
        As measured.
    marked : Sheet
        The same with its corrections in the events; its summary is still the measured one.
    set_findings : sequence of Finding
        Findings of the set, with corrected verdicts.
    standard : Standard, optional
        The very one of the sheet.

    Returns
    -------
    Summary
        Whatever the corrections leave alone is as measured. What cannot be counted anew from the
        sheet keeps its measured value where that still says something, and a note tells.
    """
    old, held = sheet.summary, marked.held_events
    changed = any(e.struck or e.added for e in marked.events)
    shown = redo_set(sheet, held, set_findings, standard) if changed else tuple(set_findings)
    holding = [replace(f, verdict=f.holds) for f in shown]
    if standard is not None:
        new = _summarise(sheet, held, holding, standard, changed=changed)
        extra = _other_notes(sheet, standard.event_word)
    else:
        new = _from_sheet(sheet, held, holding, changed=changed)
        extra = _other_notes(sheet, sheet.movement.event_kind)
    ranges = _redo_ranges(old.ranges, marked) if changed else old.ranges
    told = _tell(sheet, marked, shown, changed=changed, known=standard is not None)
    return replace(new, set_findings=tuple(shown), ranges=ranges, notes=(*told, *new.notes, *extra))


def _summarise(
    sheet: Sheet,
    held: Sequence[Event],
    holding: Sequence[Finding],
    standard: Standard,
    *,
    changed: bool,
) -> Summary:
    """Summarise with the standard; times and values stay as measured while no event changes."""
    new = summarise(
        held,
        holding,
        standard,
        partial=len(sheet.partial_events),
        frame_s=_frame_s(sheet, standard),
    )
    if changed:
        return new
    old = sheet.summary
    return replace(
        new,
        tempo=old.tempo,
        consistency=old.consistency,
        side_differences=old.side_differences,
        rungs=old.rungs,
    )


def _frame_s(sheet: Sheet, standard: Standard) -> float:
    """Return the time of one frame, as the measured loss of speed tells it for an uneven clip."""
    rate, was = sheet.clip.frame_rate_hz, sheet.summary.tempo.speed_loss_uncertainty
    frame_s = 1.0 / rate if rate > 0.0 else DEFAULT_FRAME_S
    usual = compute_tempo(sheet.events, standard, frame_s=frame_s).speed_loss_uncertainty
    return frame_s * was / usual if was and usual else frame_s


def _from_sheet(
    sheet: Sheet, held: Sequence[Event], holding: Sequence[Finding], *, changed: bool
) -> Summary:
    """Summarise what the sheet alone tells."""
    old, movement, noun = sheet.summary, sheet.movement, sheet.movement.event_kind
    findings = [f for e in held for f in e.findings]
    counts = Counter(f.verdict for f in [*findings, *holding])
    to_fix = list_to_fix(held)
    said = {f.check: f.cue for f in [*findings, *holding] if f.cue}
    checks = {c.check: c.title for c in movement.checks if c.scope == "rep"}
    compared = [d.measure for d in old.side_differences]
    new = replace(
        old,
        headline=write_headline(held, holding, to_fix, counts, noun),
        best=praise_plainly(held, noun),
        count=len(held),
        count_left=sum(e.side == "left" for e in held),
        count_right=sum(e.side == "right" for e in held),
        verdicts={v: counts.get(v, 0) for v in VERDICTS},
        reps_to_fix=to_fix,
        cues=choose_cues(
            held, holding, {c.check: said[c.check] for c in movement.checks if c.check in said}
        ),
        notes=write_notes(held, len(sheet.partial_events), noun),
    )
    if not changed:
        return new
    return replace(
        new,
        tempo=_plain_tempo(held, old.tempo),
        consistency=spread_of_checks(held, checks),
        side_differences=compare_measures(held, compared, working=movement.alternating),
        rungs=(),
    )


def _plain_tempo(held: Sequence[Event], old: Tempo) -> Tempo:
    """Return the times that need no standard: pace, rests and time under tension."""
    steps = np.diff([e.turn_s for e in held])
    cycle_s = float(np.median(steps)) if len(steps) and old.cycle_s is not None else None
    return Tempo(
        lowering_s=None,
        pause_s=None,
        rising_s=None,
        rest_s=None if old.rest_s is None else compute_rest(held),
        cycle_s=None if cycle_s is None else round(cycle_s, 3),
        reps_per_min=None if not cycle_s else round(60.0 / cycle_s, 1),
        under_tension_s=compute_tension(held),
    )


def _other_notes(sheet: Sheet, noun: str) -> tuple[str, ...]:
    """Return the notes of the measured summary that are not about how many there were."""
    own = write_notes(sheet.events, len(sheet.partial_events), noun)
    return tuple(n for n in sheet.summary.notes if n not in own)


def _redo_ranges(ranges: Sequence[RangeResult], marked: Sheet) -> tuple[RangeResult, ...]:
    """Leave struck trials out of the range of motion, where its single trials are kept."""
    struck = {e.number for e in marked.events if e.struck and e.kind == marked.movement.event_kind}
    return tuple(_redo_range(r, struck) if r.values else r for r in ranges)


def _redo_range(result: RangeResult, struck: set[int]) -> RangeResult:
    kept = [(n, v) for n, v in zip(result.events, result.values, strict=True) if n not in struck]
    if len(kept) == len(result.values):
        return result
    values = [v for _, v in kept]
    numbers = [v.value for v in values if v.value is not None]
    widths = [v.uncertainty for v in values if v.uncertainty is not None]
    best = max if result.best_is == "highest" else min
    first = numbers[:TRIALS]
    return replace(
        result,
        trials=len(values),
        best=best(numbers) if numbers else None,
        mean_of_three=round(float(np.mean(first)), 3) if len(first) == TRIALS else None,
        uncertainty=round(float(np.median(widths)), 3) if widths else None,
        events=tuple(n for n, _ in kept),
        values=tuple(values),
    )


def _tell(
    sheet: Sheet,
    marked: Sheet,
    shown: Sequence[Finding],
    *,
    changed: bool,
    known: bool,
) -> tuple[str, ...]:
    """Say what was corrected by whom, what was measured, and what could not be applied."""
    noun = sheet.movement.event_kind
    notes = [f"{describe_corrections(marked.corrections, noun)} As measured: "
             f"{sheet.summary.headline}"]  # fmt: skip
    if changed:
        notes.append(NUMBERS)
    notes += _describe_redone(sheet.summary.set_findings, shown)
    if changed and any(r.trials and not r.values for r in sheet.summary.ranges):
        notes.append(
            "The range of motion is as measured, struck trials included: this older sheet does not "
            "hold its single trials. Check the clip again to leave them out."
        )
    if not known:
        notes.append(f"{NO_STANDARD} {NO_TIMES}" if changed else NO_STANDARD)
    return tuple(notes)


def _describe_redone(before: Sequence[Finding], after: Sequence[Finding]) -> list[str]:
    return [
        f"{new.title}: {with_unit(new.value, new.unit, digits=1)} after the corrections, "
        f"{with_unit(old.value, old.unit, digits=1)} as measured."
        for old, new in zip(before, after, strict=True)
        if old.value is not None and new.value is not None and not is_near(old.value, new.value)
    ]


def describe_corrections(applied: Sequence[AppliedCorrection], noun: str) -> str:
    """Say in one or two sentences what was corrected, by whom, and what could not be applied."""
    used = [c for c in applied if c.applied]
    counts = Counter(c.kind for c in used)
    words = [
        (counts["strike"], f"{noun} struck", f"{noun}s struck"),
        (counts["add"], f"{noun} added", f"{noun}s added"),
        (counts["verdict"], "verdict changed", "verdicts changed"),
        (counts["note"], "note", "notes"),
    ]
    parts = [f"{n} {one if n == 1 else many}" for n, one, many in words if n]
    who = join_words(sorted({c.by for c in used}))
    said = [f"Corrected by {who}: {join_words(parts)}."] if used else []
    lost = sum(not c.applied for c in applied)
    if lost:
        word = "correction on record does" if lost == 1 else "corrections on record do"
        said.append(f"{lost} {word} not apply to this check; the list says why.")
    return " ".join(said)
