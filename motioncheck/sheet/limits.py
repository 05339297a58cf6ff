"""What could not be seen and how things were measured, worked out before it is printed."""

from __future__ import annotations

from dataclasses import dataclass

from motioncheck.records import BlindSpot, EventKind, MeasureInfo, Sheet
from motioncheck.sheet.words import decimals, lower_first, number_text, sentence, unit_suffix
from motioncheck.wording import join_words


@dataclass(frozen=True, slots=True)
class Spot:
    """What the camera could not show and is filmed in one way: titles, reasons, how to film."""

    titles: str
    reason: str
    advice: str


@dataclass(frozen=True, slots=True)
class MeasuredRow:
    """How one measure was obtained, in words."""

    title: str
    formula: str
    source: str
    known: str
    corrections: str


def blind_line(sheet: Sheet) -> str:
    """Return in one line what the camera could not show; empty when it showed everything."""
    titles = list(dict.fromkeys(lower_first(b.title) for b in sheet.blind_spots))
    if not titles:
        return ""
    if len(titles) > 4:
        titles = [*titles[:3], f"{len(titles) - 3} more"]
    return f"This camera could not show: {join_words(titles)}."


def blind_spots(sheet: Sheet) -> tuple[Spot, ...]:
    """Return the blind spots, those with the same advice together; no reason is said twice."""
    found: dict[str, list[BlindSpot]] = {}
    for spot in sheet.blind_spots:
        found.setdefault(spot.advice, []).append(spot)
    return tuple(
        Spot(
            "; ".join(spot.title for spot in spots),
            " ".join(dict.fromkeys(sentence(spot.reason) for spot in spots)),
            advice,
        )
        for advice, spots in found.items()
    )


def measured_rows(sheet: Sheet) -> tuple[MeasuredRow, ...]:
    """Return the table of where each measure came from."""
    return tuple(
        MeasuredRow(
            title=m.title,
            formula=f"{m.formula} ({m.sign})",
            source=source_text(m.body_share, sheet.movement.event_kind),
            known=width_text(m),
            corrections="; ".join(m.corrections) or "none",
        )
        for m in sheet.measured
    )


def width_text(measure: MeasureInfo) -> str:
    """Return the usual half-width of a measure, or a dash where it has none."""
    width = measure.half_width
    if width is None:
        return "–"
    number = number_text(width, decimals(measure.unit, width))
    return f"± {number}{unit_suffix(measure.unit)} {measure.unit_words}".rstrip()


def source_text(body_share: float | None, kind: EventKind = "rep") -> str:
    """Say where the values of a measure came from."""
    if body_share is None:
        return f"the times of the {kind}s"
    percent = round(100 * body_share)
    if percent in (0, 100):
        return "fitted body" if percent else "picture"
    return f"picture {100 - percent} %, fitted body {percent} %"
