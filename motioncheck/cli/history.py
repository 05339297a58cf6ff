"""`motioncheck history`: what is remembered. Heavy packages are imported inside functions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from motioncheck.cli.options import CodeArgument, HistoryOption, VerboseOption
from motioncheck.cli.person import open_existing

if TYPE_CHECKING:
    from motioncheck.records.history import CheckRecord
    from motioncheck.records.result import Sheet

history_app = typer.Typer(help="List, show, back up and expire what was recorded.")


@history_app.command("list")
def list_people(history: HistoryOption = None, verbose: VerboseOption = False) -> None:
    """List the people with their number of sessions and the day of the last one."""
    from motioncheck.cli.listing import print_table

    with open_existing(history) as opened:
        lines = opened.list_person_lines()
    if not lines:
        typer.echo("Nothing yet. Record a check with `motioncheck check CLIP --person CODE`.")
        return
    print_table(
        ("code", "name", "sessions", "checks", "last day"),
        ((x.person.code, x.person.name, x.sessions, x.checks, x.last_day) for x in lines),
    )


@history_app.command("show")
def show(
    code: CodeArgument,
    session: Annotated[str | None, typer.Option("--session", help="Only this session.")] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="Also checks that newer ones replaced.")
    ] = False,
    history: HistoryOption = None,
    verbose: VerboseOption = False,
) -> None:
    """Show the sessions and checks of a person."""
    from motioncheck.cli.listing import print_table

    with open_existing(history) as opened:
        opened.get_person(code)
        checks = opened.checks(code, session, current_only=not everything)
        touched = {(c.clip_sha256, c.movement) for c in opened.corrections(code)}
        corrected = {
            c.id: opened.corrected_sheet(c.id)
            for c in checks
            if (c.clip_sha256, c.movement) in touched
        }
    if not checks:
        typer.echo(f"Nothing is recorded of {code}" + (" in this session." if session else "."))
        return
    print_table(
        ("check", "day", "session", "movement", "seen from", "events", "misses", "clip", ""),
        (_row(c, corrected.get(c.id)) for c in checks),
    )


def _row(check: CheckRecord, corrected: Sheet | None) -> tuple[object, ...]:
    """Return a line about a check; with corrections, the numbers are those that hold."""
    events, misses = check.events, check.misses
    if corrected is not None:
        events = len(corrected.held_events)
        misses = corrected.summary.verdicts.get("misses", 0)
    where = (check.id, check.day, check.session, check.movement, check.view)
    marks = ("corrected" if corrected else "", "" if check.current else "replaced")
    return (*where, events, misses, check.clip, ", ".join(m for m in marks if m))


@history_app.command("backup")
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="New file for the copy.")],
    replace: Annotated[
        bool, typer.Option("--replace", help="Overwrite a file that is there.")
    ] = False,
    history: HistoryOption = None,
    verbose: VerboseOption = False,
) -> None:
    """Copy the history into one file, also while others record.

    The copy is a history itself: use it with --history, or put it in the place of the other one.
    """
    with open_existing(history) as opened:
        opened.backup(file, replace=replace)
    typer.echo(f"Backup: {file}")
