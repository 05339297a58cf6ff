"""The fitted body on its way through a check: the cache, what it is told, and what it changes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from fitted_examples import make_fitted, true_fit, true_joints
from synthetic import (
    Scene,
    make_clean,
    make_track,
    pose_points,
    squat_pose,
    strokes,
)

from motioncheck.errors import NoPersonError
from motioncheck.measures import NEUTRAL, build_body
from motioncheck.pipeline import CheckOptions, analyse_track
from motioncheck.pipeline import fitting as room
from motioncheck.pipeline.analyse import score_motion
from motioncheck.pipeline.fitting import BodyCache, make_name
from motioncheck.pipeline.recipe import make_fit
from motioncheck.pipeline.sources import (
    NO_FIT_NOTE,
    combine_sources,
    find_missing,
    prepare_for_fit,
    wanted_planes,
)
from motioncheck.records import CleanTrack
from motioncheck.skeleton import INDEX
from motioncheck.standards import get_standard, load_standards

SQUAT = get_standard("air-squat").standard
TIME_S = np.arange(0.0, 12.0, 1.0 / 30.0)
POINTS = pose_points(
    squat_pose(strokes(TIME_S, [2.0, 5.0, 8.0], out_s=1.0, hold_s=0.4, back_s=1.0)), len(TIME_S)
)


def clean(azimuth: float = 0.0) -> CleanTrack:
    return make_clean(POINTS, Scene(azimuth))


def film(azimuth: float = 0.0):
    return make_track(POINTS, Scene(azimuth), noise_px=1.0)


@pytest.fixture
def counted(monkeypatch):
    """A fit that counts how often it was asked."""
    calls = []

    def fit(track):
        calls.append(track)
        joints = true_joints(POINTS)[: len(track.time_s)]
        return make_fitted(track.time_s, joints, azimuth_deg=12.5)

    monkeypatch.setattr(room, "fit_body", fit)
    return calls


def assert_alike(a, b):
    np.testing.assert_array_equal(a.joints_m, b.joints_m)
    assert [getattr(a, n) for n in room.CAMERA] == [getattr(b, n) for n in room.CAMERA]
    assert a.notes == b.notes
    assert list(a.columns.values) == list(b.columns.values)
    for column, values in a.columns.values.items():
        np.testing.assert_array_equal(values, b.columns.values[column])
        np.testing.assert_array_equal(a.columns.spread[column], b.columns.spread[column])


def test_a_body_is_fitted_once_and_comes_back_as_it_was(tmp_path, counted):
    first = BodyCache(tmp_path)(clean())
    again = BodyCache(tmp_path)(clean())
    assert len(counted) == 1
    assert_alike(first, again)
    assert len(list(tmp_path.glob("*.body.npz"))) == 1


@pytest.mark.parametrize(
    "change",
    [
        lambda t: replace(t, cutoff_hz=7.0),
        lambda t: replace(t, image_px=t.image_px + 0.25),
        lambda t: replace(t, visibility=t.visibility * 0.5),
        lambda t: replace(t, world_m=t.world_m * 1.01),
    ],
)
def test_another_track_or_cutoff_is_fitted_anew(tmp_path, counted, change):
    BodyCache(tmp_path)(clean())
    BodyCache(tmp_path)(change(clean()))
    assert len(counted) == 2


def test_another_version_of_the_fit_is_fitted_anew(tmp_path, counted, monkeypatch):
    BodyCache(tmp_path)(clean())
    name = make_name(clean())
    monkeypatch.setattr(room, "FIT_VERSION", room.FIT_VERSION + 1)
    assert make_name(clean()) != name
    BodyCache(tmp_path)(clean())
    assert len(counted) == 2


@pytest.mark.parametrize(
    "harm",
    [
        lambda data: data[: len(data) // 2],
        lambda data: b"",
        lambda data: b"something else",
        lambda data: data.replace(b"knee_flexion_left", b"knee_flexion_lost"),
    ],
)
def test_a_damaged_entry_is_fitted_again_and_replaced(tmp_path, counted, harm):
    first = BodyCache(tmp_path)(clean())
    (entry,) = tmp_path.glob("*.body.npz")
    whole = entry.read_bytes()
    entry.write_bytes(harm(whole))
    assert_alike(first, BodyCache(tmp_path)(clean()))
    assert len(counted) == 2
    assert entry.read_bytes() == whole


def test_an_entry_of_another_length_is_fitted_again(tmp_path, counted):
    cache = BodyCache(tmp_path)
    cache(clean())
    (entry,) = tmp_path.glob("*.body.npz")
    short = make_clean(pose_points(squat_pose(np.zeros(30)), 30), Scene(0.0))
    entry.rename(entry.with_name(f"{make_name(short)}.body.npz"))
    assert len(cache(short).time_s) == 30
    assert len(counted) == 2


def test_a_folder_that_cannot_be_written_does_no_harm(tmp_path, counted):
    (tmp_path / "file").touch()
    BodyCache(tmp_path / "file" / "cache")(clean())
    assert len(counted) == 1


def test_without_a_cache_nothing_is_kept_and_the_stage_is_announced(tmp_path, monkeypatch):
    fitted = make_fitted(TIME_S, true_joints(POINTS))
    monkeypatch.setattr("motioncheck.pipeline.recipe.fit_body", lambda track: fitted)
    stages = []
    fit = make_fit(CheckOptions(), lambda *stage: stages.append(stage))
    assert fit(clean()) is fitted
    assert stages == [("fitting", 0, 0)]
    assert list(tmp_path.iterdir()) == []


def combined(fit, azimuth=0.0, track=None):
    body = build_body(*measured(azimuth))
    return combine_sources(track or film(azimuth), body, SQUAT, fit, NEUTRAL)


def measured(azimuth):
    from motioncheck.camera import estimate_view
    from motioncheck.cleaning import clean_track

    track = clean_track(film(azimuth), cutoff_hz=SQUAT.cutoff_hz)
    return track, estimate_view(track)


def test_what_the_picture_cannot_show_comes_from_the_body():
    sources = combined(true_fit(POINTS, 0.0))
    assert sources.table.from_body["trunk_inclination"].all()
    assert sources.notes == ()
    alone = combined(None)
    assert np.isnan(alone.table.values["trunk_inclination"]).all()
    assert alone.fitted is None
    assert alone.notes == ()


@pytest.mark.parametrize("error", [NoPersonError("too little"), np.linalg.LinAlgError("singular")])
def test_a_fit_that_fails_leaves_the_picture_and_a_note(error):
    def fail(track):
        raise error

    sources = combined(fail, azimuth=90.0)
    assert sources.notes == (NO_FIT_NOTE,)
    assert sources.fitted is None
    assert np.isfinite(sources.table.values["trunk_inclination"]).any()


def test_the_fit_is_told_of_hidden_landmarks_but_not_of_what_was_left_out():
    track = film(90.0)
    seen = track.visibility.copy()
    seen[:, INDEX["right_knee"]] = 0.1
    track = replace(track, visibility=seen)
    body, _ = measured(90.0)
    image = np.array(body.image_px)
    seen = np.array(body.visibility)
    image[100:110] = np.nan
    seen[100:110] = 0.0
    dense = prepare_for_fit(track, replace(body, image_px=image, visibility=seen))
    assert np.isfinite(dense.image_px[:100, INDEX["right_knee"]]).all()
    assert np.isnan(dense.image_px[100:110]).all()
    assert np.isfinite(dense.image_px[110:]).all()
    assert np.flatnonzero(find_missing(dense)["nose"]).tolist() == list(range(100, 110))


def test_what_lies_outside_the_picture_for_long_is_not_measured_from_the_body():
    """The toes are below the picture from the first second on; before, for a moment only."""
    track = film(0.0)
    image = track.image_px.copy()
    image[5:10, INDEX["left_toe"], 1] += 1000.0
    image[30:, INDEX["left_toe"], 1] += 1000.0
    low = replace(track, image_px=image)
    body, _ = measured(0.0)
    missing = find_missing(prepare_for_fit(low, body))
    assert set(missing) == {"left_toe"}
    assert not missing["left_toe"][:25].any()
    assert missing["left_toe"][35:].all()
    analysis = analyse_track(low, SQUAT, fit=true_fit(POINTS, 0.0), calibration=NEUTRAL)
    values = analysis.table.values
    assert np.isnan(values["heel_lift_ratio_left"][40:-5]).all()
    assert np.isfinite(values["heel_lift_ratio_right"][40:-5]).all()
    assert np.isfinite(values["knee_flexion_left"][40:-5]).all()


def test_frames_that_were_left_out_stay_empty_in_the_table():
    track = film(0.0)
    image = track.image_px.copy()
    image[100:130] = np.nan
    world, seen = track.world_m.copy(), track.visibility.copy()
    world[100:130], seen[100:130] = np.nan, np.nan
    lost = replace(track, image_px=image, world_m=world, visibility=seen)
    analysis = analyse_track(lost, SQUAT, fit=true_fit(POINTS, 0.0), calibration=NEUTRAL)
    inside = slice(102, 128)
    assert all(np.isnan(values[inside]).all() for values in analysis.table.values.values())


def test_a_standard_names_the_planes_of_what_any_camera_sees():
    jacks = load_standards()["jumping-jacks"].standard
    assert wanted_planes(jacks)["shoulder_elevation"] == "frontal"
    assert "stance_width_ratio" not in wanted_planes(jacks)
    assert wanted_planes(SQUAT) == {}


@pytest.mark.parametrize("azimuth", [0.0, 45.0, 180.0])
def test_with_a_body_depth_and_trunk_are_judged_from_any_side(azimuth):
    """Thighs 8 degrees below level and the trunk at 38: both meet the standard."""
    fit = true_fit(POINTS, azimuth)
    analysis = analyse_track(film(azimuth), SQUAT, fit=fit, calibration=NEUTRAL)
    found = [f for e in analysis.events for f in e.findings if f.check in ("depth", "trunk")]
    assert {(f.verdict, f.source) for f in found} == {("meets", "body")}
    assert not {"depth", "trunk"} & {b.check for b in analysis.blind}


def test_a_body_that_is_known_badly_judges_nothing_and_the_reason_says_how_badly():
    fit = true_fit(POINTS, 0.0, spread=12.0)
    analysis = analyse_track(film(), SQUAT, fit=fit, calibration=NEUTRAL)
    blind = {b.check: b for b in analysis.blind}
    assert "known to about ±20° only" in blind["trunk"].reason
    assert "move the phone about" in blind["trunk"].advice


def test_reps_are_split_by_the_picture_alone():
    with_body = analyse_track(film(), SQUAT, fit=true_fit(POINTS, 0.0), calibration=NEUTRAL)
    without = analyse_track(film(), SQUAT, fit=None, calibration=NEUTRAL)
    times = [[(e.start_s, e.turn_s, e.end_s) for e in a.events] for a in (with_body, without)]
    assert times[0] == times[1]


def test_choosing_the_athlete_fits_no_body(monkeypatch):
    def refuse(track):
        raise AssertionError("fitted")

    monkeypatch.setattr(room, "fit_body", refuse)
    monkeypatch.setattr(room, "fit_track", refuse)
    assert score_motion(film(), SQUAT) == 3.0


@pytest.mark.slow
def test_a_real_fit_gives_what_the_check_needs():
    fitted = room.fit_body(prepare_for_fit(film(30.0), measured(30.0)[0]))
    assert fitted.joints_m.shape == (len(TIME_S), room.JOINT_COUNT, 3)
    assert set(fitted.columns.values) == set(fitted.columns.spread)
    assert np.isfinite([getattr(fitted, name) for name in room.CAMERA]).all()
