"""`ClipReader`: times, uprightness, damage. Outside reference: OpenCV's own FFmpeg reader."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import clip_factory as clips
import cv2
import numpy as np
import pytest

from motioncheck.errors import NoFramesError
from motioncheck.records import DecodeReport
from motioncheck.video import ClipReader, Frame

REORDERED = {"preset": "medium", "g": "15"}  # pictures are stored in another order than shown


def read_all(path: Path, **options: Any) -> tuple[list[Frame], DecodeReport]:
    with ClipReader(path, **options) as reader:
        frames = list(reader)
    return frames, reader.report


def numbers(frames: list[Frame]) -> list[int]:
    return [clips.read_number(frame.rgb) for frame in frames]


def times(frames: list[Frame]) -> list[float]:
    return [frame.time_s for frame in frames]


def read_opencv(path: Path) -> tuple[list[float], list[clips.Rgb]]:
    """Return times in seconds and RGB pictures as OpenCV's reader gives them."""
    capture = cv2.VideoCapture(str(path))
    found: list[float] = []
    pictures: list[clips.Rgb] = []
    while True:
        good, bgr = capture.read()
        if not good:
            capture.release()
            return found, pictures
        found.append(capture.get(cv2.CAP_PROP_POS_MSEC) / 1000)
        pictures.append(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB))


def test_every_picture_comes_once_with_its_time(tmp_path: Path) -> None:
    frames, report = read_all(clips.make_clip(tmp_path / "c.mp4", options=REORDERED))
    assert numbers(frames) == list(range(30))
    np.testing.assert_allclose(times(frames), np.arange(30) / 30, atol=1e-9)
    assert report == DecodeReport(frames_read=30)


VARIABLE = np.cumsum([0, *([1 / 30] * 9), 0.12, 0.02, *([1 / 24] * 9), 0.3, *([1 / 60] * 9)])
STARTS = {
    "mp4": ("c.mp4", 0.0, 1e-9),
    "mp4 that starts late": ("c.mp4", 1.5, 1e-9),
    "matroska, whole milliseconds": ("c.mkv", 0.7, 1e-9),
    "transport stream": ("c.ts", 2.0, 1e-9),
}


@pytest.mark.parametrize("kind", STARTS)
def test_times_of_a_variable_rate_clip_equal_those_of_opencv(kind: str, tmp_path: Path) -> None:
    name, start_s, tolerance_s = STARTS[kind]
    path = clips.make_clip(
        tmp_path / name, times_s=list(VARIABLE + start_s), options=REORDERED, count=len(VARIABLE)
    )
    frames, report = read_all(path)
    theirs, _ = read_opencv(path)
    np.testing.assert_allclose(times(frames), theirs, atol=tolerance_s)
    np.testing.assert_allclose(times(frames), VARIABLE, atol=0.001)
    assert numbers(frames) == list(range(len(VARIABLE)))
    assert report.variable_rate


def test_a_constant_rate_rounded_to_milliseconds_is_not_variable(tmp_path: Path) -> None:
    _, report = read_all(clips.make_clip(tmp_path / "c.mkv", rate=240, count=60))
    assert not report.variable_rate


def test_edit_lists_hide_pictures_and_move_the_start(tmp_path: Path) -> None:
    path = clips.set_edit(clips.make_clip(tmp_path / "c.mp4"), skip_s=0.2, keep_s=0.5)
    frames, report = read_all(path)
    assert numbers(frames) == list(range(6, 21))
    np.testing.assert_allclose(times(frames), np.arange(15) / 30, atol=1e-9)
    np.testing.assert_allclose(times(frames), read_opencv(path)[0], atol=1e-9)
    assert not report.ended_early


def test_a_slow_motion_clip_keeps_240_pictures_a_second(tmp_path: Path) -> None:
    frames, report = read_all(clips.make_clip(tmp_path / "c.mp4", rate=240, count=120))
    assert numbers(frames) == list(range(120))
    np.testing.assert_allclose(np.diff(times(frames)), 1 / 240, atol=1e-5)
    assert report.notes == ()


