"""`motioncheck trend`: the options; what it does is in `motioncheck.cli.trend_run`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from motioncheck.cli.options import CodeArgument, HistoryOption, StandardsOption, VerboseOption


def trend(
    code: CodeArgument,
    measure: Annotated[
        str | None,
        typer.Option("--measure", metavar="ID", help="Only this measure; see docs/measures.md."),
    ] = None,
    movement: Annotated[
        str | None, typer.Option("--movement", "-m", metavar="ID", help="Only this movement.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Folder for the results (default: CODE.trend)."),
    ] = None,
    history: HistoryOption = None,
    note: Annotated[
        bool, typer.Option("--note", help="Also write the progress note, one page to print.")
    ] = False,
    first: Annotated[
        str | None,
        typer.Option("--from", metavar="DAY", help="First day to look at, such as 2026-03-01."),
    ] = None,
    last: Annotated[
        str | None, typer.Option("--to", metavar="DAY", help="Last day to look at.")
    ] = None,
    with_name: Annotated[
        bool,
        typer.Option("--with-name", help="Print name and notes of the person, not the code only."),
    ] = False,
    standards: StandardsOption = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Overwrite the trends of somebody else.")
    ] = False,
    verbose: VerboseOption = False,
) -> None:
    """Show how the measures of one person changed from session to session.

    Needs checks recorded with `motioncheck check CLIP --person CODE`.

    Writes a page with a picture a measure, trend.csv and trend.json.
    It measures; it does not diagnose.
    """
    from motioncheck.cli.trend_run import TrendRequest, run_trend

    run_trend(
        TrendRequest(
            code=code,
            measure=measure,
            movement=movement,
            out=out,
            history=history,
            note=note,
            first=first,
            last=last,
            with_name=with_name,
            standards=standards,
            replace=replace,
        )
    )
