"""Which check, event and verdict a `motioncheck correct` command means."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from motioncheck.checks import apply_corrections
from motioncheck.errors import UsageError
from motioncheck.history import History
from motioncheck.pipeline import standard_of
from motioncheck.records import VERDICTS, Event, Finding, Sheet, Verdict
from motioncheck.records.history import CheckRecord
from motioncheck.sheet.words import numbers_text, seconds_text
from motioncheck.skeleton import Side
from motioncheck.video.probe import hash_file
from motioncheck.wording import join_words

SHORT: dict[str, Verdict] = {"close": "too close to call", "unseen": "not visible"}
ON_THE_SHEET = "The numbers are those on the sheet."


@dataclass(frozen=True, slots=True)
class Target:
    """Which check is corrected: clip or number, movement, history, the user's own standards."""

    clip: str
    movement: str | None
    history: str | None
    standards: Path | None


@dataclass(frozen=True, slots=True)
class Found:
    """The check that was meant: its record, its sheet as measured, and with its corrections."""

    check: CheckRecord
    measured: Sheet
    sheet: Sheet
    clip: Path | None

    @property
    def noun(self) -> str:
        """What one of its events is called."""
        return self.sheet.movement.event_kind


def find_check(history: History, target: Target) -> Found:
    """Return the check that was meant.

    Raises
    ------
    UsageError
        If there is none, or the clip was checked for several movements and none is named, for
        several people, or in several stretches.
    """
    place, text = Path(target.clip), target.clip.strip()
    if text.isdecimal() and not place.exists():
        checks = [c for c in history.checks(current_only=False) if c.id == int(text)]
        clip = None
        what = f"a check with the number {text}"
    else:
        checks, clip = _checks_of_file(history, place)
        what = f"a check of {place.name} on record"
    if target.movement:
        checks = [c for c in checks if c.movement == target.movement]
        what += f" for {target.movement}"
    if not checks:
        raise UsageError(
            f"Expected {what}, found none.",
            hint="`motioncheck check CLIP --person CODE` records one; `motioncheck history show "
            "CODE` lists them.",
        )
    movements = sorted({c.movement for c in checks})
    if len(movements) > 1:
        raise UsageError(
            f"Expected one movement, found checks for {join_words(movements)}.",
            hint="Say which with --movement.",
        )
    _require_one(checks)
    check = max(checks, key=lambda c: (c.current, c.recorded_at, c.id))
    measured = history.sheet_of(check.id)
    kept = history.corrections(check.person, check.clip_sha256)
    sheet = apply_corrections(measured, kept, standard_of(measured, target.standards))
    return Found(check, measured, sheet, clip)


def _require_one(checks: Sequence[CheckRecord]) -> None:
    """Raise where a clip has checks of several people, or of several stretches of a movement."""
    people = sorted({c.person for c in checks})
    found = f"it recorded for {join_words(people)}" if len(people) > 1 else ""
    if not found and len({c.part for c in checks if c.current}) > 1:
        found = "several stretches of it checked"
    if found:
        raise UsageError(
            f"Expected a clip that was checked once, found {found}.",
            hint="Give the number of the check instead; see `motioncheck history show CODE`.",
        )


def require_whole(found: Found, what: str) -> None:
    """Raise for a stretch: a correction without an event of its own would be about all of them."""
    if found.check.part:
        raise UsageError(
            f"Expected a whole clip for {what}, found one of several stretches of it.",
            hint="Say it with `motioncheck correct note`, or check the whole clip.",
        )


def _checks_of_file(history: History, place: Path) -> tuple[list[CheckRecord], Path | None]:
    """Return the checks of a clip by path and content, else by its content; by path when gone."""
    if place.is_file():
        try:
            sha = hash_file(place)
        except OSError as error:
            raise UsageError(
                f"Expected to read {place}, found: {error.strerror or error}.",
                hint="Give the number of the check instead; see `motioncheck history show CODE`.",
            ) from error
        same = list(history.checks(clip_sha256=sha))
        here = [c for c in same if c.clip_path == str(place.absolute())]
        # Copies of one clip may be of several people; the one of this path is meant.
        return here or same, place
    gone = str(place.absolute())
    return [c for c in history.checks() if c.clip_path and c.clip_path == gone], None


