"""Calibration arithmetic on synthetic errors whose bias and width are known."""

from __future__ import annotations

import json
from dataclasses import replace

import calibrate
import calibrate_rules as rules
import numpy as np
import pytest
from calibrate_rules import BINS_DEG, Samples

from motioncheck.measures import REGISTRY
from motioncheck.measures.calibration import (
    Correction,
    compute_half_width,
    correct,
    parse_calibration,
)

KNEE = REGISTRY["knee_flexion"]
Z90 = 1.645


def make_samples(
    *, clips: int = 240, frames: int = 30, bias=0.0, factor=1.0, floor=0.0, noise=True, seed=0
) -> Samples:
    """Errors of standard deviation hypot(floor, factor(azimuth) * raw) / 1.645 about a bias."""
    rng = np.random.default_rng(seed)
    azimuth = np.repeat(rng.choice(BINS_DEG, clips), frames)
    raw = np.repeat(rng.uniform(2.0, 12.0, clips), frames)
    truth = rng.uniform(0.0, 120.0, clips * frames)
    half = np.hypot(floor, factor(azimuth) * raw if callable(factor) else factor * raw)
    error = (half / Z90 * rng.standard_normal(clips * frames)) if noise else 0.0 * truth
    error = error + (bias(truth) if callable(bias) else bias)
    number = np.repeat(np.arange(clips), frames)
    weight = np.full(len(truth), 1.0 / frames)
    return Samples(truth + error, raw, error, azimuth, weight, number, number % 10)


def test_planted_bias_over_the_value_is_found():
    found = calibrate.calibrate(make_samples(bias=lambda v: 3.0 + 0.05 * v), KNEE)
    at = np.array([20.0, 60.0, 100.0])
    # 3 + 0.05 * 60 = 6 at a true value of 60; shrinking by 240 / 243 clips is not seen here.
    assert found.rule.correct(at) == pytest.approx(3.0 + 0.05 * at, abs=0.8)
    assert found.gain > 0.3


def test_a_bias_that_is_not_there_is_not_taken_out():
    found = calibrate.calibrate(make_samples(bias=0.0), KNEE)
    assert np.all(found.rule.bias == 0.0)


def test_chance_errors_alone_make_no_bias_over_the_value():
    """Values that came out large by chance are too large on average, but nothing is wrong."""
    rng = np.random.default_rng(4)
    truth = np.repeat(rng.uniform(28.0, 32.0, 200), 20)
    error = np.repeat(rng.normal(0.0, 6.0, 200), 20)
    number = np.repeat(np.arange(200), 20)
    ones = np.ones(len(truth))
    samples = Samples(truth + error, 5 * ones, error, 0 * ones, ones / 20, number, number % 10)
    assert np.all(rules.learn_bias(samples, KNEE)[1] == 0.0)


def test_a_bias_below_a_degree_or_its_own_error_is_dropped():
    clips, sizes = np.full(50, 0.8), np.ones(50)
    assert rules.shrink_bias(clips, sizes, 1.0) == 0.0
    few = np.array([-6.0, 9.0, 1.5])
    assert rules.shrink_bias(few, np.ones(3), 1.0) == 0.0


def test_few_clips_keep_less_of_a_bias():
    """Without scatter, n clips keep n / (n + 3)."""
    assert rules.shrink_bias(np.full(3, 4.0), np.ones(3), 1.0) == pytest.approx(2.0)
    assert rules.shrink_bias(np.full(57, 4.0), np.ones(57), 1.0) == pytest.approx(3.8)
    assert rules.shrink_bias(np.array([4.0]), np.ones(1), 1.0) == 0.0


def test_planted_factor_of_every_direction_is_found():
    def planted(azimuth):
        return 1.0 + 0.5 * np.cos(np.radians(azimuth))

    samples = make_samples(clips=960, factor=planted)
    floor, factor = rules.find_widths(samples)
    half = rules.Rule(np.zeros(1), np.zeros(1), floor, factor).half_width(
        np.full(12, 8.0), BINS_DEG
    )
    # Shrinking: 80 clips a bin against 4 at the overall factor.
    assert half == pytest.approx(planted(BINS_DEG) * 8.0, rel=0.12)


