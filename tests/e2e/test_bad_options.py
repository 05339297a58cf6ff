"""Options, standards, saved tracks and folders that do not fit end with one clear sentence."""

from __future__ import annotations

import errno
import shutil
import subprocess
import sys

import clip_factory
import numpy as np
import pytest
from e2e_support import ROOT, read_sheet, run_python, snapshot

from motioncheck.landmarks import save_track
from motioncheck.records import LandmarkTrack
from motioncheck.sheet import write
from motioncheck.standards.loader import package_folder

SQUATS = ("--movement", "air-squat")


# Takes from the superuser, who may read and write everywhere, the right to do so: PR_CAPBSET_DROP
# of CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH (linux/prctl.h, linux/capability.h), which holds for
# the program started next.
OBEY_PERMISSIONS = """
import ctypes, os, sys
ctypes.CDLL(None).prctl(24, 1, 0, 0, 0)
ctypes.CDLL(None).prctl(24, 2, 0, 0, 0)
os.execv(sys.executable, [sys.executable, "-m", "motioncheck.cli.main", *sys.argv[1:]])
"""

PLAN = """
format = "motioncheck/plan/1"
title = "Squats"

[[block]]
kind = "sets"
title = "Squats"
movement = "air-squat"
sets = 1
reps = 5
"""


@pytest.fixture
def any_clip(tmp_path):
    return clip_factory.make_clip(tmp_path / "any.mp4", count=5)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((), "Usage: "),
        (("check",), "Missing argument"),
        (("check", "clip.mp4", "--movement"), "requires an argument"),
        (("chek", "clip.mp4"), "No such command 'chek'"),
        (("check", "clip.mp4", "--movment", "air-squat"), "No such option"),
    ],
    ids=["nothing", "no clip", "no value", "unknown command", "unknown option"],
)
def test_an_incomplete_command_is_refused_with_its_usage(cli, words, sentence):
    run = cli(*words)
    assert run.code == 2
    assert sentence in run.out + run.err
    assert "Traceback" not in run.err


def test_an_unknown_movement_is_refused_with_the_list_of_those_there_are(cli, tmp_path, any_clip):
    said = cli.refuse(tmp_path, 4, "check", any_clip, "-m", "handstand")
    assert "found 'handstand'" in said
    for path in package_folder().glob("*.toml"):
        assert path.stem in said


def test_a_broken_standard_is_refused_with_file_key_and_what_is_allowed(cli, tmp_path, any_clip):
    own = tmp_path / "own"
    own.mkdir()
    text = (package_folder() / "air-squat.toml").read_text("utf-8")
    text = text.replace('comparison = "at most"', 'comparison = "below"', 1)
    (own / "my-squat.toml").write_text(text.replace('turn = "', 'trun = "', 1), "utf-8")
    said = cli.refuse(tmp_path, 4, "check", any_clip, *SQUATS, "--standards", own)
    assert "my-squat.toml is not a valid standard" in said
    assert "check.1.comparison: input should be 'at least' or 'at most'" in said
    assert "split.trun: unknown key" in said
    assert "split.turn: missing" in said


def test_a_standard_that_is_no_toml_is_refused_with_its_line(cli, tmp_path):
    (tmp_path / "my.toml").write_text('id = "my"\nformat = \n', "utf-8")
    said = cli.refuse(tmp_path, 4, "movements", "validate", tmp_path / "my.toml")
    assert "my.toml: expected a TOML file" in said
    assert "line 2" in said


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--athlete", "900,50"), "The point 900, 50 px given for the athlete is outside"),
        (("--athlete", "middle"), "Expected --athlete as X,Y in pixels"),
        (("--json",), "Expected --json together with --name-only, found it alone."),
        (("--name-only",), "Expected --name-only without --movement, found both."),
    ],
    ids=[
        "athlete outside the picture",
        "athlete in words",
        "JSON of nothing",
        "a movement that is told and asked for",
    ],
)
def test_options_that_do_not_fit_are_refused(cli, tmp_path, any_clip, words, sentence):
    said = cli.refuse(tmp_path, 2, "check", any_clip, *SQUATS, *words)
    assert sentence in said


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("squat", "Did you mean air-squat, front-squat or single-leg-squat?"),
        ("Air Squat", "Did you mean air-squat?"),
        ("jumping_jack", "Did you mean jumping-jacks?"),
    ],
)
def test_a_movement_called_otherwise_is_refused_with_what_may_be_meant(
    cli, tmp_path, any_clip, name, meant
):
    assert meant in cli.refuse(tmp_path, 4, "check", any_clip, "-m", name)


