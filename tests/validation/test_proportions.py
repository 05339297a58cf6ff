"""Proportions of tracked landmarks against body proportions of the literature.

Source: Drillis and Contini 1966 as drawn in Winter, fig. 4.1: thigh 0.245, shank 0.246, upper arm
0.186, forearm 0.146 of stature (minor lengths from memory). Measured in the picture on the rendered
clips of upright drills; a segment is taken at its longest, when it lies in the picture plane.
"""

from __future__ import annotations

import numpy as np
import pytest
from test_view import DRILLS, load

from motioncheck.camera import estimate_view
from motioncheck.cleaning import clean_track
from motioncheck.measures import build_body
from motioncheck.measures.body import percentile_seen
from motioncheck.measures.geometry import compute_distance

UPRIGHT = [p for p in DRILLS if "_twist_" not in p.name]


@pytest.fixture(scope="module")
def ratios() -> dict[str, np.ndarray]:
    rows = []
    for path in UPRIGHT:
        track, _ = load(path)
        clean = clean_track(track, cutoff_hz=6.0)
        body = build_body(clean, estimate_view(clean))
        arms = [
            np.mean(
                [
                    percentile_seen(compute_distance(body.at(f"{s}_{a}"), body.at(f"{s}_{b}")), 90)
                    for s in ("left", "right")
                ]
            )
            for a, b in (("shoulder", "elbow"), ("elbow", "wrist"))
        ]
        rows.append((body.thigh_px / body.shank_px, arms[1] / arms[0], body.leg_px / sum(arms)))
    return dict(zip(("thigh_shank", "fore_upper", "leg_arm"), np.array(rows).T, strict=True))


def test_thigh_and_shank_are_about_as_long_as_each_other(ratios):
    """0.245 / 0.246; nine in ten clips within 15 per cent, the median within 5."""
    values = ratios["thigh_shank"][np.isfinite(ratios["thigh_shank"])]
    assert np.median(values) == pytest.approx(0.245 / 0.246, rel=0.05)
    assert np.mean(np.abs(values - 1.0) < 0.15) >= 0.9


def test_leg_is_about_half_as_long_again_as_the_arm(ratios):
    """(0.245 + 0.246) / (0.186 + 0.146) = 1.48, the median within 5 per cent."""
    values = ratios["leg_arm"][np.isfinite(ratios["leg_arm"])]
    assert len(values) >= 20
    assert np.median(values) == pytest.approx(0.491 / 0.332, rel=0.05)


def test_forearm_is_shorter_than_the_upper_arm_or_about_as_long(ratios):
    """0.146 / 0.186 = 0.78; landmarks of shoulder and elbow lie inside the joints, up to 1.1."""
    values = ratios["fore_upper"][np.isfinite(ratios["fore_upper"])]
    assert 0.7 <= np.median(values) <= 1.1
