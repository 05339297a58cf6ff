"""All steps together: what goes in, what comes out, and what is said about it."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from motioncheck.cleaning import clean_track, filter_zero_phase
from motioncheck.records.track import CleanTrack, LandmarkTrack
from motioncheck.skeleton import COUNT, INDEX, MIRROR

STEPS = ["swaps", "visibility", "outliers", "gaps", "resampling", "filter"]
LEG = [INDEX[f"{s}_{j}"] for s in ("left", "right") for j in ("knee", "ankle", "heel", "toe")]
OTHER_LEG = [MIRROR[i] for i in LEG]


def smooth_points(time_s: np.ndarray, size: int) -> np.ndarray:
    """Points that swing at 0.8 Hz, each in its own way, within a body of about 600 px."""
    rng = np.random.default_rng(size)
    centre, swing = rng.uniform(200, 800, (COUNT, size)), rng.uniform(10, 60, (COUNT, size))
    phase = rng.uniform(0, 2 * np.pi, (COUNT, size))
    return centre + swing * np.sin(2 * np.pi * 0.8 * time_s[:, None, None] + phase)


def make_track(time_s: np.ndarray, jitter_px: float = 0.0) -> LandmarkTrack:
    image = smooth_points(time_s, 2)
    # Legs: a real length, and well apart, so that nothing looks like an exchange.
    for side, x in (("left", 300.0), ("right", 600.0)):
        for joint, y in (
            ("hip", 900),
            ("knee", 1200),
            ("ankle", 1500),
            ("heel", 1530),
            ("toe", 1540),
        ):
            image[:, INDEX[f"{side}_{joint}"]] += [x, y] - image[0, INDEX[f"{side}_{joint}"]]
    image = image + np.random.default_rng(0).normal(0, jitter_px, image.shape)
    return LandmarkTrack(
        time_s=time_s,
        image_px=image,
        visibility=np.full((len(time_s), COUNT), 0.9),
        world_m=smooth_points(time_s, 3) / 1000,
        width_px=1080,
        height_px=1920,
        model="full",
    )


def count_of(clean: CleanTrack, step: str) -> int:
    return next(s.count for s in clean.steps if s.name == step)


def test_clean_track_says_what_it_did_step_by_step() -> None:
    clean = clean_track(make_track(np.arange(150) / 30, 1.0), cutoff_hz=6.0)
    assert [step.name for step in clean.steps] == STEPS
    assert "6 Hz" in clean.steps[-1].text
    assert "evenly at 30 a second" in clean.steps[-2].text
    assert (clean.rate_hz, clean.cutoff_hz) == (pytest.approx(30.0), 6.0)
    assert clean.swaps_repaired == 0
    assert clean.gaps_filled_s == 0.0
    assert all(step.text.endswith(".") for step in clean.steps)


def test_clean_track_of_a_flawless_uniform_track_only_filters() -> None:
    track = make_track(0.4 + np.arange(150) / 30, 1.0)
    clean = clean_track(track, cutoff_hz=6.0)
    np.testing.assert_allclose(clean.time_s, track.time_s, atol=1e-12)
    expected = filter_zero_phase(track.image_px, cutoff_hz=6.0, rate_hz=clean.rate_hz)
    np.testing.assert_allclose(clean.image_px, expected, atol=1e-9)
    np.testing.assert_array_equal(clean.visibility, track.visibility)


def test_clean_track_brings_jitter_closer_to_the_truth() -> None:
    """Synthetic: 0.8 Hz with 2 px of jitter at 60 frames a second; 6 Hz keeps 30 % of it."""
    time_s = np.arange(600) / 60
    truth, noisy = make_track(time_s), make_track(time_s, 2.0)
    clean = clean_track(noisy, cutoff_hz=6.0)
    error = np.sqrt(np.mean((clean.image_px - truth.image_px) ** 2))
    assert error < 0.55 * 2.0


def test_clean_track_exchanges_what_is_seen_and_keeps_what_is_believed() -> None:
    """Picture and x, y in space change legs; depth and visibility stay with their label."""
    time_s = np.arange(120) / 30
    track = make_track(time_s)
    image, world = np.array(track.image_px), np.array(track.world_m)
    for values in (image, world):
        values[40:60, LEG, :2] = values[40:60, OTHER_LEG, :2]
    visibility = np.array(track.visibility)
    visibility[:, INDEX["right_knee"]] = 0.7
    wrong = replace(track, image_px=image, world_m=world, visibility=visibility)
    clean = clean_track(wrong, cutoff_hz=6.0)
    expected = clean_track(replace(track, visibility=visibility), cutoff_hz=6.0)
    assert clean.swaps_repaired == count_of(clean, "swaps") == 20
    assert "in 20 of 120 frames and put back" in clean.steps[0].text
    np.testing.assert_allclose(clean.image_px, expected.image_px, atol=1e-9)
    np.testing.assert_allclose(clean.world_m, expected.world_m, atol=1e-9)
    np.testing.assert_allclose(clean.seen("right_knee"), 0.7)


def test_clean_track_leaves_hidden_landmarks_empty_in_picture_and_space() -> None:
    track = make_track(np.arange(90) / 30)
    visibility = np.array(track.visibility)
    visibility[30:60, INDEX["left_wrist"]] = 0.3
    clean = clean_track(replace(track, visibility=visibility), cutoff_hz=6.0)
    hidden = np.isnan(clean.point("left_wrist")[:, 0])
    assert np.nonzero(hidden)[0].tolist() == list(range(30, 60))
    np.testing.assert_array_equal(np.isnan(clean.world("left_wrist")[:, 2]), hidden)
    assert np.isfinite(clean.point("right_wrist")).all()
    assert count_of(clean, "visibility") == 30
    assert "left wrist (33% of frames)" in clean.steps[1].text
    open_gate = clean_track(replace(track, visibility=visibility), cutoff_hz=6, visibility_gate=0)
    assert np.isfinite(open_gate.image_px).all()


def test_clean_track_fills_short_gaps_and_counts_their_seconds() -> None:
    """Nobody found for 4 frames of 30 a second: 0.13 s for every joint; 10 frames stay empty."""
    track = make_track(np.arange(120) / 30)
    image, visibility = np.array(track.image_px), np.array(track.visibility)
    for values in (image, visibility):
        values[30:34] = np.nan
        values[70:80] = np.nan
    clean = clean_track(replace(track, image_px=image, visibility=visibility), cutoff_hz=6.0)
    assert clean.gaps_filled_s == pytest.approx(4 / 30)
    empty = np.isnan(clean.point("left_knee")[:, 0])
    assert np.nonzero(empty)[0].tolist() == list(range(70, 80))
    assert clean.visibility[72, 0] == 0.0


def test_clean_track_does_not_filter_across_a_long_gap() -> None:
    """A jump of 300 px behind the gap must not pull on what lies before it."""
    track = make_track(np.arange(120) / 30)
    image, visibility = np.array(track.image_px), np.array(track.visibility)
    image[50:60] = visibility[50:60] = np.nan
    image[60:] += 300
    clean = clean_track(replace(track, image_px=image, visibility=visibility), cutoff_hz=3.0)
    head = clean_track(
        LandmarkTrack(
            track.time_s[:50], image[:50], visibility[:50], track.world_m[:50], 1080, 1920, "full"
        ),
        cutoff_hz=3.0,
    )
    np.testing.assert_allclose(clean.image_px[:50], head.image_px, atol=1e-6)


def test_clean_track_takes_single_leaps_out() -> None:
    track = make_track(np.arange(120) / 30)
    image = np.array(track.image_px)
    image[60, INDEX["nose"], 0] += 200.0
    clean = clean_track(replace(track, image_px=image), cutoff_hz=6.0)
    expected = clean_track(track, cutoff_hz=6.0)
    assert count_of(clean, "outliers") == 1
    np.testing.assert_allclose(clean.image_px, expected.image_px, atol=1.0)


def test_clean_track_drops_stretches_too_short_to_tell_movement() -> None:
    track = make_track(np.arange(120) / 30)
    visibility = np.array(track.visibility)
    visibility[20:100, INDEX["left_wrist"]] = 0.1
    visibility[60:62, INDEX["left_wrist"]] = 0.9
    clean = clean_track(replace(track, visibility=visibility), cutoff_hz=6.0)
    assert np.isnan(clean.point("left_wrist")[20:100]).all()
    assert "Stretches of fewer than 3 frames were dropped (1)" in clean.steps[-1].text


def test_clean_track_makes_a_variable_rate_uniform() -> None:
    """Analytic: stamps 24 to 60 times a second; the 0.8 Hz movement comes back within 0.5 px."""
    time_s = 1.7 + np.cumsum(np.random.default_rng(7).uniform(1 / 60, 1 / 24, 300))
    clean = clean_track(make_track(time_s), cutoff_hz=12.0)
    np.testing.assert_allclose(np.diff(clean.time_s), 1 / clean.rate_hz, atol=1e-9)
    assert clean.time_s[0] == time_s[0]
    assert 30 < clean.rate_hz < 40
    inner = slice(20, -20)
    error = clean.image_px - smooth_points(clean.time_s, 2)
    free = [i for i in range(COUNT) if i not in {*LEG, INDEX["left_hip"], INDEX["right_hip"]}]
    np.testing.assert_allclose(error[inner][:, free], 0.0, atol=0.5)


def test_clean_track_honours_a_wanted_rate_and_caps_fast_clips() -> None:
    fast = make_track(np.arange(480) / 240, 2.0)
    assert clean_track(fast, cutoff_hz=8.0).rate_hz == pytest.approx(120.0)
    clean = clean_track(fast, cutoff_hz=8.0, rate_hz=60.0)
    assert clean.rate_hz == 60.0
    assert len(clean.time_s) == 120
    assert "one frame in 4 was kept" in clean.steps[-1].text
    # Filtered before it is thinned out, so that nothing of the jitter folds back.
    full = clean_track(fast, cutoff_hz=8.0, rate_hz=240.0)
    np.testing.assert_allclose(clean.image_px, full.image_px[::4], atol=1e-9)
    assert clean_track(make_track(np.arange(60) / 30), cutoff_hz=6, rate_hz=60).rate_hz == 60


def test_clean_track_lowers_a_cutoff_the_rate_does_not_allow() -> None:
    clean = clean_track(make_track(np.arange(60) / 20), cutoff_hz=12.0)
    assert clean.cutoff_hz == pytest.approx(9.0)
    assert "12 Hz were asked for" in clean.steps[-1].text


def test_clean_track_is_the_same_for_the_mirror_image() -> None:
    """Invariance: mirror the picture and rename left and right."""
    track = make_track(np.arange(100) / 30, 2.0)
    mirror = list(MIRROR)
    mirrored = replace(
        track,
        image_px=(track.image_px * [-1, 1] + [1080, 0])[:, mirror],
        world_m=(track.world_m * [-1, 1, 1])[:, mirror],
        visibility=track.visibility[:, mirror],
    )
    there, back = clean_track(track, cutoff_hz=6.0), clean_track(mirrored, cutoff_hz=6.0)
    np.testing.assert_allclose(
        (back.image_px * [-1, 1] + [1080, 0])[:, mirror], there.image_px, atol=1e-9
    )


def test_clean_track_is_the_same_when_time_runs_backward() -> None:
    """Invariance: no lag, so the reversed clip gives the reversed result, edges aside."""
    track = make_track(np.arange(150) / 30, 2.0)
    image = np.array(track.image_px)
    image[40:43, 5] = np.nan
    track = replace(track, image_px=image)
    reverse = replace(
        track,
        image_px=track.image_px[::-1],
        world_m=track.world_m[::-1],
        visibility=track.visibility[::-1],
    )
    there, back = clean_track(track, cutoff_hz=6.0), clean_track(reverse, cutoff_hz=6.0)
    np.testing.assert_allclose(back.image_px[::-1][15:-15], there.image_px[15:-15], atol=1e-3)


@pytest.mark.parametrize("frames", [0, 1, 2, 3])
def test_clean_track_of_almost_nothing_returns_it(frames: int) -> None:
    track = make_track(np.arange(5) / 30)
    short = LandmarkTrack(
        track.time_s[:frames],
        track.image_px[:frames],
        track.visibility[:frames],
        track.world_m[:frames],
        1080,
        1920,
        "full",
    )
    clean = clean_track(short, cutoff_hz=6.0)
    assert clean.image_px.shape == (frames, COUNT, 2)
    assert np.isfinite(clean.image_px).all()
    assert np.isnan(clean.rate_hz) == (frames < 2)


def test_clean_track_of_nobody_is_empty() -> None:
    track = make_track(np.arange(40) / 30)
    nobody = replace(
        track,
        image_px=np.full_like(track.image_px, np.nan),
        world_m=np.full_like(track.world_m, np.nan),
        visibility=np.full_like(track.visibility, np.nan),
    )
    clean = clean_track(nobody, cutoff_hz=6.0)
    assert np.isnan(clean.image_px).all()
    assert np.all(clean.visibility == 0)


@pytest.mark.parametrize(
    "settings",
    [{"cutoff_hz": 0.0}, {"rate_hz": -1.0}, {"visibility_gate": 1.5}, {"max_gap_s": -0.1}],
)
def test_clean_track_refuses_settings_out_of_range(settings: dict[str, float]) -> None:
    name = next(iter(settings))
    with pytest.raises(ValueError, match=f"{name}: expected"):
        clean_track(make_track(np.arange(9) / 30), **({"cutoff_hz": 6.0} | settings))


def test_cleaning_needs_nothing_slow_to_import() -> None:
    """Checking a saved track again takes less than a second, start included."""
    code = "import motioncheck.cleaning, sys; print(any('scipy' in m for m in sys.modules))"
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert result.stdout.strip() == "False"
