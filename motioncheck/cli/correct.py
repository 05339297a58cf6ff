"""`motioncheck correct`: the options; what it does is in `motioncheck.cli.correct_run`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from motioncheck.cli.options import HistoryOption, VerboseOption
from motioncheck.errors import UsageError

AUTHOR = "MOTIONCHECK_AUTHOR"

correct_app = typer.Typer(
    help="Correct what a check found: strike or add a rep, change a verdict, note why. "
    "What was measured stays beside it.",
    no_args_is_help=True,
)

ClipArgument = Annotated[
    str,
    typer.Argument(
        metavar="CLIP", help="The clip, or the number of its check in `motioncheck history show`."
    ),
]
NumberArgument = Annotated[
    int, typer.Argument(metavar="REP", min=1, help="Its number on the sheet.")
]
ByOption = Annotated[
    str | None,
    typer.Option(
        "--by", metavar="WHO", help=f"Who corrects; a code or a name (default: ${AUTHOR})."
    ),
]
WhyOption = Annotated[str, typer.Option("--why", metavar="TEXT", help="Why, in a few words.")]
MovementOption = Annotated[
    str | None,
    typer.Option(
        "--movement", "-m", help="Movement, where the clip was checked for more than one."
    ),
]
SideOption = Annotated[
    str, typer.Option("--side", metavar="left|right|both", help="Side of the person.")
]
StandardsOption = Annotated[
    Path | None,
    typer.Option(
        "--standards",
        envvar="MOTIONCHECK_STANDARDS",
        help="Folder with your own standards, where the clip was checked with one of them.",
    ),
]


def require_author(by: str | None) -> str:
    """Return who corrects; raises `UsageError` when nobody is named."""
    import os

    author = (os.environ.get(AUTHOR, "") if by is None else by).strip()
    if not author:
        raise UsageError(
            "Expected who corrects, found nobody named.",
            hint=f"Say --by WHO, or set {AUTHOR} once for all.",
        )
    return author


@correct_app.command("strike")
def strike(
    clip: ClipArgument,
    rep: NumberArgument,
    by: ByOption = None,
    why: WhyOption = "",
    movement: MovementOption = None,
    history: HistoryOption = None,
    standards: StandardsOption = None,
    verbose: VerboseOption = False,
) -> None:
    """Strike a rep that is none; it stays on the sheet, crossed out, and counts nowhere."""
    from motioncheck.cli.correct_find import Target
    from motioncheck.cli.correct_run import run_strike

    run_strike(Target(clip, movement, history, standards), require_author(by), why, number=rep)


@correct_app.command("add")
def add(
    clip: ClipArgument,
    at: Annotated[
        float, typer.Option("--at", metavar="SECONDS", help="When its turn is, in the clip.")
    ],
    start: Annotated[
        float | None, typer.Option("--from", metavar="SECONDS", help="When it begins.")
    ] = None,
    end: Annotated[
        float | None, typer.Option("--to", metavar="SECONDS", help="When it ends.")
    ] = None,
    side: SideOption = "both",
    by: ByOption = None,
    why: WhyOption = "",
    movement: MovementOption = None,
    history: HistoryOption = None,
    standards: StandardsOption = None,
    verbose: VerboseOption = False,
) -> None:
    """Add a rep that was not found; it counts, and has no measured values."""
    from motioncheck.cli.correct_find import Target
    from motioncheck.cli.correct_run import run_add

    run_add(
        Target(clip, movement, history, standards),
        require_author(by),
        why,
        at_s=at,
        span_s=(start, end),
        side=side,
    )


@correct_app.command("verdict")
def verdict(
    clip: ClipArgument,
    rep: Annotated[
        str,
        typer.Argument(metavar="REP|set", help="Its number on the sheet; `set` for the whole set."),
    ],
    check: Annotated[str, typer.Argument(metavar="CHECK", help="Id or title of the check.")],
    ruling: Annotated[
        str,
        typer.Argument(
            metavar="VERDICT", help="meets, misses, 'too close to call' or 'not visible'."
        ),
    ],
    side: SideOption = "both",
    by: ByOption = None,
    why: WhyOption = "",
    movement: MovementOption = None,
    history: HistoryOption = None,
    standards: StandardsOption = None,
    verbose: VerboseOption = False,
) -> None:
    """Change the verdict of one check of one rep; the measured one stays beside it."""
    from motioncheck.cli.correct_find import Target
    from motioncheck.cli.correct_run import run_verdict

    run_verdict(
        Target(clip, movement, history, standards),
        require_author(by),
        why,
        number=rep,
        check=check,
        ruling=ruling,
        side=side,
    )


@correct_app.command("note")
def note(
    clip: ClipArgument,
    rep: Annotated[
        int | None, typer.Argument(metavar="[REP]", min=1, help="Its number on the sheet.")
    ] = None,
    by: ByOption = None,
    why: WhyOption = "",
    movement: MovementOption = None,
    history: HistoryOption = None,
    standards: StandardsOption = None,
    verbose: VerboseOption = False,
) -> None:
    """Note something about a rep, or about the set, with --why; nothing is counted anew."""
    from motioncheck.cli.correct_find import Target
    from motioncheck.cli.correct_run import run_note

    run_note(Target(clip, movement, history, standards), require_author(by), why, number=rep)


@correct_app.command("list")
def list_all(
    clip: Annotated[
        str | None,
        typer.Argument(metavar="[CLIP]", help="Only those of this clip or check."),
    ] = None,
    withdrawn: Annotated[
        bool, typer.Option("--all", help="Also those that were withdrawn.")
    ] = False,
    movement: MovementOption = None,
    history: HistoryOption = None,
    standards: StandardsOption = None,
    verbose: VerboseOption = False,
) -> None:
    """List the corrections on record, with their numbers."""
    from motioncheck.cli.correct_find import Target
    from motioncheck.cli.correct_run import run_list

    run_list(Target(clip or "", movement, history, standards), withdrawn=withdrawn)


@correct_app.command("withdraw")
def withdraw(
    number: Annotated[int, typer.Argument(min=1, help="Number of the correction.")],
    by: ByOption = None,
    history: HistoryOption = None,
    standards: StandardsOption = None,
    verbose: VerboseOption = False,
) -> None:
    """Take a correction back; it stays on record as withdrawn."""
    from motioncheck.cli.correct_find import Target
    from motioncheck.cli.correct_run import run_withdraw

    run_withdraw(Target("", None, history, standards), require_author(by), number)
