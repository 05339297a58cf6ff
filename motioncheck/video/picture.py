"""Pictures of a clip: the records, and turning a decoded picture upright, small and RGB."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from av.video.frame import VideoFrame

Rgb = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One decoded picture of a clip.

    Attributes
    ----------
    time_s : float
        Presentation time since the start of the video stream, strictly increasing.
    rgb : ndarray, shape (H, W, 3), uint8
        The upright picture, C-contiguous and read-only.
    scale : float
        Pixels of this picture per pixel of the upright picture at full size, at most 1.
    whole : bool
        False from a damaged packet up to the next key frame: the decoder fills what is missing
        with older content, so bodies may be smeared or stand still.
    """

    time_s: float
    rgb: Rgb
    scale: float
    whole: bool = True


class Picture(NamedTuple):
    """A picture taken out of a clip; ``rgb`` and ``scale`` as in `Frame`."""

    time_s: float
    rgb: Rgb
    scale: float


@dataclass(frozen=True, slots=True)
class Turn:
    """How a stored picture is brought upright: mirror it if asked, then turn it clockwise."""

    clockwise_deg: int = 0
    mirrored: bool = False


def read_turn(frame: VideoFrame) -> Turn:
    """Return how a decoded picture has to be turned, from the display matrix of its container.

    Angles between the quarter turns are rounded to the nearest one.

    Notes
    -----
    A matrix (a, b, c, d) moves (x, y) to (ax + cy, bx + dy), y downwards, so a clockwise turn has
    ``a = cos`` and ``b = sin``; a negative determinant is a mirror. Source: ISO/IEC 14496-12,
    track header box. An angle alone is not enough: it calls a mirrored picture upside down.
    """
    try:
        matrix = np.frombuffer(bytes(frame.side_data["DISPLAYMATRIX"]), np.int32)  # type: ignore
    except KeyError:
        return Turn()
    a, b, c, d = (int(matrix[i]) for i in (0, 1, 3, 4))
    mirrored = a * d - b * c < 0
    angle = math.degrees(math.atan2(-b, -a) if mirrored else math.atan2(b, a))
    return Turn(round(angle / 90.0) * 90 % 360, mirrored)


def compute_upright_size(
    width_px: int, height_px: int, *, turn: Turn, pixel_aspect: Fraction | None
) -> tuple[int, int]:
    """Return width and height of the upright full-size picture, with square pixels."""
    if pixel_aspect:
        width_px = max(round(width_px * pixel_aspect), 1)
    if turn.clockwise_deg % 180 == 90:
        return height_px, width_px
    return width_px, height_px


class Converter:
    """Turns decoded pictures into upright RGB arrays of one size.

    Parameters
    ----------
    width_px, height_px : int
        Size of the upright picture at full size.
    turn : Turn
        How the stored pictures have to be turned.
    max_height_px : int or None
        Largest height of the upright result; None keeps the full size. Never enlarges.

    Notes
    -----
    Area averaging inside the colour conversion keeps a 4K picture from ever existing as RGB.
    HLG and PQ clips are converted plainly, without tone mapping: flatter than on the phone, yet
    bright enough to find a person.
    """

    def __init__(
        self, width_px: int, height_px: int, *, turn: Turn, max_height_px: int | None
    ) -> None:
        from av.video.reformatter import VideoReformatter

        height = height_px if max_height_px is None else min(height_px, max_height_px)
        self.scale = height / height_px
        width = max(round(width_px * self.scale), 1)
        self._turn = turn
        self._stored = (height, width) if turn.clockwise_deg % 180 == 90 else (width, height)
        # One object for the clip: a new one for each picture costs about 2 ms.
        self._reformatter = VideoReformatter()

    def convert(self, frame: VideoFrame) -> Rgb:
        """Return the upright picture, shape (H, W, 3), uint8, C-contiguous, read-only."""
        width, height = self._stored
        small = self._reformatter.reformat(
            frame, width=width, height=height, format="rgb24", interpolation="AREA"
        )
        # The pose library misreads arrays that are not contiguous, without any error.
        plain = np.ascontiguousarray(small.to_ndarray(), dtype=np.uint8)
        rgb = np.ascontiguousarray(_turn_upright(plain, self._turn))
        rgb.setflags(write=False)
        return rgb


def _turn_upright(rgb: Rgb, turn: Turn) -> Rgb:
    if turn == Turn():
        return rgb
    import cv2

    if turn.mirrored:
        rgb = np.asarray(cv2.flip(rgb, 1), dtype=np.uint8)
    codes = {
        90: cv2.ROTATE_90_CLOCKWISE,
        180: cv2.ROTATE_180,
        270: cv2.ROTATE_90_COUNTERCLOCKWISE,
    }
    if turn.clockwise_deg:
        rgb = np.asarray(cv2.rotate(rgb, codes[turn.clockwise_deg]), dtype=np.uint8)
    return rgb
