"""Arithmetic of the report on synthetic outcomes: worked numbers and planted coverage."""

from __future__ import annotations

import numpy as np
import pytest
import report_numbers
from outcomes import COLUMNS, WAYS, Outcome, load_outcome, save_outcome
from report_clips import wrap
from report_numbers import Quantity
from report_targets import Target, list_targets
from report_verdicts import count_verdicts

KNEE = Quantity("knee_flexion")
TRUNK = Quantity("trunk_inclination")
LEFT, RIGHT = (COLUMNS.index(f"knee_flexion_{s}") for s in ("left", "right"))
CAMERA = ("view_azimuth_error_deg", "azimuth_error_deg", "tilt_error_deg", "pitch_error_deg")


def make_outcome(
    *,
    name: str = "a",
    azimuth: float = 0.0,
    motion: str = "jacks",
    error=0.0,
    half=5.0,
    frames: int = 20,
    body: str = "b1",
    findings=(),
) -> Outcome:
    """All columns 30 in truth; what the program says is off by ``error``, the raw joints by 10."""
    truth = np.full((frames, len(COLUMNS)), 30.0)
    offsets = {"world": 10.0, "picture": 5.0, "body": 2.0, "said": error}
    values = {w: truth + np.reshape(offsets[w], (-1, 1)) for w in WAYS}
    raw = {w: np.full_like(truth, half) for w in ("picture", "body", "said")}
    about = {"name": name, "motion": motion, "motion_id": f"{motion}_1", "body": body}
    about |= {"cover": "", "handheld": False, "split": "calibrate", "excerpt": None}
    numbers = dict.fromkeys(CAMERA, 0.0) | {"azimuth_deg": azimuth, "view_azimuth_deg": azimuth}
    numbers |= {"landmark_error_percent": 1.0, "landmark_error_worst_percent": 2.0}
    numbers |= {"nobody_share": 0.0, "fit_share": 0.1}
    return Outcome(
        about,
        np.arange(frames) / 30.0,
        truth,
        values,
        raw,
        np.zeros(truth.shape, dtype=np.bool_),
        numbers,
        list(findings),
        {"true": 2, "found": 2},
    )


def test_clips_count_alike_whatever_their_length():
    """sqrt((3² + 4²) / 2) = 3.54, whether the clips have 10 frames or 1000."""
    short, long = make_outcome(error=3.0, frames=10), make_outcome(error=4.0, frames=1000)
    found = report_numbers.pool([short, long], "said", KNEE)
    assert found.rmse == pytest.approx(np.sqrt(12.5))
    assert found.median == pytest.approx(3.5)
    assert found.bias == pytest.approx(3.5)
    assert found.sd == pytest.approx(0.5)
    assert (found.seen, found.clips) == (1.0, 2)


def test_missing_values_are_left_out_and_counted():
    outcome = make_outcome(error=2.0)
    outcome.values["said"][:5, LEFT] = np.nan
    found = report_numbers.pool([outcome], "said", KNEE)
    assert found.rmse == pytest.approx(2.0)
    assert found.seen == pytest.approx(35 / 40)
    outcome.values["said"][:] = np.nan
    nothing = report_numbers.pool([outcome], "said", KNEE)
    assert np.isnan(nothing.rmse)
    assert nothing.clips == 0


def test_frames_without_a_true_value_do_not_count_at_all():
    outcome = make_outcome(error=2.0)
    outcome.truth[:10, [LEFT, RIGHT]] = np.nan
    found = report_numbers.pool([outcome], "said", KNEE)
    assert found.rmse == pytest.approx(2.0)
    assert found.seen == 1.0


def test_angles_are_compared_the_short_way_round():
    assert wrap(np.array([350.0, -190.0, 180.0])) == pytest.approx([-10.0, 170.0, -180.0])
    outcome = make_outcome(error=358.0)
    assert report_numbers.pool([outcome], "said", KNEE).rmse == pytest.approx(2.0)


def test_ratio_to_the_raw_joints_takes_the_same_frames():
    """The raw joints are off by 10; in frames that only they have, by 90."""
    outcome = make_outcome(error=4.0)
    outcome.values["world"][:10] = 120.0
    outcome.values["said"][:10] = np.nan
    assert report_numbers.ratio_to_world([outcome], "said", KNEE) == pytest.approx(0.4)


