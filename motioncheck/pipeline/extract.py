"""From a clip to its track, with a cache and small pictures kept on the way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from motioncheck import __version__
from motioncheck.landmarks import (
    FollowOptions,
    TrackCache,
    TrackKey,
    extract_track,
    model_sha256,
)
from motioncheck.pipeline.analyse import score_motion
from motioncheck.pipeline.memory import give_back_memory
from motioncheck.pipeline.naming import list_standards, score_exercise
from motioncheck.pipeline.options import CheckOptions, OnProgress
from motioncheck.records import ClipInfo, DecodeReport, LandmarkTrack
from motioncheck.standards import Standard
from motioncheck.video import ClipReader, PictureSpool, read_ahead

# The pose model gains nothing from a taller picture.
MODEL_HEIGHT_PX = 640
# Under this name a track is kept whose athlete was chosen without knowing the movement.
ANY_MOVEMENT = "any movement"


@dataclass(frozen=True, slots=True)
class Extracted:
    """A track, what decoding met (None when it was cached), and the key it is kept under."""

    track: LandmarkTrack
    report: DecodeReport | None
    key: TrackKey


def make_key(clip: ClipInfo, options: CheckOptions) -> TrackKey:
    """Return what a kept track depends on: clip content, model, program, chosen athlete."""
    return TrackKey(
        clip_sha256=clip.sha256,
        model=options.model,
        model_sha256=model_sha256(options.model),
        program_version=__version__,
        athlete_px=options.athlete_px,
    )


def get_track(
    path: Path,
    clip: ClipInfo,
    standard: Standard | None,
    options: CheckOptions,
    *,
    spool: PictureSpool,
    on_progress: OnProgress,
) -> Extracted:
    """Return the track of a clip, from the cache when it was followed before.

    With several people, together or one after the other, the choice of the athlete depends on the
    movement, so such a track is kept for this movement only. Without a standard the athlete is
    the one who does any of the movements for longest.
    """
    key = make_key(clip, options)
    crowd_key = replace(key, variant=ANY_MOVEMENT if standard is None else standard.id)
    cache = TrackCache(options.cache_folder) if options.cache_folder else None
    if cache:
        for known in (key, crowd_key):
            kept = cache.get(known)
            if kept is not None:
                return Extracted(kept, None, known)
    track, report = _follow(path, clip, standard, options, spool=spool, on_progress=on_progress)
    used = crowd_key if track.people > 1 or track.jumps_cut else key
    if cache:
        cache.put(used, track)
        cache.prune()
    return Extracted(track, report, used)


def _follow(
    path: Path,
    clip: ClipInfo,
    standard: Standard | None,
    options: CheckOptions,
    *,
    spool: PictureSpool,
    on_progress: OnProgress,
) -> tuple[LandmarkTrack, DecodeReport]:
    """Decode the clip beside the pose model, once; pictures are kept aside on the way."""
    reader = ClipReader(path, max_height_px=MODEL_HEIGHT_PX, info=clip)
    with read_ahead(reader, on_frame=spool.add) as frames:
        track = extract_track(
            frames,
            width_px=clip.width_px,
            height_px=clip.height_px,
            options=FollowOptions(
                model=options.model,
                athlete_px=options.athlete_px,
                motion_score=_choose_score(standard, options),
                frames_expected=clip.frames_expected,
            ),
            on_progress=on_progress,
        )
    give_back_memory()
    return track, reader.report


def _choose_score(
    standard: Standard | None, options: CheckOptions
) -> Callable[[LandmarkTrack], float]:
    """Return what tells the athlete from other people in the picture."""
    if standard is not None:
        return lambda candidate: score_motion(candidate, standard)
    standards = list_standards(options.standards_folder)
    return lambda candidate: score_exercise(candidate, standards)
