"""What `probe_clip` says about good and bad files."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from pathlib import Path

import av.stream
import clip_factory as clips
import pytest

from motioncheck.errors import NoFramesError, VideoOpenError
from motioncheck.video import ClipReader, hash_file, probe_clip


def test_importing_the_room_loads_neither_pyav_nor_opencv() -> None:
    code = "import sys, motioncheck.video; print({'av', 'cv2'} & set(sys.modules))"
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert result.stdout.strip() == "set()"


def test_probe_describes_an_ordinary_clip(tmp_path: Path) -> None:
    path = clips.make_clip(tmp_path / "squat.mp4", count=45)
    info = probe_clip(path)
    assert (info.name, info.codec, info.rotation_deg) == ("squat.mp4", "h264", 0)
    assert (info.width_px, info.height_px, info.frames_expected) == (160, 120, 45)
    assert info.duration_s == pytest.approx(1.5)
    assert info.frame_rate_hz == pytest.approx(30)
    assert info.start_s == 0


def test_hash_is_the_sha256_of_the_content(tmp_path: Path) -> None:
    path = tmp_path / "data"
    path.write_bytes(b"abc" * 1_000_000)
    assert hash_file(path) == hashlib.sha256(b"abc" * 1_000_000).hexdigest()


def test_probe_gives_upright_size_and_clockwise_turn(tmp_path: Path) -> None:
    path = clips.make_clip(tmp_path / "p.mp4", count=2)
    clips.set_matrix(path, clips.TURNS[90])
    info = probe_clip(path)
    assert (info.width_px, info.height_px, info.rotation_deg) == (120, 160, 90)


def test_probe_counts_only_the_pictures_inside_the_edit_list(tmp_path: Path) -> None:
    if not hasattr(av.stream.Stream, "index_entries"):
        pytest.skip("this PyAV does not show the index, so the header's own count is used")
    path = clips.make_clip(tmp_path / "p.mp4")
    clips.set_edit(path, skip_s=0.2, keep_s=0.5)
    info = probe_clip(path)
    assert info.frames_expected == 15
    assert info.duration_s == pytest.approx(0.5)


def test_probe_subtracts_the_start_from_a_matroska_duration(tmp_path: Path) -> None:
    times = [1.5 + n / 30 for n in range(30)]
    info = probe_clip(clips.make_clip(tmp_path / "p.mkv", times_s=times))
    assert info.start_s == pytest.approx(1.5)
    assert info.duration_s == pytest.approx(1.0, abs=0.002)


def test_pixels_that_are_not_square_are_made_square(tmp_path: Path) -> None:
    def widen(context: object) -> None:
        context.sample_aspect_ratio = clips.Fraction(4, 3)  # type: ignore[attr-defined]

    path = clips.make_clip(tmp_path / "p.mp4", count=2, prepare=widen)
    assert (probe_clip(path).width_px, probe_clip(path).height_px) == (213, 120)
    with ClipReader(path) as reader:
        assert next(reader).rgb.shape == (120, 213, 3)


def test_names_with_a_colon_are_files_not_protocols(tmp_path: Path) -> None:
    if sys.platform == "win32":
        pytest.skip("file names cannot hold a colon here")
    path = clips.make_clip(tmp_path / "plain.mp4", count=1).rename(tmp_path / "http: 1 é.mp4")
    assert probe_clip(path).frames_expected == 1


BAD_FILES = {
    "empty": (b"", "is empty"),
    "text": ("Kniebeuge, 3 Sätze\n".encode(), "is a text file"),
    "play list": (b"#EXTM3U\n#EXTINF:9,\nhttp://127.0.0.1:9/a.ts\n", "is a text file"),
    "photo": (b"\xff\xd8\xff\xe0" + bytes(400), "is a JPEG photo"),
    "noise": (bytes(range(255, 1, -1)) * 20, "cannot be read as one"),
}


@pytest.mark.parametrize("kind", BAD_FILES)
def test_a_file_that_is_no_video_is_told_in_one_sentence(kind: str, tmp_path: Path) -> None:
    content, sentence = BAD_FILES[kind]
    path = tmp_path / "clip.mp4"
    path.write_bytes(content)
    with pytest.raises(VideoOpenError, match=sentence) as caught:
        probe_clip(path)
    _check_message(caught.value)


def _check_message(error: VideoOpenError) -> None:
    """A message says what was expected and found, has a next step, and hides the decoder."""
    assert error.message.startswith("Expected")
    assert "found" in error.message
    assert error.hint
    for leak in ("Errno", "av_", "avcodec", "Invalid data"):
        assert leak not in str(error)


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(VideoOpenError, match="found nothing there") as caught:
        probe_clip(tmp_path / "nowhere" / "clip.mp4")
    _check_message(caught.value)


def test_a_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(VideoOpenError, match="found the folder") as caught:
        probe_clip(tmp_path)
    _check_message(caught.value)


def test_a_forbidden_file_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = clips.make_clip(tmp_path / "clip.mp4", count=1)

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    # An administrator may read every file, so the refusal is played rather than set up.
    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(VideoOpenError, match="may not") as caught:
        probe_clip(path)
    _check_message(caught.value)


def test_a_sound_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(VideoOpenError, match="found only sound") as caught:
        probe_clip(clips.make_sound(tmp_path / "clip.mp4"))
    _check_message(caught.value)


def test_a_recording_without_its_index_is_told(tmp_path: Path) -> None:
    path = clips.cut_short(clips.make_clip(tmp_path / "clip.mp4"), keep=0.5)
    with pytest.raises(VideoOpenError, match=r"index of clip\.mp4 is missing") as caught:
        probe_clip(path)
    _check_message(caught.value)


def test_a_clip_whose_pictures_are_all_destroyed_is_told(tmp_path: Path) -> None:
    path = clips.make_clip(tmp_path / "clip.mp4", count=5)
    clips.damage_middle(path, share=1.0)
    with pytest.raises(NoFramesError, match="found none"):
        probe_clip(path)


def test_a_clip_that_ends_with_its_header_is_told(tmp_path: Path) -> None:
    path = clips.make_clip(
        tmp_path / "clip.mp4", container_options={"movflags": "faststart"}, count=5
    )
    data = path.read_bytes()
    start, _ = clips.find_box(data, b"mdat")
    path.write_bytes(data[: start + 8])
    with pytest.raises(NoFramesError, match="found none"):
        probe_clip(path)
