"""`motioncheck check`: run the recipe, show progress, write the results, print the summary."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from rich.console import Console

from motioncheck.cli.naming import naming_to_json, print_stretches, report_naming
from motioncheck.cli.progress import ProgressLine
from motioncheck.cli.recording import (
    NOTHING_RECORDED,
    RecordRequest,
    add_corrections,
    complete_person,
    describe_recorded,
    record_result,
    require_history,
    warn_of_slips,
)
from motioncheck.errors import OutputError, TrackFileError, UsageError
from motioncheck.landmarks import load_track, save_track
from motioncheck.pipeline import (
    ANNOTATED,
    COMPARED,
    CheckOptions,
    CheckResult,
    check_clip,
    check_track,
    default_folder,
    name_clip,
    name_track,
    write_results,
)
from motioncheck.pipeline.naming import list_standards
from motioncheck.pipeline.options import default_cache
from motioncheck.records import ClipInfo, LandmarkTrack, Sheet
from motioncheck.sheet.corrected import correction_lines
from motioncheck.sheet.ranges import range_lines
from motioncheck.sheet.words import split_notes
from motioncheck.sheet.write import require_place
from motioncheck.standards import Person
from motioncheck.video import probe_clip
from motioncheck.wording import join_words, list_reps

# How much longer than its clip a saved track may seem; containers round how long they last.
LONGER_S = 1.0
REMOVED = {
    ANNOTATED: "The annotated clip of the earlier check was removed; --annotated makes a new one.",
    COMPARED: "The comparison of the earlier check was removed; --compare makes a new one.",
}


@dataclass(frozen=True, slots=True)
class CheckRequest:
    """What was asked for on the command line."""

    clip: Path
    movement: str | None
    out: Path | None
    annotated: bool
    compare: bool
    athlete: str | None
    show_face: bool
    keep_track: Path | None
    track: Path | None
    standards: Path | None
    use_cache: bool
    replace: bool
    age: int | None = None
    sex: str | None = None
    record: RecordRequest = NOTHING_RECORDED


def run_check(request: CheckRequest) -> bool:
    """Run the check and write its results; return True when a rep misses the standard."""
    options = _options(request)
    folder = request.out or default_folder(request.clip)
    # Before minutes of work, not after them.
    require_place(folder)
    known = require_history(request.record)
    options = replace(options, person=complete_person(options.person, known, request.record))
    if request.keep_track is not None:
        require_place(request.keep_track.absolute().parent)
    with ProgressLine() as progress:
        measured = _check(request, options, progress)
        result = add_corrections(measured, request.record, request.standards)
        removed = write_results(
            result,
            folder,
            clip_path=request.clip,
            annotated=request.annotated,
            compared=request.compare,
            show_face=request.show_face,
            replace=request.replace,
            on_progress=progress,
        )
        if request.keep_track is not None:
            keep_track(result.track, request.keep_track)
    print_summary(result.sheet, folder)
    for name in removed:
        print(REMOVED[name])
    recorded = record_result(measured, request.record, clip=request.clip, folder=folder)
    if recorded is not None:
        print(describe_recorded(recorded))
        for line in warn_of_slips(measured, recorded, request.record, known):
            print(line)
    return result.sheet.summary.verdicts.get("misses", 0) > 0


def _check(request: CheckRequest, options: CheckOptions, progress: ProgressLine) -> CheckResult:
    if request.track is None:
        return check_clip(
            request.clip,
            request.movement,
            options=options,
            on_progress=progress,
            on_named=report_naming,
        )
    track, clip = read_track(request.track, request.clip)
    return check_track(
        track,
        request.movement,
        clip=clip,
        options=options,
        on_progress=progress,
        on_named=report_naming,
    )


def read_track(path: Path, clip_path: Path) -> tuple[LandmarkTrack, ClipInfo]:
    """Read saved landmarks and the clip they belong to; raises `TrackFileError` if they do not."""
    if not path.is_file():
        raise TrackFileError(
            f"Expected saved landmarks at {path}, found no file there.",
            hint="Check the name, or leave --track out to follow the clip itself.",
        )
    track, clip = load_track(path), probe_clip(clip_path)
    if (track.width_px, track.height_px) != (clip.width_px, clip.height_px):
        raise TrackFileError(
            f"Expected landmarks of {clip.name} ({clip.width_px} x {clip.height_px} px), found "
            f"those of a clip of {track.width_px} x {track.height_px} px in {path.name}.",
            hint="Leave --track out to follow this clip itself.",
        )
    last_s = float(track.time_s[-1]) if len(track.time_s) else 0.0
    # A damaged clip may have less to follow than it says, never more.
    if last_s > clip.duration_s + LONGER_S:
        raise TrackFileError(
            f"Expected landmarks of {clip.name} ({clip.duration_s:.1f} s), found those of a clip "
            f"of {last_s:.1f} s or more in {path.name}.",
            hint="Leave --track out to follow this clip itself.",
        )
    return track, clip


def require_named(request: CheckRequest, *, name_only: bool, as_json: bool) -> None:
    """Raise `UsageError` where --name-only is missing, or says the opposite of another option."""
    if as_json and not name_only:
        raise UsageError(
            "Expected --json together with --name-only, found it alone.",
            hint="The sheet as JSON is written anyway: sheet.json in the folder of the results.",
        )
    if name_only and request.movement is not None:
        raise UsageError(
            "Expected --name-only without --movement, found both.",
            hint="Leave one of them out: the movement is either told or found out.",
        )


def run_name_only(request: CheckRequest, *, as_json: bool) -> None:
    """Say which movements a clip shows, and write nothing."""
    options = _options(request)
    with ProgressLine() as progress:
        if request.track is None:
            naming = name_clip(request.clip, options=options, on_progress=progress)
        else:
            track, _ = read_track(request.track, request.clip)
            naming = name_track(track, list_standards(request.standards))
    if as_json:
        print(naming_to_json(naming))
    else:
        print_stretches(naming)
        if naming.decision.movement:
            report_naming(naming)


def keep_track(track: LandmarkTrack, path: Path) -> None:
    """Save a track where the user wants it; raises `OutputError` when that cannot be done."""
    try:
        save_track(track, path)
    except OSError as error:
        raise OutputError(
            f"Expected to write the landmarks to {path}, found: {error.strerror or error}.",
            hint="Choose another place with --keep-track and run it again.",
        ) from error


def _options(request: CheckRequest) -> CheckOptions:
    return CheckOptions(
        athlete_px=parse_point(request.athlete),
        standards_folder=request.standards,
        cache_folder=default_cache() if request.use_cache else None,
        show_face=request.show_face,
        person=parse_person(request.age, request.sex),
    )


def parse_person(age: int | None, sex: str | None) -> Person:
    """Return what is known of the person.

    Raises
    ------
    UsageError
        If the age is not from 0 to 120, or the sex is neither female nor male.
    """
    if age is not None and not 0 <= age <= 120:
        raise UsageError(f"Expected --age from 0 to 120 years, found {age}.")
    if sex is None:
        return Person(age)
    if sex not in ("female", "male"):
        raise UsageError(
            f"Expected --sex to be female or male, found {sex!r}.",
            hint="Leave it out to see the usual values of both.",
        )
    return Person(age, "female" if sex == "female" else "male")


def parse_point(text: str | None) -> tuple[float, float] | None:
    """Return the point of ``X,Y`` in pixels; None for None.

    Raises
    ------
    UsageError
        If it is not two numbers.
    """
    if text is None:
        return None
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        raise UsageError(
            f"Expected --athlete as X,Y in pixels of the first frame, found {text!r}.",
            hint="Example: --athlete 310,640",
        ) from None
    return x, y


def describe_blind_spots(sheet: Sheet) -> list[str]:
    """Return what this camera could not show and how to film it, a line for each advice."""
    by_advice: dict[str, list[str]] = {}
    for spot in sheet.blind_spots:
        by_advice.setdefault(spot.advice, []).append(spot.title.lower())
    return [f"Not visible: {join_words(titles)}. {advice}" for advice, titles in by_advice.items()]


def print_summary(sheet: Sheet, folder: Path) -> None:
    """Print the ten-second summary and where the sheet is."""
    console = Console(highlight=False, soft_wrap=True)
    summary = sheet.summary
    console.print(f"[bold]{sheet.movement.title}[/bold], seen from: {sheet.camera.view}")
    first_notes, notes = split_notes(summary.notes)
    for note in first_notes:
        console.print(note, markup=False)
    console.print(summary.headline, markup=False)
    if summary.best:
        console.print(f"Keep this: {summary.best}", markup=False)
    for cue in summary.cues:
        noun = sheet.movement.event_kind
        where = list_reps(cue.reps, noun) if cue.reps else "whole set"
        console.print(f"To do: {cue.text} ({where})", markup=False)
    for line in range_lines(summary.ranges):
        console.print(line, markup=False)
    for rung in summary.rungs:
        console.print(f"Rung {rung.number}: {rung.text}", markup=False)
    for note in notes:
        console.print(note, markup=False)
    for line in correction_lines(sheet):
        console.print(line, markup=False)
    for line in describe_blind_spots(sheet):
        console.print(line, markup=False)
    console.print(f"Sheet: {folder / 'sheet.html'}", markup=False)
    console.print(
        "Stop at sharp or rising pain. This measures, it does not diagnose.", markup=False
    )
