"""Finding clips, what their folders tell, and the manifest: property and worked cases."""

from __future__ import annotations

import os

import pytest

from motioncheck.batch.find import (
    Given,
    describe_unreadable,
    find_clips,
    is_code,
    make_items,
    require_codes,
)
from motioncheck.batch.items import BatchItem
from motioncheck.batch.manifest import Manifest, apply_manifest, read_manifest
from motioncheck.errors import InputError, UsageError

MOVEMENTS = ("air-squat", "jumping-jacks")


def touch(folder, *names):
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"")


def told(item):
    return (item.person, item.movement, item.session, item.day)


def test_clips_are_found_by_their_ending_sorted_and_results_are_passed_over(tmp_path):
    touch(tmp_path, "b.MOV", "a.mp4", "notes.txt", "deep/er/c.webm", ".hidden.mp4", ".x/d.mp4")
    touch(tmp_path, "a.check/sheet.json", "a.check/annotated.mp4", "out/e.mp4")
    touch(tmp_path, "old.batch/batch.json", "old.batch/x/f.mp4")
    found = find_clips(tmp_path, leave_out=tmp_path / "out")
    assert [p.relative_to(tmp_path).as_posix() for p in found] == [
        "a.mp4",
        "b.MOV",
        "deep/er/c.webm",
    ]


def test_a_clip_given_itself_is_taken_whatever_its_ending(tmp_path):
    touch(tmp_path, "clip.bin")
    assert find_clips(tmp_path / "clip.bin") == [tmp_path / "clip.bin"]


def test_a_place_that_is_not_there_is_named(tmp_path):
    with pytest.raises(InputError, match="nowhere"):
        find_clips(tmp_path / "nowhere")


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("clip.mp4", ("", None, "", "")),
        ("seat1/clip.mp4", ("seat1", None, "", "")),
        ("seat1/air-squat/clip.mp4", ("seat1", "air-squat", "", "")),
        ("air-squat/seat1/clip.mp4", ("seat1", "air-squat", "", "")),
        ("air-squat/clip.mp4", ("", "air-squat", "", "")),
        ("seat1/2026-03-01/clip.mp4", ("seat1", None, "2026-03-01", "2026-03-01")),
        ("seat1/week 2/air-squat/clip.mp4", ("seat1", "air-squat", "week 2", "")),
        ("seat1/2026-02-30/clip.mp4", ("seat1", None, "2026-02-30", "")),
    ],
)
def test_the_folders_between_tell_person_movement_and_session(tmp_path, path, expected):
    touch(tmp_path, path)
    [item] = make_items([tmp_path], Given(), MOVEMENTS)
    assert told(item) == expected
    assert item.name == path
    assert item.clip == (tmp_path / path).resolve()


def test_what_is_given_for_all_goes_before_the_folders(tmp_path):
    touch(tmp_path, "seat1/air-squat/clip.mp4")
    given = Given("seat7", "jumping-jacks", "week 1", "2026-03-01")
    [item] = make_items([tmp_path], given, MOVEMENTS)
    assert told(item) == ("seat7", "jumping-jacks", "week 1", "2026-03-01")


def test_a_clip_that_is_named_twice_is_one_clip(tmp_path):
    touch(tmp_path, "seat1/clip.mp4")
    items = make_items([tmp_path, tmp_path / "seat1" / "clip.mp4"], Given(), MOVEMENTS)
    assert [item.name for item in items] == ["seat1/clip.mp4"]


@pytest.mark.parametrize("code", ["../x", "-x", ".x", "Anna B", "a/b", "", "x" * 41, "é", "a\n"])
def test_what_could_be_a_path_an_option_or_a_name_is_no_code(code):
    assert not is_code(code)


def test_all_wrong_codes_are_named_at_once():
    with pytest.raises(UsageError, match=r"'-x', 'a b'"):
        require_codes(["seat1", "a b", "", "-x", "a b"])


