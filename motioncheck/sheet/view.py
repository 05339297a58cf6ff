"""What the page shows, worked out from the records before the template prints it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from motioncheck.records import (
    CheckInfo,
    Event,
    EventKind,
    Finding,
    Sheet,
    Still,
    Summary,
    Verdict,
)
from motioncheck.sheet.corrected import event_remarks, event_state, event_time
from motioncheck.sheet.words import (
    Mark,
    event_word,
    limit_text,
    lower_first,
    mark_of,
    plural,
    reps_text,
    seconds_text,
    sentence,
    span_text,
    value_text,
    worst_verdict,
)
from motioncheck.wording import join_words

MAX_CUES = 3
STILLS_TO_LOOK_AT = 12
ADDED = "added"
_REMARKS: Final[dict[Verdict, str]] = {
    "misses": "one check or more",
    "too close to call": "in one check or more, no miss",
    "meets": "all that could be judged",
    "not visible": "in every check",
}


@dataclass(frozen=True, slots=True)
class Cell:
    """A verdict in the table with its numbers, each with its side where that needs saying.

    ``measured`` is the measured verdict where a corrected one holds.
    """

    mark: Mark
    values: tuple[str, ...]
    measured: Mark | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """One event in the table. ``state`` is struck, added or empty; ``remarks`` say who and why."""

    number: int
    name: str
    time: str
    mark: Mark
    cells: tuple[tuple[Cell, ...], ...]
    state: str = ""
    judged: bool = True
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Column:
    """One check: its title and its threshold in words."""

    check: str
    title: str
    limit: str
    side: str


@dataclass(frozen=True, slots=True)
class RepTable:
    """The rep-by-rep table, and what had to be said beside it."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    left_out: tuple[str, ...]
    reasons: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SetCheck:
    """A check of the whole set."""

    title: str
    limit: str
    cell: Cell
    reason: str
    cue: str
    norms: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Picture:
    """A still, its place in the set and the findings it illustrates."""

    name: str
    time: str
    mark: Mark
    findings: tuple[str, ...]
    alt: str
    still: Still
    state: str = ""


@dataclass(frozen=True, slots=True)
class CueLine:
    """A cue and the reps it concerns, in words."""

    text: str
    reps: str


def event_mark(event: Event) -> Mark:
    """Return the mark of a whole event: its most urgent verdict."""
    return mark_of(worst_verdict(event.findings))


def build_table(sheet: Sheet) -> RepTable:
    """Return the rep table: a row an event, a column a check.

    A check that the camera could not show in any event gets no column but is named beside the
    table, so that the columns left are wide enough to read. If nothing could be seen at all,
    every column stays.
    """
    checks = _rep_checks(sheet)
    seen = [c for c in checks if _is_judged(sheet.events, c.check)]
    shown = seen or checks
    columns = tuple(
        Column(
            c.check,
            c.title,
            limit_text(c.comparison, c.threshold, c.unit, c.unit_words),
            _one_side(sheet.events, c.check),
        )
        for c in shown
    )
    rows = tuple(_row(event, columns, event_remarks(sheet, event)) for event in sheet.events)
    left_out = tuple(c.title for c in checks if c not in shown)
    reasons = _reasons(sheet.held_events, shown)
    return RepTable(columns, rows, left_out, reasons, _event_notes(sheet))


def _one_side(events: Sequence[Event], check: str) -> str:
    """Return the side that all findings of a check share; empty when they differ."""
    sides = {f.side for e in events for f in e.findings if f.check == check}
    sides |= {"both" for e in events if e.side != "both"}
    return str(sides.pop()) if len(sides) == 1 and sides != {"both"} else ""


def _rep_checks(sheet: Sheet) -> list[CheckInfo]:
    """Return the checks of single events, including any that only the findings know."""
    checks = [c for c in sheet.movement.checks if c.scope == "rep"]
    known = {c.check for c in checks}
    for event in sheet.events:
        for f in event.findings:
            if f.check not in known:
                known.add(f.check)
                info = CheckInfo(
                    f.check, f.title, f.measure, "", f.comparison, f.threshold, f.unit, "", ""
                )
                checks.append(info)
    return checks


def _is_judged(events: Sequence[Event], check: str) -> bool:
    findings = [f for e in events for f in e.findings if f.check == check]
    return any({f.verdict, f.holds} != {"not visible"} for f in findings)


