"""Corrections in words: what was changed, by whom, when and why."""

from __future__ import annotations

from dataclasses import dataclass

from motioncheck.records import AppliedCorrection, Event, Sheet, Verdict
from motioncheck.sheet.words import Mark, mark_of, seconds_text, span_text

DASH = "–"


@dataclass(frozen=True, slots=True)
class CorrectionRow:
    """One correction, ready to print; verdicts where it is about one, else words."""

    number: str
    what: str
    measured: Mark | None
    now: Mark | None
    before: str
    after: str
    by: str
    when: str
    why: str
    remark: str


def event_state(event: Event) -> str:
    """Return ``struck``, ``added``, or nothing for an event that stands as measured."""
    if event.struck:
        return "struck"
    return "added" if event.added else ""


def states(sheet: Sheet) -> frozenset[str]:
    """Return which states the events of a sheet are in."""
    return frozenset(event_state(e) for e in sheet.events)


def event_time(event: Event) -> str:
    """Return when an event was: its span, or the instant of one that was added without."""
    if event.added and event.end_s <= event.start_s:
        return seconds_text(event.turn_s)
    return span_text(event.start_s, event.end_s)


def event_remarks(sheet: Sheet, event: Event) -> tuple[str, ...]:
    """Say who corrected what of one event, and why; one line a correction that holds."""
    own = [
        c
        for c in sheet.corrections
        if c.applied and c.event == event.number and c.event_kind == event.kind
    ]
    return tuple(_remark(c) for c in own)


def _remark(correction: AppliedCorrection) -> str:
    what = {"strike": "struck", "add": "added", "note": "note"}.get(
        correction.kind, f"{correction.title or correction.check}: {correction.corrected},"
    )
    why = f": {correction.text}" if correction.text else ""
    return f"{what} by {correction.by}{why}"


def correction_rows(sheet: Sheet) -> tuple[CorrectionRow, ...]:
    """Return the list of corrections in the order in which they were made."""
    return tuple(_row(c) for c in sheet.corrections)


def correction_lines(sheet: Sheet) -> tuple[str, ...]:
    """Return the corrections as lines for the terminal."""
    return tuple(_line(_row(c)) for c in sheet.corrections)


def _line(row: CorrectionRow) -> str:
    number = "" if row.number == DASH else f" {row.number}"
    changed = ""
    if row.now is not None:
        was = row.measured.word if row.measured else row.before
        changed = f", {was} as measured, {row.now.word} as corrected"
    why = f": {row.why}" if row.why else ""
    lost = f" (not applied: {row.remark})" if row.remark else ""
    return plain_line(
        f"Correction{number}: {row.what}{changed}, by {row.by}, {row.when}{why}{lost}"
    )


def plain_line(text: str) -> str:
    """Return text on one line without characters that steer a terminal."""
    kept = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(kept.split())


def _row(c: AppliedCorrection) -> CorrectionRow:
    before, after = {
        "strike": (f"a {c.event_kind}", "struck, counts nowhere"),
        "add": (f"no {c.event_kind}", "added"),
        "note": (DASH, DASH),
    }.get(c.kind, ("nothing" if c.at_s is not None else "several", DASH))
    return CorrectionRow(
        number=DASH if c.number is None else str(c.number),
        what=_what(c),
        measured=_ruled(c.measured),
        now=_ruled(c.corrected),
        before=before,
        after=after,
        by=c.by,
        when=when_text(c.made_at),
        why=c.text,
        remark=c.remark,
    )


def _ruled(verdict: Verdict | None) -> Mark | None:
    return None if verdict is None else mark_of(verdict)


def _what(c: AppliedCorrection) -> str:
    """Say what a correction is about, and what it does with it."""
    side = "" if c.side == "both" else f", {c.side}"
    number = "" if c.event is None else f" {c.event}"
    at = "" if c.at_s is None else f" at {seconds_text(c.at_s)}"
    where = "the set" if c.at_s is None else f"{c.event_kind}{number}{at}"
    if c.kind == "verdict":
        return f"{_capital(where)}{side}: {c.title or c.check}"
    if c.kind == "note":
        return f"Note on {where}"
    return f"{_capital(where)}{side} {'struck' if c.kind == 'strike' else 'added'}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def when_text(made_at: str) -> str:
    """Return an instant as date and time to the minute; whatever else it is, as it stands."""
    day, _, time = made_at.partition("T")
    return f"{day} {time[:5]} UTC" if len(time) >= 5 and len(day) == 10 else made_at