@pytest.mark.parametrize("clip", ["", ".", "/"])
def test_a_clip_without_a_name_is_refused_as_the_folder_it_is(cli, tmp_path, clip):
    said = cli.refuse(tmp_path, 3, "check", clip, *SQUATS)
    assert "Expected a video file, found the folder" in said


def test_a_saved_track_that_is_not_there_is_refused(cli, tmp_path, any_clip):
    said = cli.refuse(tmp_path, 3, "check", any_clip, *SQUATS, "--track", tmp_path / "gone.npz")
    assert "found no file there. Check the name, or leave --track out" in said


@pytest.mark.parametrize("content", [b"", b"not a track", b"PK\x03\x04" + bytes(200)])
def test_a_damaged_saved_track_is_refused(cli, tmp_path, any_clip, content):
    (tmp_path / "old.npz").write_bytes(content)
    words = ("check", any_clip, *SQUATS, "--track", tmp_path / "old.npz")
    said = cli.refuse(tmp_path, 3, *words)
    assert "The file old.npz is damaged, or it is not a saved track" in said
    assert "Delete the saved track" in said


@pytest.mark.model
def test_a_saved_track_of_another_clip_is_refused(cli, tmp_path, squat, any_clip):
    track = tmp_path / "squat.npz"
    assert cli("check", squat, *SQUATS, "--out", tmp_path / "s", "--keep-track", track).code == 0
    said = cli.refuse(tmp_path, 3, "check", any_clip, *SQUATS, "--track", track)
    assert "Expected landmarks of any.mp4 (160 x 120 px)" in said


def test_a_saved_track_that_lasts_longer_than_the_clip_is_refused(cli, tmp_path, any_clip):
    """Five pictures last a fifth of a second; the landmarks of two seconds are of another clip."""
    blank = np.full((60, 33, 2), np.nan)
    track = LandmarkTrack(
        np.arange(60) / 30.0, blank, blank[..., 0], np.full((60, 33, 3), np.nan), 160, 120, "full"
    )
    save_track(track, tmp_path / "long.npz")
    said = cli.refuse(tmp_path, 3, "check", any_clip, *SQUATS, "--track", tmp_path / "long.npz")
    assert "Expected landmarks of any.mp4 (" in said
    assert "found those of a clip of 2.0 s or more in long.npz" in said


def test_a_track_cannot_be_kept_in_a_folder_below_a_file(cli, tmp_path, any_clip):
    words = ("check", any_clip, *SQUATS, "--keep-track", any_clip / "track.npz")
    assert "found a file" in cli.refuse(tmp_path, 8, *words)


def test_results_cannot_go_where_a_file_is(cli, tmp_path, any_clip):
    said = cli.refuse(tmp_path, 8, "check", any_clip, *SQUATS, "--out", any_clip / "below")
    assert "found a file" in said
    assert "Choose another folder with --out" in said


@pytest.mark.skipif(sys.platform != "linux", reason="gives up a privilege the Linux way")
def test_a_folder_that_may_not_be_written_to_is_refused(tmp_path, any_clip):
    folder = tmp_path / "locked"
    folder.mkdir(mode=0o555)
    run = run_python(OBEY_PERMISSIONS, "check", any_clip, *SQUATS, "-o", folder)
    assert run.returncode == 8, run.stderr
    assert "it is not allowed. Choose another folder with --out" in run.stderr
    assert len(run.stderr.strip().splitlines()) == 1
    assert list(folder.iterdir()) == []


