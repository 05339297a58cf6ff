"""Opening a clip, with one clear sentence for each way in which that can fail."""

from __future__ import annotations

import codecs
import stat
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from motioncheck.errors import VideoOpenError

if TYPE_CHECKING:
    from av.container import InputContainer
    from av.video.stream import VideoStream

# Only real video containers and only local files: a play list renamed to .mp4 must not make the
# reader follow addresses in it, and text or photos must not pass as a video of one picture.
_OPTIONS = {
    "protocol_whitelist": "file",
    "format_whitelist": (
        "mov,matroska,avi,mpegts,mpeg,mpegvideo,m4v,h264,hevc,flv,asf,ogg,mxf,dv,mjpeg,ivf,obu"
    ),
}
_ISO_BOXES = {b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"}
_KNOWN = {
    b"\xff\xd8\xff": "a JPEG photo",
    b"\x89PNG": "a PNG picture",
    b"GIF8": "a GIF picture",
    b"%PDF": "a PDF document",
    b"PK\x03\x04": "a ZIP archive or an office document",
}
_ATTACHED_PICTURE = 0x400  # AV_DISPOSITION_ATTACHED_PIC; older PyAV has no name for it
_HEAD_BYTES = 4096


def open_clip(path: Path) -> tuple[InputContainer, VideoStream]:
    """Open a clip and choose its video stream.

    Parameters
    ----------
    path : Path
        A local file.

    Returns
    -------
    container, stream
        The open container (close it) and the stream that holds the pictures.

    Raises
    ------
    VideoOpenError
        If there is no such file, it may not be read, or it is not a video.
    """
    import av
    import av.error

    head = _read_head(path)
    try:
        # An absolute path, because a name such as "squat: 1.mp4" looks like a protocol to FFmpeg.
        container = av.open(str(path.absolute()), options=_OPTIONS, metadata_errors="replace")
    except (av.error.FFmpegError, ValueError) as error:
        raise _explain(path, head) from error
    try:
        return container, _choose_stream(container, path)
    except BaseException:
        container.close()
        raise


def has_box(path: Path, name: bytes) -> bool:
    """Return whether an MP4 or MOV file has a top-level box of this name, such as ``b"moov"``."""
    with path.open("rb") as file:
        return name in _walk_boxes(file, path.stat().st_size)


def _walk_boxes(file: BinaryIO, end: int) -> list[bytes]:
    names: list[bytes] = []
    at = 0
    while at + 8 <= end:
        file.seek(at)
        head = file.read(16)
        size = int.from_bytes(head[:4], "big")
        names.append(head[4:8])
        if size == 1:  # a 64-bit size follows the name
            size = int.from_bytes(head[8:16], "big")
        if size < 8:  # 0 means "to the end of the file", less is damage
            break
        at += size
    return names


def _read_head(path: Path) -> bytes:
    """Return the first bytes of the file; the system's own errors become sentences."""
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise VideoOpenError(
                f"Expected a video file, found the folder {path}.",
                hint="Name one clip inside it.",
            )
        if not stat.S_ISREG(mode):
            raise VideoOpenError(f"Expected a video file, found something else at {path}.")
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
    except PermissionError as error:
        raise VideoOpenError(
            f"Expected a video file that may be read, found that {path} may not.",
            hint="Allow your account to read the file, or copy it to a folder of your own.",
        ) from error
    except (FileNotFoundError, NotADirectoryError, ValueError) as error:
        raise VideoOpenError(
            f"Expected a video file at {path}, found nothing there.",
            hint="Check the name and the folder.",
        ) from error
    except OSError as error:
        raise VideoOpenError(f"Expected to read {path}, found that the disk refused it.") from error
    if not head:
        raise VideoOpenError(
            f"Expected a video, found that {path.name} is empty.",
            hint="Copy the clip from the phone again.",
        )
    return head


def _explain(path: Path, head: bytes) -> VideoOpenError:
    """Say why a file that can be read does not open as a video."""
    if head[4:8] in _ISO_BOXES and not has_box(path, b"moov"):
        return VideoOpenError(
            f"Expected a finished recording, found that the index of {path.name} is missing: "
            "recording or copying was cut short.",
            hint="Copy the clip from the phone again; if it does not play there, film it again.",
        )
    found = next((what for magic, what in _KNOWN.items() if head.startswith(magic)), None)
    if found is None and _is_text(head):
        found = "a text file"
    if found is not None:
        return VideoOpenError(
            f"Expected a video, found that {path.name} is {found}.",
            hint="Name the clip itself.",
        )
    return VideoOpenError(
        f"Expected a video, found data in {path.name} that cannot be read as one.",
    )


def _is_text(head: bytes) -> bool:
    try:
        # Incremental, because the head may end in the middle of a character.
        text = codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return False
    return all(char.isprintable() or char in "\r\n\t\f\ufeff" for char in text)


def _choose_stream(container: InputContainer, path: Path) -> VideoStream:
    stream = container.streams.best("video")
    if stream is None or _is_cover(stream):
        raise VideoOpenError(
            f"Expected moving pictures, found only sound in {path.name}.",
            hint="Name the clip itself, not its sound track.",
        )
    if stream.codec_context is None:
        raise VideoOpenError(
            f"Expected a video of a known kind, found that the pictures of {path.name} are coded "
            "in a way that cannot be read here.",
            hint="Export the clip again as MP4 (H.264).",
        )
    return stream  # type: ignore[return-value]  # best("video") returns a video stream


def _is_cover(stream: object) -> bool:
    """Return whether a stream is the cover picture of a sound file."""
    return bool(int(getattr(stream, "disposition", 0)) & _ATTACHED_PICTURE)