def _row(event: Event, columns: Sequence[Column], remarks: tuple[str, ...]) -> Row:
    cells = tuple(
        _cells([f for f in event.findings if f.check == c.check], _said(event, c)) for c in columns
    )
    return Row(
        event.number,
        event_word(event),
        event_time(event),
        event_mark(event),
        cells,
        event_state(event),
        bool(event.findings) or not event.added,
        remarks,
    )


def _said(event: Event, column: Column) -> set[str]:
    """Return what need not be said again in a cell: sides, and that the event was added."""
    return {event.side, column.side} | ({ADDED} if event.added else set())


def _cells(findings: Sequence[Finding], said: set[str]) -> tuple[Cell, ...]:
    """Return one cell a verdict, so that left and right with the same one share its word.

    A side is named only where neither the event nor the column has ``said`` it.
    """
    values: dict[tuple[Verdict, Verdict | None], list[str]] = {}
    for f in findings:
        side = "" if f.side == "both" or f.side in said else f"{f.side} "
        text = (side + value_text(f.value, f.unit, f.uncertainty)).strip()
        # An event that was added has nothing to stand beside the verdict but that.
        unmeasured = f.corrected is None or ADDED in said
        measured = None if unmeasured else f.verdict
        text = "not measured" if ADDED in said else text
        values.setdefault((f.holds, measured), []).append(text)
    order = sorted(values, key=lambda key: list(_REMARKS).index(key[0]))
    return tuple(
        Cell(mark_of(v), tuple(t for t in values[v, m] if t), None if m is None else mark_of(m))
        for v, m in order
    )


def _reasons(events: Sequence[Event], shown: Sequence[CheckInfo]) -> tuple[str, ...]:
    """Say each reason why a verdict is not definite once, with the checks and reps it is for."""
    titles = {c.check: c.title for c in shown}
    found: dict[tuple[Verdict, str], dict[str, list[Event]]] = {}
    for event in events:
        for f in event.findings:
            if f.reason and f.check in titles and f.verdict in {"too close to call", "not visible"}:
                checks = found.setdefault((f.verdict, f.reason), {})
                checks.setdefault(titles[f.check], []).append(event)
    return tuple(
        "; ".join(f"{title} ({_numbers_by_kind(who)})" for title, who in checks.items())
        + f": {verdict}. {sentence(reason)}"
        for (verdict, reason), checks in found.items()
    )


def _event_notes(sheet: Sheet) -> tuple[str, ...]:
    notes = [f"{event_word(e)}: {note}" for e in sheet.events for note in e.notes]
    for e in sheet.partial_events:
        span = span_text(e.start_s, e.end_s)
        why = " ".join(e.notes) or "it was not complete."
        notes.append(f"Not counted: a {e.kind} at {span}, because {lower_first(why)}")
    return tuple(notes)


def set_checks(summary: Summary) -> tuple[SetCheck, ...]:
    """Return the checks of the whole set, ready to print."""
    return tuple(
        SetCheck(
            f.title,
            limit_text(f.comparison, f.threshold, f.unit),
            _cells([f], set())[0],
            f.reason,
            f.cue if f.holds == "misses" else "",
            f.norms,
        )
        for f in summary.set_findings
    )


def cue_lines(summary: Summary, kind: EventKind = "rep") -> tuple[CueLine, ...]:
    """Return at most three cues; more than that nobody can act on at once."""
    return tuple(CueLine(c.text, reps_text(c.reps, kind)) for c in summary.cues[:MAX_CUES])


def choose_stills(events: Sequence[Event], stills: Mapping[int, Still]) -> list[int]:
    """Return the events whose pictures are shown: all of a short set, else a choice.

    Of a long set the twelve events with most misses are taken, and the best one.
    """
    known = [i for i in range(len(events)) if i in stills]
    if len(known) <= STILLS_TO_LOOK_AT + 1:
        return known
    by_need = sorted(known, key=lambda i: (-_count(events[i], "misses"), i))
    chosen = set(by_need[:STILLS_TO_LOOK_AT])
    rest = [i for i in known if i not in chosen]
    best = max(rest, key=lambda i: (-_count(events[i], "misses"), _count(events[i], "meets"), -i))
    return sorted({*chosen, best})


def _count(event: Event, verdict: Verdict) -> int:
    return sum(f.holds == verdict for f in event.findings)


