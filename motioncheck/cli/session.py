"""`motioncheck session`: lay clips against a plan, write the session sheet, print the summary."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from rich.console import Console

from motioncheck.cli.check import parse_person, parse_point
from motioncheck.cli.progress import ProgressLine
from motioncheck.cli.recording import complete_person, require_history
from motioncheck.cli.session_recording import SessionRecorder, request_for
from motioncheck.errors import UsageError
from motioncheck.pipeline.options import CheckOptions, default_cache
from motioncheck.pipeline.session import (
    ClipInput,
    SessionRequest,
    default_session_folder,
    run_session,
)
from motioncheck.records.session import SessionSheet
from motioncheck.sheet.session_write import SESSION_HTML
from motioncheck.sheet.words import lower_first
from motioncheck.sheet.write import require_place


@dataclass(frozen=True, slots=True)
class SessionCommand:
    """What was asked for on the command line."""

    plan: Path
    clips: tuple[Path, ...]
    movements: tuple[str, ...]
    begins: tuple[str, ...]
    start_s: float | None
    out: Path | None
    person: str
    show_face: bool
    standards: Path | None
    use_cache: bool
    replace: bool
    athletes: tuple[str, ...] = ()
    age: int | None = None
    sex: str | None = None
    session: str | None = None
    day: str | None = None
    history: str | None = None
    keep_clip: bool = False


def run_command(command: SessionCommand) -> bool:
    """Run a session and print its summary; return True when something misses its standard."""
    if command.start_s is not None and not 0.0 <= command.start_s < float("inf"):
        raise UsageError(f"Expected --start in seconds, 0 or more; found {command.start_s:g}.")
    folder = command.out or default_session_folder(command.plan, command.clips[0])
    require_place(folder)
    record = request_for(
        command.person,
        command.session,
        command.day,
        command.history,
        keep_clip=command.keep_clip,
    )
    known = require_history(record)
    who = parse_person(command.age, command.sex)
    clips = name_clips(command.clips, command.movements, command.begins)
    request = SessionRequest(
        plan=command.plan,
        clips=point_at_athletes(clips, command.athletes),
        folder=folder,
        options=CheckOptions(
            standards_folder=command.standards,
            cache_folder=default_cache() if command.use_cache else None,
            show_face=command.show_face,
            person=complete_person(who, known, record),
        ),
        start_s=command.start_s,
        replace=command.replace,
        person=command.person,
    )
    recorder = SessionRecorder(record, command.standards)
    with ProgressLine() as progress:
        sheet = run_session(
            request, split=recorder.split, on_progress=progress, on_written=recorder.place
        )
    print_session(sheet, folder)
    for line in recorder.record(request.clips, plan=command.plan):
        print(line)
    return any(total.tally.missed for total in sheet.totals)


def point_at_athletes(
    clips: tuple[ClipInput, ...], athletes: tuple[str, ...]
) -> tuple[ClipInput, ...]:
    """Put ``CLIP=X,Y`` to the clips, as `name_clips` does; raises as `name_clips`."""
    paths = tuple(clip.path for clip in clips)
    points = {}
    for text in athletes:
        path, where = _of_clip(text, "--athlete", "X,Y", paths)
        points[path] = parse_point(where)
    return tuple(replace(clip, athlete_px=points.get(clip.path)) for clip in clips)


def name_clips(
    paths: tuple[Path, ...], movements: tuple[str, ...], begins: tuple[str, ...]
) -> tuple[ClipInput, ...]:
    """Put the options of single clips to their clips.

    Parameters
    ----------
    paths : tuple of Path
    movements, begins : tuple of str
        ``CLIP=ID`` and ``CLIP=SECONDS``; CLIP is the path as it was given, or the file name.

    Raises
    ------
    UsageError
        If one is not of this form, or names no clip or more than one; or if a clip begins before
        one that was given before it.
    """
    ids: dict[Path, list[str]] = {path: [] for path in paths}
    for text in movements:
        path, movement = _of_clip(text, "--movement", "ID", paths)
        if movement not in ids[path]:
            ids[path].append(movement)
    places: dict[Path, float] = {}
    for text in begins:
        path, seconds = _of_clip(text, "--begins", "SECONDS", paths)
        try:
            places[path] = float(seconds)
        except ValueError:
            places[path] = float("nan")
        if not abs(places[path]) < float("inf"):
            raise UsageError(
                f"Expected --begins CLIP=SECONDS, found {text!r}.",
                hint="Example: --begins seat3_squats.mp4=240",
            )
    _require_order(paths, places)
    return tuple(ClipInput(path, tuple(ids[path]), places.get(path)) for path in paths)


def _require_order(paths: tuple[Path, ...], places: dict[Path, float]) -> None:
    """Raise `UsageError` when clips do not begin in the order in which they are given."""
    placed = [path for path in paths if path in places]
    for before, after in pairwise(placed):
        if places[after] < places[before]:
            raise UsageError(
                "Expected the clips in the order in which they were filmed, found that "
                f"{after.name} begins at {places[after]:g} s, before {before.name} at "
                f"{places[before]:g} s.",
                hint="Give the earlier clip first, or correct --begins.",
            )


def _of_clip(text: str, option: str, what: str, paths: tuple[Path, ...]) -> tuple[Path, str]:
    name, equals, value = text.rpartition("=")
    if not equals or not name or not value:
        raise UsageError(f"Expected {option} CLIP={what}, found {text!r}.")
    fits = [path for path in paths if name in (str(path), path.name)]
    if len(fits) != 1:
        found = "none" if not fits else "more than one"
        raise UsageError(
            f"Expected {option} to name one of the clips, found {found} called {name!r}.",
            hint="Write the clip as in the list of clips.",
        )
    return fits[0], value


def print_session(sheet: SessionSheet, folder: Path) -> None:
    """Print the summary of a session and where its sheet is."""
    console = Console(highlight=False, soft_wrap=True)
    console.print(sheet.title, style="bold", markup=False)
    console.print(sheet.headline, markup=False)
    console.print(sheet.form, markup=False)
    for cue in sheet.cues:
        where = f"{lower_first(cue.title)}, {cue.events} of {cue.of}"
        console.print(f"To do: {cue.text} ({where})", markup=False)
    for clip in sheet.clips:
        if clip.note:
            console.print(f"{clip.name}: {clip.note}", markup=False)
    console.print(f"Sheet: {folder / SESSION_HTML}", markup=False)
    console.print(
        "Stop at sharp or rising pain. This measures, it does not diagnose.", markup=False
    )
