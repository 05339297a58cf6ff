"""`read_ahead`: the same pictures, from a thread that never outlives its use."""

from __future__ import annotations

import gc
import threading
import time
import weakref
from collections.abc import Iterator
from pathlib import Path

import clip_factory as clips
import pytest

from motioncheck.video import ClipReader, Frame, read_ahead


@pytest.fixture(name="path")
def fixture_path(tmp_path: Path) -> Path:
    return clips.make_clip(tmp_path / "c.mp4", count=60)


def decode_threads() -> list[threading.Thread]:
    return [one for one in threading.enumerate() if one.name == "motioncheck-decode"]


@pytest.fixture(autouse=True)
def _no_thread_stays() -> Iterator[None]:
    yield
    gc.collect()
    assert decode_threads() == []


def test_reading_ahead_gives_the_same_pictures_in_order(path: Path) -> None:
    with ClipReader(path) as plain:
        expected = [(frame.time_s, frame.rgb.tobytes()) for frame in plain]
    reader = ClipReader(path)
    with read_ahead(reader, depth=3) as frames:
        found = [(frame.time_s, frame.rgb.tobytes()) for frame in frames]
        assert decode_threads() == []
    assert found == expected
    assert reader.report.frames_read == 60


def test_only_a_few_pictures_wait_at_a_time(path: Path) -> None:
    made: list[weakref.ref[object]] = []
    most = 0

    def note(frame: Frame) -> None:
        made.append(weakref.ref(frame.rgb))

    with read_ahead(ClipReader(path), depth=4, on_frame=note) as frames:
        for _ in frames:
            time.sleep(0.002)
            most = max(most, sum(one() is not None for one in made))
    # Those that wait, the one in use, the one before it, and the one in the decoder's hands.
    assert most <= 4 + 3


def test_on_frame_runs_in_the_decoding_thread_before_the_consumer(path: Path) -> None:
    seen: list[tuple[float, str]] = []
    with read_ahead(
        ClipReader(path),
        on_frame=lambda f: seen.append((f.time_s, threading.current_thread().name)),
    ) as frames:
        for count, frame in enumerate(frames):
            assert seen[count] == (frame.time_s, "motioncheck-decode")
    assert len(seen) == 60


def test_an_error_of_the_thread_reaches_the_consumer_after_the_pictures(path: Path) -> None:
    def fail_late(frame: Frame) -> None:
        if frame.time_s > 0.49:
            raise RuntimeError("spool is broken")

    found: list[Frame] = []
    frames = read_ahead(ClipReader(path), on_frame=fail_late)
    with pytest.raises(RuntimeError, match="spool is broken"):
        found.extend(frames)
    assert len(found) == 15
    assert list(frames) == []


def fail_while_reading(reader: ClipReader, error: BaseException) -> None:
    with read_ahead(reader, depth=2) as frames:
        next(frames)
        raise error


@pytest.mark.parametrize("error", [ValueError("bad pose"), KeyboardInterrupt("stopped by hand")])
def test_an_error_of_the_consumer_stops_the_thread_at_once(
    path: Path, error: BaseException
) -> None:
    reader = ClipReader(path)
    with pytest.raises(type(error), match=str(error)):
        fail_while_reading(reader, error)
    assert decode_threads() == []
    assert list(reader) == []


def test_leaving_a_loop_early_frees_the_thread_and_the_file(path: Path) -> None:
    reader = ClipReader(path)
    for _ in read_ahead(reader, depth=2):
        break
    gc.collect()
    assert decode_threads() == []
    assert list(reader) == []


def test_closing_twice_and_reading_after_it_is_harmless(path: Path) -> None:
    frames = read_ahead(ClipReader(path))
    frames.close()
    frames.close()
    assert list(frames) == []


def test_closing_the_reader_under_a_running_thread_is_safe(path: Path) -> None:
    for _ in range(5):
        reader = ClipReader(path)
        with read_ahead(reader, depth=2) as frames:
            next(frames)
            reader.close()
            assert len(list(frames)) <= 4
