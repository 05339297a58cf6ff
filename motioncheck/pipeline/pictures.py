"""Stills of the turns: picked from what was kept on the way, from the cache, or from the clip."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from motioncheck.landmarks import TrackCache, TrackKey
from motioncheck.measures import REGISTRY, judge_plane
from motioncheck.pipeline.crowd import hide_others, is_crowded
from motioncheck.pipeline.options import CheckOptions
from motioncheck.records import CameraView, ClipInfo, Event, LandmarkTrack, Still
from motioncheck.records.arrays import FloatArray
from motioncheck.sheet import MeasuredLine, cover_face, draw_still, measured_lines
from motioncheck.video import Picture, PictureSpool, pick_pictures
from motioncheck.wording import with_unit

if TYPE_CHECKING:
    from motioncheck.records import Sheet

# A kept picture this close to the wanted instant shows the same position.
NEAR_S = 0.06
MAX_STILLS = 24
MAX_LINES = 3
PLAIN_QUALITY = 88


def landmarks_at(track: LandmarkTrack, time_s: float, scale: float) -> FloatArray:
    """Return the raw landmarks of the nearest frame in pixels of a reduced picture, (33, 2)."""
    index = int(np.argmin(np.abs(track.time_s - time_s)))
    return np.asarray(track.image_px[index] * scale)


def collect_pictures(
    path: Path,
    clip: ClipInfo,
    track: LandmarkTrack,
    events: Sequence[Event],
    options: CheckOptions,
    *,
    spool: PictureSpool,
    key: TrackKey,
) -> dict[int, Picture]:
    """Return a picture near the turn of each event, by index of the event.

    Looks in the pictures kept while decoding, then in the cache (faces covered there), and decodes
    the clip only for what is still missing.
    """
    wanted = dict(list(enumerate(e.turn_s for e in events))[:MAX_STILLS])
    cache = TrackCache(options.cache_folder) if options.cache_folder else None
    found: dict[int, Picture] = {}
    for index, time_s in wanted.items():
        picture = spool.nearest(time_s)
        if picture is not None and abs(picture.time_s - time_s) <= NEAR_S:
            found[index] = picture
    fresh = bool(found)
    if cache and not options.show_face:
        kept = cache.get_stills(key)
        found |= _from_cache({i: t for i, t in wanted.items() if i not in found}, kept)
    missing = {i: t for i, t in wanted.items() if i not in found}
    if missing:
        pictures = pick_pictures(path, list(missing.values()), info=clip)
        found |= dict(zip(missing, pictures, strict=True))
        fresh = True
    if cache and fresh:
        cache.put_stills(key, [_plain(p, track) for p in found.values()])
    return found


def _from_cache(wanted: dict[int, float], kept: Sequence[Still]) -> dict[int, Picture]:
    found = {}
    for index, time_s in wanted.items():
        near = [s for s in kept if abs(s.time_s - time_s) <= NEAR_S]
        if near:
            best = min(near, key=lambda s: abs(s.time_s - time_s))
            found[index] = Picture(best.time_s, decode_jpeg(best.jpeg), best.scale)
    return found


def _plain(picture: Picture, track: LandmarkTrack) -> Still:
    """Return the picture for the cache: nothing drawn, the athlete's face and others covered."""
    points = landmarks_at(track, picture.time_s, picture.scale)
    rgb = hide_others(picture.rgb, points) if is_crowded(track) else picture.rgb
    covered = cover_face(rgb, points)
    height, width = covered.shape[:2]
    return Still(picture.time_s, encode_jpeg(covered, PLAIN_QUALITY), width, height, picture.scale)


def draw_stills(
    pictures: dict[int, Picture],
    track: LandmarkTrack,
    sheet: Sheet,
    view: CameraView,
    *,
    show_face: bool,
) -> dict[int, Still]:
    """Draw the measured lines of each event onto its picture."""
    stills = {}
    for index, picture in pictures.items():
        points = landmarks_at(track, picture.time_s, picture.scale)
        lines = choose_lines(sheet.events[index], view)
        rgb = picture.rgb
        if is_crowded(track) and not show_face:
            rgb = hide_others(rgb, points)
        jpeg = draw_still(rgb, points, lines=lines, show_face=show_face)
        height, width = picture.rgb.shape[:2]
        stills[index] = Still(picture.time_s, jpeg, width, height, picture.scale)
    return stills


def choose_lines(event: Event, view: CameraView) -> list[MeasuredLine]:
    """Choose what to draw on the still of an event: misses first, no line twice, at most three.

    What the picture itself cannot show is left out, though the fitted body may know it: its line
    would point at nothing.
    """
    order = {"misses": 0, "too close to call": 1, "meets": 2}
    shown = sorted(
        (
            f
            for f in event.findings
            if f.verdict in order
            and f.value is not None
            and judge_plane(REGISTRY[f.measure].plane, view).ok
        ),
        key=lambda f: order[f.verdict],
    )
    lines: list[MeasuredLine] = []
    drawn: set[tuple[str, ...]] = set()
    for finding in shown:
        text = with_unit(finding.value or 0.0, finding.unit)
        new = measured_lines(finding.measure, side=finding.side, text=text, verdict=finding.verdict)
        if new and not any(line.points in drawn for line in new):
            drawn |= {line.points for line in new}
            lines += new
        if len(drawn) >= MAX_LINES:
            break
    return lines


def encode_jpeg(rgb: np.ndarray[tuple[int, ...], np.dtype[np.uint8]], quality: int) -> bytes:
    """Return a picture (H, W, 3) as JPEG."""
    import cv2

    _, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return bytes(data.tobytes())


def decode_jpeg(jpeg: bytes) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    """Return a JPEG as a contiguous picture (H, W, 3)."""
    import cv2

    bgr = cv2.imdecode(np.frombuffer(jpeg, dtype=np.uint8), cv2.IMREAD_COLOR)
    if bgr is None:
        raise ValueError("not a JPEG picture")
    return np.ascontiguousarray(bgr[..., ::-1]).astype(np.uint8)
