"""Saved tracks: exact, whole, private, and never executed."""

from __future__ import annotations

import io
import json
import pickle
import stat
import sys
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from motioncheck.errors import TrackFileError
from motioncheck.landmarks import load_track, save_track
from motioncheck.landmarks.store import FORMAT, pack
from motioncheck.records import LandmarkTrack
from motioncheck.skeleton import COUNT

ARRAYS = ("time_s", "image_px", "visibility", "world_m")


def make_track(frames: int = 7, **changes: Any) -> LandmarkTrack:
    numbers = np.random.default_rng(4)
    fields: dict[str, Any] = {
        "time_s": np.arange(frames) / 30,
        "image_px": numbers.uniform(0, 1920, (frames, COUNT, 2)),
        "visibility": numbers.uniform(0, 1, (frames, COUNT)).astype(np.float32),
        "world_m": numbers.normal(size=(frames, COUNT, 3)).astype(np.float32),
        "width_px": 1080,
        "height_px": 1920,
        "model": "full",
        "model_sha256": "ab" * 32,
        "notes": ("2 people were in the picture – Zoë was followed.",),
        "jumps_cut": 2,
        "people": 2,
    }
    fields["image_px"][1:3] = np.nan
    return LandmarkTrack(**(fields | changes))


def assert_same(a: LandmarkTrack, b: LandmarkTrack) -> None:
    for name in ARRAYS:
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name), err_msg=name)
    for name in ("width_px", "height_px", "model", "model_sha256", "notes", "jumps_cut", "people"):
        assert getattr(a, name) == getattr(b, name)


def test_save_and_load_give_the_same_track(tmp_path: Path) -> None:
    track = make_track()
    save_track(track, tmp_path / "a.npz")
    assert_same(load_track(tmp_path / "a.npz"), track)


@settings(max_examples=25, deadline=None)
@given(data=st.data(), frames=st.integers(0, 4))
def test_any_numbers_come_back_exactly(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject, frames: int
) -> None:
    values = data.draw(hnp.arrays(np.float64, (frames, COUNT, 2), elements=st.floats()))
    notes = tuple(data.draw(st.lists(st.text(st.characters(exclude_categories=("Cs",))))))
    track = make_track(frames, image_px=values, notes=notes)
    path = tmp_path_factory.mktemp("tracks") / "a.npz"
    save_track(track, path)
    assert_same(load_track(path), track)


def test_single_precision_numbers_take_half_the_room(tmp_path: Path) -> None:
    track = make_track(300)
    short = make_track(300, image_px=track.image_px.astype(np.float32))
    save_track(track, tmp_path / "double.npz")
    save_track(short, tmp_path / "single.npz")
    saved = (tmp_path / "double.npz").stat().st_size - (tmp_path / "single.npz").stat().st_size
    assert saved == pytest.approx(300 * COUNT * 2 * 4, rel=0.01)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such permission bits")
def test_saved_track_is_readable_by_its_owner_only(tmp_path: Path) -> None:
    path = tmp_path / "a.npz"
    path.touch(mode=0o644)
    save_track(make_track(), path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_failed_save_leaves_the_old_track_and_no_rest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.npz"
    save_track(make_track(), path)

    def no_room(*_: object) -> None:
        raise OSError("no space left")

    monkeypatch.setattr(Path, "replace", no_room)
    with pytest.raises(OSError, match="no space left"):
        save_track(make_track(2), path)
    assert len(load_track(path).time_s) == 7
    assert [p.name for p in tmp_path.iterdir()] == ["a.npz"]


def test_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(TrackFileError, match=r"gone\.npz does not exist"):
        load_track(tmp_path / "gone.npz")


@pytest.mark.parametrize("length", [0, 1, 100, 2000, -1])
def test_file_cut_short_is_refused(tmp_path: Path, length: int) -> None:
    path = tmp_path / "a.npz"
    save_track(make_track(), path)
    path.write_bytes(path.read_bytes()[:length])
    with pytest.raises(TrackFileError, match=r"a\.npz is damaged, or it is not a saved track"):
        load_track(path)


def test_changed_number_is_noticed(tmp_path: Path) -> None:
    path = tmp_path / "a.npz"
    save_track(make_track(), path)
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 0x40
    path.write_bytes(content)
    with pytest.raises(TrackFileError, match="damaged"):
        load_track(path)


def rewrite(path: Path, **header: Any) -> None:
    """Write a file with a header changed as told and arrays as usual."""
    track = make_track()
    names = ("width_px", "height_px", "model", "model_sha256", "jumps_cut", "people")
    fields = {name: getattr(track, name) for name in names} | {"notes": []}
    kind = header.pop("format", FORMAT)
    version = header.pop("version", 1)
    arrays = {name: getattr(track, name) for name in ARRAYS}
    path.write_bytes(pack(kind, version, fields | header, arrays))


@pytest.mark.parametrize(
    "header",
    [
        {"format": "something/else"},
        {"version": "1"},
        {"width_px": "1080"},
        {"people": None},
        {"model": 3},
        {"notes": "text"},
        {"notes": [1]},
    ],
    ids=str,
)
def test_wrong_header_is_refused(tmp_path: Path, header: dict[str, Any]) -> None:
    rewrite(tmp_path / "a.npz", **header)
    with pytest.raises(TrackFileError, match="damaged"):
        load_track(tmp_path / "a.npz")


def test_later_version_is_told_apart(tmp_path: Path) -> None:
    rewrite(tmp_path / "a.npz", version=99)
    with pytest.raises(TrackFileError, match="later version"):
        load_track(tmp_path / "a.npz")


@pytest.mark.parametrize("content", [b"hello", b"PK\x03\x04 not quite", b"\x93NUMPY\x01\x00"])
def test_foreign_file_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.npz").write_bytes(content)
    with pytest.raises(TrackFileError, match="not a saved track"):
        load_track(tmp_path / "a.npz")


class Trap:
    def __reduce__(self) -> tuple[Any, ...]:
        return (print, ("executed",))


def test_nothing_in_a_file_is_executed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    content = io.BytesIO()
    np.lib.format.write_array(content, np.array([Trap()], dtype=object), allow_pickle=True)
    path = tmp_path / "a.npz"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("time_s.npy", content.getvalue())
        archive.writestr("header.npy", pickle.dumps(Trap()))
        archive.writestr("note.json", json.dumps({}))
    with pytest.raises(TrackFileError, match="not a saved track"):
        load_track(path)
    assert capsys.readouterr().out == ""
