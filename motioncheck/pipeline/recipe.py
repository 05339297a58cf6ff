"""The recipe: one clip in, everything the sheet needs out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from motioncheck.pipeline.analyse import analyse_track, require_length
from motioncheck.pipeline.assemble import OptionMap, assemble_sheet
from motioncheck.pipeline.doubt import find_doubt, note_doubt
from motioncheck.pipeline.extract import Extracted, get_track
from motioncheck.pipeline.fitting import BodyCache, Fit, FittedBody, fit_body
from motioncheck.pipeline.memory import give_back_memory
from motioncheck.pipeline.naming import (
    Naming,
    OnNamed,
    ignore_name,
    list_standards,
    name_track,
    require_one,
)
from motioncheck.pipeline.naming_cache import name_remembered
from motioncheck.pipeline.options import CheckOptions, CheckResult, OnProgress, no_progress
from motioncheck.pipeline.pictures import collect_pictures, draw_stills
from motioncheck.pipeline.strays import find_strays, note_strays
from motioncheck.records import CleanTrack, ClipInfo, LandmarkTrack
from motioncheck.standards import LoadedStandard, get_standard
from motioncheck.video import PictureSpool, probe_clip


def check_clip(
    path: Path | str,
    movement: str | None = None,
    *,
    options: CheckOptions | None = None,
    on_progress: OnProgress = no_progress,
    on_named: OnNamed = ignore_name,
    by_user: bool = True,
) -> CheckResult:
    """Check one clip against the standard of a movement.

    Parameters
    ----------
    path : Path or str
        The clip.
    movement : str, optional
        Id of a standard, such as ``air-squat``. Without it the movement is told from the clip.
    options : CheckOptions, optional
    on_progress : callable, optional
        Called as ``on_progress(stage, done, total)``; total is 0 when unknown.
    on_named : callable, optional
        Called with what was named, before anything is checked.
    by_user : bool
        Whether it is a user who named ``movement``. The sheet then tells when the clip
        plainly shows another: see `find_doubt`.

    Returns
    -------
    CheckResult
        Nothing has been written yet (apart from the cache); see `write_results`.

    Raises
    ------
    MotionCheckError
        One of its subclasses, with exit code and hint; a `UsageError` when the movement had to be
        told and could not.
    """
    options = options or CheckOptions()
    path = Path(path)
    loaded = None if movement is None else get_standard(movement, options.standards_folder)
    clip = probe_clip(path)
    require_length(clip.duration_s)
    with PictureSpool() as spool:
        standard = None if loaded is None else loaded.standard
        extracted = get_track(path, clip, standard, options, spool=spool, on_progress=on_progress)
        naming = None
        if loaded is None:
            naming = _name(extracted.track, clip, options, on_named, on_progress)
            loaded = get_standard(require_one(naming), options.standards_folder)
        result = check_extracted(
            path,
            clip,
            extracted,
            loaded,
            options,
            spool=spool,
            on_progress=on_progress,
            naming=naming,
        )
    named = by_user and naming is None
    return _tell_doubt(result, loaded, options, on_progress) if named else result


def check_extracted(
    path: Path,
    clip: ClipInfo,
    extracted: Extracted,
    loaded: LoadedStandard,
    options: CheckOptions,
    *,
    spool: PictureSpool,
    on_progress: OnProgress = no_progress,
    naming: Naming | None = None,
) -> CheckResult:
    """Check a clip that was followed already; raises as `analyse_track`."""
    track = extracted.track
    on_progress("measuring", 0, 0)
    fit = make_fit(options, on_progress, clip.sha256)
    analysis = analyse_track(track, loaded.standard, fit=fit, person=options.person)
    on_progress("pictures", 0, 0)
    pictures = collect_pictures(
        path, clip, track, analysis.events, options, spool=spool, key=extracted.key
    )
    chosen = _option_map(options, loaded.standard.id, naming)
    sheet = assemble_sheet(clip, extracted.report, track, analysis, loaded, options=chosen)
    stills = draw_stills(pictures, track, sheet, analysis.view, show_face=options.show_face)
    return CheckResult(clip, track, analysis, sheet, stills)


def name_clip(
    path: Path | str,
    *,
    options: CheckOptions | None = None,
    on_progress: OnProgress = no_progress,
) -> Naming:
    """Tell which movements a clip shows, without checking them. Raises as `check_clip`."""
    options = options or CheckOptions()
    path = Path(path)
    standards = list_standards(options.standards_folder)
    clip = probe_clip(path)
    require_length(clip.duration_s)
    with PictureSpool() as spool:
        extracted = get_track(path, clip, None, options, spool=spool, on_progress=on_progress)
    return name_track(extracted.track, standards)


def _name(
    track: LandmarkTrack,
    clip: ClipInfo,
    options: CheckOptions,
    on_named: OnNamed,
    on_progress: OnProgress,
) -> Naming:
    on_progress("naming", 0, 0)
    naming = name_remembered(
        track,
        options.standards_folder,
        cache_folder=options.cache_folder,
        clip_sha256=clip.sha256,
    )
    on_named(naming)
    return naming


def _tell_doubt(
    result: CheckResult, loaded: LoadedStandard, options: CheckOptions, on_progress: OnProgress
) -> CheckResult:
    """Say on the sheet when the clip, or a part of it, shows something else than the user named."""

    def name() -> Naming:
        return _name(result.track, result.clip, options, ignore_name, on_progress)

    doubt = find_doubt(result.analysis, loaded, name, options.standards_folder)
    if doubt is not None:
        return replace(result, sheet=note_doubt(result.sheet, doubt))
    strays = find_strays(result.analysis, loaded, name)
    return replace(result, sheet=note_strays(result.sheet, strays)) if strays else result


def make_fit(options: CheckOptions, on_progress: OnProgress, clip_sha256: str = "") -> Fit:
    """Return what fits a body: with the cache where there is one, and as a stage of its own."""
    cache = options.cache_folder
    fit = BodyCache(cache, clip_sha256) if cache else fit_body

    def fit_as_stage(track: CleanTrack) -> FittedBody:
        on_progress("fitting", 0, 0)
        give_back_memory()
        fitted = fit(track)
        give_back_memory()
        return fitted

    return fit_as_stage


def check_track(
    track: LandmarkTrack,
    movement: str | None = None,
    *,
    clip: ClipInfo,
    options: CheckOptions | None = None,
    on_progress: OnProgress = no_progress,
    on_named: OnNamed = ignore_name,
) -> CheckResult:
    """Check a saved track; there are no pictures then. Raises as `check_clip`."""
    options = options or CheckOptions()
    naming = None
    if movement is None:
        naming = _name(track, clip, options, on_named, on_progress)
    chosen = movement if naming is None else require_one(naming)
    loaded = get_standard(chosen or "", options.standards_folder)
    fit = make_fit(options, on_progress, clip.sha256)
    analysis = analyse_track(track, loaded.standard, fit=fit, person=options.person)
    sheet = assemble_sheet(
        clip,
        None,
        track,
        analysis,
        loaded,
        options=_option_map(options, loaded.standard.id, naming),
    )
    result = CheckResult(clip, track, analysis, sheet)
    return _tell_doubt(result, loaded, options, on_progress) if naming is None else result


def _option_map(options: CheckOptions, movement: str, naming: Naming | None) -> OptionMap:
    """Return the options as the sheet lists them; ``named_with`` is empty when a user named it."""
    where = options.athlete_px
    return {
        "movement": movement,
        "named_by_program": naming is not None,
        "named_with": None if naming is None else round(naming.decision.confidence, 3),
        "model": options.model,
        "athlete_px": None if where is None else f"{where[0]:g},{where[1]:g}",
        "own_standards": options.standards_folder is not None,
        "show_face": options.show_face,
        "age_years": options.person.age_years,
        "sex": options.person.sex,
    }
