"""What `motioncheck correct` does: keep a correction, and write the sheet of the clip anew."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from motioncheck.batch.journal import rewriting
from motioncheck.checks import apply_corrections
from motioncheck.checks.corrected import find_same
from motioncheck.cli.check import REMOVED
from motioncheck.cli.correct_find import (
    Found,
    Target,
    find_check,
    find_number,
    name_check,
    parse_number,
    parse_side,
    parse_verdict,
    require_change,
    require_times,
    require_whole,
)
from motioncheck.cli.person import open_existing
from motioncheck.errors import MotionCheckError, UsageError
from motioncheck.history import History
from motioncheck.history.corrections import now_utc
from motioncheck.pipeline import check_again, correct_result, standard_of, write_results
from motioncheck.pipeline.options import default_cache
from motioncheck.records import Event, Sheet, Verdict
from motioncheck.records.history import CheckRecord, Correction
from motioncheck.records.result import CorrectionKind
from motioncheck.sheet.corrected import correction_lines, plain_line
from motioncheck.sheet.words import seconds_text
from motioncheck.skeleton import Side

WHOLE_SET = "set"
SHEET = "sheet.json"


def run_strike(target: Target, by: str, why: str, *, number: int) -> None:
    """Strike an event; see `motioncheck.cli.correct.strike`."""
    with open_existing(target.history) as history:
        found = find_check(history, target)
        event = find_number(found, number)
        if event.struck:
            raise UsageError(
                f"Expected a {found.noun} that counts, found {number} struck already.",
                hint="`motioncheck correct withdraw NUMBER` takes a correction back.",
            )
        if event.added:
            raise UsageError(
                f"Expected a measured {found.noun}, found that {number} was added by hand.",
                hint="Run `motioncheck correct list CLIP`, then `motioncheck correct withdraw "
                "NUMBER` to take it back.",
            )
        _keep(history, target, found, _new(found, "strike", by, why, event=event))


def run_add(
    target: Target,
    by: str,
    why: str,
    *,
    at_s: float,
    span_s: tuple[float | None, float | None],
    side: str,
) -> None:
    """Add an event; see `motioncheck.cli.correct.add`."""
    with open_existing(target.history) as history:
        found = find_check(history, target)
        require_whole(found, "an event that is added")
        limb, kind = parse_side(side), found.sheet.movement.event_kind
        if kind == "stage":
            raise UsageError(
                "Expected a movement of reps or holds, found one of ordered stages.",
                hint="A stage cannot be added; say it with `motioncheck correct note`.",
            )
        if limb == "both" and any(e.side != "both" for e in found.measured.events):
            raise UsageError(
                f"Expected --side left or right: each {found.noun} of this clip has a side.",
                hint="It is the side of the person, not of the picture.",
            )
        require_times(found.sheet.clip.duration_s, at_s, span_s)
        same = find_same(found.sheet.events, kind, at_s, limb)
        if same is not None:
            raise UsageError(
                f"Expected an instant without a {found.noun}, found {found.noun} {same.number} at "
                f"{seconds_text(same.turn_s)}.",
                hint=f"If that one is wrong, strike it first: `motioncheck correct strike CLIP "
                f"{same.number}`.",
            )
        start_s, end_s = span_s
        new = Correction(
            kind="add",
            clip_sha256=found.check.clip_sha256,
            movement=found.check.movement,
            by=plain_line(by),
            made_at=now_utc(),
            person=found.check.person,
            event_kind=kind,
            at_s=at_s,
            start_s=start_s,
            end_s=end_s,
            side=limb,
            text=plain_line(why),
        )
        _keep(history, target, found, new)


def run_verdict(
    target: Target, by: str, why: str, *, number: str, check: str, ruling: str, side: str
) -> None:
    """Change a verdict; see `motioncheck.cli.correct.verdict`."""
    verdict, limb = parse_verdict(ruling), parse_side(side)
    with open_existing(target.history) as history:
        found = find_check(history, target)
        whole = number.strip().lower() == WHOLE_SET
        if whole:
            require_whole(found, "a verdict of the set")
        event = None if whole else find_number(found, parse_number(number))
        check = name_check(found, check, whole=whole)
        findings = found.sheet.summary.set_findings if event is None else event.findings
        own = [f for f in findings if f.check == check and limb in ("both", f.side)]
        if not own and (event is None or not event.added):
            raise UsageError(
                f"Expected {check!r} to be judged there, found no verdict of it"
                f"{'' if limb == 'both' else f' on the {limb}'}.",
                hint="The sheet has what was judged of it; leave --side out where that has none.",
            )
        require_change(own, verdict)
        new = _new(found, "verdict", by, why, event=event, side=limb, check=check, verdict=verdict)
        _keep(history, target, found, new)


def run_note(target: Target, by: str, why: str, *, number: int | None) -> None:
    """Keep a note; see `motioncheck.cli.correct.note`."""
    if not plain_line(why):
        raise UsageError("Expected words to note, found none.", hint="Say them with --why TEXT.")
    with open_existing(target.history) as history:
        found = find_check(history, target)
        event = None if number is None else find_number(found, number)
        _keep(history, target, found, _new(found, "note", by, why, event=event))


def run_list(target: Target, *, withdrawn: bool) -> None:
    """Print corrections, those of one clip or all."""
    with open_existing(target.history) as history:
        only = find_check(history, target).check if target.clip else None
        every = history.corrections(
            None if only is None else only.person,
            None if only is None else only.clip_sha256,
            withdrawn=withdrawn,
        )
        if only is not None:
            every = tuple(c for c in every if c.movement == only.movement)
        if target.movement:
            every = tuple(c for c in every if c.movement == target.movement)
        checks = history.checks()
        for what in dict.fromkeys(_what(c) for c in every):
            sha, movement, _ = what
            own = [c for c in every if _what(c) == what]
            known = [c for c in checks if _is_about(own[0], c)]
            name = known[-1].clip if known else f"clip {sha[:12]}"
            print(plain_line(f"{name}, {movement}:"))
            for line in _list_lines(history, target, own, only or (known[-1] if known else None)):
                print(f"  {line}")
    if not every:
        print("No corrections on record.")


def _what(c: Correction) -> tuple[str, str, str]:
    return c.clip_sha256, c.movement, c.person


def _is_about(correction: Correction, check: CheckRecord) -> bool:
    same = (check.clip_sha256, check.movement) == (correction.clip_sha256, correction.movement)
    return same and correction.person in ("", check.person)


def _list_lines(
    history: History, target: Target, own: Sequence[Correction], check: CheckRecord | None
) -> list[str]:
    """Return the lines of one clip; those that hold say how they apply to its last check."""
    lines: list[str] = []
    if check is not None:
        sheet = history.sheet_of(check.id)
        standard = standard_of(sheet, target.standards)
        lines += correction_lines(apply_corrections(sheet, own, standard))
    else:
        lines += [_bare_line(c) for c in own if not c.withdrawn_at]
    for c in own:
        if c.withdrawn_at:
            by = f" by {c.withdrawn_by}" if c.withdrawn_by else ""
            lines.append(plain_line(f"{_bare_line(c)} (withdrawn{by}, {c.withdrawn_at[:10]})"))
    return lines


def _bare_line(c: Correction) -> str:
    at = "the set" if c.at_s is None else f"{c.event_kind} at {seconds_text(c.at_s)}"
    what = f"{c.kind} {c.check} {c.verdict or ''}".strip()
    why = f": {c.text}" if c.text else ""
    return plain_line(f"Correction {c.id}: {at}: {what}, by {c.by}, {c.made_at[:10]}{why}")


def run_withdraw(target: Target, by: str, number: int) -> None:
    """Withdraw a correction, and write the sheet anew without it."""
    with open_existing(target.history) as history:
        known = {c.id: c for c in history.corrections(withdrawn=True)}
        before = known.get(number)
        gone = history.withdraw_correction(number, plain_line(by))
        if before is not None and before.withdrawn_at:
            print(f"Correction {number} was withdrawn already.")
            return
        print(f"Correction {number} is withdrawn; it stays on record.")
        checks = history.checks(clip_sha256=gone.clip_sha256)
        checks = tuple(c for c in checks if _is_about(gone, c))
        if checks:
            _show(history, target, checks[-1], None)


def _new(
    found: Found,
    kind: CorrectionKind,
    by: str,
    why: str,
    *,
    event: Event | None,
    side: Side = "both",
    check: str = "",
    verdict: Verdict | None = None,
) -> Correction:
    """Return a correction of an event of a check, or of its set."""
    return Correction(
        kind=kind,
        clip_sha256=found.check.clip_sha256,
        movement=found.check.movement,
        by=plain_line(by),
        made_at=now_utc(),
        person=found.check.person,
        event_kind=found.sheet.movement.event_kind if event is None else event.kind,
        at_s=None if event is None else event.turn_s,
        side=side,
        check=check,
        verdict=verdict,
        text=plain_line(why),
    )


def _keep(history: History, target: Target, found: Found, new: Correction) -> None:
    kept = history.add_correction(new)
    print(f"Correction {kept.id} is on record.")
    _show(history, target, found.check, found.clip)


def _show(history: History, target: Target, check: CheckRecord, clip: Path | None) -> None:
    """Print what holds now, and write the sheet anew where that can be done quickly."""
    measured = history.sheet_of(check.id)
    kept = history.corrections(check.person, check.clip_sha256)
    sheet = apply_corrections(measured, kept, standard_of(measured, target.standards))
    for line in correction_lines(sheet):
        print(line)
    print(f"{sheet.movement.title}: {sheet.summary.headline}")
    problem = _write_anew(target, check, measured, kept, clip)
    if problem:
        print(
            f"The sheet was not written anew: {problem} To write it: "
            f"`motioncheck check CLIP --movement {check.movement} --person {check.person}`."
        )


def _write_anew(
    target: Target,
    check: CheckRecord,
    measured: Sheet,
    corrections: Sequence[Correction],
    clip: Path | None,
) -> str:
    """Write the sheet in its folder anew; return why not, empty when it was done."""
    folder = Path(check.folder) if check.folder else None
    if folder is None or not (folder / SHEET).is_file():
        return "there is no sheet where this check wrote one."
    if _movement_of(folder / SHEET) != check.movement:
        return "the sheet in its folder is now that of another movement."
    path = clip or (Path(check.clip_path) if check.clip_path else None)
    if path is None or not path.is_file():
        return "the clip is not where it was."
    try:
        result = check_again(
            path, measured, cache_folder=default_cache(), standards_folder=target.standards
        )
        if result is None:
            return "what is kept of this check does not suffice."
        fresh = correct_result(result, corrections, standard_of(measured, target.standards))
        with rewriting(folder):
            removed = write_results(fresh, folder, clip_path=path)
    except MotionCheckError as error:
        return str(error)
    for name in removed:
        print(REMOVED[name])
    print(f"Sheet: {folder / 'sheet.html'}")
    return ""


def _movement_of(path: Path) -> str:
    """Return the movement of a written sheet; empty when it cannot be read."""
    try:
        content = json.loads(path.read_bytes())
        return str(content["movement"]["id"])
    except (OSError, ValueError, KeyError, TypeError):
        return ""
