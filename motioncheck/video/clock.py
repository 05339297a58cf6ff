"""The time of each picture, from the container's own stamps."""

from __future__ import annotations

from typing import TYPE_CHECKING

from motioncheck.errors import TimestampError

if TYPE_CHECKING:
    from av.container import InputContainer
    from av.packet import Packet
    from av.video.frame import VideoFrame
    from av.video.stream import VideoStream


class FrameClock:
    """Gives each decoded picture its time in seconds.

    Time is the presentation stamp minus the start of the video stream, so that the first picture
    shown is at 0 whatever the container starts at, and edit lists are honoured. A picture without
    any stamp follows the one before by its own duration or one average interval, and is counted
    in ``guessed``. A picture that does not come after the one before gets None: the caller leaves
    it out, and it is counted in ``backwards``.

    Raises
    ------
    TimestampError
        From `stamp`, if a picture has neither a stamp nor anything to guess it from.
    """

    def __init__(self, container: InputContainer, stream: VideoStream) -> None:
        base = stream.time_base
        if not base:
            raise TimestampError("Expected time stamps, found a clip without a time base.")
        self.tick_s = float(base)
        # AVI stores no presentation stamps: what is derived from it is out of order as soon as
        # the coding reorders pictures, while the order of storage counts at a constant rate.
        self._stored_order = container.format.name == "avi"
        self._start = None if self._stored_order else stream.start_time
        rate = stream.guessed_rate or stream.average_rate
        self._step = round(1 / (rate * base)) if rate else 0
        self._last: int | None = None
        self.guessed = 0
        self.backwards = 0

    def stamp(self, frame: VideoFrame) -> float | None:
        """Return the time of a picture in seconds, or None if it does not move forwards."""
        tick = frame.dts if self._stored_order else frame.pts
        if tick is None:
            tick = self._guess(frame)
        if self._last is not None and tick <= self._last:
            self.backwards += 1
            return None
        if self._start is None or (self._last is None and tick < self._start):
            self._start = tick
        self._last = tick
        return (tick - self._start) * self.tick_s

    def find_end_s(self, packet: Packet[VideoStream]) -> float | None:
        """Return when the picture of a packet stops being shown, in seconds; None if unknown."""
        tick = packet.dts if self._stored_order else packet.pts
        if tick is None:
            return None
        return (tick + (packet.duration or self._step) - (self._start or 0)) * self.tick_s

    def to_tick(self, time_s: float) -> int:
        """Return the container's stamp for a time in seconds."""
        return round(time_s / self.tick_s) + (self._start or 0)

    @property
    def can_seek(self) -> bool:
        """Whether stamps are presentation times counted from a known start."""
        return self._start is not None and not self._stored_order

    def restart(self) -> None:
        """Accept any next stamp, after a jump in the clip."""
        self._last = None

    def _guess(self, frame: VideoFrame) -> int:
        # AVI leaves the last pictures without a stamp; at its constant rate nothing is guessed.
        if not self._stored_order:
            self.guessed += 1
        if self._last is None:
            return self._start or 0
        step = getattr(frame, "duration", 0) or self._step
        if step <= 0:
            raise TimestampError(
                "Expected a time stamp on each picture, found neither stamps nor a frame rate."
            )
        return self._last + step
