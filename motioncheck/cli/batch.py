"""`motioncheck batch`: the options; what it does is in `motioncheck.cli.batch_run`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from motioncheck.cli.options import (
    NoCacheOption,
    ShowFaceOption,
    StandardsOption,
    VerboseOption,
)

EPILOG = (
    "Exit codes: 0 when at least one clip was checked, also when others have no result (the group "
    "sheet says why); 6 when none could be; 130 after Ctrl-C. With --strict: 9 when a rep misses "
    "its standard, else 6 when any clip has no result."
)


def batch(
    places: Annotated[
        list[Path] | None,
        typer.Argument(metavar="FOLDER|CLIP...", help="Folders with clips, or clips."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", help="Folder for all results (default: FOLDERNAME.batch beside it)."
        ),
    ] = None,
    manifest: Annotated[
        Path | None,
        typer.Option(
            "--manifest",
            metavar="FILE.csv",
            help="Table with the columns clip, person, movement, session, day.",
        ),
    ] = None,
    movement: Annotated[
        str | None,
        typer.Option("--movement", "-m", help="Movement of all clips (default: told by itself)."),
    ] = None,
    person: Annotated[
        str, typer.Option("--person", metavar="CODE", help="Whose clips all of them are.")
    ] = "",
    session: Annotated[str, typer.Option("--session", help="Name of the session of all.")] = "",
    day: Annotated[
        str, typer.Option("--day", metavar="YYYY-MM-DD", help="Day of the session of all.")
    ] = "",
    jobs: Annotated[
        int | None,
        typer.Option("--jobs", "-j", min=1, help="Clips at once (default: one a core)."),
    ] = None,
    watch: Annotated[
        bool, typer.Option("--watch", help="Go on as the folder fills; Ctrl-C ends it.")
    ] = False,
    idle_exit: Annotated[
        float | None,
        typer.Option(
            "--idle-exit", metavar="SECONDS", min=0.0, help="With --watch: end when idle so long."
        ),
    ] = None,
    scheduler: Annotated[
        str,
        typer.Option(
            "--scheduler", metavar="tcp://HOST:PORT", help="Work on a Dask cluster instead."
        ),
    ] = "",
    record: Annotated[
        bool, typer.Option("--record", help="Put checks of known people into the history.")
    ] = False,
    history: Annotated[
        str | None,
        typer.Option("--history", metavar="FILE|URL", help="Which history; implies --record."),
    ] = None,
    keep_clip: Annotated[
        bool, typer.Option("--keep-clip", help="With --record: keep copies of the clips.")
    ] = False,
    standards: StandardsOption = None,
    show_face: ShowFaceOption = False,
    no_cache: NoCacheOption = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Also write into a folder with other files.")
    ] = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 9 on a miss, 6 on a clip without result.")
    ] = False,
    verbose: VerboseOption = False,
) -> None:
    """Check many clips and write the group sheet; the same command again goes on.

    Of the folders between FOLDER and a clip, one named like a movement tells
    the movement, the first other one the person, the second other one the
    session. See docs/batch.md.
    """
    from motioncheck.cli.batch_run import BatchCommand, run_command

    code = run_command(
        BatchCommand(
            places=tuple(places or ()),
            out=out,
            manifest=manifest,
            movement=movement,
            person=person,
            session=session,
            day=day,
            jobs=jobs,
            watch=watch,
            idle_exit=idle_exit,
            scheduler=scheduler,
            record=record,
            history=history,
            keep_clip=keep_clip,
            standards=standards,
            show_face=show_face,
            use_cache=not no_cache,
            replace=replace,
            strict=strict,
        )
    )
    if code:
        raise typer.Exit(code)
