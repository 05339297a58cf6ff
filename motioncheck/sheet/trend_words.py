"""Numbers, days and words of the trend pages, as they are printed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from string import ascii_uppercase
from typing import Final

from motioncheck.records.trend import (
    Change,
    ChangeWord,
    Mdc,
    NormBand,
    SideLine,
    Statistic,
    Trend,
    TrendPoint,
)
from motioncheck.sheet.words import is_number, number_text, unit_suffix

DASH: Final = "–"


PLACES: Final = {"deg": 1, "%": 1, "s": 2, "1/min": 1, "count": 1, "px": 0}


ORIGINS: Final = {
    "own": "own repeat trials",
    "published": "published figure",
    "common practice": "common practice, no source",
    "calibrated": "calibration of this program",
    "": "",
}


_SYMBOLS: Final[dict[ChangeWord, str]] = {
    "changed": "up",
    "no change that this method can see": "close",
    "not comparable": "unseen",
    "no limit": "blank",
    "one session so far": "blank",
}


@dataclass(frozen=True, slots=True)
class WordMark:
    """A word about a change, its mark, and the tone it is printed in."""

    symbol: str
    tone: str
    word: str


def places_of(unit: str) -> int:
    """Return the decimals of a trend: one more than a single value has, for it is an average."""
    return PLACES.get(unit, 2)


def amount(value: float | None, unit: str, *, signed: bool = False, places: int = -1) -> str:
    """Return a number with its unit, a dash when it is not known."""
    if value is None or not is_number(value):
        return DASH
    text = number_text(value, places_of(unit) if places < 0 else places)
    plus = "+" if signed and value > 0 and text.strip("0.") else ""
    return f"{plus}{text}{unit_suffix(unit)}"


def with_band(value: float | None, band: float | None, unit: str) -> str:
    """Return a value with the half-width of its 90 % interval."""
    text = amount(value, unit)
    return text if text == DASH or not is_number(band) else f"{text} ± {amount(band, unit)}"


def statistic_of(line: SideLine) -> Statistic:
    """Return the value of a session that a side is judged and drawn by."""
    if line.changes:
        return line.changes[0].statistic
    return "best" if any(p.best is not None for p in line.points) else "mean"


def value_of(point: TrendPoint, statistic: Statistic) -> float | None:
    """Return the best or the mean of a session."""
    return point.best if statistic == "best" else point.mean


def band_of(point: TrendPoint, statistic: Statistic) -> float | None:
    """Return the half-width of the 90 % interval of the best or the mean of a session."""
    return point.best_uncertainty if statistic == "best" else point.mean_uncertainty


def word_mark(change: Change) -> WordMark:
    """Return mark and words for a change; the direction is said, never only coloured."""
    symbol, tone, word = _SYMBOLS[change.word], "plain", str(change.word)
    if change.word == "changed":
        tone = {True: "good", False: "bad", None: "same"}[change.better]
        if change.difference is not None and change.difference < 0:
            symbol = "down"
        if change.better is not None:
            word += ", for the better" if change.better else ", for the worse"
    return WordMark(symbol, tone, word)


def change_texts(change: Change, unit: str) -> tuple[str, str]:
    """Return difference and limit, with as many decimals as it takes to see which is larger."""
    if change.difference is None or change.needed is None:
        return amount(change.difference, unit, signed=True), amount(change.needed, unit)
    places = places_of(unit)
    same = [round(abs(v), places) for v in (change.difference, change.needed)]
    if same[0] == same[1]:
        places += 1
    return (
        amount(change.difference, unit, signed=True, places=places),
        amount(change.needed, unit, places=places),
    )


def day_text(day: str) -> str:
    """Return a day as ``2 Mar 2026``; text that is no day stays as it is."""
    try:
        known = date.fromisoformat(day)
    except ValueError:
        return day
    return f"{known.day} {MONTHS[known.month - 1]} {known.year}"


MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def span_of(first: str, last: str) -> str:
    """Return two days as a span; one day where they are the same."""
    return day_text(first) if first == last else f"{day_text(first)} to {day_text(last)}"


def side_text(line: SideLine) -> str:
    """Return the side of a line, empty where it has none."""
    return "" if line.side == "both" else str(line.side)


def letter_of(segment: int) -> str:
    """Return the letter of a stretch: A to Z, then AA."""
    letters = ""
    number = segment + 1
    while number > 0:
        number, rest = divmod(number - 1, 26)
        letters = ascii_uppercase[rest] + letters
    return letters


def norm_text(norm: NormBand, unit: str) -> str:
    """Return usual values in words, with their source."""
    span = norm_span(norm, unit)
    return f"{span[0].upper()}{span[1:]}. {norm.text}" if span else norm.text


def norm_span(norm: NormBand, unit: str) -> str:
    """Return the edges of a band, empty when it has none."""
    if norm.low is None and norm.high is None:
        return ""
    if norm.low is None:
        return f"up to {amount(norm.high, unit)}"
    if norm.high is None:
        return f"from {amount(norm.low, unit)}"
    return f"{amount(norm.low, unit)} to {amount(norm.high, unit)}"


def mdc_of(trend: Trend, line: SideLine) -> Mdc:
    """Return the minimal detectable change that a side is judged by."""
    own = line.mdc_best if statistic_of(line) == "best" else line.mdc_mean
    return trend.mdc if own is None else own


def mdc_lines(trend: Trend) -> list[tuple[str, str]]:
    """Return side and text of each limit; one without a side where the sides share it."""
    texts = {side_text(line): mdc_text(mdc_of(trend, line), trend.unit) for line in trend.lines}
    if len(set(texts.values())) <= 1:
        return [("", next(iter(texts.values()), mdc_text(trend.mdc, trend.unit)))]
    return list(texts.items())


def mdc_text(mdc: Mdc, unit: str) -> str:
    """Return the minimal detectable change and where it is from."""
    if mdc.value is None:
        return mdc.text
    size = amount(mdc.value, unit)
    text = mdc.text if mdc.text.startswith(size) else f"{size}. {mdc.text}".strip()
    return f"{ORIGINS[mdc.origin]}: {text}" if mdc.origin else text
