"""Corrections of a person laid over what was measured: nothing measured is lost."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from motioncheck.checks.recount import recount
from motioncheck.errors import ShapeError
from motioncheck.records import AppliedCorrection, Event, EventKind, Finding, Sheet, Verdict
from motioncheck.records.history import Correction
from motioncheck.skeleton import Side
from motioncheck.standards import Standard

# A corrected instant belongs to an event when it is this near to its turn: a share of the length
# of the event, and never less than a few frames. Project judgement: another check may move the
# ends of a rep, but where it finds two reps instead of one, the turn of the one is of neither.
NEAR_SHARE = 0.25
NEAR_S = 0.15
# Two people who add the same rep do not tap the same frame. Project judgement.
SAME_S = 0.3
UNMEASURED = "this event was added by hand, so nothing was measured"


def apply_corrections(
    sheet: Sheet, corrections: Iterable[Correction], standard: Standard | None = None
) -> Sheet:
    """Lay corrections over a sheet and count it anew.

    Parameters
    ----------
    sheet : Sheet
        As measured.
    corrections : iterable of Correction
        In any order; where two contradict each other the one made later holds. Those of another
        clip or movement and those that were withdrawn are passed over.
    standard : Standard, optional
        The very one of the sheet (same content hash). Without it, what cannot be counted anew from
        the sheet alone is left out, and a note says so.

    Returns
    -------
    Sheet
        Struck events stay where they are with their number, marked; added ones stand in time
        order with numbers after the last measured one, in the order in which they were added.
        A corrected verdict stands beside the measured one. The summary is that of what holds. A
        correction whose event this check does not find is kept, with a remark and a note. The
        sheet itself, unchanged, when none is left.

    Raises
    ------
    ShapeError
        If the sheet is corrected already: what it measured as a summary is no longer in it.
    """
    if sheet.corrections:
        raise ShapeError("Expected a sheet as measured, found one with corrections in it.")
    own = sorted((c for c in corrections if _is_about(c, sheet)), key=_order)
    if not own:
        return sheet
    draft = _Draft(sheet, list(sheet.events), list(sheet.summary.set_findings))
    texts = {c.id: c.cue for c in standard.check} if standard is not None else {}
    draft.cues = texts | {k: v for k, v in draft.cues.items() if k not in texts}
    _strike_and_add(draft, own)
    for number, correction in enumerate(own):
        if correction.kind == "verdict":
            _rule(draft, number, correction)
        elif correction.kind == "note":
            _note(draft, number, correction)
    applied = tuple(draft.applied[number] for number in range(len(own)))
    marked = replace(sheet, events=tuple(draft.events), corrections=applied)
    return replace(
        marked, summary=recount(sheet, marked, tuple(draft.set_findings), standard=standard)
    )


def find_event(events: Sequence[Event], kind: EventKind, at_s: float) -> Event | None:
    """Return the event of a kind that an instant belongs to, by its turn; None when there is none.

    Parameters
    ----------
    events : sequence of Event
    kind : str
    at_s : float
        Seconds; the turn of the event in the check that was corrected.
    """
    near = [
        e
        for e in events
        if e.kind == kind
        and e.start_s <= at_s <= e.end_s
        and abs(e.turn_s - at_s) <= max(NEAR_SHARE * (e.end_s - e.start_s), NEAR_S)
    ]
    return min(near, key=lambda e: (abs(e.turn_s - at_s), e.number), default=None)


def find_same(events: Sequence[Event], kind: EventKind, at_s: float, side: Side) -> Event | None:
    """Return an event that counts and that an added one would double; None when there is none."""
    same = [
        e
        for e in events
        if e.kind == kind
        and not e.struck
        and ("both" in (side, e.side) or side == e.side)
        and (e.start_s <= at_s <= e.end_s or abs(e.turn_s - at_s) <= SAME_S)
    ]
    return min(same, key=lambda e: (abs(e.turn_s - at_s), e.number), default=None)


def _is_about(correction: Correction, sheet: Sheet) -> bool:
    same = (correction.clip_sha256, correction.movement) == (sheet.clip.sha256, sheet.movement.id)
    return same and not correction.withdrawn_at


def _order(correction: Correction) -> tuple[bool, int, str, str]:
    """Return what corrections are sorted by; one that is not stored yet is the latest.

    The history numbers them as they come. Clocks are put right, and differ between machines.
    """
    number = correction.id
    return number is None, number or 0, correction.made_at, repr(correction)


@dataclass
class _Draft:
    """A sheet while it is corrected; ``applied`` by place among the corrections."""

    sheet: Sheet
    events: list[Event]
    set_findings: list[Finding]
    applied: dict[int, AppliedCorrection] = field(default_factory=dict)
    # Which correction ruled on a finding last: (index of event or -1, index of finding).
    ruled: dict[tuple[int, int], int] = field(default_factory=dict)
    cues: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        findings = [f for e in self.events for f in e.findings] + self.set_findings
        self.cues = {f.check: f.cue for f in findings if f.cue}

    def index_of(self, event: Event) -> int:
        return next(i for i, e in enumerate(self.events) if e is event)

    def log(
        self, place: int, correction: Correction, event: Event | None, remark: str = ""
    ) -> None:
        """Keep how a correction is shown; with a remark it could not be applied."""
        self.applied[place] = AppliedCorrection(
            number=correction.id,
            kind=correction.kind,
            by=correction.by,
            made_at=correction.made_at,
            text=correction.text,
            event_kind=correction.event_kind,
            event=None if event is None else event.number,
            at_s=correction.at_s,
            side=correction.side,
            check=correction.check,
            title=self._title(correction.check),
            corrected=correction.verdict,
            applied=not remark,
            remark=remark,
        )

    def _title(self, check: str) -> str:
        return next((c.title for c in self.sheet.movement.checks if c.check == check), "")


def _strike_and_add(draft: _Draft, own: Sequence[Correction]) -> None:
    """Strike measured events, then add events, then strike what was added."""
    late: list[int] = []
    for place, correction in enumerate(own):
        if correction.kind != "strike":
            continue
        if _means_added(draft, correction, own) or not _strike(draft, place, correction):
            late.append(place)
    for place, correction in enumerate(own):
        if correction.kind == "add":
            _add(draft, place, correction)
    for place in late:
        if not _strike(draft, place, own[place]):
            draft.log(place, own[place], None, _not_found(own[place]))


def _means_added(draft: _Draft, strike: Correction, own: Sequence[Correction]) -> bool:
    """Tell whether a strike is nearer to an event that is added than to any measured one."""
    at_s, event = strike.at_s, _event_of(draft, strike)
    if at_s is None or event is None:
        return False
    gap = abs(event.turn_s - at_s)
    return any(
        c.kind == "add"
        and c.event_kind == strike.event_kind
        and c.at_s is not None
        and abs(c.at_s - at_s) < gap
        for c in own
    )


def _strike(draft: _Draft, place: int, correction: Correction) -> bool:
    event = _event_of(draft, correction)
    if event is None:
        return False
    draft.events[draft.index_of(event)] = replace(event, struck=True)
    draft.log(place, correction, event)
    return True


def _event_of(draft: _Draft, correction: Correction) -> Event | None:
    if correction.at_s is None:
        return None
    return find_event(draft.events, correction.event_kind, correction.at_s)


def _not_found(correction: Correction) -> str:
    return f"this check of the clip finds no {correction.event_kind} there"


def _add(draft: _Draft, place: int, correction: Correction) -> None:
    at_s, kind = correction.at_s, correction.event_kind
    if at_s is None:
        draft.log(place, correction, None, "it does not say when")
        return
    same = find_same(draft.events, kind, at_s, correction.side)
    if same is not None:
        how = "was added there already" if same.added else "is found there by this check itself"
        draft.log(place, correction, same, f"{kind} {same.number} {how}")
        return
    start_s = at_s if correction.start_s is None else min(correction.start_s, at_s)
    end_s = at_s if correction.end_s is None else max(correction.end_s, at_s)
    if correction.start_s is None or correction.end_s is None:
        # Half a span tells no time; the turn alone is sure.
        start_s = end_s = at_s
    last = max((e.number for e in draft.events if e.kind == kind), default=0)
    event = Event(kind, last + 1, correction.side, start_s, at_s, end_s, added=True)
    before = next((i for i, e in enumerate(draft.events) if e.turn_s > at_s), len(draft.events))
    draft.events.insert(before, event)
    draft.log(place, correction, event)


def _note(draft: _Draft, place: int, correction: Correction) -> None:
    event = _event_of(draft, correction)
    lost = event is None and correction.at_s is not None
    draft.log(place, correction, event, _not_found(correction) if lost else "")


def _rule(draft: _Draft, place: int, correction: Correction) -> None:
    """Lay a verdict beside the measured one of a finding of an event, or of the set."""
    verdict = correction.verdict
    if verdict is None:
        draft.log(place, correction, None, "it does not say which verdict")
        return
    if correction.at_s is None:
        found = _places(draft.set_findings, correction)
        for i in found:
            _overrule(draft, place, (-1, i))
            draft.set_findings[i] = _corrected(draft, draft.set_findings[i], verdict)
        measured = _common([draft.set_findings[i].verdict for i in found])
        remark = "" if found else "there is no such check of the set"
        draft.log(place, correction, None, remark)
        draft.applied[place] = replace(draft.applied[place], measured=measured)
        return
    event = _event_of(draft, correction)
    if event is None:
        draft.log(place, correction, None, _not_found(correction))
        return
    findings = list(event.findings)
    found = _places(findings, correction)
    if not found and event.added:
        findings += _unmeasured(draft.sheet, correction)
        found = _places(findings, correction)
    if not found:
        draft.log(place, correction, event, "this check has no such finding there")
        return
    where = draft.index_of(event)
    for i in found:
        _overrule(draft, place, (where, i))
        findings[i] = _corrected(draft, findings[i], verdict)
    draft.events[where] = replace(event, findings=tuple(findings))
    draft.log(place, correction, event)
    measured = None if event.added else _common([findings[i].verdict for i in found])
    draft.applied[place] = replace(draft.applied[place], measured=measured)


def _places(findings: Sequence[Finding], correction: Correction) -> list[int]:
    return [
        i
        for i, f in enumerate(findings)
        if f.check == correction.check and ("both" in (correction.side, f.side) or
                                            f.side == correction.side)
    ]  # fmt: skip


def _common(verdicts: Sequence[Verdict]) -> Verdict | None:
    return verdicts[0] if len(set(verdicts)) == 1 else None


def _overrule(draft: _Draft, place: int, finding: tuple[int, int]) -> None:
    """Remember who ruled last; the one before is shown as replaced."""
    before = draft.ruled.get(finding)
    if before is not None:
        draft.applied[before] = replace(
            draft.applied[before], applied=False, remark="a later correction holds instead"
        )
    draft.ruled[finding] = place


def _corrected(draft: _Draft, finding: Finding, verdict: Verdict) -> Finding:
    """Return a finding with a verdict beside its own; a cue goes with a miss that holds."""
    cue = draft.cues.get(finding.check, "") if verdict == "misses" else ""
    return replace(finding, corrected=verdict, cue=cue)


def _unmeasured(sheet: Sheet, correction: Correction) -> list[Finding]:
    """Return a finding without a value, for a verdict on an event that was added."""
    return [
        Finding(
            check=c.check,
            title=c.title,
            measure=c.measure,
            side=correction.side,
            verdict="not visible",
            value=None,
            threshold=c.threshold,
            comparison=c.comparison,
            unit=c.unit,
            uncertainty=None,
            reason=UNMEASURED,
        )
        for c in sheet.movement.checks
        if c.check == correction.check and c.scope == "rep"
    ]
