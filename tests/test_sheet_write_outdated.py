"""Files of an earlier check that no longer fit, and places that are refused early."""

from __future__ import annotations

import pytest
from test_sheet_write import results, snapshot

from motioncheck.errors import OutputError
from motioncheck.sheet import write, write_outputs
from motioncheck.sheet.write import require_place

CLIP = "annotated.mp4"


def test_an_outdated_file_of_the_same_clip_is_removed(tmp_path):
    write_outputs(tmp_path, {**results(), CLIP: b"old"})
    write_outputs(tmp_path, results(note="new"), outdated=[CLIP])
    assert set(snapshot(tmp_path)) == set(results())


def test_a_file_of_that_name_stays_where_no_sheet_of_this_program_is(tmp_path):
    (tmp_path / CLIP).write_bytes(b"holidays")
    write_outputs(tmp_path, results(), outdated=[CLIP])
    assert (tmp_path / CLIP).read_bytes() == b"holidays"


def test_an_outdated_file_comes_back_when_writing_fails(tmp_path, monkeypatch):
    write_outputs(tmp_path, {**results(), CLIP: b"old"})
    before = snapshot(tmp_path)

    def fail(_):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(write, "_flush_folder", fail)
    with pytest.raises(OutputError, match="Input/output error"):
        write_outputs(tmp_path, results(note="new"), outdated=[CLIP])
    assert snapshot(tmp_path) == before


def test_nothing_is_removed_from_a_folder_that_is_refused(tmp_path):
    write_outputs(tmp_path, {**results(), CLIP: b"old"})
    with pytest.raises(OutputError, match="those of another clip"):
        write_outputs(tmp_path, results(sha256="0" * 64), outdated=[CLIP])
    assert (tmp_path / CLIP).read_bytes() == b"old"


def test_a_place_is_accepted_while_it_does_not_exist_yet(tmp_path):
    require_place(tmp_path / "a" / "b")
    assert list(tmp_path.iterdir()) == []


def test_a_place_below_a_file_is_refused(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match=r"Expected a folder at .*found a file at"):
        require_place(tmp_path / "file" / "a" / "b")