def test_half_widths_that_are_planted_are_covered_as_planted():
    rng = np.random.default_rng(1)
    outcomes = []
    for number in range(60):
        error = rng.normal(0.0, 4.0, 400)
        outcomes.append(
            make_outcome(name=str(number), error=error, half=1.645 * 4.0, frames=400, azimuth=31.0)
        )
    found = report_numbers.compute_coverage(outcomes, "said", KNEE)
    assert set(found) == {None, 30, 330}
    for cell in found.values():
        assert cell.covered == pytest.approx(0.9, abs=0.01)
        assert cell.clips == 60
    assert found[30].error < 0.01


def test_coverage_is_counted_from_the_side_that_is_measured():
    """A camera at 90 degrees faces the left knee; the right one is on the other side, 270."""
    outcome = make_outcome(azimuth=92.0, error=3.0, half=5.0)
    outcome.raw["said"][:, RIGHT] = 1.0
    found = report_numbers.compute_coverage([outcome], "said", KNEE)
    assert (found[90].covered, found[270].covered, found[None].covered) == (1.0, 0.0, 0.5)


def test_regions_are_within_20_degrees_of_square():
    cases = {0: "front or back", 19: "front or back", 21: "oblique", 69: "oblique", 71: "side"}
    cases |= {-90: "side", 200: "front or back", 205: "oblique", 250: "side"}
    for azimuth, region in cases.items():
        outcome = make_outcome(azimuth=azimuth)
        inside = [name for name, belongs in report_numbers.REGIONS.items() if belongs(outcome)]
        assert inside == ["all", region]
    assert [report_numbers.nearest_bin(a) for a in (-10, 14, 346, -91)] == [0, 0, 0, 270]


def test_the_turn_is_where_the_thighs_of_a_squat_are_lowest():
    outcome = make_outcome(motion="squat", frames=5)
    for column in report_numbers.DEPTH:
        outcome.truth[:, COLUMNS.index(column)] = [80.0, 30.0, 15.0, 12.0, 21.0]
    turn = report_numbers.at_turn(outcome, outcome.truth[:, LEFT])
    assert turn.tolist() == [False, False, True, True, True]
    # Where the measure has no meaning at the very bottom: the lowest frames in which it has.
    outcome.truth[2:4, LEFT] = np.nan
    turn = report_numbers.at_turn(outcome, outcome.truth[:, LEFT])
    assert turn.tolist() == [False, True, False, False, True]
    assert not report_numbers.at_turn(make_outcome(), outcome.truth[:, LEFT]).any()


def test_verdicts_are_counted_and_only_definite_ones_can_be_wrong():
    rows = [
        {"verdict": v, "true_verdict": t}
        for v, t in (
            ("meets", "meets"),
            ("meets", "misses"),
            ("misses", "misses"),
            ("misses", "unknown"),
            ("too close to call", "misses"),
            ("not visible", "meets"),
        )
    ]
    count = count_verdicts(rows)
    assert (count["all"], count["definite"], count["known"], count["wrong"]) == (6, 4, 3, 1)
    assert (count["undecided"], count["not visible"]) == (1, 1)


def test_a_target_says_whether_it_is_met():
    assert Target("x", 5.0, 4.9).met is True
    assert Target("x", 5.0, 5.1).met is False
    assert Target("x", 0.75, 0.8, unit="share", at_least=True).met is True
    assert Target("x", 5.0, float("nan")).met is None


def test_targets_are_read_off_the_outcomes():
    outcomes = [
        make_outcome(name="a", azimuth=90.0, error=3.0),
        make_outcome(name="b", azimuth=45.0, error=3.0),
        make_outcome(name="c", motion="recorded", error=4.0),
    ]
    found = {t.what: t for t in list_targets(outcomes)}
    knee = found["Knee flexion, side views: root mean square error"]
    assert knee.found == pytest.approx(3.0)
    assert knee.body == pytest.approx(2.0)
    assert knee.met
    beyond = found["Knee flexion: error of recorded motion beyond that of invented motion"]
    assert beyond.found == pytest.approx(1.0)


def test_an_outcome_comes_back_as_it_was_kept(tmp_path):
    outcome = make_outcome(error=1.5, findings=[{"check": "depth", "verdict": "meets"}])
    path = tmp_path / "a.npz"
    save_outcome(outcome, path, depends_on="x")
    back = load_outcome(path)
    assert back.about == outcome.about
    assert back.numbers == outcome.numbers
    assert back.findings == outcome.findings
    assert np.array_equal(back.values["said"], outcome.values["said"])
    assert list(tmp_path.iterdir()) == [path]