def test_planted_floor_is_found_where_the_raw_width_is_small():
    samples = make_samples(clips=600, factor=0.5, floor=4.0)
    floor, factor = rules.find_widths(samples)
    rule = rules.Rule(np.zeros(1), np.zeros(1), floor, factor)
    for raw in (2.0, 7.0, 12.0):
        planted = np.hypot(4.0, 0.5 * raw)
        assert rule.half_width(np.array([raw]), np.zeros(1))[0] == pytest.approx(planted, rel=0.12)


def test_intervals_cover_nine_in_ten_of_bodies_left_out():
    found = calibrate.calibrate(make_samples(factor=1.7, floor=2.0), KNEE)
    assert found.overall == pytest.approx(0.9, abs=0.01)
    assert np.nanmin(found.covered) > 0.8


def test_a_direction_without_clips_takes_the_overall_factor_and_no_typical_width():
    samples = make_samples(factor=1.3)
    kept = samples.take(samples.azimuth != 90.0)
    found = calibrate.calibrate(kept, KNEE)
    at = int(np.flatnonzero(BINS_DEG == 90.0)[0])
    assert np.isnan(found.typical[at])
    assert np.isnan(found.covered[at])
    assert found.rule.factor[at] == pytest.approx(np.mean(found.rule.factor), rel=0.1)


def test_every_clip_and_side_weighs_the_same():
    """A clip of ten times the frames changes nothing."""
    samples = make_samples(clips=60)
    extra = samples.take(samples.clip == 0)
    long = Samples(
        *(
            np.concatenate([getattr(samples, name), *[getattr(extra, name)] * 9])
            for name in Samples.__dataclass_fields__
        )
    )
    weight = np.where(long.clip == 0, long.weight / 10.0, long.weight)
    a, b = rules.find_widths(samples), rules.find_widths(replace(long, weight=weight))
    assert a[0] == pytest.approx(b[0])
    assert a[1] == pytest.approx(b[1])


def test_hats_share_an_azimuth_between_its_two_bins_around_the_circle():
    shares = rules.hats(np.array([-180.0, 15.0, 165.0, 100.0]))
    assert shares.sum(axis=1) == pytest.approx(np.ones(4))
    assert shares[0, 0] == 1.0
    assert shares[1, [6, 7]] == pytest.approx([0.5, 0.5])
    assert shares[2, [11, 0]] == pytest.approx([0.5, 0.5])
    assert shares[3, 9] == pytest.approx(2 / 3)


def test_the_file_is_read_by_the_program_as_it_was_meant(tmp_path):
    samples = make_samples(bias=5.0, factor=lambda a: 1.0 + 0.4 * np.cos(np.radians(a)))
    found = calibrate.calibrate(samples, KNEE)
    content = calibrate.render({"knee_flexion": {"picture": found, "body": found}}, "A test.")
    path = tmp_path / "calibration.json"
    calibrate.write_file(content, path)
    read = parse_calibration(path.read_bytes()).of("knee_flexion")
    value, raw = np.array([10.0, 50.0, 90.0]), np.array([2.0, 5.0, 9.0])
    for entry in (read.picture, read.body):
        assert isinstance(entry, Correction)
        assert correct(value, entry) == pytest.approx(value - found.rule.correct(value), abs=0.02)
        for azimuth in (-170.0, 40.0):
            ours = found.rule.half_width(raw, np.full(3, azimuth))
            assert compute_half_width(raw, entry, azimuth) == pytest.approx(ours, abs=0.02)
    assert read.body.typical[6] == pytest.approx(found.typical[6], abs=0.01)
    assert list(tmp_path.iterdir()) == [path]


def test_the_same_samples_give_the_same_file():
    files = [
        json.dumps(
            calibrate.render(
                {"knee_flexion": {"body": calibrate.calibrate(make_samples(bias=2.0), KNEE)}}, "x"
            )
        )
        for _ in range(2)
    ]
    assert files[0] == files[1]
