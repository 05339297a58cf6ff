"""A movement that can be judged from one side only is refused from elsewhere, with advice."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from standard_examples import make_standard

from motioncheck.errors import WrongViewError
from motioncheck.landmarks import load_track
from motioncheck.pipeline import analyse_track
from motioncheck.pipeline.direction import compute_off_deg, require_direction
from motioncheck.records import CameraView
from motioncheck.records.view import name_view
from motioncheck.standards import Standard, get_standard, load_standards


def limited(limit_deg: float | None, best_view: str = "side") -> Standard:
    camera = {"best_view": best_view, "advice": "From there.", "judged_within_deg": limit_deg}
    return make_standard(camera={k: v for k, v in camera.items() if v is not None})


def seen_from(azimuth_deg: float, uncertainty_deg: float = 4.0) -> CameraView:
    return CameraView(name_view(azimuth_deg), azimuth_deg, uncertainty_deg, math.nan, math.nan)


@pytest.mark.parametrize(
    ("azimuth_deg", "off_side_deg"),
    [(90, 0), (-90, 0), (0, 90), (180, 90), (-180, 90), (60, 30), (120, 30), (-150, 60)],
)
def test_both_sides_are_as_good_and_so_are_front_and_back(
    azimuth_deg: float, off_side_deg: float
) -> None:
    assert compute_off_deg(azimuth_deg, "side") == pytest.approx(off_side_deg)
    assert compute_off_deg(azimuth_deg, "front") == pytest.approx(90.0 - off_side_deg)


@pytest.mark.parametrize("azimuth_deg", [90.0, 60.0, -120.0, 52.0])
def test_near_enough_passes(azimuth_deg: float) -> None:
    require_direction(seen_from(azimuth_deg), limited(35.0))


def test_within_the_uncertainty_of_the_direction_it_passes() -> None:
    view = seen_from(50.0, 6.0)
    require_direction(view, limited(35.0))
    with pytest.raises(WrongViewError):
        require_direction(seen_from(50.0, 4.0), limited(35.0))


def test_the_message_says_what_was_found_and_where_to_put_the_phone() -> None:
    with pytest.raises(WrongViewError) as caught:
        require_direction(seen_from(0.0), limited(35.0))
    text = str(caught.value)
    assert "filmed from the side, within 35°" in text
    assert "90° ± 4° off (front)" in text
    assert "from there it cannot be judged" in text
    assert "move the phone about 70° around the athlete, toward their left" in caught.value.hint
    assert caught.value.exit_code == 6


@pytest.mark.parametrize("azimuth_deg", [0.0, 90.0, 180.0])
def test_without_a_limit_every_direction_passes(azimuth_deg: float) -> None:
    require_direction(seen_from(azimuth_deg), limited(None))


def test_an_unknown_direction_passes() -> None:
    unknown = CameraView("unknown", math.nan, math.nan, math.nan, math.nan)
    require_direction(unknown, limited(10.0))


# Landmarks of rendered clips without any fault; the number is where the camera stood.
OFF_VIEW = Path(__file__).parent / "data" / "off_view"


@pytest.mark.parametrize(
    ("name", "movement"),
    [
        ("low-lunge-arm-reach_060", "low-lunge-arm-reach"),
        ("dumbbell-snatch_000", "dumbbell-snatch"),
    ],
)
def test_clips_that_gave_false_misses_from_elsewhere_are_refused(name: str, movement: str) -> None:
    track = load_track(OFF_VIEW / f"{name}.npz")
    standard = get_standard(movement).standard
    with pytest.raises(WrongViewError, match="from there it cannot be judged"):
        analyse_track(track, standard)
    # Without the limit they blame somebody who did it right.
    camera = standard.camera.model_copy(update={"judged_within_deg": None})
    told = analyse_track(track, standard.model_copy(update={"camera": camera}))
    misses = {f.check for e in told.events for f in e.findings if f.verdict == "misses"}
    assert misses & {"hip_open", "hips_driven", "knees_driven"}


def test_a_clip_from_the_front_of_what_can_be_judged_from_there_is_not_refused() -> None:
    track = load_track(OFF_VIEW / "sit-to-stand_000.npz")
    analysis = analyse_track(track, get_standard("sit-to-stand").standard)
    assert len(analysis.events) == 5
    assert not [f for e in analysis.events for f in e.findings if f.verdict == "misses"]


def test_the_limits_are_those_that_the_measured_clips_support() -> None:
    """What was measured stands in docs/positions.md, "From where it can be judged"."""
    limits = {name: s.standard.camera.judged_within_deg for name, s in load_standards().items()}
    limited = (
        "half-kneeling-hamstring",
        "low-lunge-arm-reach",
        "low-lunge-rotation",
        "dumbbell-snatch",
    )
    assert all((limits[name] or 90.0) < 30.0 for name in limited)
    assert (limits["get-up"] or 90.0) < 45.0
    # What the calibration was made with is known from everywhere.
    for name in ("air-squat", "high-knees", "jumping-jacks", "wide-stance-twist"):
        assert limits[name] is None