def pictures(sheet: Sheet, stills: Mapping[int, Still]) -> tuple[Picture, ...]:
    """Return the stills to show with their captions."""
    return tuple(
        _picture(sheet.events[i], stills[i], sheet.movement.title)
        for i in choose_stills(sheet.events, stills)
    )


def _picture(event: Event, still: Still, movement: str) -> Picture:
    misses = [f for f in event.findings if f.holds == "misses" and not event.struck]
    lines = tuple(
        f"{f.title}{_of_side(f, event)}: {value_text(f.value, f.unit, f.uncertainty)}"
        for f in misses
    )
    what = f"misses {join_words([f.title for f in misses])}" if misses else event_mark(event).word
    what = event_state(event) or what
    name, time = event_word(event).lower(), seconds_text(still.time_s)
    where = "at its turn" if event.kind == "rep" else "in its middle"
    alt = f"{movement}, {name} {where}, {time}: {what}."
    mark, state = event_mark(event), event_state(event)
    return Picture(event_word(event), seconds_text(still.time_s), mark, lines, alt, still, state)


def _of_side(finding: Finding, event: Event) -> str:
    return f", {finding.side}" if finding.side != "both" and event.side == "both" else ""


def still_note(sheet: Sheet, stills: Mapping[int, Still]) -> str:
    """Say which events are pictured when it is not all of them."""
    shown = choose_stills(sheet.events, stills)
    if not shown:
        return "There are no pictures for this clip."
    if len(shown) == len(sheet.events):
        return ""
    if len(shown) == len(stills):
        return f"Pictures of {len(shown)} of {len(sheet.events)}."
    return (
        f"Pictures of {len(shown)} of {len(sheet.events)}: "
        f"the {STILLS_TO_LOOK_AT} with most to look at, and the best of the rest."
    )


def rep_groups(sheet: Sheet) -> tuple[tuple[Mark, str, str], ...]:
    """Return the events grouped by their most urgent verdict: mark, remark, numbers in words.

    Events with a miss are left out when the summary names what to work on first.
    """
    groups: dict[Verdict, list[Event]] = {}
    for event in (e for e in sheet.held_events if e.findings or not e.added):
        groups.setdefault(worst_verdict(event.findings), []).append(event)
    if sheet.summary.reps_to_fix:
        groups.pop("misses", None)
    return tuple(
        (mark_of(v), remark, _numbers_by_kind(groups[v]))
        for v, remark in _REMARKS.items()
        if v in groups
    )


def _numbers_by_kind(events: Sequence[Event]) -> str:
    kinds = list(dict.fromkeys(e.kind for e in events))
    return "; ".join(reps_text([e.number for e in events if e.kind == k], k) for k in kinds)


def tempo_lines(summary: Summary, kind: EventKind = "rep") -> tuple[tuple[str, str], ...]:
    """Return the known parts of the tempo as name and value."""
    t = summary.tempo
    parts = (
        ("Lowering", t.lowering_s),
        ("Pause", t.pause_s),
        ("Rising", t.rising_s),
        (f"Pause between {kind}s", t.rest_s),
        ("From turn to turn", t.cycle_s),
    )
    lines = [(name, seconds_text(value, 2)) for name, value in parts if value is not None]
    if t.reps_per_min is not None:
        lines.append(("Pace", f"{t.reps_per_min:.0f} a minute"))
    if t.under_tension_s is not None:
        lines.append(("Time under tension", seconds_text(t.under_tension_s)))
    if t.speed_loss_percent is not None and t.speed_loss_uncertainty is not None:
        loss = f"{t.speed_loss_percent:.0f} % \N{PLUS-MINUS SIGN} {t.speed_loss_uncertainty:.0f} %"
        lines.append(("Speed lost, fastest to last", loss))
    return tuple(lines)


def facts(sheet: Sheet) -> tuple[str, ...]:
    """Return the line under the title: how many events, how long, from which side."""
    s = sheet.summary
    held = sheet.held_events
    kinds = list(dict.fromkeys(e.kind for e in held)) or [sheet.movement.event_kind]
    counts = [plural(sum(e.kind == k for e in held), k) for k in kinds]
    sides = ""
    if s.count_left and s.count_right:
        sides = f" ({s.count_left} left, {s.count_right} right)"
    view = f"{sheet.camera.view} view" if sheet.camera.view else ""
    return tuple(
        part
        for part in (join_words(counts) + sides, seconds_text(sheet.clip.duration_s), view)
        if part and part != "–"
    )
