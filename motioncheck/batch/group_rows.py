"""One clip of a batch as a row of the group sheet: its cells, whether it needs a look, its place.

What is counted, what needs a look and in which order rows stand is written down in
``docs/group-sheet.md``; the numbers behind it are the constants here.
"""

from __future__ import annotations

import re
import statistics
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, get_args

from motioncheck.pipeline.doubt import LOOKS_LIKE
from motioncheck.records import CheckInfo, Event, Finding, Sheet, Verdict
from motioncheck.records.group import ClipState, GroupCell, GroupRow
from motioncheck.sheet.words import lower_first, noun_of, plural, sentence
from motioncheck.wording import join_words

# All project judgement: chosen so that a coach sees a list that can be worked through.
# A clip needs a look when at least this share of its events misses something.
LOOK_SHARE: Final = 0.25
# A missed check of the whole set weighs as much as one in half of the events, as in the cues.
SET_WEIGHT: Final = 0.5
# What sorts the rows. Each part lies between 0 and 1; a row that needs a look comes before all
# that do not, because the other parts add up to less than its weight.
WEIGHTS: Final[Mapping[str, float]] = {
    "look": 100.0,
    "missed_events": 60.0,
    "missed_verdicts": 30.0,
    "close_events": 3.0,
}
_ORDER: Final[tuple[Verdict, ...]] = ("misses", "too close to call", "meets", "not visible")
_NAMED_CHECKS: Final = 2


@dataclass(frozen=True, slots=True)
class GroupEntry:
    """One clip of a batch: what it was, what became of it, and its sheet when there is one.

    Parameters
    ----------
    person : str
        Code of the athlete, never a name; empty when not known.
    clip : str
        Name of the clip, or its path below the folder of the batch.
    state : str
        ``checked``, ``failed``, ``skipped`` or ``waiting``.
    session, movement : str
        As far as known; the sheet's own movement counts when there is a sheet.
    reason : str
        Why there is no result, in one sentence.
    sheet : str
        Relative link from the group sheet to the feedback sheet.
    result : Sheet, optional
        What the check found. An entry that is ``checked`` without it counts as ``failed``.
    notes : tuple of str
        Plain sentences about this clip.
    """

    person: str
    clip: str
    state: ClipState = "checked"
    session: str = ""
    movement: str = ""
    reason: str = ""
    sheet: str = ""
    result: Sheet | None = None
    notes: tuple[str, ...] = ()


# Verdicts as they count -----------------------------------------------------------------------