def test_avi_with_reordered_pictures_counts_in_storage_order(tmp_path: Path) -> None:
    path = clips.make_clip(tmp_path / "c.avi", options=REORDERED, clock=clips.Fraction(1, 30))
    frames, report = read_all(path)
    assert numbers(frames) == list(range(30))
    np.testing.assert_allclose(times(frames), np.arange(30) / 30, atol=1e-9)
    assert report.notes == ()


def test_pictures_without_any_stamp_are_placed_by_the_rate_and_told(tmp_path: Path) -> None:
    path = clips.make_clip(tmp_path / "c.h264", options=REORDERED, clock=clips.Fraction(1, 30))
    frames, report = read_all(path)
    np.testing.assert_allclose(times(frames), np.arange(30) / 30, atol=1e-6)
    assert "30 pictures without a time stamp" in report.notes[0]


@pytest.mark.parametrize("turn", clips.TURNS)
def test_turned_clips_stand_upright(turn: int, tmp_path: Path) -> None:
    def sideways(number: int, width: int, height: int) -> clips.Rgb:
        # Stored as a phone does: the upright picture turned back by the turn a player makes.
        upright = (width, height) if turn % 180 == 0 else (height, width)
        return np.ascontiguousarray(np.rot90(clips.draw(number, *upright), turn // 90))

    path = clips.make_clip(tmp_path / "c.mp4", count=5, picture=sideways)
    frames, _ = read_all(clips.set_matrix(path, clips.TURNS[turn]))
    _, theirs = read_opencv(path)
    assert numbers(frames) == list(range(5))
    for number, (frame, reference) in enumerate(zip(frames, theirs, strict=True)):
        height, width = frame.rgb.shape[:2]
        assert mean_difference(frame.rgb, clips.draw(number, width, height)) < 4
        assert mean_difference(frame.rgb, reference) < 2


def mean_difference(a: clips.Rgb, b: clips.Rgb) -> float:
    return float(np.abs(a.astype(float) - b.astype(float)).mean())


@pytest.mark.parametrize("turn", clips.TURNS)
def test_mirrored_clips_are_shown_as_players_do_and_told(turn: int, tmp_path: Path) -> None:
    path = clips.make_clip(tmp_path / "c.mp4", count=1)
    a, b, c, d = clips.TURNS[turn]
    # Mirror first, then turn: the first row of the matrix changes its sign.
    frames, report = read_all(clips.set_matrix(path, (-a, -b, c, d)))
    expected = np.rot90(clips.draw(0)[:, ::-1], -(turn // 90))
    assert mean_difference(frames[0].rgb, expected) < 4
    assert "left and right may be swapped" in report.notes[0]


def test_pictures_are_what_the_pose_library_can_read(tmp_path: Path) -> None:
    path = clips.set_matrix(clips.make_clip(tmp_path / "c.mp4", count=2), clips.TURNS[90])
    for frame in read_all(path, max_height_px=97)[0]:
        assert frame.rgb.flags.c_contiguous
        assert frame.rgb.dtype == np.uint8
        assert not frame.rgb.flags.writeable


def test_a_4k_picture_is_reduced_to_the_wanted_height(tmp_path: Path) -> None:
    path = clips.make_clip(tmp_path / "c.mp4", count=3, width=3840, height=2160)
    frames, _ = read_all(path, max_height_px=640)
    assert frames[0].rgb.shape == (640, 1138, 3)
    assert frames[0].scale == pytest.approx(640 / 2160)
    assert mean_difference(frames[2].rgb, clips.draw(2, 1138, 640)) < 4
    assert numbers(frames) == [0, 1, 2]


def test_small_pictures_are_not_enlarged(tmp_path: Path) -> None:
    frames, _ = read_all(clips.make_clip(tmp_path / "c.mp4", count=1))
    assert (frames[0].rgb.shape, frames[0].scale) == ((120, 160, 3), 1.0)


BT2020, PQ, HLG = 9, 16, 18  # ITU-T H.273 code points


@pytest.mark.parametrize("transfer", [None, HLG, PQ])
def test_ten_bit_clips_come_out_bright_enough(transfer: int | None, tmp_path: Path) -> None:
    def tag(context: Any) -> None:
        if transfer is not None:
            context.colorspace = context.color_primaries = BT2020
            context.color_trc = transfer

    path = clips.make_clip(
        tmp_path / "c.mp4", codec="libx265", pix_fmt="yuv420p10le", count=10, prepare=tag
    )
    frames, _ = read_all(path)
    assert numbers(frames) == list(range(10))
    assert frames[0].rgb.mean() == pytest.approx(clips.draw(0).mean(), abs=12)


def test_interlaced_clips_are_read(tmp_path: Path) -> None:
    options = {"x264-params": "interlaced=1", "preset": "ultrafast"}
    frames, report = read_all(clips.make_clip(tmp_path / "c.mp4", count=10, options=options))
    assert numbers(frames) == list(range(10))
    assert not report.ended_early


def test_a_clip_of_one_picture_is_read(tmp_path: Path) -> None:
    frames, report = read_all(clips.make_clip(tmp_path / "c.mp4", count=1))
    assert times(frames) == [0.0]
    assert report == DecodeReport(frames_read=1)


def test_damage_in_the_middle_costs_only_itself_and_is_told(tmp_path: Path) -> None:
    path = clips.make_clip(tmp_path / "c.mp4", count=120, options=REORDERED)
    clips.damage_middle(path, share=0.1)
    frames, report = read_all(path)
    assert 0 < report.packets_damaged <= 20
    assert len(frames) >= 120 - 20
    assert clips.read_number(frames[-1].rgb) == 119
    assert not report.ended_early
    assert not report.variable_rate
    assert "could not be decoded" in report.notes[0]
    # OpenCV's reader is the measure of what a plain loop would have lost.
    assert len(frames) >= len(read_opencv(path)[0])


def test_pictures_told_to_be_whole_are_as_they_were_filmed(tmp_path: Path) -> None:
    path = clips.make_clip(tmp_path / "c.mp4", count=120, options=REORDERED)
    clips.damage_middle(path, share=0.08, seed=3)
    frames, report = read_all(path)
    smeared = [frame for frame in frames if not frame.whole]
    assert 0 < len(smeared) < 40
    assert any("may be smeared" in note for note in report.notes)
    for frame in frames:
        if frame.whole:
            assert mean_difference(frame.rgb, clips.draw(round(frame.time_s * 30))) < 5


@pytest.mark.parametrize(
    ("name", "options"),
    [("c.mp4", {"movflags": "faststart"}), ("c.mkv", {})],
    ids=["mp4", "matroska"],
)
def test_a_cut_clip_is_read_to_its_end_and_told(
    name: str, options: dict[str, str], tmp_path: Path
) -> None:
    path = clips.make_clip(tmp_path / name, count=60, container_options=options)
    frames, report = read_all(clips.cut_short(path, keep=0.5))
    assert 20 < len(frames) < 40
    assert report.ended_early
    assert "its header promises 2.0 s" in report.notes[-1]


def test_a_reader_that_is_left_early_reports_no_early_end(tmp_path: Path) -> None:
    with ClipReader(clips.make_clip(tmp_path / "c.mp4")) as reader:
        next(reader)
        assert reader.report.frames_read == 1
    assert list(reader) == []
    assert not reader.report.ended_early


def test_nothing_is_printed_about_damage(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    read_all(clips.damage_middle(clips.make_clip(tmp_path / "c.mp4", count=60)))
    assert capfd.readouterr() == ("", "")


def test_a_clip_destroyed_after_it_was_probed_has_no_frames(tmp_path: Path) -> None:
    path = clips.make_clip(tmp_path / "c.mp4", count=4)
    with ClipReader(path) as reader:
        info = reader.info
    clips.damage_middle(path, share=1.0)
    with ClipReader(path, info=info) as reader, pytest.raises(NoFramesError, match="none that"):
        next(reader)
