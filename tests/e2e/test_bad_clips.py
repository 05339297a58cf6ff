"""Clips that cannot be checked end with one sentence, the documented code, and no files."""

from __future__ import annotations

import clip_factory
import numpy as np
import pytest
from e2e_support import SQUAT, edit_clip, even, load_joints_px, read_sheet

from motioncheck.landmarks import load_track
from motioncheck.skeleton import INDEX

SQUATS = ("--movement", "air-squat")


@pytest.mark.parametrize(
    ("name", "make", "sentence"),
    [
        ("gone.mp4", lambda path: None, "found nothing there. Check the name"),
        ("folder.mp4", lambda path: path.mkdir(), "found the folder"),
        ("empty.mp4", lambda path: path.touch(), "is empty. Copy the clip"),
        ("notes.mp4", lambda path: path.write_text("squats\n" * 50), "is a text file. Name"),
        ("voice.mp4", clip_factory.make_sound, "found only sound"),
        ("noise.mp4", lambda path: path.write_bytes(bytes(range(256)) * 40), "cannot be read"),
    ],
    ids=["missing", "folder", "empty", "text", "audio only", "noise"],
)
def test_what_is_no_video_is_refused(cli, tmp_path, name, make, sentence):
    make(tmp_path / name)
    said = cli.refuse(tmp_path, 3, "check", tmp_path / name, *SQUATS)
    assert sentence in said
    assert "Expected" in said


def test_a_recording_cut_short_without_its_index_is_refused(cli, tmp_path):
    clip = clip_factory.cut_short(clip_factory.make_clip(tmp_path / "cut.mp4"), keep=0.7)
    said = cli.refuse(tmp_path, 3, "check", clip, *SQUATS)
    assert "the index of cut.mp4 is missing" in said


@pytest.mark.model
def test_a_copy_cut_short_is_checked_as_far_as_it_goes_and_says_so(cli, tmp_path):
    clip = tmp_path / "cut.mp4"
    edit_clip(SQUAT, clip, until_s=8.0, options={"movflags": "+faststart"})
    clip_factory.cut_short(clip, keep=0.6)
    run = cli("check", clip, *SQUATS)
    assert run.code == 0, run.err
    sheet = read_sheet(tmp_path / "cut.check")
    assert any("The clip ends early" in line for line in sheet["how_measured"])
    assert 1 <= len(sheet["events"]) < 4
    assert "The clip ends early" in (tmp_path / "cut.check" / "sheet.html").read_text("utf-8")


@pytest.mark.model
def test_a_clip_damaged_in_the_middle_is_checked_and_the_sheet_tells(cli, tmp_path):
    clip = edit_clip(SQUAT, tmp_path / "hurt.mp4", until_s=8.0)
    clip_factory.damage_middle(clip, share=0.05)
    run = cli("check", clip, *SQUATS)
    assert run.code == 0, run.err
    sheet = read_sheet(tmp_path / "hurt.check")
    damage = [n for n in sheet["how_measured"] if "damaged" in n or "could not be decoded" in n]
    assert damage
    assert damage[0][:40] in (tmp_path / "hurt.check" / "sheet.html").read_text("utf-8")
    assert len(sheet["events"]) >= 2


@pytest.mark.model
def test_a_single_frame_holds_no_repetition(cli, tmp_path):
    clip = edit_clip(SQUAT, tmp_path / "photo.mp4", until_s=0.0)
    said = cli.refuse(tmp_path, 6, "check", clip, *SQUATS)
    assert "Expected at least one finished repetition" in said


@pytest.mark.parametrize("times_s", [(0.0, 0.033, 10_800.0), tuple(range(0, 10_800, 360))])
def test_three_hours_are_refused_before_anything_is_decoded(cli, tmp_path, times_s):
    clip = clip_factory.make_clip(tmp_path / "session.mp4", count=len(times_s), times_s=times_s)
    said = cli.refuse(tmp_path, 3, "check", clip, *SQUATS)
    assert "at most 60 minutes long" in said
    assert "Cut the clip to the set" in said


@pytest.mark.model
def test_a_clip_without_anybody_is_refused(cli, tmp_path):
    clip = clip_factory.make_clip(tmp_path / "room.mp4", count=20, width=320, height=240)
    said = cli.refuse(tmp_path, 6, "check", clip, *SQUATS)
    assert "Expected a person in the clip, found nobody who can be measured in 20 frames" in said
    assert "Film one person, whole body" in said


@pytest.mark.model
def test_a_person_cropped_at_the_knees_is_refused_and_told_what_is_hidden(cli, tmp_path):
    names, joints = load_joints_px("squat_side_clean")
    knee = names.index("left_knee")
    height = even(int(joints[:, knee, 1].min()) - 10)
    clip = edit_clip(SQUAT, tmp_path / "cropped.mp4", until_s=5.0, change=lambda rgb: rgb[:height])
    said = cli.refuse(tmp_path, 6, "check", clip, *SQUATS)
    assert "hidden or outside the picture" in said
    assert any(part in said for part in ("knee", "ankle", "heel", "toe"))
    assert "Move the phone back" in said


@pytest.mark.model
def test_feet_outside_the_picture_are_not_judged(cli, tmp_path):
    names, joints = load_joints_px("squat_side_clean")
    height = even(int(np.median(joints[:, names.index("left_ankle"), 1])))
    clip = edit_clip(SQUAT, tmp_path / "feet.mp4", until_s=5.0, change=lambda rgb: rgb[:height])
    track = tmp_path / "feet.npz"
    run = cli("check", clip, *SQUATS, "--keep-track", track)
    assert run.code == 0, run.err
    # The model draws the toes below the picture, and is sure of them.
    toe = INDEX["left_toe"]
    kept = load_track(track)
    assert np.median(kept.image_px[:, toe, 1]) > height
    assert np.median(kept.visibility[:, toe]) > 0.6
    events = read_sheet(tmp_path / "feet.check")["events"]
    assert len(events) == 2
    for event in events:
        findings = {f["check"]: f for f in event["findings"]}
        assert findings["depth"]["verdict"] == "meets"
        assert findings["heels"]["verdict"] == "not visible"
        assert findings["heels"]["value"] is None
        assert "could not be seen" in findings["heels"]["reason"]


@pytest.mark.model
def test_a_person_too_small_in_the_picture_is_refused(cli, tmp_path):
    clip = edit_clip(SQUAT, tmp_path / "far.mp4", until_s=3.0, change=put_far_away)
    said = cli.refuse(tmp_path, 6, "check", clip, *SQUATS)
    assert "from close" in said


def put_far_away(rgb):
    """Shrink the picture to a sixth of its height, in the middle of a plain wall."""
    height, width = rgb.shape[0] // 6, rgb.shape[1] // 6
    blocks = rgb[: height * 6, : width * 6].reshape(height, 6, width, 6, 3)
    wall = np.full_like(rgb, 150)
    top, left = (wall.shape[0] - height) // 2, (wall.shape[1] - width) // 2
    wall[top : top + height, left : left + width] = blocks.mean(axis=(1, 3)).astype(np.uint8)
    return wall
