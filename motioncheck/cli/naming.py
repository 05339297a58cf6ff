"""What `motioncheck check` says about the movement when nobody named it."""

from __future__ import annotations

import json
from dataclasses import asdict

from rich.console import Console
from rich.table import Table
from rich.text import Text

from motioncheck.naming import OTHER, Stretch
from motioncheck.pipeline import Naming

NAMED_SCHEMA = "motioncheck/naming/1"


def report_naming(naming: Naming) -> None:
    """Say which movement it is, or show what was found when it is not one."""
    decision = naming.decision
    if decision.movement:
        title = naming.titles[decision.movement].lower()
        print(f"Named by itself: {title} ({_percent(decision.confidence)} sure)")
    elif any(s.movement != OTHER for s in naming.stretches):
        print_stretches(naming)


def print_stretches(naming: Naming) -> None:
    """Print when which movement is done; say so where none was recognised."""
    if not naming.stretches:
        print("No movement was recognised in this clip.")
        return
    table = Table(box=None, pad_edge=False)
    for title, side in (
        ("from", "right"),
        ("to", "right"),
        ("movement", "left"),
        ("sure", "right"),
        ("next likely", "left"),
    ):
        table.add_column(title, justify="right" if side == "right" else "left")
    for stretch in naming.stretches:
        table.add_row(*(Text(cell) for cell in _row(stretch)))
    Console(highlight=False).print(table)


def _row(stretch: Stretch) -> tuple[str, str, str, str, str]:
    times = (f"{stretch.start_s:.1f} s", f"{stretch.end_s:.1f} s")
    if stretch.movement == OTHER:
        return (*times, OTHER, "", "")
    return (*times, stretch.movement, _percent(stretch.confidence), stretch.runner_up)


def naming_to_json(naming: Naming) -> str:
    """Return the stretches and the decision as JSON."""
    content = {
        "schema": NAMED_SCHEMA,
        "stretches": [asdict(stretch) for stretch in naming.stretches],
        "decision": asdict(naming.decision),
    }
    return json.dumps(content, indent=1)


def _percent(share: float) -> str:
    """Certainty is never more than 99 %."""
    return f"{min(99, round(100 * share))} %"
