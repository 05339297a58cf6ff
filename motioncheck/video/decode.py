"""Decoding a clip picture by picture, past damage, with true time stamps."""

from __future__ import annotations

import threading
from collections import deque
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, NamedTuple, Self

from motioncheck.errors import NoFramesError, TimestampError
from motioncheck.records import ClipInfo, DecodeReport
from motioncheck.video.clock import FrameClock
from motioncheck.video.container import open_clip
from motioncheck.video.picture import Converter, Frame, read_turn
from motioncheck.video.probe import probe_clip
from motioncheck.video.tally import Tally

if TYPE_CHECKING:
    from av.video.frame import VideoFrame

# Enough for the pose model: its result does not change with larger pictures.
DEFAULT_HEIGHT_PX = 720
_MAX_READ_ERRORS = 50


class Decoded(NamedTuple):
    """A picture as the decoder left it; time and wholeness as in `Frame`."""

    time_s: float
    whole: bool
    frame: VideoFrame


class ClipReader:
    """Reads the pictures of a clip once, in order of presentation.

    Iterate over it, inside ``with``. Memory stays flat however long the clip is.

    Parameters
    ----------
    path : Path
        The clip.
    max_height_px : int or None, default 720
        Largest height of the upright pictures; larger ones are reduced while their colours are
        converted, smaller ones are left as they are. None reads at full size.
    info : ClipInfo, optional
        What `probe_clip` said, to spare a second look at the file.

    Yields
    ------
    Frame
        ``time_s`` is the presentation time minus the start of the video stream: the first picture
        of an ordinary clip is at 0, and times are strictly increasing.

    Raises
    ------
    VideoOpenError
        If the clip cannot be opened.
    NoFramesError
        If no picture can be decoded.
    TimestampError
        If the stamps cannot be used: none at all and no rate, or most run backwards.

    Notes
    -----
    Damage: each packet is decoded on its own, so a damaged one costs only itself and is counted.
    From there, or from a picture the decoder flags itself, it builds on what it has until the next
    key frame; those pictures come with ``whole=False`` and are named in the report, so that a
    consumer can leave them unmeasured. Methods may be called from several threads.
    """

    def __init__(
        self,
        path: Path,
        *,
        max_height_px: int | None = DEFAULT_HEIGHT_PX,
        info: ClipInfo | None = None,
    ) -> None:
        self.path = path
        self.info = probe_clip(path) if info is None else info
        self._max_height_px = max_height_px
        self._lock = threading.Lock()
        self._closed = False
        self._flushed = False
        self._whole = True
        self._read_errors = 0
        self._tally = Tally(self.info)
        self._waiting: deque[Decoded] = deque()
        self._converter: Converter | None = None
        self._container, self._stream = open_clip(path)
        self._stream.thread_type = "AUTO"
        try:
            self._clock = FrameClock(self._container, self._stream)
        except TimestampError:
            self._container.close()
            raise
        self._packets = self._container.demux(self._stream)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Free the file; iteration stops and the report stays as it is. Can be called twice."""
        with self._lock:
            self._closed = True
            self._waiting.clear()
            self._container.close()

    @property
    def report(self) -> DecodeReport:
        """What decoding has met so far; final once the iteration has ended."""
        with self._lock:
            return self._tally.report()

    def __iter__(self) -> Self:
        return self

    def __next__(self) -> Frame:
        decoded = self.decode_next()
        if decoded is None:
            raise StopIteration
        return self.convert(decoded)

    def decode_next(self) -> Decoded | None:
        """Return the next picture as the decoder left it; None at the end or once closed."""
        # The lock makes closing wait for the step under way: FFmpeg must not be freed in use.
        with self._lock:
            while not self._waiting:
                if self._closed or self._tally.finished:
                    return None
                self._step()
            decoded = self._waiting.popleft()
            self._tally.add_frame(decoded.time_s, whole=decoded.whole)
            return decoded

    def convert(self, decoded: Decoded) -> Frame:
        """Return a decoded picture upright, small and RGB."""
        with self._lock:
            if self._converter is None:
                turn = read_turn(decoded.frame)
                self._tally.mirrored = turn.mirrored
                self._converter = Converter(
                    self.info.width_px,
                    self.info.height_px,
                    turn=turn,
                    max_height_px=self._max_height_px,
                )
            rgb = self._converter.convert(decoded.frame)
            return Frame(decoded.time_s, rgb, self._converter.scale, decoded.whole)

    @property
    def can_seek(self) -> bool:
        """Whether times can be jumped to, that is, the container stores presentation stamps."""
        return self._clock.can_seek

    def seek(self, time_s: float) -> None:
        """Continue with the key frame at or before a time; the report loses its meaning.

        Raises
        ------
        av.error.FFmpegError
            If the container cannot be entered there.
        """
        with self._lock:
            tick = self._clock.to_tick(time_s)
            self._container.seek(tick, stream=self._stream, backward=True)
            self._clock.restart()
            self._waiting.clear()
            self._packets = self._container.demux(self._stream)
            self._flushed = self._tally.finished = False
            self._whole = True

    def _step(self) -> None:
        """Read and decode one packet."""
        import av.error

        if self._flushed:
            self._finish()
            return
        try:
            packet = next(self._packets, None)
        except av.error.FFmpegError:
            self._pass_over_read_error()
            return
        # The demuxer ends with an empty packet, which makes the decoder hand out what it holds.
        self._flushed = packet is None or (packet.size == 0 and packet.dts is None)
        if packet is not None and not self._flushed:
            self._count_packet(packet)
        try:
            frames = self._stream.decode(packet)
        except av.error.EOFError:
            frames = []
        except av.error.FFmpegError:
            self._tally.add_damage()
            self._whole = False
            return
        for frame in frames:
            self._accept(frame)

    def _count_packet(self, packet: object) -> None:
        if getattr(packet, "is_discard", False):  # outside the edit list: decoded, never shown
            return
        self._tally.packets_shown += 1
        end_s = self._clock.find_end_s(packet)  # type: ignore[arg-type]
        if end_s is not None:
            self._tally.last_end_s = max(self._tally.last_end_s, end_s)

    def _pass_over_read_error(self) -> None:
        """Carry on reading after a damaged place in the container, a limited number of times."""
        self._tally.add_damage()
        self._whole = False
        self._read_errors += 1
        enough = self._read_errors >= _MAX_READ_ERRORS
        self._packets = iter(()) if enough else self._container.demux(self._stream)

    def _accept(self, frame: VideoFrame) -> None:
        if frame.is_corrupt:
            self._whole = False
        elif frame.key_frame:
            self._whole = True
        time_s = self._clock.stamp(frame)
        self._tally.backwards, self._tally.guessed = self._clock.backwards, self._clock.guessed
        if time_s is not None:
            self._waiting.append(Decoded(time_s, self._whole, frame))

    def _finish(self) -> None:
        self._tally.finished = True
        if not self._tally.frames_read:
            raise NoFramesError(f"Expected pictures in {self.path.name}, found none that decode.")
        if self._tally.backwards > self._tally.frames_read:
            raise TimestampError(
                f"Expected time stamps that move forwards, found {self._tally.backwards} pictures "
                f"of {self.path.name} whose stamps run backwards.",
                hint="Export the clip again as MP4 (H.264) with a phone or a video editor.",
            )