def write(tmp_path, text, name="who.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_manifest_says_who_does_what_when(tmp_path):
    path = write(
        tmp_path,
        "clip,person,movement,session,day\n"
        "a.mp4,seat1,air-squat,week 1,2026-03-01\n"
        "\n"
        'sub/"b".mp4,seat2,,,\n'
        "c.mp4\n",
    )
    first, second, third = read_manifest(path, MOVEMENTS)
    assert first.clip == tmp_path / "a.mp4"
    assert (first.person, first.movement, first.session, first.day, first.line) == (
        "seat1", "air-squat", "week 1", "2026-03-01", 2,
    )  # fmt: skip
    assert (second.person, second.movement, second.line) == ("seat2", "", 4)
    assert (third.clip, third.person) == (tmp_path / "c.mp4", "")


def test_semicolons_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path):
    path = tmp_path / "who.csv"
    path.write_bytes("\ufeffPerson; Clip\r\nseat1; a.mp4\r\n".encode())
    [line] = read_manifest(path, MOVEMENTS)
    assert (line.person, line.clip) == ("seat1", tmp_path / "a.mp4")


def test_every_problem_is_named_with_line_and_column(tmp_path):
    path = write(
        tmp_path,
        "clip,person,movement,session,day\n"
        "a.mp4,Anna B,air-squat,,\n"
        ",seat1,flying,,01.03.2026\n"
        "a.mp4,seat2,,,\n"
        "b.mp4,seat2,,,,more\n",
    )
    with pytest.raises(UsageError) as caught:
        read_manifest(path, MOVEMENTS)
    message = str(caught.value)
    for part in (
        "line 2, person", "'Anna B'", "line 3, clip", "line 3, movement", "'flying'",
        "line 3, day", "line 4, clip: the same clip as in line 2", "line 5, column 6",
    ):  # fmt: skip
        assert part in message


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "line 1"),
        ("name,person\na.mp4,seat1\n", "column 1: expected one of clip"),
        ("clip,clip\na.mp4,b.mp4\n", "there 2 times"),
        ("person\nseat1\n", "the column clip is missing"),
        ('clip\n"a.mp4\n', "line 2"),
    ],
)
def test_a_table_that_is_none_is_refused(tmp_path, text, part):
    with pytest.raises(UsageError, match=part):
        read_manifest(write(tmp_path, text), MOVEMENTS)


def test_a_manifest_that_cannot_be_read_is_refused(tmp_path):
    with pytest.raises(UsageError, match="none that can be read"):
        read_manifest(tmp_path / "none.csv", MOVEMENTS)
    path = tmp_path / "latin.csv"
    path.write_bytes("clip\nGr\xfc\xdfe.mp4\n".encode("latin-1"))
    with pytest.raises(UsageError, match="UTF-8"):
        read_manifest(path, MOVEMENTS)


def test_the_manifest_goes_before_the_folders_and_adds_clips(tmp_path):
    touch(tmp_path, "seat1/a.mp4", "seat1/b.mp4", "else/c.mp4")
    items = make_items([tmp_path / "seat1"], Given(session="s"), MOVEMENTS)
    lines = read_manifest(
        write(tmp_path, "clip,person,day\nseat1/a.mp4,seat9,2026-03-01\nelse/c.mp4,seat8,\n"),
        MOVEMENTS,
    )
    found = apply_manifest(items, lines, Given(session="s"), add=True)
    assert [(i.name, *told(i)) for i in found] == [
        ("a.mp4", "seat9", None, "s", "2026-03-01"),
        ("b.mp4", "", None, "s", ""),
        ("else/c.mp4", "seat8", None, "s", ""),
    ]
    assert all(isinstance(item, BatchItem) for item in found)
    assert len(apply_manifest(items, lines, Given(), add=False)) == 2


def test_what_spreadsheet_programs_leave_behind_is_read(tmp_path):
    path = tmp_path / "who.csv"
    path.write_bytes(
        "\ufeffsep=;\r\nclip;person;session;;;\r\n"
        '"Übung früh.mp4";seat1;"week 3; land";;;\r\n;;;;;\r\n'.encode()
    )
    [line] = read_manifest(path, MOVEMENTS)
    assert line.clip == tmp_path / "Übung früh.mp4"
    assert (line.person, line.session, line.line) == ("seat1", "week 3; land", 3)
    path.write_text("clip\tperson\t\na.mp4\tseat1\t\n", encoding="utf-8")
    [line] = read_manifest(path, MOVEMENTS)
    assert (line.clip, line.person) == (tmp_path / "a.mp4", "seat1")


def test_a_column_that_holds_something_needs_a_name(tmp_path):
    path = write(tmp_path, "clip,person,\na.mp4,seat1,what is this\n")
    with pytest.raises(UsageError, match=r"line 2, column 3: expected 2 cells, found 3"):
        read_manifest(path, MOVEMENTS)


