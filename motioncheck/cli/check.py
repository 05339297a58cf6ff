"""`motioncheck check`: run the recipe, show progress, write the results, print the summary."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rich.console import Console

from motioncheck.cli.progress import ProgressLine
from motioncheck.errors import OutputError, TrackFileError, UsageError
from motioncheck.landmarks import MODELS, load_track, save_track
from motioncheck.pipeline import (
    ANNOTATED,
    COMPARED,
    CheckOptions,
    CheckResult,
    check_clip,
    check_track,
    default_folder,
    write_results,
)
from motioncheck.records import LandmarkTrack, Sheet
from motioncheck.sheet.write import require_place
from motioncheck.video import probe_clip
from motioncheck.wording import join_words, list_reps

REMOVED = {
    ANNOTATED: "The annotated clip of the earlier check was removed; --annotated makes a new one.",
    COMPARED: "The comparison of the earlier check was removed; --compare makes a new one.",
}


@dataclass(frozen=True, slots=True)
class CheckRequest:
    """What was asked for on the command line."""

    clip: Path
    movement: str
    out: Path | None
    annotated: bool
    compare: bool
    athlete: str | None
    model: str
    show_face: bool
    keep_track: Path | None
    track: Path | None
    standards: Path | None
    use_cache: bool
    replace: bool


def run_check(request: CheckRequest) -> bool:
    """Run the check and write its results; return True when a rep misses the standard."""
    options = _options(request)
    folder = request.out or default_folder(request.clip)
    # Before minutes of work, not after them.
    require_place(folder)
    if request.keep_track is not None:
        require_place(request.keep_track.absolute().parent)
    with ProgressLine() as progress:
        result = _check(request, options, progress)
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
    return result.sheet.summary.verdicts.get("misses", 0) > 0


def _check(request: CheckRequest, options: CheckOptions, progress: ProgressLine) -> CheckResult:
    if request.track is None:
        return check_clip(request.clip, request.movement, options=options, on_progress=progress)
    track, clip = load_track(request.track), probe_clip(request.clip)
    if (track.width_px, track.height_px) != (clip.width_px, clip.height_px):
        raise TrackFileError(
            f"Expected landmarks of {clip.name} ({clip.width_px} x {clip.height_px} px), found "
            f"those of a clip of {track.width_px} x {track.height_px} px in {request.track.name}.",
            hint="Leave --track out to follow this clip itself.",
        )
    return check_track(track, request.movement, clip=clip, options=options, on_progress=progress)


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
    if request.model not in MODELS:
        raise UsageError(
            f"Expected --model to be one of {', '.join(MODELS)}; found {request.model!r}."
        )
    return CheckOptions(
        model=request.model,
        athlete_px=parse_point(request.athlete),
        standards_folder=request.standards,
        cache_folder=default_cache() if request.use_cache else None,
        show_face=request.show_face,
    )


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


def default_cache() -> Path:
    """Return the folder in which tracks are kept between checks."""
    import os

    from platformdirs import user_cache_path

    chosen = os.environ.get("MOTIONCHECK_CACHE")
    return Path(chosen) if chosen else user_cache_path("motioncheck", appauthor=False)


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
    console.print(summary.headline, markup=False)
    if summary.best:
        console.print(f"Keep this: {summary.best}", markup=False)
    for cue in summary.cues:
        where = list_reps(cue.reps) if cue.reps else "whole set"
        console.print(f"To do: {cue.text} ({where})", markup=False)
    for note in summary.notes:
        console.print(note, markup=False)
    for line in describe_blind_spots(sheet):
        console.print(line, markup=False)
    console.print(f"Sheet: {folder / 'sheet.html'}", markup=False)
    console.print(
        "Stop at sharp or rising pain. This measures, it does not diagnose.", markup=False
    )
