"""Analytic: records are frozen, checked when made, and compare the way tests need."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest
from synthetic import Pose, Scene, make_clean, make_track, pose_points

from motioncheck.errors import ShapeError
from motioncheck.records import Event, MeasureTable, Value
from motioncheck.records.arrays import frozen_floats, sealed, shorten
from motioncheck.skeleton import BONES, COUNT, INDEX, LANDMARKS, MIRROR, other_side

POINTS = pose_points(Pose(), 4)
MAKERS = {
    "track": lambda: make_track(POINTS, Scene()),
    "clean": lambda: make_clean(POINTS, Scene()),
}


@pytest.mark.parametrize("kind", MAKERS)
def test_arrays_of_a_record_cannot_be_written_to(kind):
    record = MAKERS[kind]()
    for name in ("time_s", "image_px", "visibility", "world_m"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(record, name)[0] = 0.0
    with pytest.raises(FrozenInstanceError, match="cannot assign to field"):
        record.width_px = 1


def test_a_record_keeps_its_own_copy():
    time_s, values = np.arange(3.0), np.zeros(3)
    table = MeasureTable(time_s, {"a": values}, {"a": values})
    time_s[0], values[0] = -9.0, 7.0
    assert table.time_s[0] == 0.0
    assert table.values["a"][0] == 0.0


def test_an_array_that_was_handed_over_is_kept_without_a_copy():
    mine = sealed(np.arange(3.0))
    assert frozen_floats(mine, (3,), name="x") is mine
    with pytest.raises(ValueError, match="read-only"):
        mine[0] = 1.0


def test_a_read_only_view_of_somebody_elses_array_is_copied():
    theirs = np.arange(3.0)
    view = theirs[:]
    view.setflags(write=False)
    kept = frozen_floats(view, (3,), name="x")
    theirs[0] = 9.0
    assert kept[0] == 0.0


@pytest.mark.parametrize(
    ("value", "kind"), [(0.5, "float32"), (0.1, "float64"), (1e300, "float64")]
)
def test_numbers_are_shortened_only_where_nothing_is_lost(value, kind):
    numbers = np.array([value, np.nan])
    short = shorten(numbers)
    assert short.dtype == kind
    np.testing.assert_array_equal(short.astype(np.float64), numbers)


def test_columns_of_a_table_cannot_be_added():
    table = MeasureTable(np.arange(3.0), {}, {})
    with pytest.raises(TypeError, match="does not support item assignment"):
        table.values["b"] = np.zeros(3)


@pytest.mark.parametrize("kind", MAKERS)
@pytest.mark.parametrize(
    ("name", "shape"),
    [("image_px", (4, COUNT, 3)), ("image_px", (3, COUNT, 2)), ("visibility", (4, COUNT - 1)),
     ("world_m", (4, COUNT, 2)), ("time_s", (4, 1))],
)  # fmt: skip
def test_an_array_of_the_wrong_shape_is_refused_by_name(kind, name, shape):
    with pytest.raises(ShapeError, match=rf"{name}: expected shape .*, found"):
        replace(MAKERS[kind](), **{name: np.zeros(shape)})


@pytest.mark.parametrize("kind", MAKERS)
@pytest.mark.parametrize(
    "time_s", [[0.0, 0.1, 0.1, 0.2], [0.0, 0.2, 0.1, 0.3], [0.0, 0.1, np.nan, 0.3]]
)
def test_time_stamps_must_increase(kind, time_s):
    with pytest.raises(ShapeError, match="time stamps must be strictly increasing"):
        replace(MAKERS[kind](), time_s=time_s)


def test_a_table_refuses_a_column_of_another_length_and_names_it():
    with pytest.raises(ShapeError, match=r"knee: expected shape \(3,\), found \(2,\)"):
        MeasureTable(np.arange(3.0), {"knee": np.zeros(2)}, {})


def test_missing_numbers_stay_missing_and_lists_become_floats():
    seen = frozen_floats([1, np.nan], (None,), name="x")
    assert seen.dtype == np.float64
    assert np.isnan(seen[1])


def test_the_share_of_frames_with_a_person_counts_the_hips():
    image = MAKERS["track"]().image_px.copy()
    image[2:] = np.nan
    assert replace(MAKERS["track"](), image_px=image).seen_ratio == 0.5


def test_a_landmark_is_read_by_name():
    track = MAKERS["clean"]()
    np.testing.assert_array_equal(track.point("left_knee"), track.image_px[:, INDEX["left_knee"]])
    np.testing.assert_array_equal(track.world("nose"), track.world_m[:, 0])
    assert (track.seen("nose") == 0.95).all()


def test_events_and_values_compare_by_content():
    a = Event("rep", 1, "left", 0.0, 1.0, 2.0, measures={"x": Value(1.0, "deg", 2.0)})
    assert a == Event("rep", 1, "left", 0.0, 1.0, 2.0, measures={"x": Value(1.0, "deg", 2.0)})
    assert a != replace(a, number=2)


def test_the_skeleton_has_33_landmarks_whose_mirror_image_is_itself():
    assert COUNT == 33
    assert [MIRROR[i] for i in MIRROR] == list(range(COUNT))
    # Places in the model's order, from its own documentation (movement reference, 0.1).
    places = {"nose": 0, "left_ear": 7, "left_shoulder": 11, "right_wrist": 16, "left_hip": 23,
              "right_knee": 26, "left_heel": 29, "right_toe": 32}  # fmt: skip
    assert {name: INDEX[name] for name in places} == places
    for name in LANDMARKS:
        assert other_side(other_side(name)) == name
    assert {name for bone in BONES for name in bone} <= set(LANDMARKS)
