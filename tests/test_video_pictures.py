"""`PictureSpool` and `pick_pictures`: single pictures after or without a full pass."""

from __future__ import annotations

import errno
import logging
import threading
from pathlib import Path

import clip_factory as clips
import numpy as np
import pytest

from motioncheck.video import ClipReader, Frame, PictureSpool, pick_pictures, read_ahead
from motioncheck.video import spool as spool_module

REORDERED = {"preset": "medium", "g": "15"}


def make_frame(number: int, *, rate: float = 30, height: int = 120) -> Frame:
    rgb = clips.draw(number, height * 4 // 3, height)
    return Frame(number / rate, rgb, scale=0.5)


def test_the_spool_keeps_every_second_picture_of_30_a_second() -> None:
    with PictureSpool() as spool:
        for number in range(30):
            spool.add(make_frame(number))
        assert len(spool) == 15
        picture = spool.nearest(0.41)
        assert picture is not None
        assert clips.read_number(picture.rgb) == 12
        assert picture.time_s == pytest.approx(12 / 30)
        assert np.abs(picture.rgb.astype(float) - clips.draw(12)).mean() < 4


def test_times_rounded_to_milliseconds_do_not_thin_the_spool_out() -> None:
    with PictureSpool() as spool:
        for number in range(30):
            spool.add(Frame(round(number / 30, 3), clips.draw(number), scale=1.0))
        assert len(spool) == 15


def test_large_pictures_are_kept_small_with_their_scale() -> None:
    with PictureSpool() as spool:
        spool.add(make_frame(7, height=960))
        picture = spool.nearest(99.0)
        assert picture is not None
        assert picture.rgb.shape == (480, 640, 3)
        assert picture.scale == pytest.approx(0.25)
        assert clips.read_number(picture.rgb) == 7


def test_an_empty_or_closed_spool_has_no_picture() -> None:
    spool = PictureSpool()
    assert spool.nearest(0.0) is None
    spool.add(make_frame(0))
    spool.close()
    spool.close()
    spool.add(make_frame(9))
    assert spool.nearest(0.0) is None


def test_a_long_clip_is_kept_more_and_more_sparsely(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spool_module, "_THIN_OUT_BYTES", 20_000)
    with PictureSpool() as spool:
        for number in range(300):
            spool.add(make_frame(number))
        assert 10 < len(spool) < 60
        assert spool.nearest(9.9) is not None


def test_a_full_disk_ends_the_keeping_but_not_the_check(
    caplog: pytest.LogCaptureFixture,
) -> None:
    class FullDisk:
        def write(self, data: bytes) -> int:
            raise OSError(errno.ENOSPC, "No space left on device")

        def __getattr__(self, name: str) -> object:
            return getattr(real, name)

    with PictureSpool() as spool, caplog.at_level(logging.WARNING):
        spool.add(make_frame(0))
        real = spool._file
        spool._file = FullDisk()
        spool.add(make_frame(10))
        spool.add(make_frame(20))
        picture = spool.nearest(1.0)
    assert picture is not None
    assert clips.read_number(picture.rgb) == 0
    assert caplog.text.count("No more pictures are kept") == 1


def test_the_spool_can_be_read_while_it_is_filled(tmp_path: Path) -> None:
    path = clips.make_clip(tmp_path / "c.mp4", count=90)
    with PictureSpool(spacing_s=0) as spool:
        with read_ahead(ClipReader(path), on_frame=spool.add) as frames:
            for frame in frames:
                picture = spool.nearest(frame.time_s)
                assert picture is not None
                assert clips.read_number(picture.rgb) == round(frame.time_s * 30)
        assert len(spool) == 90
    assert "motioncheck-decode" not in {one.name for one in threading.enumerate()}


WANTED = [1.5, 0.0, 0.51, 0.1, 0.101, 9.0]
FOUND = [45, 0, 15, 3, 3, 59]


@pytest.mark.parametrize("name", ["c.mp4", "c.mkv", "c.ts", "c.avi", "c.h264"])
def test_pictures_are_found_at_the_times_of_a_full_pass(name: str, tmp_path: Path) -> None:
    clock = clips.Fraction(1, 30) if name in ("c.avi", "c.h264") else clips.CLOCK
    path = clips.make_clip(tmp_path / name, count=60, options=REORDERED, clock=clock)
    with ClipReader(path) as reader:
        times = [frame.time_s for frame in reader]
    pictures = pick_pictures(path, WANTED)
    assert [clips.read_number(picture.rgb) for picture in pictures] == FOUND
    assert [picture.time_s for picture in pictures] == [times[number] for number in FOUND]


def test_picking_honours_late_starts_and_edit_lists(tmp_path: Path) -> None:
    late = clips.make_clip(tmp_path / "a.mp4", times_s=[2 + n / 30 for n in range(60)])
    assert clips.read_number(pick_pictures(late, [1.0])[0].rgb) == 30
    cut = clips.set_edit(clips.make_clip(tmp_path / "b.mp4", count=60), skip_s=0.5, keep_s=1.0)
    assert [clips.read_number(one.rgb) for one in pick_pictures(cut, [0.0, 0.5])] == [15, 30]


def test_picking_decodes_only_what_leads_up_to_a_picture(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = clips.make_clip(tmp_path / "c.mp4", count=300)
    decoded = []
    plain = ClipReader.decode_next
    monkeypatch.setattr(
        ClipReader, "decode_next", lambda reader: decoded.append(1) or plain(reader)
    )
    (picture,) = pick_pictures(path, [8.0])
    assert clips.read_number(picture.rgb) == 240
    assert len(decoded) < 25


def test_picking_from_a_damaged_clip_gives_the_nearest_picture(tmp_path: Path) -> None:
    path = clips.damage_middle(clips.make_clip(tmp_path / "c.mp4", count=120), share=0.2)
    pictures = pick_pictures(path, [0.5, 2.0, 3.5])
    assert [clips.read_number(one.rgb) for one in pictures[::2]] == [15, 105]
    assert pictures[1].time_s == pytest.approx(2.0, abs=0.8)


def test_picking_no_times_opens_nothing(tmp_path: Path) -> None:
    assert pick_pictures(tmp_path / "missing.mp4", []) == []
