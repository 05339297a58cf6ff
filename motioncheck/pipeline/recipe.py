"""The recipe: one clip in, everything the sheet needs out."""

from __future__ import annotations

from pathlib import Path

from motioncheck.pipeline.analyse import analyse_track, require_length
from motioncheck.pipeline.assemble import assemble_sheet
from motioncheck.pipeline.extract import get_track
from motioncheck.pipeline.fitting import BodyCache, Fit, FittedBody, fit_body
from motioncheck.pipeline.options import CheckOptions, CheckResult, OnProgress, no_progress
from motioncheck.pipeline.pictures import collect_pictures, draw_stills
from motioncheck.records import CleanTrack, ClipInfo, LandmarkTrack
from motioncheck.standards import get_standard
from motioncheck.video import PictureSpool, probe_clip


def check_clip(
    path: Path | str,
    movement: str,
    *,
    options: CheckOptions | None = None,
    on_progress: OnProgress = no_progress,
) -> CheckResult:
    """Check one clip against the standard of a movement.

    Parameters
    ----------
    path : Path or str
        The clip.
    movement : str
        Id of a standard, such as ``air-squat``.
    options : CheckOptions, optional
    on_progress : callable, optional
        Called as ``on_progress(stage, done, total)``; total is 0 when unknown.

    Returns
    -------
    CheckResult
        Nothing has been written yet (apart from the cache); see `write_results`.

    Raises
    ------
    MotionCheckError
        One of its subclasses, with exit code and hint.
    """
    options = options or CheckOptions()
    path = Path(path)
    loaded = get_standard(movement, options.standards_folder)
    clip = probe_clip(path)
    require_length(clip.duration_s)
    with PictureSpool() as spool:
        extracted = get_track(
            path, clip, loaded.standard, options, spool=spool, on_progress=on_progress
        )
        on_progress("measuring", 0, 0)
        fit = make_fit(options, on_progress)
        analysis = analyse_track(extracted.track, loaded.standard, fit=fit)
        on_progress("pictures", 0, 0)
        pictures = collect_pictures(
            path,
            clip,
            extracted.track,
            analysis.events,
            options,
            spool=spool,
            key=extracted.key,
        )
    sheet = assemble_sheet(
        clip,
        extracted.report,
        extracted.track,
        analysis,
        loaded,
        options=_option_map(options, movement),
    )
    stills = draw_stills(
        pictures, extracted.track, sheet, analysis.view, show_face=options.show_face
    )
    return CheckResult(clip, extracted.track, analysis, sheet, stills)


def make_fit(options: CheckOptions, on_progress: OnProgress) -> Fit:
    """Return what fits a body: with the cache where there is one, and as a stage of its own."""
    fit = BodyCache(options.cache_folder) if options.cache_folder else fit_body

    def fit_as_stage(track: CleanTrack) -> FittedBody:
        on_progress("fitting", 0, 0)
        return fit(track)

    return fit_as_stage


def check_track(
    track: LandmarkTrack,
    movement: str,
    *,
    clip: ClipInfo,
    options: CheckOptions | None = None,
    on_progress: OnProgress = no_progress,
) -> CheckResult:
    """Check a saved track; there are no pictures then. Raises as `check_clip`."""
    options = options or CheckOptions()
    loaded = get_standard(movement, options.standards_folder)
    analysis = analyse_track(track, loaded.standard, fit=make_fit(options, on_progress))
    sheet = assemble_sheet(
        clip, None, track, analysis, loaded, options=_option_map(options, movement)
    )
    return CheckResult(clip, track, analysis, sheet)


def _option_map(options: CheckOptions, movement: str) -> dict[str, str | float | int | bool | None]:
    where = options.athlete_px
    return {
        "movement": movement,
        "model": options.model,
        "athlete_px": None if where is None else f"{where[0]:g},{where[1]:g}",
        "own_standards": options.standards_folder is not None,
        "show_face": options.show_face,
    }
