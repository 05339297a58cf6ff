"""What can be asked for about records of people; nothing heavy is imported here."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from motioncheck.cli.options import CodeArgument, HistoryOption, VerboseOption

YesOption = Annotated[bool, typer.Option("--yes", help="Do not ask.")]


def export(
    code: CodeArgument,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="FILE.zip", help="File (default: CODE.zip)."),
    ] = None,
    for_sharing: Annotated[
        bool,
        typer.Option(
            "--for-sharing", help="Leave out name, notes, dates, file names, paths; no clip."
        ),
    ] = False,
    pictures: Annotated[
        bool,
        typer.Option("--pictures", help="With --for-sharing: also stills with covered faces."),
    ] = False,
    history: HistoryOption = None,
    replace: Annotated[bool, typer.Option("--replace", help="Overwrite the file.")] = False,
    verbose: VerboseOption = False,
) -> None:
    """Write all that is held about a person into one file."""
    from motioncheck.cli.privacy_run import run_export

    run_export(
        code, out, for_sharing=for_sharing, pictures=pictures, place=history, replace=replace
    )


def erase(
    code: CodeArgument,
    session: Annotated[
        str | None, typer.Option("--session", help="Only this session; the person stays.")
    ] = None,
    history: HistoryOption = None,
    yes: YesOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Erase all that is held about a person, for good.

    Clips in your own folders, trend pages, group sheets, exports and backups are yours to delete.
    """
    from motioncheck.cli.privacy_run import run_erase

    run_erase(code, session, place=history, yes=yes)


def expire(
    older_than: Annotated[
        int | None,
        typer.Option(
            "--older-than", metavar="DAYS", help="Age of a session (default: as set to keep)."
        ),
    ] = None,
    keep_days: Annotated[
        int | None,
        typer.Option("--keep-days", metavar="DAYS", help="Only remember how long to keep them."),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Only list what would be erased.")
    ] = False,
    history: HistoryOption = None,
    yes: YesOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Erase sessions that are older than they are to be kept."""
    from motioncheck.cli.privacy_run import run_expire

    run_expire(older_than, keep_days, dry_run=dry_run, place=history, yes=yes)
