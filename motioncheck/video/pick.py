"""Single pictures out of a clip, decoding only what leads up to them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from motioncheck.errors import NoFramesError
from motioncheck.records import ClipInfo
from motioncheck.video.decode import DEFAULT_HEIGHT_PX, ClipReader, Decoded
from motioncheck.video.picture import Picture

# Going on decoding is cheaper than jumping back to a key frame for a picture this near.
_NEAR_S = 1.0
# Where the index points past the picture, enter earlier.
_EARLIER_S = (0.0, 2.0, 8.0)


def pick_pictures(
    path: Path,
    times_s: Sequence[float],
    *,
    max_height_px: int | None = DEFAULT_HEIGHT_PX,
    info: ClipInfo | None = None,
) -> list[Picture]:
    """Return the picture nearest to each time.

    Parameters
    ----------
    path : Path
        The clip.
    times_s : sequence of float
        Times as `ClipReader` gives them, in any order.
    max_height_px : int or None
        As for `ClipReader`.
    info : ClipInfo, optional
        What `probe_clip` said, to spare a second look at the file.

    Returns
    -------
    list of Picture
        One ``(time_s, rgb, scale)`` for each wanted time, in the order asked for; ``time_s`` is
        that of the picture found. Times outside the clip get its first or last picture.

    Raises
    ------
    VideoOpenError, NoFramesError, TimestampError
        As `ClipReader` does.

    Notes
    -----
    Decodes from the key frame before each time; clips that cannot be entered in the middle are
    decoded once from the beginning.
    """
    import av.error

    wanted = sorted(set(times_s))
    if not wanted:
        return []
    with ClipReader(path, max_height_px=max_height_px, info=info) as reader:
        try:
            found = _pick_sorted(reader, wanted, jump=reader.can_seek)
        except (av.error.FFmpegError, LookupError):
            found = None
    if found is None:
        with ClipReader(path, max_height_px=max_height_px, info=reader.info) as reader:
            found = _pick_sorted(reader, wanted, jump=False)
    return [found[time_s] for time_s in times_s]


def _pick_sorted(reader: ClipReader, wanted: list[float], *, jump: bool) -> dict[float, Picture]:
    cursor = _Cursor(reader)
    found: dict[float, Picture] = {}
    for time_s in wanted:
        if jump:
            cursor.jump_near(time_s)
        found[time_s] = cursor.pick(time_s)
    return found


class _Cursor:
    """Two neighbouring pictures of a clip, moved forwards until a time lies between them."""

    def __init__(self, reader: ClipReader) -> None:
        self._reader = reader
        self._before: Decoded | None = None
        self._after: Decoded | None = None

    def jump_near(self, time_s: float) -> None:
        """Go to the key frame before a time, unless decoding on gets there soon.

        Raises
        ------
        LookupError
            If the index of the clip leads past the picture again and again.
        """
        here_s = 0.0 if self._before is None else self._before.time_s
        if time_s - here_s <= _NEAR_S:
            return
        for earlier_s in _EARLIER_S:
            self._reader.seek(time_s - earlier_s)
            self._before, self._after = None, self._reader.decode_next()
            if self._after is not None and self._after.time_s <= time_s:
                return
        raise LookupError(time_s)

    def pick(self, time_s: float) -> Picture:
        """Return the picture nearest to a time that is not before the one asked for last."""
        while self._before is None or (self._after is not None and self._after.time_s <= time_s):
            self._before, self._after = self._after, self._reader.decode_next()
            if self._after is None:
                break
        near = [one for one in (self._before, self._after) if one is not None]
        if not near:
            raise NoFramesError(f"Expected a picture at {time_s:.2f} s, found none that decodes.")
        best = min(near, key=lambda one: abs(one.time_s - time_s))
        frame = self._reader.convert(best)
        return Picture(frame.time_s, frame.rgb, frame.scale)
