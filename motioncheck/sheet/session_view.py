"""What the session page shows, worked out from the records before the template prints it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from motioncheck.records.session import (
    BlockResult,
    CircuitResult,
    Count,
    Drift,
    MinuteRow,
    MovementTotal,
    Piece,
    Prescribed,
    SessionSheet,
    SetResult,
    SetStatus,
    Tally,
)
from motioncheck.sheet.words import Mark, mark_of, number_text, plural, seconds_text, span_text
from motioncheck.wording import join_words


@dataclass(frozen=True, slots=True)
class StatusMark:
    """A status as the word and the mark that are printed."""

    word: str
    symbol: str


STATUS: Final[dict[SetStatus, StatusMark]] = {
    "as planned": StatusMark("as planned", "full"),
    "fewer": StatusMark("short", "part"),
    "more": StatusMark("more", "plus"),
    "missing": StatusMark("missing", "none"),
    "extra": StatusMark("extra", "plus"),
}


@dataclass(frozen=True, slots=True)
class Where:
    """A place in a clip; ``link`` is empty when there is no sheet."""

    clip: str
    time: str
    link: str


@dataclass(frozen=True, slots=True)
class SetLine:
    """One set, ready to print."""

    label: str
    title: str
    load: str
    advice: str
    planned: str
    done: str
    sides: str
    status: StatusMark
    form: tuple[tuple[Mark, str], ...]
    hidden: str
    rest: str
    rest_planned: str
    time: str
    pace: str
    where: tuple[Where, ...]
    notes: tuple[str, ...]


def set_line(one: SetResult, *, said: str = "") -> SetLine:
    """Return a set in words; notes that were ``said`` for the whole block are not repeated."""
    asked = one.prescribed
    return SetLine(
        label=one.label,
        title=one.title,
        load="" if asked is None else load_text(asked),
        advice="" if asked is None or asked.notes == said else asked.notes,
        planned="–" if asked is None else planned_text(asked),
        done=done_text(one),
        sides=_sides_text(one),
        status=STATUS[one.status],
        form=form_marks(one.tally),
        hidden=hidden_text(one.tally),
        rest=_rest_text(one),
        rest_planned=_rest_planned(one),
        time="–" if one.duration_s is None else _short_s(round(one.duration_s)),
        pace="" if one.pace_per_min is None else f"{one.pace_per_min:.0f} a minute",
        where=tuple(where_of(piece) for piece in one.pieces),
        notes=one.notes,
    )


def planned_text(asked: Prescribed) -> str:
    """Return what a set asks for: ``10 reps``, ``30 s each side``, ``5 stages``."""
    if asked.amount == "hold":
        return f"{_short_s(asked.hold_s)}{' each side' if asked.each_side else ''}"
    if asked.amount == "stages":
        return plural(asked.stages or 0, "stage")
    reps = asked.reps or 0
    return f"{reps // 2} reps each side" if asked.each_side else plural(reps, "rep")


def done_text(one: SetResult) -> str:
    """Return what was done against what was asked for: ``8 of 10``, ``29.4 s``."""
    asked = one.prescribed
    if one.status == "missing":
        return "–"
    if one.amount == "hold":
        if one.hold_left_s or one.hold_right_s:
            return ""  # the sides say it
        return seconds_text(one.hold_s or 0.0)
    if asked is None:
        return plural(one.done, {"reps": "rep", "stages": "stage"}.get(one.amount, one.amount))
    total = asked.stages if asked.amount == "stages" else asked.reps
    order = " in order" if asked.amount == "stages" else ""
    return f"{one.done} of {total}{order}"


def _sides_text(one: SetResult) -> str:
    if one.amount == "hold":
        sides = (("left", one.hold_left_s), ("right", one.hold_right_s))
        return ", ".join(f"{name} {seconds_text(s)}" for name, s in sides if s)
    if one.left or one.right:
        return f"{one.left} left, {one.right} right"
    return ""


def load_text(asked: Prescribed | Count) -> str:
    """Return the load of a set or of a movement of a circuit, empty when there is none."""
    kilograms = "" if asked.load_kg is None else f"{_trim(asked.load_kg)} kg"
    return ", ".join(part for part in (kilograms, asked.load) if part)


def form_marks(tally: Tally) -> tuple[tuple[Mark, str], ...]:
    """Return the events by verdict, each with its mark and in words."""
    rows = (
        (mark_of("meets"), tally.to_standard, "to standard"),
        (mark_of("too close to call"), tally.close, "too close to call"),
        (mark_of("misses"), tally.missed, "missed"),
        (mark_of("not visible"), tally.unjudged, "not judged"),
    )
    return tuple((mark, f"{count} {word}") for mark, count, word in rows if count)


def hidden_text(tally: Tally) -> str:
    """Say in how many events a check could not be seen; empty when there are none."""
    if not tally.partly_seen:
        return ""
    return f"a check not visible in {tally.partly_seen}"


def _rest_text(one: SetResult) -> str:
    return "–" if one.rest_before_s is None else _short_s(round(one.rest_before_s))


def _rest_planned(one: SetResult) -> str:
    planned = None if one.prescribed is None else one.prescribed.rest_s
    return "" if planned is None else f"planned {_short_s(planned)}"


def where_of(piece: Piece) -> Where:
    """Return a place in a clip with its link."""
    return Where(piece.clip, span_text(piece.start_s, piece.end_s), safe_link(piece.sheet))


def safe_link(link: str) -> str:
    """Return a relative link, empty for anything that would lead elsewhere."""
    elsewhere = ":" in link or link.startswith(("/", "\\"))
    return "" if elsewhere else link


def _short_s(seconds: float | None) -> str:
    return "–" if seconds is None else f"{_trim(seconds)} s"


def _trim(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def clock_text(seconds: float | None) -> str:
    """Return a time as minutes and seconds, ``6:42``, a dash for None."""
    if seconds is None:
        return "–"
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


@dataclass(frozen=True, slots=True)
class StripItem:
    """A set at a glance."""

    name: str
    short: str
    status: StatusMark


@dataclass(frozen=True, slots=True)
class Strip:
    """A block at a glance: its sets, or how its circuit ended."""

    number: int
    title: str
    items: tuple[StripItem, ...]
    remark: str


def strips(sheet: SessionSheet) -> tuple[Strip, ...]:
    """Return the blocks at a glance."""
    return tuple(
        Strip(
            block.number,
            block.title,
            tuple(StripItem(s.label, _short_label(block, s), STATUS[s.status]) for s in block.sets),
            "" if block.circuit is None else circuit_line(block.circuit),
        )
        for block in sheet.blocks
    )


def _short_label(block: BlockResult, one: SetResult) -> str:
    if block.kind == "superset":
        return f"{one.number}{one.label[-1]}"
    rung = one.prescribed.rung if one.prescribed is not None else None
    return str(rung or one.number)


def circuit_line(circuit: CircuitResult) -> str:
    """Return how a circuit ended."""
    done = sum(c.done for c in circuit.counts)
    asked = sum(c.prescribed for c in circuit.counts)
    if circuit.total_s is None:
        return f"{done} of {asked} reps, without a clock"
    if circuit.finished:
        return f"Finished in {clock_text(circuit.total_s)}"
    ahead = ""
    if circuit.finish_s is not None:
        ahead = f"; at that pace it would take {clock_text(circuit.finish_s)}"
    return f"Not finished: {done} of {asked} reps in {clock_text(circuit.total_s)}{ahead}"


def circuit_facts(circuit: CircuitResult) -> tuple[tuple[str, str], ...]:
    """Return the circuit as name and value."""
    due = circuit.every_minute
    rows = [
        ("Rounds", f"{circuit.rounds_done} of {circuit.rounds}"),
        ("Clock", clock_text(circuit.total_s)),
        ("Work", clock_text(circuit.work_s)),
    ]
    if due is not None:
        rows.append((f"{due.title}, every minute", clock_text(circuit.every_minute_s)))
        rows.append(("Done of those due", f"{due.done} of {due.prescribed}"))
    rows.append(("Rest", clock_text(circuit.rest_s)))
    if circuit.pace_per_min is not None:
        rows.append(("Pace while free for the work", f"{circuit.pace_per_min:.1f} reps a minute"))
    return tuple(rows)


@dataclass(frozen=True, slots=True)
class MinuteLine:
    """One minute, ready to print."""

    minute: str
    due: str
    status: StatusMark | None
    started: tuple[str, ...]
    work: str
    seconds: tuple[str, str, str]
    left: int
    pace: str
    finish: str


def minute_line(row: MinuteRow, circuit: CircuitResult, letters: dict[str, str]) -> MinuteLine:
    """Return a minute in words."""
    work = [f"{letters[m]} {n}" for m, n in row.work_reps.items() if n]
    if row.extra_reps:
        work.append(f"{row.extra_reps} beyond the work")
    return MinuteLine(
        minute=f"{row.minute}:00",
        due="not due" if row.due == 0 else f"{row.done} of {row.due}",
        status=_minute_status(row),
        started=_started_lines(row),
        work=", ".join(work) or "–",
        seconds=(_whole(row.work_s), _whole(row.every_minute_s), _whole(row.rest_s)),
        left=row.left,
        pace="–" if row.pace_per_min is None else f"{row.pace_per_min:.1f}",
        finish=clock_text(row.finish_s),
    )


def _minute_status(row: MinuteRow) -> StatusMark | None:
    if row.due == 0:
        return None
    if not row.complete:
        return StatusMark("short" if row.done else "missing", "part" if row.done else "none")
    return StatusMark("late", "part") if row.late else StatusMark("in time", "full")


def _started_lines(row: MinuteRow) -> tuple[str, ...]:
    """Return when the reps of a minute began and when they were done."""
    if row.started_after_s is None or row.due == 0:
        return ()
    if row.started_after_s < 0:
        lines = [f"began {number_text(-row.started_after_s, 1)} s early"]
    else:
        lines = [f"began after {number_text(row.started_after_s, 1)} s"]
    if row.completed_after_s is not None:
        lines.append(f"done after {number_text(row.completed_after_s, 1)} s")
    return tuple(lines)


def _whole(seconds: float) -> str:
    return number_text(seconds, 1)


@dataclass(frozen=True, slots=True)
class TotalLine:
    """A movement over the session, ready to print."""

    title: str
    planned: str
    done: str
    form: tuple[tuple[Mark, str], ...]
    hidden: str


def total_line(total: MovementTotal) -> TotalLine:
    """Return a movement over the session in words; several kinds of amount are joined."""
    rows = (
        (total.planned_reps, total.done_reps, "reps", 0),
        (total.planned_hold_s, total.done_hold_s, "s held", 1),
        (total.planned_stages, total.done_stages, "stages", 0),
    )
    used = [row for row in rows if row[0] or row[1]]
    return TotalLine(
        title=total.title,
        planned=join_words([f"{_amount(p, d)} {word}" for p, _, word, d in used]) or "–",
        done=join_words([f"{_amount(n, d)} {word}" for _, n, word, d in used]) or "–",
        form=form_marks(total.tally),
        hidden=hidden_text(total.tally),
    )


def _amount(value: float | None, places: int) -> str:
    text = number_text(value or 0, places)
    return text.removesuffix(".0") if places else text


def drift_groups(sheet: SessionSheet) -> tuple[Sequence[Drift], int]:
    """Return the drifts that were seen, and how many others were looked for."""
    seen = [drift for drift in sheet.drifts if drift.seen]
    return seen, len(sheet.drifts) - len(seen)


def place_text(sheet: SessionSheet, block: int, label: str, movement: str) -> str:
    """Return which set is meant: the block's title, the set, and the movement if need be."""
    title = next((t.title for t in sheet.totals if t.movement == movement), movement)
    if block == 0:
        return f"{title}, {label.lower()}"
    name = next((b.title for b in sheet.blocks if b.number == block), "")
    parts: Iterable[str] = dict.fromkeys((name, title, label))
    return ", ".join(part for part in parts if part)


def facts(sheet: SessionSheet) -> tuple[str, ...]:
    """Return the line under the title."""
    clips = len(sheet.clips)
    return (plural(len(sheet.blocks), "block"), plural(clips, "clip"))
