"""Small pictures of a clip, kept aside while it is decoded, so that it is decoded only once."""

from __future__ import annotations

import logging
import tempfile
import threading
from bisect import bisect_left
from types import TracebackType
from typing import Any, NamedTuple, Self

import numpy as np

from motioncheck.video.picture import Frame, Picture, Rgb

_log = logging.getLogger(__name__)

_MAX_SIDE_PX = 640
_JPEG_QUALITY = 85
# Containers that count milliseconds round the time between pictures.
_SLACK_S = 0.002
# Each time the file has grown by this much, pictures are kept half as often: a clip of hours
# then needs hundreds of megabytes, not many gigabytes.
_THIN_OUT_BYTES = 256 * 1024 * 1024


class _Entry(NamedTuple):
    time_s: float
    offset: int
    length: int
    scale: float


class PictureSpool:
    """Keeps small JPEG pictures of a clip in one anonymous temporary file.

    The file has no name, only its owner can read it, and it is gone with the process. Methods may
    be called from several threads.

    Parameters
    ----------
    spacing_s : float, default 1/15
        At least this much time between two kept pictures; doubled for each 256 MB kept.

    Notes
    -----
    A full disk ends the keeping, not the check: pictures kept before stay available.
    """

    def __init__(self, *, spacing_s: float = 1 / 15) -> None:
        self._spacing_s = spacing_s
        # Buffering would only delay the moment at which a full disk is noticed.
        self._file: Any = tempfile.TemporaryFile(prefix="motioncheck-", buffering=0)  # noqa: SIM115
        self._lock = threading.Lock()
        self._entries: list[_Entry] = []
        self._size = 0
        self._last_s = -float("inf")
        self._open = True

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def __len__(self) -> int:
        return len(self._entries)

    def add(self, frame: Frame) -> None:
        """Keep a picture, unless the one kept last is too close in time.

        Parameters
        ----------
        frame : Frame
            Frames have to come in order of time; one that is too early is passed over.
        """
        spacing_s = self._spacing_s * 2.0 ** (self._size // _THIN_OUT_BYTES)
        if not self._open or frame.time_s - self._last_s < spacing_s - _SLACK_S:
            return
        data, scale = _encode(frame)
        with self._lock:
            if self._open:
                self._append(frame.time_s, data, scale)

    def _append(self, time_s: float, data: bytes, scale: float) -> None:
        try:
            self._file.seek(self._size)
            written = self._file.write(data)
        except OSError as error:
            _log.warning("No more pictures are kept for the sheet: %s", error.strerror)
            written = -1
        if written != len(data):
            self._last_s = float("inf")
            return
        self._entries.append(_Entry(time_s, self._size, len(data), scale))
        self._size += len(data)
        self._last_s = time_s

    def nearest(self, time_s: float) -> Picture | None:
        """Return the kept picture nearest to a time; None if none is kept or it is closed.

        Returns
        -------
        Picture or None
            ``rgb`` has shape (H, W, 3), uint8; ``scale`` is in pixels per full-size pixel.
        """
        with self._lock:
            if not self._open or not self._entries:
                return None
            entry = _find_nearest(self._entries, time_s)
            self._file.seek(entry.offset)
            data = self._file.read(entry.length)
        return Picture(entry.time_s, _decode(data), entry.scale)

    def close(self) -> None:
        """Remove all pictures. Can be called twice."""
        with self._lock:
            self._open = False
            self._entries = []
            self._file.close()


def _find_nearest(entries: list[_Entry], time_s: float) -> _Entry:
    at = bisect_left(entries, time_s, key=lambda entry: entry.time_s)
    return min(entries[max(at - 1, 0) : at + 1], key=lambda entry: abs(entry.time_s - time_s))


def _encode(frame: Frame) -> tuple[bytes, float]:
    import cv2

    bgr = cv2.cvtColor(frame.rgb, cv2.COLOR_RGB2BGR)
    height, width = bgr.shape[:2]
    ratio = min(_MAX_SIDE_PX / max(height, width), 1.0)
    if ratio < 1.0:
        size = (max(round(width * ratio), 1), max(round(height * ratio), 1))
        bgr = cv2.resize(bgr, size, interpolation=cv2.INTER_AREA)
    _, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    return data.tobytes(), frame.scale * ratio


def _decode(data: bytes) -> Rgb:
    import cv2

    bgr = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert bgr is not None  # it was encoded here
    return np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), dtype=np.uint8)
