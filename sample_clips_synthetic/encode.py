"""Write H.264 clips with exact time stamps, and turn the picture in the container if asked."""

from __future__ import annotations

import struct
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import av
import numpy as np
from tempo import VIDEO_CLOCK_HZ

if TYPE_CHECKING:
    from bodies import Array
    from numpy.typing import NDArray


def write_clip(
    path: Path,
    pictures: Iterable[NDArray[np.uint8]],
    time_s: Array,
    *,
    rate_hz: float,
    size_px: tuple[int, int],
    crf: int = 27,
) -> None:
    """Encode pictures with one presentation time each.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Presentation times; whole ticks of a 90 kHz clock, so they survive the file unchanged.
    """
    with av.open(str(path), "w") as file:
        # No reordering of frames: the first stamp of the file is then the first stamp shown.
        options = {"crf": str(crf), "preset": "medium", "bf": "0", "threads": "1"}
        stream = file.add_stream("libx264", rate=Fraction(round(rate_hz)), options=options)
        stream.width, stream.height = size_px
        stream.pix_fmt = "yuv420p"
        clock = Fraction(1, VIDEO_CLOCK_HZ)
        stream.time_base = stream.codec_context.time_base = clock
        for picture, moment in zip(pictures, time_s, strict=True):
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(picture), format="rgb24")
            frame.pts, frame.time_base = round(moment * VIDEO_CLOCK_HZ), clock
            file.mux(stream.encode(frame))
        file.mux(stream.encode(None))


def read_times(path: Path) -> Array:
    """Return the presentation times a reader of the file sees."""
    with av.open(str(path)) as file:
        return np.array([float(f.pts * f.time_base) for f in file.decode(video=0)])


def set_quarter_turn(path: Path) -> None:
    """Ask players to show the stored picture turned a quarter clockwise.

    The matrix sits in the track header box of the MP4 file; its nine numbers follow the fixed
    fields, whose length depends on the version of the box.
    """
    data = bytearray(path.read_bytes())
    start = data.index(b"tkhd") + 4
    version = data[start]
    matrix_at = start + (40 if version == 0 else 52)
    one, full = 1 << 16, 1 << 30
    # Rows a b u, c d v, x y w: a clockwise quarter, then a shift back into view.
    height = struct.unpack(">I", data[matrix_at + 40 : matrix_at + 44])[0]
    matrix = (0, one, 0, -one, 0, 0, height, 0, full)
    data[matrix_at : matrix_at + 36] = struct.pack(">9i", *matrix)
    path.write_bytes(data)
