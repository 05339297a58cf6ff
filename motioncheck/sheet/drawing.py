"""Drawing onto pictures: stick figure, measured lines, readable text, covered faces."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Any, Final

import numpy as np

from motioncheck.errors import OutputError
from motioncheck.records.arrays import FloatArray
from motioncheck.sheet.faces import Image, coarse, cover_face
from motioncheck.sheet.lines import MeasuredLine, measured_lines, point_of
from motioncheck.skeleton import BONES, FACE, INDEX

__all__ = [
    "MeasuredLine",
    "annotate_frame",
    "coarse",
    "cover_face",
    "draw_lines",
    "draw_still",
    "encode_jpeg",
    "measured_lines",
    "shrink_jpeg",
]

INK: Final = (24, 28, 36)
PAPER: Final = (255, 255, 255)
BONE: Final = (225, 229, 235)
GOOD: Final = (110, 180, 250)
LOOK: Final = (255, 140, 40)
QUALITY: Final = 82
# The lettering of the drawing library knows only ASCII; the degree sign is drawn as a ring.
_ASCII: Final = str.maketrans({"±": "+/-", "−": "-", "–": "-", "·": "-", "×": "x", "’": "'"})


def _short_side(rgb: Image) -> int:
    return int(min(rgb.shape[:2]))


def _thickness(rgb: Image) -> int:
    return max(round(_short_side(rgb) / 180), 1)


def _pixel(point: FloatArray) -> tuple[int, int] | None:
    """Return whole pixels, or None for a missing point or one far outside any picture."""
    if not np.isfinite(point).all() or np.abs(point).max() > 30_000:
        return None
    return round(float(point[0])), round(float(point[1]))


def draw_lines(
    rgb: Image,
    landmarks_px: FloatArray,
    segments: Iterable[tuple[str, str]] = BONES,
    *,
    colour: tuple[int, int, int] = BONE,
    thickness: int = 0,
) -> None:
    """Draw lines between landmarks into a picture, with a dark edge so they show anywhere.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3)
        Changed in place; must be contiguous.
    landmarks_px : ndarray, shape (33, 2)
        Pixels of this picture; a line with a missing end is left out.
    segments : iterable of (str, str)
        Names of the ends; the stick figure by default.
    colour : tuple of int
    thickness : int
        Pixels; 0 chooses one that suits the size of the picture.
    """
    import cv2

    width = thickness or _thickness(rgb)
    ends = [(_pixel(point_of(landmarks_px, a)), _pixel(point_of(landmarks_px, b)))
            for a, b in segments]  # fmt: skip
    for tone, extra in ((INK, max(width // 2, 1) * 2), (colour, 0)):
        for a, b in ends:
            if a is not None and b is not None:
                cv2.line(rgb, a, b, tone, width + extra, cv2.LINE_AA)


def draw_still(
    rgb: Image,
    landmarks_px: FloatArray,
    *,
    lines: Sequence[MeasuredLine] = (),
    show_face: bool = False,
    quality: int = QUALITY,
) -> bytes:
    """Return a picture with stick figure and measured lines as JPEG, the face covered.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3)
    landmarks_px : ndarray, shape (33, 2)
        Pixels of this picture; NaN where unknown.
    lines : sequence of MeasuredLine
        What to highlight.
    show_face : bool
        Leave the face as it is. Off unless the person asked for it.
    quality : int
        JPEG quality, 1 to 100.
    """
    points = np.asarray(landmarks_px, dtype=np.float64)
    picture = _start(rgb, points, show_face=show_face)
    draw_lines(picture, points)
    for line in lines:
        _draw_measured(picture, points, line)
    return encode_jpeg(picture, quality=quality)


def _start(rgb: Image, points: FloatArray, *, show_face: bool) -> Image:
    if show_face:
        return np.array(rgb, dtype=np.uint8, order="C")
    return cover_face(rgb, points)


def _draw_measured(picture: Image, points: FloatArray, line: MeasuredLine) -> None:
    """Draw one line or angle: its limbs, what it is compared with, and its number."""
    places = [point_of(points, name) for name in line.points]
    if not np.isfinite(places).all():
        return
    miss = line.verdict == "misses"
    colour = LOOK if miss else GOOD
    width = round(_thickness(picture) * (2.2 if miss else 1.7))
    start, end = _reference(places, line.reference)
    if line.reference:
        _dotted(picture, start, end)
    draw_lines(
        picture, points, list(pairwise(line.points)), colour=colour, thickness=width
    )  # fmt: skip
    if len(places) == 3:
        zero = end if line.reference == "straight" else places[0]
        _arc(picture, places[1], zero, places[2], colour, width)
    if line.text:
        anchor = places[1] if len(places) == 3 else (places[0] + places[1]) / 2
        _put_text(picture, line.text, _beside(picture, anchor), colour)


def _reference(places: list[FloatArray], reference: str) -> tuple[FloatArray, FloatArray]:
    """Return the ends of the dotted line that a measured line is compared with."""
    first, second = places[0], places[1]
    length = float(np.linalg.norm(second - first))
    if reference == "straight":
        return second, second + 0.8 * (second - first)
    if reference == "vertical":
        return first, first + np.array([0.0, -length])
    return first, first + np.array([length if second[0] >= first[0] else -length, 0.0])


def _dotted(picture: Image, start: FloatArray, end: FloatArray) -> None:
    import cv2

    length = float(np.linalg.norm(end - start))
    radius = max(_thickness(picture) * 0.8, 1.0)
    for share in np.arange(0.0, 1.0, radius * 6.0 / max(length, 1.0)):
        place = _pixel(start + share * (end - start))
        if place is not None:
            cv2.circle(picture, place, round(radius) + 1, INK, cv2.FILLED, cv2.LINE_AA)
            cv2.circle(picture, place, round(radius), PAPER, cv2.FILLED, cv2.LINE_AA)


def _arc(
    picture: Image, vertex: FloatArray, zero: FloatArray, limb: FloatArray, colour: Any, width: int
) -> None:
    """Draw the measured angle about a joint, from its zero direction to the limb."""
    import cv2

    a, b = zero - vertex, limb - vertex
    radius = round(0.3 * min(float(np.linalg.norm(a)), float(np.linalg.norm(b))))
    centre = _pixel(vertex)
    if radius < 4 or centre is None:
        return
    first = math.degrees(math.atan2(a[1], a[0]))
    turn = (math.degrees(math.atan2(b[1], b[0])) - first + 180.0) % 360.0 - 180.0
    for tone, extra in ((INK, 2), (colour, 0)):
        cv2.ellipse(picture, centre, (radius, radius), 0.0, first, first + turn, tone,
                    max(width // 2, 1) + extra, cv2.LINE_AA)  # fmt: skip


def _beside(picture: Image, anchor: FloatArray) -> FloatArray:
    gap = 0.03 * _short_side(picture)
    return np.asarray(anchor + np.array([gap, -gap]))


def annotate_frame(
    rgb: Image,
    landmarks_px: FloatArray,
    *,
    rep_text: str = "",
    phase_text: str = "",
    measure_text: str = "",
    show_face: bool = False,
) -> Image:
    """Return one frame of the annotated clip.

    Parameters
    ----------
    rgb : ndarray, shape (H, W, 3)
    landmarks_px : ndarray, shape (33, 2)
        Pixels of this picture. Where nobody was found, the frame is reduced to coarse blocks
        unless ``show_face`` is set: somebody may be in it all the same.
    rep_text, phase_text, measure_text : str
        Current rep, phase and running measure; empty ones are left out. Degree signs are fine.
    show_face : bool
        Leave faces as they are.
    """
    points = np.asarray(landmarks_px, dtype=np.float64)
    picture = _start(rgb, points, show_face=show_face)
    draw_lines(picture, points)
    _draw_joints(picture, points)
    size = _letter_height(picture)
    left, y = size * 0.8, size * 1.9
    for text, scale in ((rep_text, 1.35), (phase_text, 1.0), (measure_text, 1.0)):
        if text:
            _put_text(picture, text, np.array([left, y]), PAPER, scale=scale)
            y += size * 2.0 * scale
    return picture


def _draw_joints(picture: Image, points: FloatArray) -> None:
    import cv2

    ends = {name for pair in BONES for name in pair}
    radius = _thickness(picture) + 1
    for name in sorted(ends):
        place = _pixel(points[INDEX[name]])
        if place is not None and INDEX[name] not in FACE:
            cv2.circle(picture, place, radius, INK, cv2.FILLED, cv2.LINE_AA)
            cv2.circle(picture, place, max(radius - 1, 1), PAPER, cv2.FILLED, cv2.LINE_AA)


def _letter_height(picture: Image) -> float:
    return max(_short_side(picture) * 0.045, 10.0)


def _put_text(
    picture: Image, text: str, place: FloatArray, colour: Any, *, scale: float = 1.0
) -> None:
    """Write text with its lower left corner at a place, kept inside the picture.

    It stands on a dark plate, so that it can be read on any ground. An outline would not do:
    from version 5 on, the drawing library no longer widens letters with the line thickness.
    """
    import cv2

    if not np.isfinite(place).all():
        return
    plain = text.translate(_ASCII)
    # Letters of this font are 22 units high at scale 1.
    size = _letter_height(picture) * scale / 22.0
    width = _text_width(plain, size)
    room = max(picture.shape[1] - 12.0, 1.0)
    if width > room:
        size, width = size * room / width, room
    height = 22.0 * size
    x = min(max(float(place[0]), 6.0), max(picture.shape[1] - width - 6.0, 6.0))
    y = min(max(float(place[1]), height + 6.0), picture.shape[0] - height * 0.4 - 6.0)
    pad = 0.35 * height
    corners = (round(x - pad), round(y + pad)), (round(x + width + pad), round(y - height - pad))
    cv2.rectangle(picture, *corners, INK, cv2.FILLED)
    _write(picture, plain, (x, y), size, colour)


def _pieces(text: str) -> list[str]:
    """Return stretches of ASCII between degree signs, other letters replaced."""
    return [part.encode("ascii", "replace").decode("ascii") for part in text.split("°")]


def _ring(size: float) -> float:
    return 4.0 * size


def _stroke(size: float) -> int:
    return max(round(size * 2.0), 1)


def _piece_width(part: str, size: float) -> float:
    import cv2

    return float(cv2.getTextSize(part, cv2.FONT_HERSHEY_SIMPLEX, size, _stroke(size))[0][0])


def _text_width(text: str, size: float) -> float:
    parts = _pieces(text)
    return sum(_piece_width(p, size) for p in parts) + (len(parts) - 1) * 3.4 * _ring(size)


def _write(picture: Image, text: str, at: tuple[float, float], size: float, colour: Any) -> None:
    import cv2

    x, y = at
    stroke = _stroke(size)
    for number, part in enumerate(_pieces(text)):
        if number:
            centre = (round(x + 1.5 * _ring(size)), round(y - 18.0 * size))
            cv2.circle(picture, centre, max(round(_ring(size)), 2), colour, stroke, cv2.LINE_AA)
            x += 3.4 * _ring(size)
        cv2.putText(picture, part, (round(x), round(y)), cv2.FONT_HERSHEY_SIMPLEX, size, colour,
                    stroke, cv2.LINE_AA)  # fmt: skip
        x += _piece_width(part, size)


def encode_jpeg(rgb: Image, *, quality: int = QUALITY) -> bytes:
    """Return a picture as JPEG without any tags about camera, place or time."""
    import cv2

    done, data = cv2.imencode(
        ".jpg", np.ascontiguousarray(rgb[:, :, ::-1]), [cv2.IMWRITE_JPEG_QUALITY, quality]
    )
    if not done:
        raise OutputError("A picture for the sheet could not be turned into JPEG.")
    return bytes(data.tobytes())


def shrink_jpeg(jpeg: bytes, *, max_bytes: int, max_side_px: int = 720) -> bytes:
    """Return a JPEG below a size, by making the picture smaller and then coarser.

    Parameters
    ----------
    jpeg : bytes
    max_bytes : int
        Largest result; the last attempt is returned even if it should still be larger.
    max_side_px : int
        Longest side of the first attempt.
    """
    import cv2

    picture = cv2.imdecode(np.frombuffer(jpeg, dtype=np.uint8), cv2.IMREAD_COLOR)
    if picture is None:
        raise OutputError("A picture for the sheet is damaged.")
    result = jpeg
    for side, quality in ((max_side_px, 80), (max_side_px * 3 // 4, 70), (max_side_px // 2, 60)):
        factor = min(side / max(picture.shape[:2]), 1.0)
        size = (max(round(picture.shape[1] * factor), 1), max(round(picture.shape[0] * factor), 1))
        small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
        _, data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, quality])
        result = bytes(data.tobytes())
        if len(result) <= max_bytes:
            break
    return result
