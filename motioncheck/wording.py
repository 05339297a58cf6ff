"""Numbers in words: units and rounding as printed for people."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence

MINUS = "\N{MINUS SIGN}"
# How many names are proposed for one that is not known.
MOST_ALIKE = 5


def with_unit(value: float, unit: str, *, digits: int = 0) -> str:
    """Return a number with its unit, rounded to what the measure can carry.

    Degrees, rates and per cent are whole unless ``digits`` asks for decimals, ratios and seconds
    have two decimals.
    """
    if unit == "deg":
        return f"{_fixed(value, digits)}°"
    if unit == "1/min":
        return f"{_fixed(value, digits)}/min"
    if unit == "%":
        return f"{_fixed(value, digits)} %"
    if unit == "s":
        return f"{value:.2f} s"
    if unit == "count":
        return _fixed(value, digits)
    return _fixed(value, 2)


def _fixed(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    return (text.lstrip("-") if float(text) == 0.0 else text).replace("-", MINUS)


def join_words(words: Sequence[str], last: str = "and") -> str:
    """Return words as a spoken list: ``a, b and c``."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def find_alike(name: str, names: Iterable[str]) -> list[str]:
    """Return the names that may be meant by one that is not known, five at most.

    First those that hold it, then those written about alike. Capitals do not count, and blanks,
    hyphens and underscores are the same.
    """
    known = {_plain(n): n for n in names}
    wanted = _plain(name)
    if not wanted:
        return []
    found = [n for n in known if wanted in n]
    found += difflib.get_close_matches(wanted, known, n=MOST_ALIKE, cutoff=0.75)
    return [known[n] for n in dict.fromkeys(found)][:MOST_ALIKE]


def _plain(name: str) -> str:
    return " ".join(name.lower().replace("_", " ").replace("-", " ").split())


def list_reps(numbers: Sequence[int], noun: str = "rep") -> str:
    """Return ``rep 2`` or ``reps 2, 4 and 5``; runs of three or more become ``2 to 4``."""
    if not numbers:
        return f"no {noun}"
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words = []
    for run in runs:
        words += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(n) for n in run]
    return (f"{noun} " if len(numbers) == 1 else f"{noun}s ") + join_words(words)
