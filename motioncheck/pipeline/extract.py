"""From a clip to its track, with a cache and small pictures kept on the way."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from motioncheck import __version__
from motioncheck.landmarks import (
    FollowOptions,
    TrackCache,
    TrackKey,
    bundle_sha256,
    extract_track,
)
from motioncheck.pipeline.analyse import score_motion
from motioncheck.pipeline.options import CheckOptions, OnProgress
from motioncheck.records import ClipInfo, DecodeReport, LandmarkTrack
from motioncheck.standards import Standard
from motioncheck.video import ClipReader, PictureSpool, ReadAhead, read_ahead

# The pose model gains nothing from a taller picture.
MODEL_HEIGHT_PX = 640
CACHE_LIMIT_BYTES = 500_000_000


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
        model_sha256=bundle_sha256(options.model),
        program_version=__version__,
        athlete_px=options.athlete_px,
    )


def get_track(
    path: Path,
    clip: ClipInfo,
    standard: Standard,
    options: CheckOptions,
    *,
    spool: PictureSpool,
    on_progress: OnProgress,
) -> Extracted:
    """Return the track of a clip, from the cache when it was followed before.

    With several people in the picture the choice of the athlete depends on the movement, so such
    a track is kept for this movement only.
    """
    key = make_key(clip, options)
    crowd_key = replace(key, variant=standard.id)
    cache = TrackCache(options.cache_folder) if options.cache_folder else None
    if cache:
        for known in (key, crowd_key):
            kept = cache.get(known)
            if kept is not None:
                return Extracted(kept, None, known)
    track, report = _Follower(path, clip, standard, options, spool, on_progress).follow()
    used = crowd_key if track.people > 1 else key
    if cache:
        cache.put(used, track)
        cache.prune(CACHE_LIMIT_BYTES)
    return Extracted(track, report, used)


@dataclass(slots=True)
class _Follower:
    """Decodes the clip beside the pose model; keeps pictures during the first pass only."""

    path: Path
    clip: ClipInfo
    standard: Standard
    options: CheckOptions
    spool: PictureSpool
    on_progress: OnProgress
    reports: list[DecodeReport] = field(default_factory=list)

    def follow(self) -> tuple[LandmarkTrack, DecodeReport]:
        track = extract_track(
            self.open_frames,
            width_px=self.clip.width_px,
            height_px=self.clip.height_px,
            options=FollowOptions(
                model=self.options.model,
                athlete_px=self.options.athlete_px,
                motion_score=lambda candidate: score_motion(candidate, self.standard),
                frames_expected=self.clip.frames_expected,
            ),
            on_progress=self.on_progress,
        )
        return track, self.reports[-1]

    @contextmanager
    def open_frames(self) -> Iterator[ReadAhead]:
        reader = ClipReader(self.path, max_height_px=MODEL_HEIGHT_PX, info=self.clip)
        keep = None if self.reports else self.spool.add
        try:
            with read_ahead(reader, on_frame=keep) as frames:
                yield frames
        finally:
            self.reports.append(reader.report)
