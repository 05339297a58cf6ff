"""What a batch takes from the history and puts into it."""

from __future__ import annotations

import hashlib
import os

import pytest
from test_privacy_erase import make_sheet

from motioncheck.batch.items import BatchItem
from motioncheck.batch.keys import Keys
from motioncheck.batch.recording import open_recorder
from motioncheck.batch.settings import Recording
from motioncheck.history import open_history
from motioncheck.pipeline.options import CheckOptions
from motioncheck.records.history import PersonRecord
from motioncheck.standards import ANYONE, Person


@pytest.fixture
def clip(tmp_path):
    path = tmp_path / "a.mp4"
    path.write_bytes(b"a film")
    # 1 June 2026, noon: the day of the session where nobody gives one.
    os.utime(path, (1780315200, 1780315200))
    return path


@pytest.fixture
def place(tmp_path):
    with open_history(tmp_path / "h.db") as history:
        history.add_person(PersonRecord("seat5", birth_year=1990, sex="female"))
        history.add_person(PersonRecord("seat2"))
    return tmp_path / "h.db"


def item(clip, person="", day=""):
    return BatchItem(clip, clip.name, person, "air-squat", "", day)


@pytest.mark.parametrize(
    ("person", "day", "expected"),
    [
        # The birthday is not kept: the age reached in the year of the session.
        ("seat5", "", Person(36, "female")),
        ("seat5", "2010-05-05", Person(20, "female")),
        ("seat2", "", ANYONE),
        ("seat9", "", ANYONE),
        ("", "", ANYONE),
    ],
)
def test_age_and_sex_come_from_the_history(place, clip, person, day, expected):
    with open_recorder(Recording(place)) as recorder:
        assert recorder.describe(item(clip, person, day)) == expected


def test_a_clip_of_somebody_older_is_checked_anew(clip):
    keys = Keys(CheckOptions())
    makes = [keys.make(item(clip), "a" * 64, Person(age)) for age in (20, 20, 21)]
    assert makes[0] == makes[1] != makes[2]


@pytest.mark.parametrize("keep", [False, True])
def test_clips_are_kept_only_when_asked(place, clip, tmp_path, keep):
    sha256 = hashlib.sha256(clip.read_bytes()).hexdigest()
    sheet = make_sheet("a.mp4", sha256)
    with open_recorder(Recording(place, keep)) as recorder:
        assert recorder.record(item(clip, "seat5"), sheet, tmp_path) is not None
    with open_history(place) as history:
        (check,) = history.checks("seat5")
        assert check.day == "2026-06-01"
        assert check.clip_kept == keep
        assert (history.folder / "seat5" / f"{sha256}.mp4").is_file() == keep