def test_backslashes_are_those_of_another_system_unless_they_are_in_the_name(tmp_path):
    touch(tmp_path, "bow/a.mp4", "odd\\name.mp4")
    long = "x" * 300
    path = write(tmp_path, f"clip\nbow\\a.mp4\nodd\\name.mp4\nbow/gone\\b.mp4\n{long}\\c\n")
    clips = [line.clip for line in read_manifest(path, MOVEMENTS)]
    assert clips == [
        tmp_path / "bow" / "a.mp4",
        tmp_path / "odd\\name.mp4",
        tmp_path / "bow" / "gone" / "b.mp4",
        tmp_path / long / "c",
    ]


def test_a_misspelt_movement_is_answered_with_the_nearest_one(tmp_path):
    path = write(tmp_path, "clip,movement\na.mp4,Air Squat\nb.mp4,plank\n")
    with pytest.raises(UsageError) as caught:
        read_manifest(path, MOVEMENTS)
    assert "line 2, movement: expected the id of a movement, found 'Air Squat' (air-squat?)" in str(
        caught.value
    )
    assert "found 'plank' (see `motioncheck movements`)" in str(caught.value)


def test_a_zero_byte_in_a_path_is_a_plain_sentence(tmp_path):
    path = write(tmp_path, "clip,person\na\0b\\\\c.mp4,seat1\n")
    with pytest.raises(UsageError, match=r"line 2, clip: .* found a zero byte in it"):
        read_manifest(path, MOVEMENTS)


def test_an_open_quotation_mark_is_called_that(tmp_path):
    path = write(tmp_path, 'clip,person\na.mp4,seat1\n"b.mp4,seat2\n')
    with pytest.raises(UsageError, match="line 3: a quotation mark is opened and never closed"):
        read_manifest(path, MOVEMENTS)


@pytest.mark.parametrize(
    ("there", "written", "part"),
    [
        ("IMG_1.mp4", "img_1.MP4", "there is IMG_1.mp4"),
        ("U\u0308bung.mp4", "\u00dcbung.mp4", "there is U\u0308bung.mp4"),
        ("other.mp4", "gone.mp4", "No such file. Check its name and folder in the manifest"),
    ],
)
def test_a_clip_that_is_not_there_says_what_to_do(tmp_path, there, written, part):
    touch(tmp_path, there)
    clip = tmp_path / written
    with pytest.raises(FileNotFoundError) as caught:
        clip.stat()
    assert part in describe_unreadable(clip, caught.value)


def write_later(path, text):
    """Write a file so that it looks changed, however coarse the clock of the disk is."""
    path.write_text(text, encoding="utf-8")
    write_later.time_s += 10
    os.utime(path, (write_later.time_s, write_later.time_s))


write_later.time_s = 1_700_000_000


def test_a_manifest_is_read_again_when_its_file_changed_and_is_no_longer_written(tmp_path):
    path = tmp_path / "who.csv"
    notes = []
    write_later(path, "clip,person\na.mp4,seat1\n")
    manifest = Manifest(path, MOVEMENTS, notes.append)
    write_later(path, "clip,person\na.mp4,seat2\n")
    assert [line.person for line in manifest.follow()] == ["seat1"]  # may be being written
    assert [line.person for line in manifest.follow()] == ["seat2"]
    assert notes == []


def test_a_broken_manifest_keeps_the_old_one_and_is_told_once(tmp_path):
    path = tmp_path / "who.csv"
    notes = []
    write_later(path, "clip,person\na.mp4,seat1\n")
    manifest = Manifest(path, MOVEMENTS, notes.append)
    write_later(path, "clip,person\na.mp4,Anna B\n")
    for _ in range(4):
        assert [line.person for line in manifest.follow()][:1] == ["seat1"]
    assert len(notes) == 1
    assert "line 2, person" in notes[0]
    assert "Going on with what the manifest said before." in notes[0]
    path.unlink()
    for _ in range(4):
        assert [line.person for line in manifest.follow()] == ["seat1"]
    assert len(notes) == 2
    write_later(path, "clip,person\na.mp4,seat3\n")
    manifest.follow()
    assert [line.person for line in manifest.follow()] == ["seat3"]
    assert len(notes) == 2