@pytest.mark.skipif(sys.platform != "linux", reason="gives up a privilege the Linux way")
@pytest.mark.parametrize("command", ["check", "session"])
def test_a_clip_that_may_not_be_read_is_refused_as_unreadable(tmp_path, any_clip, command):
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN, "utf-8")
    any_clip.chmod(0o000)
    words = (any_clip, *SQUATS) if command == "check" else (plan, any_clip)
    run = run_python(OBEY_PERMISSIONS, command, *words, "-o", tmp_path / "out")
    assert run.returncode == 3, run.stderr
    assert "any.mp4 may not. Allow your account to read the file" in run.stderr
    assert len(run.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


@pytest.mark.model
def test_a_full_disk_leaves_nothing_behind(cli, tmp_path, squat, monkeypatch):
    """Simulated: the third file meets a full disk."""
    written = []
    real = write._write_one

    def fill_up(path, content):
        if len(written) == 2:
            raise OSError(errno.ENOSPC, "No space left on device")
        written.append(path)
        real(path, content)

    monkeypatch.setattr(write, "_write_one", fill_up)
    said = cli.refuse(tmp_path, 8, "check", squat, *SQUATS, "--out", tmp_path / "new" / "out")
    assert "found the disk full. Choose another folder with --out, or free some space" in said
    assert len(written) == 2


@pytest.mark.model
def test_a_really_full_disk_leaves_nothing_behind(cli, tmp_path, squat):
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = shutil.which("mount")
    options = ("-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk))
    made = mount and subprocess.run([mount, *options], capture_output=True, check=False)
    if not made or made.returncode:
        pytest.skip("making a small disk is not allowed here")
    try:
        said = cli.refuse(disk, 8, "check", squat, *SQUATS, "--out", disk / "out")
    finally:
        subprocess.run(["umount", str(disk)], check=True)
    assert "found the disk full" in said


@pytest.mark.model
def test_results_of_another_clip_are_not_overwritten_unless_asked(cli, tmp_path, squat):
    out = tmp_path / "out"
    twin = tmp_path / "twin.mp4"
    twin.write_bytes(squat.read_bytes() + bytes(8))  # same pictures, another file
    assert cli("check", squat, *SQUATS, "--out", out).code == 0
    said = cli.refuse(tmp_path, 8, "check", twin, *SQUATS, "--out", out)
    assert "found those of another clip" in said
    assert cli("check", twin, *SQUATS, "--out", out, "--replace").code == 0
    assert read_sheet(out)["clip"]["name"] == "twin.mp4"


@pytest.mark.model
def test_results_of_the_same_clip_are_replaced(cli, tmp_path, squat):
    out = tmp_path / "out"
    assert cli("check", squat, *SQUATS, "--out", out).code == 0
    (out / "sheet.html").write_text(
        (out / "sheet.html").read_text("utf-8") + "<!-- old -->", "utf-8"
    )
    (out / "my-notes.txt").write_text("knee hurt on Monday", "utf-8")
    assert cli("check", squat, *SQUATS, "--out", out).code == 0
    files = snapshot(out)
    assert b"<!-- old -->" not in files["sheet.html"]
    assert files["my-notes.txt"] == b"knee hurt on Monday"


def test_a_fault_of_the_program_is_reported_without_a_traceback(cli, tmp_path, monkeypatch):
    def stumble(*_: object) -> None:
        raise RuntimeError("no such luck")

    monkeypatch.setattr("motioncheck.cli.check.run_check", stumble)
    said = cli.refuse(tmp_path, 1, "check", tmp_path / "x.mp4", *SQUATS)
    assert "RuntimeError: no such luck" in said
    assert "-v" in said


def test_the_command_runs_as_a_program_of_its_own(tmp_path):
    run = subprocess.run(
        [sys.executable, "-m", "motioncheck.cli.main", "check", tmp_path / "gone.mp4", *SQUATS],
        capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    assert run.returncode == 3
    assert run.stderr.startswith("motioncheck: Expected a video file")
    assert len(run.stderr.strip().splitlines()) == 1
