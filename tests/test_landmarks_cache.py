"""The folder of tracks worked out before: it may lose things, but never harm."""

from __future__ import annotations

import logging
import os
import stat
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from test_landmarks_store import assert_same, make_track

from motioncheck.landmarks import TrackCache, TrackKey
from motioncheck.records import Still

KEY = TrackKey("c" * 64, "full", "a" * 64, "0.1.0")
STILLS = [
    Still(time_s=0.5, jpeg=b"\xff\xd8 one \xff\xd9", width_px=9, height_px=16, scale=0.5),
    Still(time_s=1.25, jpeg=b"\xff\xd8 two", width_px=16, height_px=9, scale=0.25),
]


@pytest.fixture
def cache(tmp_path: Path) -> TrackCache:
    return TrackCache(tmp_path / "deep" / "cache")


def files(cache: TrackCache) -> list[Path]:
    return sorted(cache.folder.iterdir())


def test_empty_cache_has_nothing_and_makes_no_folder(cache: TrackCache) -> None:
    assert cache.get(KEY) is None
    assert cache.get_stills(KEY) == []
    assert cache.prune(0) == 0
    assert not cache.folder.exists()


def test_track_and_stills_come_back(cache: TrackCache) -> None:
    cache.put(KEY, make_track())
    cache.put_stills(KEY, STILLS)
    track = cache.get(KEY)
    assert track is not None
    assert_same(track, make_track())
    stills = cache.get_stills(KEY)
    fields = ("time_s", "jpeg", "width_px", "height_px", "scale")
    assert [[getattr(s, f) for f in fields] for s in stills] == [
        [getattr(s, f) for f in fields] for s in STILLS
    ]


@pytest.mark.parametrize(
    "change",
    [
        {"clip_sha256": "d" * 64},
        {"model": "lite"},
        {"model_sha256": "b" * 64},
        {"program_version": "0.2.0"},
        {"athlete_px": (1.0, 2.0)},
        {"variant": "squat"},
    ],
    ids=str,
)
def test_other_key_finds_nothing(cache: TrackCache, change: dict[str, object]) -> None:
    cache.put(KEY, make_track())
    assert cache.get(replace(KEY, **change)) is None  # type: ignore[arg-type]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such permission bits")
def test_cache_is_private(cache: TrackCache) -> None:
    cache.put(KEY, make_track())
    cache.put_stills(KEY, STILLS)
    assert stat.S_IMODE(cache.folder.stat().st_mode) == 0o700
    assert all(stat.S_IMODE(path.stat().st_mode) == 0o600 for path in files(cache))


def test_file_names_do_not_tell_whose_clip_it_is(cache: TrackCache) -> None:
    cache.put(replace(KEY, clip_sha256="janes-squat"), make_track())
    assert "jane" not in files(cache)[0].name


@pytest.mark.parametrize("content", [b"", b"scrambled", b"PK\x03\x04"])
def test_damaged_entries_are_absent_and_replaced(cache: TrackCache, content: bytes) -> None:
    cache.put(KEY, make_track())
    cache.put_stills(KEY, STILLS)
    for path in files(cache):
        path.write_bytes(content)
    assert cache.get(KEY) is None
    assert cache.get_stills(KEY) == []
    cache.put(KEY, make_track())
    assert cache.get(KEY) is not None


def test_folder_that_cannot_be_written_is_a_warning(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / "file").write_text("in the way")
    cache = TrackCache(tmp_path / "file" / "cache")
    with caplog.at_level(logging.WARNING):
        cache.put(KEY, make_track())
    assert "cannot be written" in caplog.text
    assert cache.get(KEY) is None


def test_prune_removes_what_was_unused_longest(cache: TrackCache) -> None:
    keys = [replace(KEY, clip_sha256=name) for name in ("old", "used", "new")]
    for age, key in zip((300, 200, 100), keys, strict=True):
        cache.put(key, make_track())
        cache.put_stills(key, STILLS)
        for path in cache.folder.glob(f"{key.name}*"):
            os.utime(path, (time.time() - age, time.time() - age))
    assert cache.get(keys[0]) is not None  # Used again: now the newest.
    entry = sum(path.stat().st_size for path in cache.folder.glob(f"{keys[0].name}*"))
    assert cache.prune(2 * entry) == entry
    assert [cache.get(key) is not None for key in keys] == [True, False, True]
    assert cache.get_stills(keys[1]) == []
    assert cache.prune(2 * entry) == 0
    cache.prune(0)
    assert files(cache) == []


def test_prune_leaves_foreign_files_and_removes_abandoned_ones(cache: TrackCache) -> None:
    cache.put(KEY, make_track())
    foreign = cache.folder / "notes.txt"
    foreign.write_text("mine")
    abandoned = cache.folder / "abc.track.npz1234.part"
    abandoned.write_bytes(b"half")
    os.utime(abandoned, (0, 0))
    fresh = cache.folder / "abc.track.npz5678.part"
    fresh.write_bytes(b"being written")
    cache.prune(0)
    assert files(cache) == sorted([foreign, fresh])


@pytest.mark.skipif(
    sys.platform == "win32", reason="Windows refuses to replace a file that is being read"
)
def test_many_writers_and_readers_never_see_a_part(cache: TrackCache) -> None:
    tracks = [make_track(frames) for frames in (3, 40, 300)]
    cache.put(KEY, tracks[0])
    wrong: list[object] = []
    stop = threading.Event()

    def write(number: int) -> None:
        for _ in range(20):
            cache.put(KEY, tracks[number])

    def read() -> None:
        while not stop.is_set():
            track = cache.get(KEY)
            if (
                track is None
                or len(track.time_s) not in (3, 40, 300)
                or not np.array_equal(
                    track.world_m,
                    next(t for t in tracks if len(t.time_s) == len(track.time_s)).world_m,
                )
            ):
                wrong.append(track)

    reader = threading.Thread(target=read)
    writers = [threading.Thread(target=write, args=(i,)) for i in range(3)]
    reader.start()
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    stop.set()
    reader.join()
    assert wrong == []
    assert len(files(cache)) == 1


def test_forgets_all_of_one_clip_and_nothing_of_others(cache: TrackCache) -> None:
    other = replace(KEY, clip_sha256="d" * 64)
    for key in (KEY, replace(KEY, model="lite"), other):
        cache.put(key, make_track())
    cache.put_stills(KEY, STILLS)
    (cache.folder / f"{KEY.name}.track.npzx.part").write_bytes(b"half")
    (cache.folder / "notes.txt").touch()
    assert cache.forget(KEY.clip_sha256) == 4
    assert sorted(path.name for path in files(cache)) == [f"{other.name}.track.npz", "notes.txt"]


def test_forgetting_a_clip_without_checksum_removes_nothing(cache: TrackCache) -> None:
    cache.put(KEY, make_track())
    assert cache.forget("") == 0
    assert len(files(cache)) == 1
