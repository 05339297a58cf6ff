"""Small clips made on the fly, so that the tests carry no video files.

Every picture shows its own number as ten bright or dark blocks along its upper edge, so that a
test can tell which picture it was given. Below them a red box wanders over a shaded ground that
is darker at the lower right, so that turning or mirroring a picture changes it everywhere.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt

BITS = 10
CLOCK = Fraction(1, 90_000)
Rgb = npt.NDArray[np.uint8]

# The display matrices that phones write, as 16.16 numbers (a, b, c, d) of the track header; the
# key is the clockwise quarter turns a player has to make. ISO/IEC 14496-12, track header box.
_ONE = 1 << 16
TURNS = {
    0: (_ONE, 0, 0, _ONE),
    90: (0, _ONE, -_ONE, 0),
    180: (-_ONE, 0, 0, -_ONE),
    270: (0, -_ONE, _ONE, 0),
}
MIRROR = (-_ONE, 0, 0, _ONE)


def draw(number: int, width: int = 160, height: int = 120) -> Rgb:
    """Return picture ``number``, shape (height, width, 3)."""
    shade = np.linspace(210, 90, width)[None, :] - np.linspace(0, 60, height)[:, None]
    rgb = np.repeat(shade[:, :, None], 3, axis=2)
    side = height // 4
    left = (number * 3) % (width - side)
    rgb[height // 2 : height // 2 + side, left : left + side] = (220, 40, 40)
    top, wide = height // 5, width // BITS
    for bit in range(BITS):
        rgb[:top, bit * wide : (bit + 1) * wide] = 235 if number >> bit & 1 else 20
    return rgb.astype(np.uint8)


def read_number(rgb: Rgb) -> int:
    """Return the number a picture shows, whatever its size."""
    height, width = rgb.shape[:2]
    wide = width / BITS
    row = slice(int(height * 0.05), int(height * 0.15))
    number = 0
    for bit in range(BITS):
        column = slice(int((bit + 0.3) * wide), max(int((bit + 0.7) * wide), 1))
        number |= int(rgb[row, column].mean() > 128) << bit
    return number


def make_clip(
    path: Path,
    *,
    count: int = 30,
    width: int = 160,
    height: int = 120,
    rate: int = 30,
    times_s: Sequence[float] | None = None,
    codec: str = "libx264",
    pix_fmt: str = "yuv420p",
    options: dict[str, str] | None = None,
    container_options: dict[str, str] | None = None,
    prepare: Callable[[Any], None] | None = None,
    picture: Callable[[int, int, int], Rgb] = draw,
    clock: Fraction = CLOCK,
) -> Path:
    """Write a clip of ``count`` numbered pictures at the given times and return its path."""
    times = [n / rate for n in range(count)] if times_s is None else list(times_s)
    with av.open(str(path), "w", options=container_options or {}) as container:
        stream = container.add_stream(codec, rate=rate, options=_options(codec, options))
        stream.width, stream.height, stream.pix_fmt = width, height, pix_fmt
        stream.time_base = stream.codec_context.time_base = clock
        if prepare is not None:
            prepare(stream.codec_context)
        for number, time in enumerate(times):
            frame = av.VideoFrame.from_ndarray(picture(number, width, height), format="rgb24")
            frame = frame.reformat(format=pix_fmt)
            frame.pts, frame.time_base = round(time / clock), clock
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def _options(codec: str, options: dict[str, str] | None) -> dict[str, str]:
    quick = {
        "libx264": {"preset": "ultrafast", "crf": "16", "g": "15"},
        "libx265": {"preset": "ultrafast", "x265-params": "log-level=none:keyint=15"},
    }
    return {**quick.get(codec, {}), **(options or {})}


def make_sound(path: Path) -> Path:
    """Write half a second of silence without any picture."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=44_100)
        for start in range(0, 22_050, 1024):
            frame = av.AudioFrame.from_ndarray(
                np.zeros((1, 1024), np.float32), format="fltp", layout="mono"
            )
            frame.sample_rate, frame.pts = 44_100, start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def find_box(data: bytes, *names: bytes) -> tuple[int, int]:
    """Return offset and length of the first box on a path such as ``b"moov", b"trak"``."""
    start, end = 0, len(data)
    for depth, name in enumerate(names):
        at = start
        while at < end:
            size = int.from_bytes(data[at : at + 4], "big")
            if data[at + 4 : at + 8] == name:
                break
            at += size
        else:
            raise LookupError(name)
        if depth + 1 == len(names):
            return at, size
        start, end = at + 8, at + size
    raise LookupError(names)


def set_matrix(path: Path, matrix: tuple[int, int, int, int]) -> Path:
    """Overwrite the display matrix in the track header of a finished MP4."""
    data = bytearray(path.read_bytes())
    at, _ = find_box(bytes(data), b"moov", b"trak", b"tkhd")
    a, b, c, d = matrix
    # Version 0: 8 bytes of head, 40 bytes of fields, then nine numbers of the matrix.
    struct.pack_into(">9i", data, at + 48, a, b, 0, c, d, 0, 0, 0, 1 << 30)
    path.write_bytes(data)
    return path


def set_edit(path: Path, *, skip_s: float, keep_s: float) -> Path:
    """Make the edit list of a finished MP4 show only ``keep_s`` after ``skip_s``."""
    data = bytearray(path.read_bytes())
    movie, _ = find_box(bytes(data), b"moov", b"mvhd")
    media, _ = find_box(bytes(data), b"moov", b"trak", b"mdia", b"mdhd")
    edit, _ = find_box(bytes(data), b"moov", b"trak", b"edts", b"elst")
    (movie_clock,) = struct.unpack_from(">I", data, movie + 20)
    (media_clock,) = struct.unpack_from(">I", data, media + 20)
    (count,) = struct.unpack_from(">I", data, edit + 12)
    assert count == 1, "expected a single edit"
    struct.pack_into(
        ">Ii", data, edit + 16, round(keep_s * movie_clock), round(skip_s * media_clock)
    )
    path.write_bytes(data)
    return path


def damage_middle(path: Path, *, share: float = 0.1, at: float = 0.5, seed: int = 1) -> Path:
    """Overwrite a share of the picture data, around its middle, with noise."""
    data = bytearray(path.read_bytes())
    start, size = find_box(bytes(data), b"mdat")
    start, size = start + 8, size - 8
    first = start + int(size * (at - share / 2))
    length = int(size * share)
    noise = np.random.default_rng(seed).integers(0, 256, length, dtype=np.uint8)
    data[first : first + length] = noise.tobytes()
    path.write_bytes(data)
    return path


def cut_short(path: Path, *, keep: float) -> Path:
    """Keep only the first part of a file, as an interrupted copy does."""
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * keep)])
    return path