def parse_verdict(text: str) -> Verdict:
    """Return a verdict from its words, also written with dashes, ``close`` or ``unseen``.

    Raises
    ------
    UsageError
        If it is none.
    """
    words = " ".join(text.lower().replace("-", " ").replace("_", " ").split())
    for verdict in VERDICTS:
        if words == verdict:
            return verdict
    if words in SHORT:
        return SHORT[words]
    raise UsageError(
        f"Expected one of the verdicts {join_words(VERDICTS, 'or')}; found {text!r}.",
        hint="Put a verdict of several words in quotation marks.",
    )


def parse_side(text: str) -> Side:
    """Return a side; raises `UsageError` when it is none."""
    if text == "left":
        return "left"
    if text == "right":
        return "right"
    if text != "both":
        raise UsageError(
            f"Expected --side to be left, right or both; found {text!r}.",
            hint="It is the side of the person, not of the picture.",
        )
    return "both"


def parse_number(text: str) -> int:
    """Return the number of an event; raises `UsageError` when it is none."""
    if not text.strip().isdecimal():
        raise UsageError(
            f"Expected the number of a rep, or `set`; found {text!r}.", hint=ON_THE_SHEET
        )
    return int(text)


def find_number(found: Found, number: int) -> Event:
    """Return an event by its number on the sheet; raises `UsageError` when there is none."""
    kind = found.sheet.movement.event_kind
    own = [e for e in found.sheet.events if e.kind == kind]
    for event in own:
        if event.number == number:
            return event
    there = numbers_text(e.number for e in own) or "none"
    raise UsageError(
        f"Expected the number of a {kind} of this clip ({there}), found {number}.",
        hint=ON_THE_SHEET,
    )


def require_times(
    duration_s: float, at_s: float, span_s: tuple[float | None, float | None]
) -> None:
    """Raise `UsageError` unless the times are in order and inside the clip."""
    start_s, end_s = span_s
    if (start_s is None) != (end_s is None):
        raise UsageError(
            "Expected --from and --to together, found one of them.",
            hint="Leave both out where only the turn is known.",
        )
    last_s = duration_s if math.isfinite(duration_s) and duration_s > 0.0 else math.inf
    first = at_s if start_s is None else start_s
    last = at_s if end_s is None else end_s
    # Not a number compares false with everything, and so is refused here as well.
    if not 0.0 <= first <= at_s <= last <= last_s or math.isinf(at_s):
        raise UsageError(
            f"Expected times in this order inside the clip of {seconds_text(duration_s)}: --from, "
            f"--at, --to; found {first:g}, {at_s:g}, {last:g}.",
            hint="They are seconds from the beginning of the clip.",
        )


def name_check(found: Found, text: str, *, whole: bool) -> str:
    """Return the id of a check of the events, or of the set, from its id or its title.

    Raises
    ------
    UsageError
        If there is none; the message lists those there are.
    """
    own = [c for c in found.sheet.movement.checks if (c.scope == "set") == whole]
    for check in own:
        if text.strip().lower() in (check.check.lower(), check.title.lower()):
            return check.check
    where = "the set" if whole else f"a {found.noun}"
    there = ", ".join(f"{c.check} ({c.title})" for c in own) or "there is none"
    raise UsageError(
        f"Expected a check of {where}, found {text!r}.", hint=f"Those there are: {there}."
    )


def require_change(findings: Sequence[Finding], verdict: Verdict) -> None:
    """Raise `UsageError` when a verdict is what holds already."""
    if findings and all(f.holds == verdict for f in findings):
        raise UsageError(
            f"Expected another verdict, found that it is {verdict!r} already.",
            hint="To say something about it without changing it: `motioncheck correct note`.",
        )