def _worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the verdict that is shown first; what cannot be seen yields to all others."""
    found = set(verdicts)
    return next((verdict for verdict in _ORDER if verdict in found), "not visible")


def _cell(info: CheckInfo, found: Sequence[tuple[int, Sequence[Finding]]]) -> GroupCell:
    """Return one check of one clip; ``found`` has number and findings of each event."""
    verdicts = [(number, _worst(f.holds for f in group)) for number, group in found]
    counts = Counter(verdict for _, verdict in verdicts)
    values = [f.value for _, group in found for f in group if f.value is not None]
    missed = [number for number, verdict in verdicts if verdict == "misses"]
    return GroupCell(
        check=info.check,
        worst=_worst(counts),
        meets=counts["meets"],
        misses=counts["misses"],
        close=counts["too close to call"],
        unseen=counts["not visible"],
        value=round(float(statistics.median(values)), 3) if values else None,
        unit=info.unit,
        reps=tuple(missed) if info.scope == "rep" else (),
        scope=info.scope,
    )


def _cells(sheet: Sheet, events: Sequence[Event]) -> tuple[GroupCell, ...]:
    """Return the checks that have a verdict, in the order of the standard."""
    cells = []
    for info in sheet.movement.checks:
        if info.scope == "set":
            groups = [(1, sheet.summary.set_findings)]
        else:
            groups = [(event.number, event.findings) for event in events]
        own = [(n, [f for f in findings if f.check == info.check]) for n, findings in groups]
        found = [(n, group) for n, group in own if group]
        if found:
            cells.append(_cell(info, found))
    return tuple(cells)


# Rows -----------------------------------------------------------------------------------------


def make_row(entry: GroupEntry, sheet: Sheet) -> GroupRow:
    """Return the row of a checked clip."""
    events = sheet.held_events
    cells = _cells(sheet, events)
    worst = [_worst(f.holds for f in event.findings) for event in events]
    doubts = _doubts(sheet)
    # What was counted of another movement is no reason to look, and its cue would mean nothing.
    look = doubts[0] if doubts else _look(cells, worst, sheet)
    return GroupRow(
        person=entry.person,
        clip=entry.clip,
        movement=sheet.movement.id,
        movement_title=sheet.movement.title,
        state="checked",
        reason="",
        sheet=entry.sheet,
        view=sheet.camera.view,
        events=len(events),
        events_to_fix=worst.count("misses"),
        cells=cells,
        cue="" if doubts else _first_cue(sheet, cells, len(events)),
        look=look,
        score=compute_score(cells, worst, look=bool(look)),
        session=entry.session,
        notes=(*entry.notes, *doubts),
        event_kind=sheet.movement.event_kind,
        corrected=_corrections(sheet),
    )


def _doubts(sheet: Sheet) -> tuple[str, ...]:
    """Say what a clip looks like when that is not what it was checked as."""
    looks = sheet.provenance.options.get(LOOKS_LIKE)
    return (f"looks like {looks}, checked as {sheet.movement.id}",) if looks else ()


def _corrections(sheet: Sheet) -> int:
    return sum(c.applied and c.kind != "note" for c in sheet.corrections)


def compute_score(
    cells: Sequence[GroupCell], worst: Sequence[Verdict], *, look: bool = False
) -> float:
    """Compute what sorts the rows: the higher, the sooner to be looked at.

    Parameters
    ----------
    cells : sequence of GroupCell
    worst : sequence of str
        The most urgent verdict of each event.
    look : bool
        Whether the clip needs a look.

    Returns
    -------
    float
        The weighted sum of `WEIGHTS`, 0 to 193. Not a mark: it is printed nowhere.

    Notes
    -----
    Only definite misses count in full; what is too close to call counts little, what is not
    visible not at all. Source: project judgement.
    """
    parts = {
        "look": float(look),
        "missed_events": _missed_share(cells, worst),
        "missed_verdicts": _share_of_verdicts(cells, len(worst)),
        "close_events": worst.count("too close to call") / len(worst) if worst else 0.0,
    }
    return round(sum(WEIGHTS[name] * part for name, part in parts.items()), 3)


def _missed_share(cells: Sequence[GroupCell], worst: Sequence[Verdict]) -> float:
    """Return the share of events that miss; a missed check of the set counts as half of them."""
    share = worst.count("misses") / len(worst) if worst else 0.0
    missed_set = any(cell.misses for cell in cells if cell.scope == "set")
    return max(share, SET_WEIGHT) if missed_set else share


def _share_of_verdicts(cells: Sequence[GroupCell], events: int) -> float:
    missed = judged = 0.0
    for cell in cells:
        weight = SET_WEIGHT * events if cell.scope == "set" else 1.0
        missed += weight * cell.misses
        judged += weight * (cell.misses + cell.close + cell.meets)
    return missed / judged if judged else 0.0


def _look(cells: Sequence[GroupCell], worst: Sequence[Verdict], sheet: Sheet) -> str:
    """Say in a few words why a clip needs a look, empty when it does not."""
    noun = noun_of(sheet.movement.event_kind)
    if not worst:
        return f"no {noun.one} counted"
    if all(cell.worst == "not visible" for cell in cells):
        return "no check could be seen from there"
    if _missed_share(cells, worst) < LOOK_SHARE:
        return ""
    missed = _by_weight(cells, len(worst))
    return _look_text(sheet, missed, worst.count("misses"), len(worst))


def _look_text(sheet: Sheet, missed: Sequence[GroupCell], to_fix: int, events: int) -> str:
    noun = noun_of(sheet.movement.event_kind)
    where = f"in {to_fix} of {plural(events, noun.one)}" if to_fix else "by the set as a whole"
    if 1 < to_fix == events:
        where = f"in all {events} {noun.many}"
    titles = {info.check: lower_first(info.title) for info in sheet.movement.checks}
    if len(missed) == 1:
        return f"missed {where}: {titles[missed[0].check]}"
    parts = [
        f"{titles[cell.check]} ({'set' if cell.scope == 'set' else cell.misses})"
        for cell in missed[:_NAMED_CHECKS]
    ]
    if len(missed) > _NAMED_CHECKS:
        parts.append(f"{plural(len(missed) - _NAMED_CHECKS, 'check')} more")
    return f"missed {where}: {join_words(parts)}"


def _weight(cell: GroupCell, events: int) -> float:
    return SET_WEIGHT * events if cell.scope == "set" else float(cell.misses)


def _first_cue(sheet: Sheet, cells: Sequence[GroupCell], events: int) -> str:
    """Return the cue of what is missed most, else the first one of the sheet still called for."""
    missed = _by_weight(cells, events)
    findings = counted_findings(sheet)
    cues = [any_cue(findings, {cell.check}) for cell in missed[:1]]
    checks = {cell.check for cell in missed}
    cues += [cue.text for cue in sheet.summary.cues if cue.check in checks]
    return next((cue for cue in cues if cue), "")


def _by_weight(cells: Sequence[GroupCell], events: int) -> list[GroupCell]:
    """Return the checks that are missed, the most missed first."""
    return sorted((c for c in cells if c.misses), key=lambda cell: -_weight(cell, events))


def counted_findings(sheet: Sheet) -> list[Finding]:
    """Return all findings that count: without those of struck events."""
    return [*(f for e in sheet.held_events for f in e.findings), *sheet.summary.set_findings]


def any_cue(findings: Iterable[Finding], checks: set[str]) -> str:
    """Return the first cue given for one of these checks, empty when there is none."""
    return next((f.cue for f in findings if f.check in checks and f.cue), "")


def row_key(row: GroupRow) -> tuple[object, ...]:
    """Return what sorts rows, worst first; among equals ``seat2`` before ``seat10``."""
    return (-row.score, *_natural(row.person), *_natural(row.clip), row.movement)


def _natural(text: str) -> tuple[tuple[tuple[int, int, str], ...], str]:
    """Return a key that puts ``seat2`` before ``seat10``."""
    parts = re.split(r"(\d+)", text.lower())
    return tuple((1, int(p), "") if p.isdecimal() else (0, 0, p) for p in parts if p), text


def make_unusable(entry: GroupEntry) -> GroupRow:
    """Return the row of a clip that has no result."""
    lost = entry.state == "checked"
    reason = sentence(entry.reason) or ("Its sheet could not be read." if lost else "")
    return GroupRow(
        person=entry.person,
        clip=entry.clip,
        movement=entry.movement,
        movement_title="",
        state="failed" if lost else entry.state,
        reason=reason,
        sheet=entry.sheet,
        view="",
        events=0,
        events_to_fix=0,
        cells=(),
        cue="",
        look="",
        score=0.0,
        session=entry.session,
        notes=entry.notes,
    )


def unusable_key(row: GroupRow) -> tuple[object, ...]:
    """Return what sorts rows without a result: what failed, was left out, still waits."""
    order = ("failed", *(s for s in get_args(ClipState) if s != "failed"))
    return (order.index(row.state), *_natural(row.person), *_natural(row.clip))
