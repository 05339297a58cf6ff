"""Whole fits of a constructed squat with known angles (truth: analytic)."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from bodyfit_figure import change, film_squat, squat_joints

from motioncheck.bodyfit import Body, fit_track
from motioncheck.bodyfit import body as room
from motioncheck.bodyfit.mirror import find_path
from motioncheck.bodyfit.model import JOINT
from motioncheck.errors import NoPersonError
from motioncheck.measures import REGISTRY, measure_body, measure_joints
from motioncheck.records import CleanTrack
from motioncheck.skeleton import INDEX


@dataclass(frozen=True)
class Measured:
    """One column of a body."""

    value: np.ndarray
    se: np.ndarray


def fit_by_geometry(track: CleanTrack, *, seed: int = 0) -> Body:
    # The constructed figure has no face or hands and moves its points exactly: no likeness of what
    # the lifting network was trained on.
    return fit_track(track, seed=seed, lifted=False)


def measure(body: Body, column: str) -> Measured:
    found = measure_body(body)
    return Measured(found.values[column], found.spread[column])


def rmse(a: np.ndarray, b: np.ndarray) -> float:
    return float(np.sqrt(np.mean((a - b) ** 2)))


@pytest.mark.parametrize("azimuth_deg", [0.0, 45.0, 90.0, -60.0, 135.0, 180.0])
def test_fit_recovers_a_squat_from_any_azimuth(azimuth_deg: float) -> None:
    scene = film_squat(azimuth_deg)
    body = fit_by_geometry(scene.track)
    for side in ("left", "right"):
        assert rmse(measure(body, f"knee_flexion_{side}").value, scene.knee_deg) < 6.0
    assert rmse(measure(body, "trunk_inclination").value, scene.trunk_deg) < 6.0
    assert abs((body.azimuth_deg - azimuth_deg + 180) % 360 - 180) < 8.0
    assert abs(body.tilt_deg) < 3.0
    assert abs(body.pitch_deg) < 5.0


def test_fit_keeps_the_bones() -> None:
    body = fit_by_geometry(film_squat(30.0).track)
    for side in ("left", "right"):
        thigh = np.linalg.norm(body.point(f"{side}_hip") - body.point(f"{side}_knee"), axis=1)
        assert thigh.std() / thigh.mean() < 0.03
        assert thigh.mean() == pytest.approx(body.lengths_m["thigh"], rel=0.03)


def test_fit_shares_lengths_between_windows_and_agrees_with_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    scene = film_squat(40.0, seconds=16.0)
    whole = measure(fit_by_geometry(scene.track), "knee_flexion_left").value
    monkeypatch.setattr(room, "WINDOW_NODES", 110)
    cut = fit_by_geometry(scene.track)
    assert cut.nodes == len(scene.track.time_s)
    assert rmse(measure(cut, "knee_flexion_left").value, whole) < 3.0


@pytest.mark.parametrize("nodes", [20, 600, 601, 1500, 5000])
def test_windows_cover_every_node_and_overlap(nodes: int) -> None:
    windows = room._windows(nodes)
    assert windows[0].start == 0
    assert windows[-1].stop == nodes
    assert all(w.stop - w.start <= room.WINDOW_NODES for w in windows)
    for a, b in pairwise(windows):
        assert a.stop - b.start == room.OVERLAP_NODES


def test_hidden_limb_widens_its_standard_error() -> None:
    scene = film_squat(60.0)
    clear = measure(fit_by_geometry(scene.track), "elbow_flexion_right").se
    seen = np.array(scene.track.visibility)
    image, world = np.array(scene.track.image_px), np.array(scene.track.world_m)
    for part in ("right_elbow", "right_wrist"):
        seen[:, INDEX[part]] = 0.0
        image[:, INDEX[part]] = world[:, INDEX[part]] = np.nan
    hidden = fit_by_geometry(change(scene.track, visibility=seen, image_px=image, world_m=world))
    assert np.median(measure(hidden, "elbow_flexion_right").se) > 2.0 * np.median(clear)


def test_one_wild_landmark_does_not_bend_the_rest() -> None:
    scene = film_squat(90.0)
    before = fit_by_geometry(scene.track)
    image = np.array(scene.track.image_px)
    image[60, INDEX["left_wrist"]] += [200.0, -150.0]
    after = fit_by_geometry(change(scene.track, image_px=image))
    for column in ("knee_flexion_left", "hip_flexion_left", "trunk_inclination"):
        assert rmse(measure(after, column).value, measure(before, column).value) < 1.0


def test_body_half_out_of_the_picture_still_fits_what_it_sees() -> None:
    scene = film_squat(90.0)
    seen = np.array(scene.track.visibility)
    image, world = np.array(scene.track.image_px), np.array(scene.track.world_m)
    for side in ("left", "right"):
        for part in ("ankle", "heel", "toe"):
            seen[:, INDEX[f"{side}_{part}"]] = 0.0
            image[:, INDEX[f"{side}_{part}"]] = world[:, INDEX[f"{side}_{part}"]] = np.nan
    body = fit_by_geometry(change(scene.track, visibility=seen, image_px=image, world_m=world))
    assert rmse(measure(body, "trunk_inclination").value, scene.trunk_deg) < 8.0
    assert np.isfinite(body.joints_m).all()


def test_samples_repeat_with_their_seed() -> None:
    track = film_squat(20.0, seconds=4.0).track
    assert np.array_equal(
        fit_by_geometry(track, seed=3).samples, fit_by_geometry(track, seed=3).samples
    )


def test_measures_have_finite_standard_errors() -> None:
    body = fit_by_geometry(film_squat(20.0, seconds=4.0).track)
    found = measure_body(body)
    for column, value in found.values.items():
        assert value.shape == body.time_s.shape, column
        if REGISTRY.column_spec(column).picture_only:
            assert np.isnan(value).all(), column
            continue
        known = np.isfinite(value)
        assert np.isfinite(found.spread[column][known]).mean() > 0.9, column
        assert (found.spread[column][known] >= 0).mean() > 0.9, column


def test_thigh_inclination_is_negative_with_the_hip_below_the_knee() -> None:
    joints = squat_joints(np.zeros(1), np.zeros(1))
    joints[0, JOINT["left_hip"]] = joints[0, JOINT["left_knee"]] + [-1.0, -1.0, 0.0]
    found = measure_joints(np.zeros(1), joints)["thigh_inclination_left"]
    assert found[0] == pytest.approx(-45.0)


@pytest.mark.parametrize(("side", "medial"), [("left", 1.0), ("right", -1.0)])
def test_frontal_plane_knee_angle_is_positive_with_the_knee_medial(
    side: str, medial: float
) -> None:
    joints = squat_joints(np.zeros(1), np.zeros(1))
    joints[0, JOINT[f"{side}_ankle"]] = [0.0, 0.0, 0.0]
    joints[0, JOINT[f"{side}_hip"]] = [0.0, 2.0, 0.0]
    joints[0, JOINT[f"{side}_knee"]] = [0.0, 1.0, 0.1 * medial]
    # Two lines 0.1 off over a length of 1 each: 2 atan(0.1) = 11.42 degrees.
    found = measure_joints(np.zeros(1), joints)[f"frontal_plane_knee_angle_{side}"]
    assert found[0] == pytest.approx(11.421, abs=1e-3)


def test_path_prefers_staying_over_a_cheaper_jump() -> None:
    costs = np.zeros((9, 2))
    costs[:, 1] = 1.0
    costs[4] = [2.0, 0.0]
    depths = np.broadcast_to(np.array([[0.0], [0.5]]), (9, 2, 1))
    assert find_path(costs, depths, np.full((8, 1), 0.1)).tolist() == [0] * 9


def test_nobody_in_the_clip_is_an_error_of_its_own() -> None:
    track = film_squat(0.0, seconds=4.0).track
    empty = CleanTrack(
        track.time_s,
        np.full_like(track.image_px, np.nan),
        np.zeros_like(track.visibility),
        np.full_like(track.world_m, np.nan),
        540,
        960,
        15.0,
        6.0,
    )
    with pytest.raises(NoPersonError, match="expected a body"):
        fit_by_geometry(empty)


def test_nobody_for_a_second_is_bridged_with_a_wide_standard_error() -> None:
    scene = film_squat(60.0)
    image, world = np.array(scene.track.image_px), np.array(scene.track.world_m)
    seen = np.array(scene.track.visibility)
    gone = slice(50, 65)
    image[gone] = world[gone] = np.nan
    seen[gone] = 0.0
    body = fit_by_geometry(change(scene.track, image_px=image, world_m=world, visibility=seen))
    se = measure(body, "knee_flexion_left").se
    assert np.isfinite(body.joints_m).all()
    assert se[57] > 1.5 * np.median(se[:40])
