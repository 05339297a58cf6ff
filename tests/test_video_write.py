"""`ClipWriter`: clips that play, or nothing at all. Outside reference: OpenCV's reader."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import av
import clip_factory as clips
import cv2
import numpy as np
import pytest

from motioncheck.errors import OutputError, ShapeError, TimestampError
from motioncheck.video import ClipReader, ClipWriter

TIMES = [0.0, 0.033, 0.066, 0.2, 0.233, 0.266, 0.5, 0.541]


def write_clip(path: Path, *, width: int = 160, height: int = 120) -> None:
    with ClipWriter(path, width_px=width, height_px=height, rate_hz=30) as writer:
        for number, time_s in enumerate(TIMES):
            writer.write(clips.draw(number, width, height), time_s)


def test_a_written_clip_gives_back_its_pictures_and_times(tmp_path: Path) -> None:
    path = tmp_path / "annotated.mp4"
    write_clip(path)
    with ClipReader(path) as reader:
        frames = list(reader)
    assert [clips.read_number(frame.rgb) for frame in frames] == list(range(len(TIMES)))
    np.testing.assert_allclose([frame.time_s for frame in frames], TIMES, atol=1 / 90_000)
    difference = frames[3].rgb.astype(float) - clips.draw(3)
    assert np.abs(difference).mean() < 4
    assert [one.name for one in tmp_path.iterdir()] == ["annotated.mp4"]


def test_opencv_reads_the_same_times_and_colours(tmp_path: Path) -> None:
    path = tmp_path / "annotated.mp4"
    write_clip(path)
    capture = cv2.VideoCapture(str(path))
    for number, time_s in enumerate(TIMES):
        good, bgr = capture.read()
        assert good
        assert capture.get(cv2.CAP_PROP_POS_MSEC) == pytest.approx(time_s * 1000, abs=0.02)
        assert np.abs(bgr[:, :, ::-1].astype(float) - clips.draw(number)).mean() < 4
    assert not capture.read()[0]


def test_a_written_clip_is_what_browsers_play(tmp_path: Path) -> None:
    path = tmp_path / "annotated.mp4"
    write_clip(path, width=161, height=121)
    data = path.read_bytes()
    assert clips.find_box(data, b"moov")[0] < clips.find_box(data, b"mdat")[0]
    with av.open(str(path)) as container:
        (stream,) = container.streams
        context = stream.codec_context
        assert (context.name, context.pix_fmt) == ("h264", "yuv420p")
        assert (context.width, context.height) == (160, 120)
        assert stream.duration * stream.time_base == pytest.approx(TIMES[-1] + 0.041, abs=0.001)
        assert set(container.metadata) <= {
            "major_brand",
            "minor_version",
            "compatible_brands",
            "encoder",
        }


def fail_while_writing(path: Path) -> None:
    with ClipWriter(path, width_px=160, height_px=120) as writer:
        writer.write(clips.draw(0), 0.0)
        raise RuntimeError("drawing failed")


def test_an_error_leaves_no_file_and_keeps_the_clip_that_was_there(tmp_path: Path) -> None:
    path = tmp_path / "annotated.mp4"
    path.write_bytes(b"before")
    with pytest.raises(RuntimeError, match="drawing failed"):
        fail_while_writing(path)
    assert path.read_bytes() == b"before"
    assert [one.name for one in tmp_path.iterdir()] == ["annotated.mp4"]


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="found no such folder"):
        ClipWriter(tmp_path / "nowhere" / "a.mp4", width_px=160, height_px=120)


def test_a_folder_that_may_not_be_written_to_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    # An administrator may write everywhere, so the refusal is played rather than set up.
    monkeypatch.setattr(Path, "touch", refuse)
    with pytest.raises(OutputError, match="may not be written to"):
        ClipWriter(tmp_path / "a.mp4", width_px=160, height_px=120)


FULL_DISK = """
import resource, signal, sys
from pathlib import Path
import numpy as np
from motioncheck.errors import OutputError
from motioncheck.video import ClipWriter
noise = np.random.default_rng(0).integers(0, 256, (40, 120, 160, 3), dtype=np.uint8)
path = Path(sys.argv[1])
def write():
    with ClipWriter(path, width_px=160, height_px=120) as writer:
        for n, rgb in enumerate(noise):
            writer.write(rgb, n / 30)
write()
size = path.stat().st_size
path.unlink()
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
limit = int(size * float(sys.argv[2]))
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
try:
    write()
except OutputError as error:
    print(error.message)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="file size limits exist on Unix only")
@pytest.mark.parametrize("share", [0.4, 0.999], ids=["on the way", "at the very end"])
def test_a_full_disk_is_told_and_leaves_no_file(share: float, tmp_path: Path) -> None:
    # A limit on the size of a file fails a write in the same place as a full disk does.
    command = [sys.executable, "-c", FULL_DISK, str(tmp_path / "a.mp4"), str(share)]
    result = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (result.stdout.strip(), result.stderr) == (
        "Expected room for a.mp4, found the disk full.",
        "",
    )
    assert list(tmp_path.iterdir()) == []


def test_wrong_pictures_and_times_are_refused(tmp_path: Path) -> None:
    with ClipWriter(tmp_path / "a.mp4", width_px=160, height_px=120) as writer:
        writer.write(clips.draw(0), 0.1)
        with pytest.raises(ShapeError, match=r"found uint8 \(60, 80, 3\)"):
            writer.write(clips.draw(1, 80, 60), 0.2)
        with pytest.raises(TimestampError, match="after the last picture"):
            writer.write(clips.draw(1), 0.1)


def test_a_clip_without_pictures_is_refused(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="found none to write"):
        ClipWriter(tmp_path / "a.mp4", width_px=160, height_px=120).close()
    assert list(tmp_path.iterdir()) == []
