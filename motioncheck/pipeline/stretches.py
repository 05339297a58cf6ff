"""A clip of several movements: named, cut, and every stretch checked by its own standard."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from motioncheck.errors import NotMeasurableError
from motioncheck.naming import OTHER, Stretch
from motioncheck.pipeline.analyse import require_length
from motioncheck.pipeline.extract import Extracted, get_track
from motioncheck.pipeline.naming import Naming, list_standards, name_track
from motioncheck.pipeline.options import CheckOptions, CheckResult, OnProgress, no_progress
from motioncheck.pipeline.recipe import check_extracted
from motioncheck.records import ClipInfo, LandmarkTrack
from motioncheck.records.session import Bout
from motioncheck.standards import get_standard
from motioncheck.video import PictureSpool, probe_clip

# The rest before and after a stretch is part of what its first and last event are read from.
MARGIN_S = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class SessionClip:
    """A clip cut into bouts.

    ``bouts[i]`` belongs to ``results[i]``; all times are on the clock of the clip. ``notes`` says
    of which stretches nothing could be measured, and why.
    """

    clip: ClipInfo
    track: LandmarkTrack
    naming: Naming
    bouts: tuple[Bout, ...]
    results: tuple[CheckResult, ...]
    notes: tuple[str, ...] = ()


def split_session_clip(
    path: Path | str,
    *,
    options: CheckOptions | None = None,
    allowed: Sequence[str] | None = None,
    on_progress: OnProgress = no_progress,
) -> SessionClip:
    """Tell which movements a clip shows when, and check each of them.

    Parameters
    ----------
    path : Path or str
    options : CheckOptions, optional
    allowed : sequence of str, optional
        Ids of the movements to choose from, such as those of a plan; all by default. The fewer
        there are, the surer it is.
    on_progress : callable, optional

    Raises
    ------
    MotionCheckError
        As `motioncheck.pipeline.check_clip`; a clip without any of the movements is no error.
    """
    options = options or CheckOptions()
    path = Path(path)
    standards = list_standards(options.standards_folder, allowed)
    clip = probe_clip(path)
    require_length(clip.duration_s)
    with PictureSpool() as spool:
        extracted = get_track(path, clip, None, options, spool=spool, on_progress=on_progress)
        on_progress("naming", 0, 0)
        naming = name_track(extracted.track, standards)
        bouts: list[Bout] = []
        results: list[CheckResult] = []
        notes: list[str] = []
        for stretch in naming.stretches:
            if stretch.movement == OTHER:
                continue
            try:
                result = _check(path, clip, extracted, stretch, options, spool, on_progress)
            except NotMeasurableError as error:
                notes.append(f"{_say(stretch, naming)}: {error.message}")
                continue
            bouts.append(_bout(clip, stretch, result))
            results.append(result)
    return SessionClip(clip, extracted.track, naming, tuple(bouts), tuple(results), tuple(notes))


def _check(
    path: Path,
    clip: ClipInfo,
    extracted: Extracted,
    stretch: Stretch,
    options: CheckOptions,
    spool: PictureSpool,
    on_progress: OnProgress,
) -> CheckResult:
    track = cut_track(extracted.track, stretch.start_s - MARGIN_S, stretch.end_s + MARGIN_S)
    return check_extracted(
        path,
        clip,
        replace(extracted, track=track),
        get_standard(stretch.movement, options.standards_folder),
        options,
        spool=spool,
        on_progress=on_progress,
    )


def cut_track(track: LandmarkTrack, start_s: float, end_s: float) -> LandmarkTrack:
    """Return a part of a track; its times stay as they are."""
    inside = (track.time_s >= start_s) & (track.time_s <= end_s)
    return replace(
        track,
        time_s=track.time_s[inside],
        image_px=track.image_px[inside],
        visibility=track.visibility[inside],
        world_m=track.world_m[inside],
    )


def _bout(clip: ClipInfo, stretch: Stretch, result: CheckResult) -> Bout:
    return Bout(
        clip=clip.name,
        movement=stretch.movement,
        start_s=stretch.start_s,
        end_s=stretch.end_s,
        events=result.analysis.events,
        clip_sha256=clip.sha256,
    )


def _say(stretch: Stretch, naming: Naming) -> str:
    title = naming.titles[stretch.movement]
    return f"{title} from {stretch.start_s:.1f} to {stretch.end_s:.1f} s"
