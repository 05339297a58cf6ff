"""The pages of ``docs/`` about standards: each check, range of motion and norm in Markdown."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from motioncheck.checks.ranges import describe_change, describe_norms
from motioncheck.measures import REGISTRY
from motioncheck.standards import (
    ANYONE,
    Check,
    CycleSplit,
    HoldSplit,
    Judgement,
    Norm,
    Range,
    Standard,
    Window,
)
from motioncheck.wording import join_words


def describe_standard(standard: Standard) -> str:
    """Return the section of one movement."""
    blocks = [
        f"## {standard.title}",
        f"`{standard.id}`. {standard.summary}",
        _describe_camera(standard),
        *_describe_split(standard),
        *(_describe_check(check) for check in standard.check),
        *(_describe_range(line) for line in standard.range_of_motion),
        "### Usual faults: " + standard.title,
        make_bullets(standard.faults),
        "### Cautions: " + standard.title,
        make_bullets(standard.cautions),
    ]
    return "\n\n".join(blocks)


def _describe_camera(standard: Standard) -> str:
    camera = standard.camera
    text = f"**Camera:** best from the {camera.best_view}. {camera.advice}"
    if camera.judged_within_deg is None:
        return text
    return f"{text} More than {camera.judged_within_deg:g}° off that a clip is refused."


def _describe_split(standard: Standard) -> list[str]:
    split = standard.split
    smoothed = f"Landmarks are smoothed at {standard.cutoff_hz:g} Hz."
    if isinstance(split, CycleSplit):
        reach = "" if split.reach is None else f" that comes to {split.reach:g}"
        return [
            f"**A rep** is a change of `{split.signal}`{reach} by at least {split.min_change:g}, "
            f"at least {split.min_time_s:g} s from turn to turn of one side, at most "
            f"{split.max_time_s:g} s long. Phases: {', '.join(split.phases)}. {smoothed}"
        ]
    if isinstance(split, HoldSplit):
        return [
            f"**A hold** keeps {join_words([f'`{a}`' for a in split.angles])} within "
            f"{split.tolerance_deg:g}° of their running median and the hips slower than "
            f"{100 * split.max_speed:g} % of stature a second, for at least "
            f"{split.min_time_s:g} s, in this position: {smoothed}",
            make_bullets([describe_window(w) for w in split.position]),
        ]
    return [
        f"**A stage** is held for at least {split.min_time_s:g} s; the working side is that on "
        f"which `{split.side_from}` is {split.side_is}. {smoothed}",
        make_table(
            ("", "Stage", "Told by"),
            [
                (str(n), stage.name, "; ".join(describe_window(w) for w in stage.window))
                for n, stage in enumerate(split.stage, start=1)
            ],
        ),
    ]


def describe_window(window: Window) -> str:
    """Return a window of a pose in words."""
    side = "" if window.side == "none" else f" ({window.side})"
    limits = [
        f"{word} {value:g}"
        for word, value in (("at least", window.at_least), ("at most", window.at_most))
        if value is not None
    ]
    return f"`{window.measure}`{side} {' and '.join(limits)}"


def _describe_check(check: Check) -> str:
    switched = "" if check.enabled else " (switched off)"
    header: tuple[str, ...]
    header = (
        "Measure",
        "Moment",
        "Side",
        "Comparison",
        "Threshold",
        "Clear miss",
        "Bears",
        "Plane",
    )
    rows = [_judgement_row(judgement) for judgement in (check, *check.instead)]
    if check.instead:
        header = ("", *header)
        names = ("first choice", *("if that is known too badly" for _ in check.instead))
        rows = [(name, *row) for name, row in zip(names, rows, strict=True)]
    scope = {"rep": "each rep", "set": "the set", "sides": "left against right over the set"}
    return "\n\n".join(
        (
            f"### {check.title}{switched}",
            f"`{check.id}`, judged for {scope[check.scope]}.",
            make_table(header, rows),
            f"Cue: “{check.cue}” Praise: “{check.praise}”",
            f"Source ({check.source_tag}): {check.source}",
            *_list_norms(check.norm, check.unit),
        )
    )


def _describe_range(line: Range) -> str:
    unit = REGISTRY[line.measure].unit
    parts = [
        f"### {line.title}, best and mean of three",
        f"`{line.measure}` at {line.moment}; the best trial is the {line.best} one. "
        + describe_change(line, unit),
        *_list_norms(line.norm, unit),
    ]
    return "\n\n".join(parts)


def _list_norms(norms: Sequence[Norm], unit: str) -> list[str]:
    if not norms:
        return []
    return ["What is usual:", make_bullets(describe_norms(norms, unit, ANYONE))]


def _judgement_row(judgement: Judgement) -> tuple[str, ...]:
    clear = judgement.clear_miss
    return (
        f"`{judgement.measure}`" + (", whatever its sign" if judgement.absolute else ""),
        judgement.moment,
        judgement.side,
        judgement.comparison,
        make_limit(judgement.threshold, judgement.unit),
        "none" if clear is None else make_limit(clear, judgement.unit),
        f"± {make_limit(judgement.bearable, judgement.unit)}",
        judgement.plane,
    )


def make_limit(number: float, unit: str) -> str:
    """Return a number with its unit, as a standard has it."""
    return make_signed(number) + {"deg": "°", "1/min": " a minute", "%": " %", "s": " s"}.get(
        unit, ""
    )


def make_bullets(lines: Sequence[str]) -> str:
    """Return a list in Markdown."""
    return "\n".join(f"- {line}" for line in lines)


def make_table(
    header: Sequence[str], rows: Iterator[Sequence[str]] | Sequence[Sequence[str]]
) -> str:
    """Return a table in Markdown."""
    lines = [_row(header), _row(["---"] * len(header))]
    lines += [_row(row) for row in rows]
    return "\n".join(lines)


def _row(cells: Sequence[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def make_signed(number: float) -> str:
    """Return a number with a true minus sign."""
    return f"{number:g}".replace("-", "−")
