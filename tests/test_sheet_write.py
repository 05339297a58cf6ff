"""Writing results: all or nothing, nobody else's files, readable by the owner only."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
import sheet_examples as ex

from motioncheck.errors import OutputError
from motioncheck.sheet import render_html, sheet_to_json, write, write_outputs


def results(sha256: str = "5f" * 32, note: str = "") -> dict[str, bytes | str]:
    example = ex.squat_sheet(1, pictures=False)
    clip = replace(example.sheet.clip, sha256=sha256)
    sheet = replace(example.sheet, clip=clip, cautions=(note,))
    return {
        "sheet.html": render_html(sheet, example.table, {}),
        "sheet.json": sheet_to_json(sheet),
        "reps.csv": "kind\nrep\n",
    }


def snapshot(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_files_are_written_as_they_are_and_nothing_else_remains(tmp_path):
    folder = tmp_path / "a" / "clip.check"
    files = results()
    write_outputs(folder, files)
    assert {p.name for p in folder.iterdir()} == set(files)
    for name, content in files.items():
        assert (folder / name).read_bytes() == content.encode()


@pytest.mark.skipif(os.name == "nt", reason="POSIX permissions only")
def test_files_and_new_folders_are_for_the_owner_only(tmp_path):
    folder = tmp_path / "clip.check"
    write_outputs(folder, results())
    assert folder.stat().st_mode & 0o777 == 0o700
    assert {p.stat().st_mode & 0o777 for p in folder.iterdir()} == {0o600}


@pytest.mark.skipif(os.name == "nt", reason="POSIX permissions only")
def test_permissions_of_an_existing_folder_stay(tmp_path):
    folder = tmp_path / "mine"
    folder.mkdir(mode=0o755)
    write_outputs(folder, results())
    assert folder.stat().st_mode & 0o777 == 0o755


def test_a_path_is_copied(tmp_path):
    movie = tmp_path / "made.mp4"
    movie.write_bytes(b"film" * 1000)
    write_outputs(tmp_path / "out", {**results(), "annotated.mp4": movie})
    assert (tmp_path / "out" / "annotated.mp4").read_bytes() == b"film" * 1000
    assert movie.exists()


def test_checking_the_same_clip_again_replaces_its_results(tmp_path):
    write_outputs(tmp_path, results(note="first"))
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    write_outputs(tmp_path, results(note="second"))
    assert '"second"' in (tmp_path / "sheet.json").read_text(encoding="utf-8")
    assert (tmp_path / "notes.txt").read_text(encoding="utf-8") == "mine"


def test_results_of_another_clip_are_refused_unless_replacing(tmp_path):
    write_outputs(tmp_path, results(sha256="11" * 32))
    before = snapshot(tmp_path)
    with pytest.raises(OutputError, match=r"this clip .* found those of another clip") as caught:
        write_outputs(tmp_path, results(sha256="22" * 32))
    assert caught.value.exit_code == 8
    assert "--out" in caught.value.hint
    assert snapshot(tmp_path) == before
    write_outputs(tmp_path, results(sha256="22" * 32), replace=True)
    assert "22" * 32 in (tmp_path / "sheet.json").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("sheet.html", "<p>my shopping</p>"),
        ("sheet.json", '{"schema": "something else"}'),
        ("sheet.json", "not json at all"),
        ("sheet.json", '{"schema": "motioncheck/sheet/1", "clip": 3}'),
        ("reps.csv", "my,own,table\n"),
    ],
)
def test_files_this_program_did_not_write_are_refused(tmp_path, name, content):
    (tmp_path / name).write_text(content, encoding="utf-8")
    before = snapshot(tmp_path)
    with pytest.raises(OutputError, match=name):
        write_outputs(tmp_path, results())
    assert snapshot(tmp_path) == before
    write_outputs(tmp_path, results(), replace=True)


def test_sheet_html_alone_still_tells_its_clip(tmp_path):
    write_outputs(tmp_path, results())
    (tmp_path / "sheet.json").unlink()
    write_outputs(tmp_path, results())
    (tmp_path / "sheet.json").unlink()
    with pytest.raises(OutputError, match="another clip"):
        write_outputs(tmp_path, results(sha256="22" * 32))


def test_page_that_quotes_our_marker_in_its_text_is_not_taken_for_ours(tmp_path):
    page = "<html><body>" + "x" * 5000
    page += '<meta name="generator" content="motioncheck 1">'
    page += f'<meta name="clip-sha256" content="{"5f" * 32}">'
    (tmp_path / "sheet.html").write_text(page, encoding="utf-8")
    with pytest.raises(OutputError, match="did not write"):
        write_outputs(tmp_path, results())


def test_path_that_is_a_file_is_refused(tmp_path):
    place = tmp_path / "out"
    place.write_text("x", encoding="utf-8")
    with pytest.raises(OutputError, match="found a file"):
        write_outputs(place, results())
    # A folder below a file cannot be made, whoever runs this (root too).
    with pytest.raises(OutputError, match="file on the way"):
        write_outputs(place / "deeper" / "out", results())
    assert place.read_text(encoding="utf-8") == "x"


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write anywhere")
def test_folder_without_permission_is_refused(tmp_path):
    place = tmp_path / "locked"
    place.mkdir(mode=0o500)
    with pytest.raises(OutputError, match="not allowed"):
        write_outputs(place / "out", results())


def test_lack_of_permission_is_said_in_plain_words(tmp_path, monkeypatch):
    def refuse(*args, **kwargs):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(write.tempfile, "mkdtemp", refuse)
    with pytest.raises(OutputError, match="not allowed"):
        write_outputs(tmp_path / "out", results())
    assert not (tmp_path / "out").exists()


def test_folder_in_the_place_of_a_file_is_refused(tmp_path):
    (tmp_path / "reps.csv").mkdir()
    with pytest.raises(OutputError, match=r"reps\.csv"):
        write_outputs(tmp_path, results())
    with pytest.raises(OutputError, match="found"):
        write_outputs(tmp_path, results(), replace=True)
    assert [p.name for p in tmp_path.iterdir()] == ["reps.csv"]


def test_full_disk_leaves_no_trace_in_a_new_folder(tmp_path, monkeypatch):
    def full(handle):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(write.os, "fsync", full)
    with pytest.raises(OutputError, match="disk full"):
        write_outputs(tmp_path / "deep" / "out", results())
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("survives", [0, 1, 2])
def test_failure_while_moving_brings_the_old_files_back(tmp_path, monkeypatch, survives):
    write_outputs(tmp_path, {k: v for k, v in results(note="old").items() if k != "reps.csv"})
    before = snapshot(tmp_path)
    move = write._Moves.move
    calls = []

    def fail_later(self, fresh, name):
        calls.append(name)
        if len(calls) > survives:
            raise OSError(errno.EIO, "Input/output error")
        move(self, fresh, name)

    monkeypatch.setattr(write._Moves, "move", fail_later)
    with pytest.raises(OutputError, match="Input/output error"):
        write_outputs(tmp_path, results(note="new"))
    assert snapshot(tmp_path) == before


def test_interruption_brings_the_old_files_back(tmp_path, monkeypatch):
    write_outputs(tmp_path, results(note="old"))
    before = snapshot(tmp_path)

    def stop(path):
        raise KeyboardInterrupt

    monkeypatch.setattr(write, "_flush_folder", stop)
    with pytest.raises(KeyboardInterrupt):
        write_outputs(tmp_path, results(note="new"))
    assert snapshot(tmp_path) == before


def test_old_files_survive_where_second_names_are_unknown(tmp_path, monkeypatch):
    write_outputs(tmp_path, results(note="old"))

    def unknown(*args, **kwargs):
        raise OSError(errno.EOPNOTSUPP, "Operation not supported")

    monkeypatch.setattr(write.os, "link", unknown)
    write_outputs(tmp_path, results(note="new"))
    assert '"new"' in (tmp_path / "sheet.json").read_text(encoding="utf-8")


def test_link_in_the_place_of_a_result_is_replaced_not_followed(tmp_path):
    outside = tmp_path / "outside.csv"
    outside.write_text("mine", encoding="utf-8")
    folder = tmp_path / "out"
    write_outputs(folder, results())
    (folder / "reps.csv").unlink()
    (folder / "reps.csv").symlink_to(outside)
    write_outputs(folder, results())
    assert outside.read_text(encoding="utf-8") == "mine"
    assert not (folder / "reps.csv").is_symlink()


@pytest.mark.parametrize("name", ["../x", "a/b", "", "..", "a\\b"])
def test_names_that_lead_elsewhere_are_refused(tmp_path, name):
    with pytest.raises(ValueError, match="plain file name"):
        write_outputs(tmp_path, {name: b""})


@pytest.fixture
def tiny_disk(tmp_path):
    """Mount a real disk of 256 kB; only root may, and not in every container."""
    if os.name == "nt" or os.geteuid() != 0 or not shutil.which("mount"):
        pytest.skip("a tiny disk can only be mounted by root")
    place = tmp_path / "disk"
    place.mkdir()
    order = ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(place)]
    if subprocess.run(order, capture_output=True, check=False).returncode:
        pytest.skip("mounting is not allowed here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_disk_that_is_really_full_keeps_the_old_results(tiny_disk):
    folder = tiny_disk / "out"
    write_outputs(folder, results(note="old"))
    before = snapshot(tiny_disk)
    with pytest.raises(OutputError, match="disk full"):
        write_outputs(folder, {**results(note="new"), "annotated.mp4": b"x" * 400_000})
    assert snapshot(tiny_disk) == before
