"""What a clip is, before it is decoded."""

from __future__ import annotations

import hashlib
import math
from pathlib import Path
from typing import TYPE_CHECKING

from motioncheck.errors import NoFramesError
from motioncheck.records import ClipInfo
from motioncheck.video.container import open_clip
from motioncheck.video.picture import compute_upright_size, read_turn

if TYPE_CHECKING:
    from av.container import InputContainer
    from av.video.frame import VideoFrame
    from av.video.stream import VideoStream


def hash_file(path: Path) -> str:
    """Return the SHA-256 of a file's content as 64 hexadecimal digits, read in pieces.

    Raises
    ------
    OSError
        If the file cannot be read.
    """
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def probe_clip(path: Path) -> ClipInfo:
    """Describe a clip from its container and its first picture.

    Parameters
    ----------
    path : Path
        The clip.

    Returns
    -------
    ClipInfo
        Sizes are those of the upright picture in square pixels. ``rotation_deg`` is the clockwise
        turn, 0, 90, 180 or 270, that brings the stored picture upright. ``duration_s`` and
        ``frame_rate_hz`` (the average) are NaN where the container gives no clue; ``start_s`` is
        the presentation time that counts as 0.

    Raises
    ------
    VideoOpenError
        If the file is missing, unreadable, or not a video.
    NoFramesError
        If it opens, yet no picture in it can be decoded.
    """
    container, stream = open_clip(path)
    with container:
        frame = _decode_first(container, stream)
        if frame is None:
            raise NoFramesError(
                f"Expected pictures in {path.name}, found none that can be decoded.",
            )
        return _describe(path, container, stream, frame)


def _decode_first(container: InputContainer, stream: VideoStream) -> VideoFrame | None:
    """Return the first picture that decodes, passing over damaged packets."""
    import av.error

    stream.thread_type = "SLICE"  # threads over pictures would look ahead for nothing
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets, None)
            frames = [] if packet is None else packet.decode()
        except av.error.FFmpegError:
            continue
        if frames:
            return frames[0]
        if packet is None:
            return None


def _describe(
    path: Path, container: InputContainer, stream: VideoStream, frame: VideoFrame
) -> ClipInfo:
    turn = read_turn(frame)
    width, height = compute_upright_size(
        frame.width, frame.height, turn=turn, pixel_aspect=stream.sample_aspect_ratio
    )
    expected = count_expected(stream)
    duration_s = _find_duration(container, stream)
    rate_hz = _find_rate(stream, timeless=math.isnan(duration_s))
    if math.isnan(duration_s) and expected:
        duration_s = expected / rate_hz
    return ClipInfo(
        name=path.name,
        sha256=hash_file(path),
        duration_s=duration_s,
        frame_rate_hz=rate_hz,
        width_px=width,
        height_px=height,
        rotation_deg=turn.clockwise_deg,
        codec=stream.codec_context.name,
        frames_expected=expected,
        start_s=float(stream.start_time * stream.time_base)
        if stream.start_time is not None and stream.time_base
        else 0.0,
    )


def count_expected(stream: VideoStream) -> int | None:
    """Return how many pictures the container promises to show; None if it does not say.

    Pictures outside the edit list are decoded but not shown, so they are not counted.
    """
    if not stream.frames:
        return None
    shown = sum(not entry.is_discard for entry in getattr(stream, "index_entries", ()))
    return shown if 0 < shown < stream.frames else stream.frames


def _find_duration(container: InputContainer, stream: VideoStream) -> float:
    if stream.duration is not None and stream.time_base:
        return float(stream.duration * stream.time_base)
    if container.duration is None:
        return math.nan
    # Matroska says when the last picture ends; the other containers say how long they play.
    skipped = container.start_time if "matroska" in container.format.name else 0
    return (container.duration - max(skipped, 0)) / 1_000_000


def _find_rate(stream: VideoStream, *, timeless: bool) -> float:
    # Bare streams without a container have no times to average over: FFmpeg then says 25.
    average = None if timeless else stream.average_rate
    for rate in (average, stream.guessed_rate, stream.base_rate):
        if rate:
            return float(rate)
    return math.nan
