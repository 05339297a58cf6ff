"""A synthetic squatter: named, refused when unsure, cut into bouts; what the command line says."""

from __future__ import annotations

import json

import numpy as np
import pytest
from test_pipeline_crowd import make_track
from test_pipeline_fitting import film

from motioncheck.cli.naming import naming_to_json, print_stretches, report_naming
from motioncheck.errors import NoPersonError, UsageError
from motioncheck.landmarks import TrackCache
from motioncheck.naming import OTHER, Stretch, decide
from motioncheck.pipeline import naming_cache as room
from motioncheck.pipeline.naming import (
    Naming,
    list_standards,
    name_track,
    require_one,
    score_exercise,
)
from motioncheck.pipeline.stretches import cut_track

TITLES = {"air-squat": "Air squat", "jumping-jacks": "Jumping jacks"}


def make_naming(*stretches):
    return Naming(stretches, decide(stretches), TITLES)


ONE = make_naming(
    Stretch(OTHER, 0.0, 1.0, 0.8, OTHER), Stretch("air-squat", 1.0, 9.0, 0.974, OTHER, 4)
)
SEVERAL = make_naming(
    Stretch("air-squat", 0.0, 9.0, 0.9, OTHER, 4),
    Stretch("jumping-jacks", 9.0, 15.0, 0.9, OTHER, 6),
)
UNSURE = make_naming(Stretch("air-squat", 0.0, 9.0, 0.5, "jumping-jacks", 4))
NOTHING = make_naming(Stretch(OTHER, 0.0, 9.0, 0.9, OTHER))


@pytest.mark.parametrize("azimuth", [0.0, 90.0])
def test_three_squats_are_named_among_all_movements(azimuth):
    naming = name_track(film(azimuth), list_standards(None))
    assert naming.decision.movement == "air-squat"
    named = [s for s in naming.stretches if s.movement != OTHER]
    assert [s.movement for s in named] == ["air-squat"]
    assert named[0].events == 3


def test_whoever_exercises_longer_scores_higher():
    standards = list_standards(None, ["air-squat"])
    assert [s.id for s in standards] == ["air-squat"]
    assert score_exercise(film(), standards) > 2.0
    empty = make_track(image_px=np.full((2, 33, 2), np.nan), visibility=np.full((2, 33), np.nan))
    assert score_exercise(empty, standards) == 0.0


def test_nobody_is_an_error_of_its_own():
    empty = make_track(image_px=np.full((2, 33, 2), np.nan), visibility=np.full((2, 33), np.nan))
    with pytest.raises(NoPersonError, match="found nobody"):
        name_track(empty, [])


def test_one_sure_movement_is_taken():
    assert require_one(ONE) == "air-squat"


@pytest.mark.parametrize(
    ("naming", "sentence"),
    [
        (SEVERAL, "found air-squat and jumping-jacks. Say which of them to check: --movement air"),
        (UNSURE, "most likely --movement air-squat or --movement jumping-jacks"),
        (NOTHING, r"found none for sure\. Say which it is with --movement; `motioncheck mov"),
    ],
)
def test_anything_else_asks_for_the_movement(naming, sentence):
    with pytest.raises(UsageError, match=sentence) as raised:
        require_one(naming)
    assert raised.value.exit_code == 2


def test_the_terminal_says_what_was_named_or_lists_the_stretches(capsys):
    report_naming(ONE)
    assert capsys.readouterr().out == "Named by itself: air squat (97 % sure)\n"
    report_naming(SEVERAL)
    listed = capsys.readouterr().out
    assert "air-squat" in listed
    assert "jumping-jacks" in listed
    assert "Named" not in listed
    report_naming(NOTHING)
    assert capsys.readouterr().out == ""


def test_the_list_gives_times_and_certainty(capsys):
    print_stretches(ONE)
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == ["from", "to", "movement", "sure", "next", "likely"]
    assert lines[2].split() == ["1.0", "s", "9.0", "s", "air-squat", "97", "%", "other"]


def test_an_empty_list_says_that_nothing_was_recognised(capsys):
    print_stretches(make_naming())
    assert capsys.readouterr().out == "No movement was recognised in this clip.\n"


def test_nothing_is_ever_said_to_be_quite_certain(capsys):
    report_naming(make_naming(Stretch("air-squat", 0.0, 9.0, 0.9999, OTHER, 4)))
    assert "(99 % sure)" in capsys.readouterr().out


def test_json_holds_stretches_and_decision():
    content = json.loads(naming_to_json(SEVERAL))
    assert [s["movement"] for s in content["stretches"]] == ["air-squat", "jumping-jacks"]
    assert content["decision"]["several"] is True


def test_a_part_of_a_track_keeps_its_times():
    track = film()
    part = cut_track(track, 1.0, 2.0)
    inside = (track.time_s >= 1.0) & (track.time_s <= 2.0)
    np.testing.assert_array_equal(part.time_s, track.time_s[inside])
    np.testing.assert_array_equal(part.image_px, track.image_px[inside])
    assert (part.width_px, part.model) == (track.width_px, track.model)


def test_a_track_is_named_once_and_then_remembered(tmp_path, monkeypatch):
    track = film(90.0)
    first = room.name_remembered(track, None, cache_folder=tmp_path, clip_sha256="a" * 64)
    assert first == name_track(track, room.list_standards(None))
    asked = []
    monkeypatch.setattr(room, "name_track", lambda *a: asked.append(a) or first)
    assert room.name_remembered(track, None, cache_folder=tmp_path, clip_sha256="a" * 64) == first
    assert asked == []
    monkeypatch.setattr(room, "NAMING_VERSION", room.NAMING_VERSION + 1)
    room.name_remembered(track, None, cache_folder=tmp_path, clip_sha256="a" * 64)
    assert len(asked) == 1
    assert TrackCache(tmp_path).forget("a" * 64) == 2
    room.name_remembered(track, None, cache_folder=None)
    assert len(asked) == 2
