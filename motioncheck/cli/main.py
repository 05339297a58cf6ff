"""The command line: `motioncheck`. Heavy packages are imported by the commands that need them."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from motioncheck import __version__
from motioncheck.cli.batch import EPILOG, batch
from motioncheck.cli.correct import correct_app
from motioncheck.cli.history import history_app
from motioncheck.cli.options import (
    AgeOption,
    DayOption,
    HistoryOption,
    KeepClipOption,
    NoCacheOption,
    SessionOption,
    SexOption,
    ShowFaceOption,
    StandardsOption,
    VerboseOption,
)
from motioncheck.cli.person import person_app
from motioncheck.cli.privacy import erase, expire, export
from motioncheck.cli.trend import trend

# What shells expect of a program that was stopped by Ctrl-C: 128 + the number of the signal.
STOPPED = 130

app = typer.Typer(
    help="Checks exercise movement rep by rep from an ordinary phone clip, on this machine only.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    epilog=(
        "Exit codes: 0 checked, 2 usage, 3 clip unreadable, 4 standard or plan invalid, "
        "5 missing part, 6 nothing measurable, 7 history, 8 output, 9 a miss with --strict. "
        "It measures; it does not diagnose."
    ),
)
movements_app = typer.Typer(
    help="List, explain and validate the standards of movements.",
    invoke_without_command=True,
)
app.add_typer(movements_app, name="movements")
app.add_typer(correct_app, name="correct")
app.add_typer(history_app, name="history")
app.add_typer(person_app, name="person")
person_app.command("export")(export)
person_app.command("erase")(erase)
history_app.command("expire")(expire)
app.command("batch", epilog=EPILOG)(batch)
app.command("trend")(trend)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"motioncheck {__version__}")
        raise typer.Exit


@app.callback()
def main_options(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version."),
    ] = False,
) -> None:
    """Check movement from phone clips."""


# ``readable=False``: the commands themselves say that a file may not be read, with their own code.
@app.command()
def check(
    clip: Annotated[
        Path, typer.Argument(help="Video file: one person, whole body, one set.", readable=False)
    ],
    movement: Annotated[
        str | None,
        typer.Option(
            "--movement",
            "-m",
            help="Movement; see `motioncheck movements`. Left out, the program names it itself.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Folder for the results (default: CLIPNAME.check)."),
    ] = None,
    annotated: Annotated[
        bool, typer.Option("--annotated", help="Also write the clip with the measures drawn in.")
    ] = False,
    compare: Annotated[
        bool, typer.Option("--compare", help="Also write a page that compares the sources.")
    ] = False,
    athlete: Annotated[
        str | None,
        typer.Option("--athlete", metavar="X,Y", help="Where the athlete is in the first frame."),
    ] = None,
    show_face: ShowFaceOption = False,
    keep_track: Annotated[
        Path | None,
        typer.Option("--keep-track", metavar="FILE.npz", help="Save the raw landmarks."),
    ] = None,
    track: Annotated[
        Path | None,
        typer.Option("--track", metavar="FILE.npz", help="Use landmarks saved before."),
    ] = None,
    standards: StandardsOption = None,
    age: AgeOption = None,
    sex: SexOption = None,
    person: Annotated[
        str | None,
        typer.Option("--person", metavar="CODE", help="Record the check for this person."),
    ] = None,
    session_name: SessionOption = None,
    day: DayOption = None,
    history: HistoryOption = None,
    keep_clip: KeepClipOption = False,
    no_cache: NoCacheOption = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Overwrite results of another clip.")
    ] = False,
    name_only: Annotated[
        bool, typer.Option("--name-only", help="Only say which movements it shows, and when.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="With --name-only: as JSON.")] = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with code 9 when a rep misses the standard.")
    ] = False,
    verbose: VerboseOption = False,
) -> None:
    """Check one clip and write the feedback sheet.

    Stop at sharp or rising pain, chest pain, dizziness or numbness.
    """
    from motioncheck.cli.check import CheckRequest, require_named, run_check, run_name_only
    from motioncheck.cli.recording import RecordRequest

    request = CheckRequest(
        clip=clip,
        movement=movement,
        out=out,
        annotated=annotated,
        compare=compare,
        athlete=athlete,
        show_face=show_face,
        keep_track=keep_track,
        track=track,
        standards=standards,
        use_cache=not no_cache,
        replace=replace,
        age=age,
        sex=sex,
        record=RecordRequest(person, session_name, day, history, keep_clip),
    )
    require_named(request, name_only=name_only, as_json=as_json)
    if name_only:
        run_name_only(request, as_json=as_json)
        return
    misses = run_check(request)
    _end_strictly(strict=strict, misses=misses)


@app.command()
def session(
    plan: Annotated[
        Path, typer.Argument(help="Plan of the session (TOML); see docs/plans.md.", readable=False)
    ],
    clips: Annotated[
        list[Path],
        typer.Argument(
            help="Clips in the order they were filmed, or sheet.json files of checks.",
            readable=False,
        ),
    ],
    movement: Annotated[
        list[str] | None,
        typer.Option(
            "--movement", "-m", metavar="CLIP=ID", help="Movement of a clip; may be repeated."
        ),
    ] = None,
    begins: Annotated[
        list[str] | None,
        typer.Option(
            "--begins", metavar="CLIP=SECONDS", help="When a clip begins on the session's clock."
        ),
    ] = None,
    start: Annotated[
        float | None,
        typer.Option(
            "--start",
            metavar="SECONDS",
            help="When the clock of the first circuit starts, in its clip (default: first rep).",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Folder for the results (default: PLANNAME.session)."),
    ] = None,
    person: Annotated[
        str,
        typer.Option(
            "--person", help="Who it is, printed on the sheet; with a code, it is recorded."
        ),
    ] = "",
    session_name: SessionOption = None,
    day: DayOption = None,
    history: HistoryOption = None,
    keep_clip: KeepClipOption = False,
    athlete: Annotated[
        list[str] | None,
        typer.Option(
            "--athlete", metavar="CLIP=X,Y", help="Where the athlete is in a clip; may be repeated."
        ),
    ] = None,
    age: AgeOption = None,
    sex: SexOption = None,
    show_face: ShowFaceOption = False,
    standards: StandardsOption = None,
    no_cache: NoCacheOption = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Overwrite results of another session.")
    ] = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with code 9 when a rep misses its standard.")
    ] = False,
    verbose: VerboseOption = False,
) -> None:
    """Lay the clips of a session against its plan and write the session sheet.

    Stop at sharp or rising pain, chest pain, dizziness or numbness.
    """
    from motioncheck.cli.session import SessionCommand, run_command

    misses = run_command(
        SessionCommand(
            plan=plan,
            clips=tuple(clips),
            movements=tuple(movement or ()),
            begins=tuple(begins or ()),
            start_s=start,
            out=out,
            person=person,
            show_face=show_face,
            standards=standards,
            use_cache=not no_cache,
            replace=replace,
            athletes=tuple(athlete or ()),
            age=age,
            sex=sex,
            session=session_name,
            day=day,
            history=history,
            keep_clip=keep_clip,
        )
    )
    _end_strictly(strict=strict, misses=misses)


def _end_strictly(*, strict: bool, misses: bool) -> None:
    if strict and misses:
        from motioncheck.errors import STRICT_MISS_CODE

        raise typer.Exit(STRICT_MISS_CODE)


@movements_app.callback()
def movements(context: typer.Context, standards: StandardsOption = None) -> None:
    """List the movements that can be checked."""
    context.obj = standards
    if context.invoked_subcommand is None:
        from motioncheck.cli.movements import print_list

        print_list(standards)


@movements_app.command("show")
def show(
    context: typer.Context,
    movement: Annotated[str, typer.Argument(help="Movement id.")],
    standards: StandardsOption = None,
) -> None:
    """Explain one movement: how to film it, what is checked, and the cautions."""
    from motioncheck.cli.movements import print_standard

    print_standard(movement, standards or context.obj)


@movements_app.command("validate")
def validate(
    file: Annotated[Path, typer.Argument(help="Standard to check (TOML).")],
) -> None:
    """Check that a file is a valid standard, and say everything that is wrong with it."""
    from motioncheck.cli.movements import validate_file

    validate_file(file)


def run() -> None:
    """Run the program; turns errors into one sentence and a documented exit code."""
    from motioncheck.errors import MotionCheckError

    verbose = any(a in ("-v", "--verbose") for a in sys.argv[1:])
    if verbose:
        import logging

        logging.basicConfig(level=logging.INFO, stream=sys.stderr)
    try:
        app()
    except MotionCheckError as error:
        _show_trace(verbose)
        _complain(str(error))
        raise SystemExit(error.exit_code) from None
    except (KeyboardInterrupt, SystemExit) as end:
        # The command line library turns Ctrl-C into this code, without a word.
        if isinstance(end, SystemExit) and end.code != STOPPED:
            raise
        typer.echo("motioncheck: stopped; nothing was written.", err=True)
        raise SystemExit(STOPPED) from None
    except Exception as error:
        _show_trace(verbose)
        what = f"{type(error).__name__}: {error}".rstrip(": ")
        advice = MotionCheckError.default_hint
        _complain(f"Something unexpected went wrong ({what}). {advice}")
        raise SystemExit(MotionCheckError.exit_code) from None


def _complain(text: str) -> None:
    """Print an error; names of files in it must not move the cursor or change the screen."""
    plain = "".join(c if c.isprintable() or c == "\n" else " " for c in text)
    typer.echo(f"motioncheck: {plain}", err=True)


def _show_trace(wanted: bool) -> None:
    if wanted:
        import traceback

        traceback.print_exc()


if __name__ == "__main__":
    run()
