"""Words, marks and numbers as they are printed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from motioncheck.records import Event, EventKind, Finding, Sheet, Verdict
from motioncheck.wording import MINUS

MARKS: Final[dict[Verdict, str]] = {
    "meets": "meets",
    "misses": "misses",
    "too close to call": "close",
    "not visible": "unseen",
}
# How a note begins that everything else on a sheet hangs on: it stands above all.
DOUBT: Final = "This looks like another movement: "
_DEGREES: Final = frozenset({"deg", "°", "degrees"})
_PLAIN: Final = frozenset({"", "ratio", "1", "count"})
_SUFFIX: Final = {"%": " %", "1/min": " a minute"}


@dataclass(frozen=True, slots=True)
class Mark:
    """A verdict as a word and as the name of its drawn mark."""

    word: Verdict
    symbol: str


def mark_of(verdict: Verdict) -> Mark:
    """Return a verdict with its mark."""
    return Mark(verdict, MARKS[verdict])


def is_number(value: float | None) -> bool:
    """Return True for a finite number, False for None, NaN and infinities."""
    return value is not None and math.isfinite(value)


def unit_suffix(unit: str) -> str:
    """Return what is printed behind a number, including the space where one belongs."""
    if unit in _DEGREES:
        return "°"
    if unit in _PLAIN:
        return ""
    return _SUFFIX.get(unit, f" {unit}")


def decimals(unit: str, uncertainty: float | None = None) -> int:
    """Return how many decimals a value of this unit and uncertainty deserves."""
    if unit in _DEGREES or unit in {"%", "px", "1/min"}:
        fine = uncertainty is not None and math.isfinite(uncertainty) and uncertainty < 2.0
        return 1 if fine else 0
    return 2


def number_text(value: float, places: int) -> str:
    """Return a number with fixed decimals, a true minus sign, and never a negative zero."""
    text = f"{value:.{places}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def value_text(value: float | None, unit: str, uncertainty: float | None = None) -> str:
    """Return a value with its uncertainty and unit, such as ``47° ± 4°``; empty when missing.

    A count is whole and stands alone.
    """
    if value is None or not math.isfinite(value):
        return ""
    if unit == "count":
        return number_text(value, 0)
    places, suffix = decimals(unit, uncertainty), unit_suffix(unit)
    text = f"{number_text(value, places)}{suffix}"
    if uncertainty is None or not math.isfinite(uncertainty):
        return text
    return f"{text} ± {number_text(uncertainty, places)}{suffix}"


def limit_text(comparison: str, threshold: float, unit: str, unit_words: str = "") -> str:
    """Return a threshold in words, such as ``at most 45°``, without needless decimals.

    ``unit_words`` says what one unit of a ratio is: ``at most 0.12 foot lengths``.
    """
    if unit == "count":
        # A limit between two counts, such as 11.5, says the next one that still meets it.
        threshold = math.ceil(threshold) if comparison == "at least" else math.floor(threshold)
    exact = f"{threshold:.3f}".rstrip("0").rstrip(".")
    if exact in {"-0", ""}:
        exact = "0"
    return f"{comparison} {exact.replace('-', MINUS)}{unit_suffix(unit)} {unit_words}".rstrip()


def seconds_text(value: float | None, places: int = 1) -> str:
    """Return seconds with their unit, or a dash where there is none."""
    if value is None or not math.isfinite(value):
        return "–"
    return f"{number_text(value, places)} s"


def span_text(start_s: float, end_s: float) -> str:
    """Return a stretch of time, such as ``1.2–3.6 s``."""
    return f"{number_text(start_s, 1)}–{number_text(end_s, 1)} s"


def split_notes(notes: Sequence[str]) -> tuple[list[str], list[str]]:
    """Return the notes that everything else hangs on, and the others."""
    first = [note for note in notes if note.startswith(DOUBT)]
    return first, [note for note in notes if note not in first]


def plural(count: int, word: str) -> str:
    """Return a count and its noun: ``1 rep``, ``7 reps``."""
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def numbers_text(numbers: Iterable[int]) -> str:
    """Return rep numbers in order, runs of three or more joined: ``2, 4–6``."""
    parts: list[str] = []
    for first, last in _runs(sorted(set(numbers))):
        if last - first >= 2:
            parts.append(f"{first}–{last}")
        else:
            parts.extend(str(n) for n in range(first, last + 1))
    return ", ".join(parts)


def _runs(numbers: Sequence[int]) -> list[tuple[int, int]]:
    runs: list[tuple[int, int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], number)
        else:
            runs.append((number, number))
    return runs


def reps_text(numbers: Sequence[int], word: str = "rep") -> str:
    """Return ``rep 3`` or ``reps 3, 5``; empty for none."""
    if not numbers:
        return ""
    return f"{word if len(set(numbers)) == 1 else word + 's'} {numbers_text(numbers)}"


def sentence(text: str) -> str:
    """Return a reason as a sentence: first letter a capital, a full stop at its end."""
    text = text.strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def lower_first(text: str) -> str:
    """Return text with its first letter small; an abbreviation keeps its capitals."""
    if len(text) > 1 and not text[1].islower():
        return text
    return text[:1].lower() + text[1:]


def measure_title(measure: str) -> str:
    """Return a measure id as words: ``knee_flexion_left`` becomes ``Knee flexion, left``."""
    base, side = split_side(measure)
    title = base.removesuffix("_ratio").replace("_", " ").strip().capitalize()
    return f"{title}, {side}" if side else title


def split_side(measure: str) -> tuple[str, str]:
    """Return a measure id without its side, and the side (empty when it has none)."""
    for side in ("left", "right"):
        if measure.endswith(f"_{side}"):
            return measure.removesuffix(f"_{side}"), side
    return measure, ""


def worst_verdict(findings: Iterable[Finding]) -> Verdict:
    """Return the verdict to show for several findings, the most urgent of those that hold first.

    A check the camera could not show says nothing about the rep, so it counts only when nothing
    else could be judged either.
    """
    verdicts = {finding.holds for finding in findings}
    for verdict in ("misses", "too close to call", "meets"):
        if verdict in verdicts:
            return verdict
    return "not visible"


@dataclass(frozen=True, slots=True)
class Noun:
    """What the events of a movement are called: singular, plural, their pictures, their middle."""

    one: str
    many: str
    pictured: str
    turn: str


def noun_of(kind: EventKind) -> Noun:
    """Return the words for events of a kind; only repetitions have a turn."""
    if kind == "rep":
        return Noun("rep", "reps", "Each rep at its turn", "turn of the rep")
    return Noun(kind, f"{kind}s", f"Each {kind} in its middle", f"middle of the {kind}")


def event_word(event: Event) -> str:
    """Return what an event is called on paper: ``Rep 3``, ``Stage 2: sitting`` or ``Hold 1, left``.

    Stages are numbered in time order here, so that the number is that of the cues.
    """
    name = f": {lower_first(event.name)}" if event.name else ""
    side = "" if event.side == "both" else f", {event.side}"
    return f"{event.kind.capitalize()} {event.number}{name}{side}"


def describe_corrections(sheets: Iterable[Sheet]) -> tuple[str, ...]:
    """Return a sentence on what was corrected by hand, nothing where nothing was.

    A count that differs from what is seen in the clip needs its reason beside it.
    """
    applied = [c for sheet in sheets for c in sheet.corrections if c.applied and c.kind != "note"]
    if not applied:
        return ()
    verb = "counts" if len(applied) == 1 else "count"
    return (f"{plural(len(applied), 'correction')} by hand {verb}; see the feedback sheet.",)
