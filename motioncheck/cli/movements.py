"""`motioncheck movements`: list, explain, validate standards."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from motioncheck.checks.ranges import describe_change, describe_norms
from motioncheck.measures import REGISTRY
from motioncheck.standards import (
    ANYONE,
    Check,
    Standard,
    get_standard,
    load_standard_file,
    load_standards,
)
from motioncheck.wording import with_unit


def print_list(folder: Path | None) -> None:
    """Print id, title, best view and origin of every movement."""
    table = Table(box=None, pad_edge=False)
    for title in ("movement", "what it is", "film from", "from"):
        table.add_column(title, overflow="fold")
    for movement, loaded in load_standards(folder).items():
        standard = loaded.standard
        origin = loaded.path.name if loaded.own else "program"
        table.add_row(
            Text(movement), Text(standard.summary), standard.camera.best_view, Text(origin)
        )
    Console(highlight=False).print(table)


def print_standard(movement: str, folder: Path | None) -> None:
    """Print everything a standard says."""
    loaded = get_standard(movement, folder)
    standard = loaded.standard
    console = Console(highlight=False)
    console.print(Text(standard.title, style="bold"))
    console.print(Text(standard.summary))
    console.print(Text(f"\nHow to film it: {standard.camera.advice}{_say_limit(standard)}"))
    console.print("\nWhat is checked:")
    for check in standard.check:
        console.print(Text(f"  {check.title} [{check.id}]: {describe_check(check)}"))
        console.print(Text(f"      cue: {check.cue}"))
        console.print(Text(f"      source ({check.source_tag}): {check.source}"))
        for text in describe_norms(check.norm, check.unit, ANYONE):
            console.print(Text(f"      usual: {text}"))
    for line in standard.range_of_motion:
        unit = REGISTRY[line.measure].unit
        console.print(Text(f"\nRange of motion, {line.title}: {describe_change(line, unit)}"))
        for text in describe_norms(line.norm, unit, ANYONE):
            console.print(Text(f"  {text}"))
    console.print("\nUsual faults:")
    for fault in standard.faults:
        console.print(Text(f"  {fault}"))
    console.print("\nCautions:")
    for caution in standard.cautions:
        console.print(Text(f"  {caution}"))


def _say_limit(standard: Standard) -> str:
    """Return from where a clip is refused, in a sentence; empty where from nowhere."""
    camera = standard.camera
    if camera.judged_within_deg is None:
        return ""
    return f" More than {camera.judged_within_deg:g}° off the {camera.best_view} a clip is refused."


def describe_check(check: Check) -> str:
    """Return measure, moment, limit and plane of a check in words."""
    spec = REGISTRY[check.measure]
    value = with_unit(check.threshold, check.unit)
    limit = f"{check.comparison} {value} {spec.unit_words}".rstrip()
    clear = (
        f", a clear miss beyond {with_unit(check.clear_miss, check.unit)}"
        if check.clear_miss is not None
        else ""
    )
    switched = "" if check.enabled else " (switched off)"
    return f"{spec.title.lower()} ({check.moment}) {limit}{clear}; plane: {check.plane}{switched}"


def validate_file(path: Path) -> None:
    """Print that a file is valid; raises `StandardError` with every problem otherwise."""
    standard = load_standard_file(path).standard
    count = len(standard.check)
    checks = "1 check" if count == 1 else f"{count} checks"
    Console(highlight=False).print(
        Text(f"{path.name} is a valid standard: {standard.id}, {checks}.")
    )
