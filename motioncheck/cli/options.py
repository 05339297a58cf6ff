"""Options and arguments that several commands share, so that they are called and explained alike.

Nothing heavy is imported here: the help of every command needs it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

StandardsOption = Annotated[
    Path | None,
    typer.Option(
        "--standards",
        envvar="MOTIONCHECK_STANDARDS",
        help="Folder with your own standards; they add to or override those of the program.",
    ),
]
ShowFaceOption = Annotated[
    bool, typer.Option("--show-face", help="Do not cover faces in pictures.")
]
NoCacheOption = Annotated[
    bool, typer.Option("--no-cache", help="Neither use nor keep landmarks between checks.")
]
VerboseOption = Annotated[bool, typer.Option("--verbose", "-v", help="Show details of errors.")]
AgeOption = Annotated[
    int | None,
    typer.Option("--age", metavar="YEARS", help="Age, for the usual values that are shown."),
]
SexOption = Annotated[
    str | None,
    typer.Option("--sex", metavar="female|male", help="Sex, for the usual values likewise."),
]
HistoryOption = Annotated[
    str | None,
    typer.Option(
        "--history",
        metavar="FILE|URL",
        envvar="MOTIONCHECK_HISTORY",
        help="File or URL of the history (default: in your data folder).",
        show_default=False,
        show_envvar=True,
    ),
]
SessionOption = Annotated[
    str | None,
    typer.Option("--session", metavar="NAME", help="Session of the person (default: the day)."),
]
DayOption = Annotated[
    str | None,
    typer.Option("--day", metavar="YYYY-MM-DD", help="Day it was filmed (default: today)."),
]
KeepClipOption = Annotated[
    bool, typer.Option("--keep-clip", help="Also keep a copy of the clip beside the history.")
]
CodeArgument = Annotated[
    str, typer.Argument(metavar="CODE", help="Code of the person, such as seat3; not the name.")
]
