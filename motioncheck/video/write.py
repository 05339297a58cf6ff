"""Writing a clip that phones, browsers and players show, with the times it was given."""

from __future__ import annotations

import errno
import secrets
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

import numpy as np

from motioncheck.errors import OutputError, ShapeError, TimestampError
from motioncheck.video.container import has_box
from motioncheck.video.picture import Rgb

if TYPE_CHECKING:
    from av.container import OutputContainer
    from av.packet import Packet
    from av.video.stream import VideoStream

_CLOCK = Fraction(1, 90_000)
_USUAL_RATE_HZ = 30.0
# One key frame a second, so that a player can jump to any rep; pictures are stored in the order
# in which they are shown, so that no edit list is needed.
_QUALITY = {"preset": "veryfast", "crf": "21", "bf": "0"}
_BT709, _LIMITED = 1, 1


class ClipWriter:
    """Writes an MP4 (H.264, 4:2:0, index first, no sound) picture by picture.

    The clip appears under its name only when it is complete: until `close` it is a hidden
    temporary file beside it, which an exception removes.

    Parameters
    ----------
    path : Path
        The clip to write; replaced if it exists.
    width_px, height_px : int
        Size of the pictures; an odd last row or column is cut off, because H.264 needs even sizes.
    rate_hz : float, optional
        Usual rate of the pictures, a hint for the encoder; times come with each picture.

    Raises
    ------
    OutputError
        If the folder cannot be written to or the disk is full; also from `write` and `close`.
    """

    def __init__(
        self, path: Path, *, width_px: int, height_px: int, rate_hz: float | None = None
    ) -> None:
        if width_px < 2 or height_px < 2:
            raise ShapeError(f"Expected pictures of 2 × 2 or more, found {width_px} × {height_px}.")
        self.path = path
        self._shape = (height_px, width_px, 3)
        self._part = path.parent / f".{path.name}.{secrets.token_hex(4)}.part"
        self._last: int | None = None
        self._interval = round(1 / (rate_hz or _USUAL_RATE_HZ) / _CLOCK)
        self._container: OutputContainer | None = self._open()
        self._stream = self._add_stream(rate_hz or _USUAL_RATE_HZ)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is None:
            self.close()
        else:
            self.abort()

    def write(self, rgb: Rgb, time_s: float) -> None:
        """Add a picture.

        Parameters
        ----------
        rgb : ndarray, shape (height_px, width_px, 3), uint8
            The picture.
        time_s : float
            When it is shown; later than the one before.

        Raises
        ------
        ShapeError
            If the picture has another size.
        TimestampError
            If the time does not move forwards by at least 1/90000 s.
        OutputError
            If the disk is full or gone; the temporary file is removed.
        """
        import av

        if rgb.shape != self._shape or rgb.dtype != np.uint8:
            raise ShapeError(
                f"Expected a uint8 picture of shape {self._shape}, found {rgb.dtype} {rgb.shape}."
            )
        tick = round(time_s / _CLOCK)
        if self._last is not None and tick <= self._last:
            raise TimestampError(f"Expected a time after the last picture, found {time_s:.6f} s.")
        height, width = self._stream.height, self._stream.width
        frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(rgb[:height, :width]), "rgb24")
        frame = frame.reformat(format="yuv420p", dst_colorspace="ITU709", dst_color_range="MPEG")
        frame.pts, frame.time_base = tick, _CLOCK
        if self._last is not None:
            self._interval = tick - self._last
        self._last = tick
        self._encode(frame)

    def close(self) -> None:
        """Complete the clip and give it its name. Does nothing the second time.

        Raises
        ------
        OutputError
            If no picture was written, or the disk is full or gone.
        """
        import av.error

        if self._container is None:
            return
        if self._last is None:
            self.abort()
            raise OutputError(f"Expected pictures for {self.path.name}, found none to write.")
        self._encode(None)
        container, self._container = self._container, None
        try:
            container.close()
            # FFmpeg reports a failed write late or not at all; an index proves a complete file.
            if not has_box(self._part, b"moov"):
                raise OSError(errno.EIO, "incomplete")
            self._part.replace(self.path)
        except (av.error.FFmpegError, OSError) as error:
            self._remove_part()
            raise self._explain(error) from error

    def abort(self) -> None:
        """Give up: close and remove the temporary file; a clip of that name stays as it was."""
        import av.error

        container, self._container = self._container, None
        if container is not None:
            with suppress(av.error.FFmpegError, OSError):
                container.close()
            self._remove_part()

    def _open(self) -> OutputContainer:
        import av
        import av.error

        try:
            self._part.touch(exist_ok=False)  # FFmpeg would only notice with the first picture
            return av.open(
                str(self._part.absolute()), "w", format="mp4", options={"movflags": "+faststart"}
            )
        except (av.error.FFmpegError, OSError) as error:
            self._remove_part()
            raise self._explain(error) from error

    def _add_stream(self, rate_hz: float) -> VideoStream:
        assert self._container is not None
        options = {**_QUALITY, "g": str(max(round(rate_hz), 1))}
        rate = Fraction(rate_hz).limit_denominator(1001)
        stream: VideoStream = self._container.add_stream("libx264", rate=rate, options=options)
        stream.width, stream.height = self._shape[1] // 2 * 2, self._shape[0] // 2 * 2
        stream.pix_fmt = "yuv420p"
        stream.time_base = stream.codec_context.time_base = _CLOCK
        context = stream.codec_context
        context.colorspace = context.color_primaries = context.color_trc = _BT709
        context.color_range = _LIMITED
        return stream

    def _encode(self, frame: object) -> None:
        import av.error

        if self._container is None:
            raise OutputError(f"Expected an open clip, found that {self.path.name} is finished.")
        try:
            for packet in self._stream.encode(frame):  # type: ignore[arg-type]
                self._mux(packet)
        except (av.error.FFmpegError, OSError) as error:
            self.abort()
            raise self._explain(error) from error

    def _mux(self, packet: Packet[VideoStream]) -> None:
        assert self._container is not None
        # Without a duration the last picture would be shown for no time at all.
        packet.duration = self._interval
        self._container.mux(packet)

    def _remove_part(self) -> None:
        with suppress(OSError):
            self._part.unlink(missing_ok=True)

    def _explain(self, error: Exception) -> OutputError:
        code = getattr(error, "errno", None)
        folder = self.path.parent
        if code in (errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC)):
            return OutputError(f"Expected room for {self.path.name}, found the disk full.")
        if code in (errno.ENOENT, errno.ENOTDIR):
            return OutputError(
                f"Expected the folder {folder} to write {self.path.name} in, found no such folder."
            )
        if code in (errno.EACCES, errno.EPERM, errno.EROFS):
            return OutputError(
                f"Expected to write {self.path.name}, found that {folder} may not be written to."
            )
        return OutputError(f"Expected to write {self.path.name}, found that the disk refused it.")
