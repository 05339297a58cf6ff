"""Corrections on record laid over a check that was just made."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from motioncheck import __version__
from motioncheck.checks import apply_corrections
from motioncheck.landmarks import TrackCache
from motioncheck.pipeline.doubt import LOOKS_LIKE
from motioncheck.pipeline.extract import make_key
from motioncheck.pipeline.options import CheckOptions, CheckResult
from motioncheck.pipeline.recipe import check_clip
from motioncheck.records import Sheet
from motioncheck.records.history import Correction
from motioncheck.standards import Person, Standard, find_standard
from motioncheck.video import probe_clip


def correct_result(
    result: CheckResult, corrections: Iterable[Correction], standard: Standard | None = None
) -> CheckResult:
    """Return a check with corrections laid over its sheet.

    Parameters
    ----------
    result : CheckResult
        As measured; it is this that belongs into the history.
    corrections : iterable of Correction
        As `apply_corrections`: those of other clips and movements are passed over.
    standard : Standard, optional
        The very one that was checked against; see `standard_of`.

    Returns
    -------
    CheckResult
        The pictures stay with their events. The same result when nothing is to be corrected.
    """
    sheet = apply_corrections(result.sheet, corrections, standard)
    if sheet is result.sheet:
        return result
    # Added events have no picture and move those after them along.
    places = {(e.kind, e.number): i for i, e in enumerate(sheet.events) if not e.added}
    before = result.sheet.events
    stills = {places[before[i].kind, before[i].number]: still for i, still in result.stills.items()}
    return replace(result, sheet=sheet, stills=stills)


def standard_of(sheet: Sheet, own_folder: Path | None = None) -> Standard | None:
    """Return the very standard a sheet was checked against; None when it is not at hand."""
    return find_standard(sheet.provenance.standard_hash, own_folder)


def check_again(
    path: Path, sheet: Sheet, *, cache_folder: Path, standards_folder: Path | None = None
) -> CheckResult | None:
    """Make a check again from what is kept of it, in a second or two.

    Parameters
    ----------
    path : Path
        The clip.
    sheet : Sheet
        As measured then; its options are used again.
    cache_folder : Path
    standards_folder : Path, optional
        The user's own standards.

    Returns
    -------
    CheckResult or None
        As measured, not corrected. None when it would not be the same check (another clip,
        standard, model or program version), or when the clip would have to be followed anew.
    """
    options = _options_of(sheet, cache_folder, standards_folder)
    if __version__ != sheet.provenance.version or standard_of(sheet, standards_folder) is None:
        return None
    clip = probe_clip(path)
    key = make_key(clip, options)
    same = (clip.sha256, key.model_sha256) == (sheet.clip.sha256, sheet.provenance.model_sha256)
    kept = TrackCache(cache_folder)
    keys = (key, replace(key, variant=sheet.movement.id))
    if not same or all(kept.get(k) is None for k in keys):
        return None
    # What was doubted is doubted again; a movement that a plan named never was.
    doubted = LOOKS_LIKE in sheet.provenance.options
    result = check_clip(path, sheet.movement.id, options=options, by_user=doubted)
    if result.sheet.provenance.standard_hash != sheet.provenance.standard_hash:
        return None
    # A stretch of a longer clip was found by what comes before and after it; in the whole clip the
    # same standard finds others.
    if _spans(result.sheet) != _spans(sheet):
        return None
    # Whoever named the movement then named it; this time nobody had to.
    origin = replace(result.sheet.provenance, options=sheet.provenance.options)
    return replace(result, sheet=replace(result.sheet, provenance=origin))


def _spans(sheet: Sheet) -> list[tuple[str, int, float, float, float]]:
    return [(e.kind, e.number, e.start_s, e.turn_s, e.end_s) for e in sheet.events]


def _options_of(sheet: Sheet, cache_folder: Path, standards_folder: Path | None) -> CheckOptions:
    """Return the options a sheet was made with."""
    said = sheet.provenance.options
    point = said.get("athlete_px")
    x, _, y = str(point or "").partition(",")
    age, sex = said.get("age_years"), said.get("sex")
    return CheckOptions(
        model=str(said.get("model", "full")),
        athlete_px=(float(x), float(y)) if x and y else None,
        standards_folder=standards_folder,
        cache_folder=cache_folder,
        show_face=bool(said.get("show_face")),
        person=Person(
            age if isinstance(age, int) else None,
            "female" if sex == "female" else "male" if sex == "male" else None,
        ),
    )
