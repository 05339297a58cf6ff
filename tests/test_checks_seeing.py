"""Worked by hand: a check is judged where its measure is known well enough, from any source."""

from __future__ import annotations

import math

import numpy as np
import pytest
from standard_examples import check_data, make_standard, rate_data, split_data
from synthetic import make_view

from motioncheck.checks import (
    check_events,
    check_set,
    choose_judgements,
    find_blind_spots,
)
from motioncheck.measures import REGISTRY, Calibration
from motioncheck.measures.calibration import BodyCorrection, Correction, MeasureCalibration
from motioncheck.records import CameraView, Event, MeasureTable, Phase

SIDE, FRONT = make_view(90.0), make_view(0.0)
TIME_S = np.arange(0.0, 60.0, 0.05)
TRUNK = {"measure": "trunk_inclination", "side": "none", "threshold": 45.0, "clear_miss": None}


def table(*, body=False, **columns):
    """Columns given as (value, half-width), each a number or one for every frame."""
    values, widths = (
        {n: np.broadcast_to(pair[i], TIME_S.shape).astype(float) for n, pair in columns.items()}
        for i in (0, 1)
    )
    widths = {n: np.where(np.isfinite(values[n]), w, np.nan) for n, w in widths.items()}
    sources = {n: np.broadcast_to(body, TIME_S.shape) for n in columns}
    return MeasureTable(TIME_S, values, widths, sources)


def reps(count=3, side="both"):
    sides = [side] * count if side != "alternating" else ["left", "right"] * (count // 2)
    return [
        Event("rep", n, s, 4.0 * n, 4.0 * n + 1, 4.0 * n + 2,
              (Phase("a", 4.0 * n, 4.0 * n + 1), Phase("b", 4.0 * n + 1, 4.0 * n + 1),
               Phase("c", 4.0 * n + 1, 4.0 * n + 2)))
        for n, s in enumerate(sides, start=1)
    ]  # fmt: skip


def judge(standard, measures, view=FRONT, events=None):
    """Return findings of all events and blind spots."""
    events = events or reps()
    choices = choose_judgements(standard, events, measures, view)
    checked = check_events(events, standard, measures, view, choices=choices)
    return [f for e in checked for f in e.findings], find_blind_spots(standard, choices, view)


def test_what_is_known_well_enough_is_judged_whatever_the_view():
    """The guard band of the trunk is 4 degrees, so a check can bear 10."""
    found, blind = judge(make_standard(check_data(**TRUNK)), table(trunk_inclination=(60.0, 9.0)))
    assert {f.verdict for f in found} == {"misses"}
    assert {(f.value, f.uncertainty) for f in found} == {(60.0, 9.0)}
    assert blind == ()


def test_what_is_known_too_badly_is_not_visible_and_the_reason_has_both_numbers():
    standard = make_standard(check_data(**TRUNK))
    found, blind = judge(standard, table(trunk_inclination=(80.0, 19.0)))
    reason = (
        "seen from the front, trunk inclination is known to about ±19° only, and the check can "
        "bear ±10°"
    )
    assert {(f.verdict, f.reason, f.value, f.uncertainty) for f in found} == {
        ("not visible", reason, None, None)
    }
    (spot,) = blind
    assert (spot.check, spot.title, spot.reason) == ("depth", "Deep enough", reason)
    assert spot.advice == (
        "Film it more from the side: move the phone about 60° around the athlete, toward their "
        "left."
    )


def test_the_standard_may_say_what_a_check_can_bear():
    measures = table(trunk_inclination=(80.0, 19.0))
    found, _ = judge(make_standard(check_data(**TRUNK, bears=20.0)), measures)
    assert {f.verdict for f in found} == {"misses"}
    found, _ = judge(make_standard(check_data(**TRUNK, bears=5.0)), measures)
    assert "can bear ±5°" in found[0].reason


def test_by_default_a_check_bears_two_and_a_half_guard_bands():
    (check,) = make_standard(check_data()).check
    assert check.bearable == 2.5 * REGISTRY["thigh_inclination"].guard == 12.5
    (check,) = make_standard(check_data(bears=3.0)).check
    assert check.bearable == 3.0


@pytest.mark.parametrize("bears", [0.0, -1.0, float("nan"), float("inf")])
def test_what_a_check_can_bear_is_a_number_above_0(bears):
    with pytest.raises(ValueError, match="bears"):
        make_standard(check_data(bears=bears))


def test_numbers_that_round_to_the_same_are_given_with_a_decimal():
    found, _ = judge(make_standard(check_data(**TRUNK)), table(trunk_inclination=(80.0, 10.3)))
    assert "±10.3° only, and the check can bear ±10.0°" in found[0].reason


def test_an_event_that_is_known_worse_than_the_others_is_left_out_alone():
    """Rep 2 has half-widths of 15 where 10 can be borne; the median of the three is 4."""
    widths = np.where((TIME_S > 7.0) & (TIME_S < 11.0), 15.0, 4.0)
    found, blind = judge(
        make_standard(check_data(**TRUNK)), table(trunk_inclination=(80.0, widths))
    )
    assert [f.verdict for f in found] == ["misses", "not visible", "misses"]
    assert "known to about ±15° only" in found[1].reason
    assert found[1].value is None
    assert blind == ()


def test_at_an_instant_well_known_frames_decide_and_over_a_rep_all_do():
    """Around the turn at 5 s the first frames read 60 within 4, the later ones 90 within 30."""
    begun = TIME_S < 5.0
    measures = table(trunk_inclination=(np.where(begun, 60.0, 90.0), np.where(begun, 4.0, 30.0)))

    def read(moment):
        standard = make_standard(check_data(**(TRUNK | {"moment": moment})))
        return check_events(reps(1), standard, measures, FRONT)[0].findings[0]

    assert (read("turn").value, read("turn").uncertainty) == (60.0, 4.0)
    assert read("max").verdict == "not visible"
    assert "known to about ±30° only" in read("max").reason
    assert (read("min").value, read("min").uncertainty) == (60.0, 4.0)
    nothing_better = table(trunk_inclination=(90.0, 30.0))
    (event,) = check_events(reps(1), make_standard(check_data(**TRUNK)), nothing_better, FRONT)
    assert "known to about ±30° only" in event.findings[0].reason


OTHER = {
    "measure": "knee_ankle_separation_ratio", "moment": "turn", "comparison": "at least",
    "threshold": 0.9, "unit": "ratio", "plane": "frontal",
}  # fmt: skip


def test_the_first_form_that_can_be_borne_is_judged():
    standard = make_standard(check_data(instead=[OTHER]))
    both = {"thigh_inclination_left": (0.0, 4.0), "knee_ankle_separation_ratio": (0.2, 0.05)}
    both["thigh_inclination_right"] = both["thigh_inclination_left"]
    found, _ = judge(standard, table(**both))
    assert {f.measure for f in found} == {"thigh_inclination"}
    worse = both | {f"thigh_inclination_{s}": (0.0, 14.0) for s in ("left", "right")}
    found, blind = judge(standard, table(**worse))
    assert {(f.measure, f.verdict, f.unit) for f in found} == {
        ("knee_ankle_separation_ratio", "misses", "ratio")
    }
    assert blind == ()
    neither = worse | {"knee_ankle_separation_ratio": (0.2, 0.9)}
    found, blind = judge(standard, table(**neither))
    assert {f.measure for f in found} == {"thigh_inclination"}
    assert "thigh inclination is known to about ±14° only" in blind[0].reason


def test_a_measure_that_is_missing_altogether_keeps_the_reason_of_its_plane():
    nothing = table(trunk_inclination=(np.nan, np.nan))
    standard = make_standard(check_data(**TRUNK))
    found, blind = judge(standard, nothing, FRONT)
    assert {f.reason for f in found} == {"filmed from the front, 90° off a square side view"}
    assert len(blind) == 1
    found, blind = judge(standard, nothing, SIDE)
    assert {f.reason for f in found} == {"the body parts it needs could not be seen at that moment"}
    assert blind == ()


def test_of_two_sides_the_better_known_one_makes_a_check_visible_and_speaks_alone():
    """From the side the far leg is known to 30 only: its miss does not count."""
    measures = table(thigh_inclination_left=(0.0, 4.0), thigh_inclination_right=(60.0, 30.0))
    found, blind = judge(make_standard(check_data(side="worst")), measures, SIDE)
    assert {(f.side, f.verdict) for f in found} == {("left", "meets")}
    assert blind == ()


def test_left_against_right_needs_both_sides():
    data = check_data(scope="sides", side="working", threshold=12.0)
    split = split_data(signal="knee_height_ratio", turn="highest", sides="alternating")
    standard = make_standard(data, split=split)
    events = reps(8, side="alternating")
    measures = table(thigh_inclination_left=(10.0, 4.0), thigh_inclination_right=(40.0, 30.0))
    (finding,) = check_set(events, standard, measures, SIDE)
    assert finding.verdict == "not visible"
    assert (
        "seen from the left side, thigh inclination is known to about ±30° only" in finding.reason
    )
    known = table(thigh_inclination_left=(10.0, 4.0), thigh_inclination_right=(40.0, 4.0))
    (finding,) = check_set(events, standard, known, SIDE)
    assert finding.verdict == "misses"


def test_times_of_the_set_need_no_view():
    unknown = CameraView("unknown", *[math.nan] * 4)
    measures = table(trunk_inclination=(np.nan, np.nan))
    choices = choose_judgements(make_standard(rate_data()), reps(), measures, unknown)
    assert choices["rate"].blind == ""


@pytest.mark.parametrize(("body", "source"), [(True, "body"), (False, "image")])
def test_a_finding_says_where_its_value_is_from(body, source):
    measures = table(body=body, trunk_inclination=(60.0, 9.0))
    (event,) = check_events(reps(1), make_standard(check_data(**TRUNK)), measures, FRONT)
    assert event.findings[0].source == source
    assert event.measures["trunk_inclination"].source == source
    assert event.measures["rep_time_s"].source == ""


def test_the_source_of_a_reading_is_that_of_most_of_its_frames():
    """The whole rep lasts 2 s; its first 1.2 s are from the body."""
    columns = {"trunk_inclination": np.full(len(TIME_S), 60.0)}
    widths = {"trunk_inclination": np.full(len(TIME_S), 2.0)}
    sources = {"trunk_inclination": TIME_S < 5.2}
    measures = MeasureTable(TIME_S, columns, widths, sources)
    for moment, source in (("mean", "body"), ("start", "body"), ("end", "image")):
        data = check_data(**(TRUNK | {"moment": moment}))
        (event,) = check_events(reps(1), make_standard(data), measures, FRONT)
        assert event.findings[0].source == source, moment


def test_advice_follows_from_what_the_fitted_body_is_known_to_reach():
    """The body reaches 7 of the 10 that can be borne up to 60 degrees off the front, not at it."""
    typical = [7.0] * 12
    typical[6] = 30.0
    entry = MeasureCalibration(body=BodyCorrection(typical=tuple(typical)))
    calibration = Calibration(measures={"trunk_inclination": entry})
    standard, view = make_standard(check_data(**TRUNK)), FRONT
    choices = choose_judgements(standard, reps(), table(trunk_inclination=(80.0, 19.0)), view)
    (spot,) = find_blind_spots(standard, choices, view, calibration)
    assert "move the phone about 30° around the athlete" in spot.advice


@pytest.mark.parametrize(("side", "size"), [("near", 60), ("worst", 180)])
def test_a_check_of_both_sides_is_advised_where_both_can_be_seen(side, size):
    """From a side the picture shows the near knee only; straight behind, the body knows both."""
    factor = [3.0] * 7 + [1.0] * 5
    typical = [5.0] + [40.0] * 11
    entry = MeasureCalibration(
        picture=Correction(factor=tuple(factor)), body=BodyCorrection(typical=tuple(typical))
    )
    calibration = Calibration(measures={"knee_flexion": entry})
    standard = make_standard(check_data(measure="knee_flexion", side=side))
    measures = table(knee_flexion_left=(90.0, 30.0), knee_flexion_right=(90.0, 30.0))
    choices = choose_judgements(standard, reps(), measures, FRONT)
    (spot,) = find_blind_spots(standard, choices, FRONT, calibration)
    assert f"move the phone about {size}° around" in spot.advice


def test_what_is_known_worse_than_usual_here_is_expected_to_be_so_from_elsewhere():
    """Usual are 5 from the front and 4 from everywhere else; here it was 15, three times as much.

    So 12 are expected where 4 are usual, more than 0.8 of the 10 that can be borne; the picture
    reaches its 4 from the side.
    """
    typical = [4.0] * 12
    typical[6] = 5.0
    entry = MeasureCalibration(body=BodyCorrection(typical=tuple(typical)))
    calibration = Calibration(measures={"trunk_inclination": entry})
    standard = make_standard(check_data(**TRUNK))
    choices = choose_judgements(standard, reps(), table(trunk_inclination=(80.0, 15.0)), FRONT)
    (spot,) = find_blind_spots(standard, choices, FRONT, calibration)
    assert "move the phone about 60° around the athlete" in spot.advice
    assert choices["depth"].width == 15.0


def test_a_measure_that_was_missing_is_not_expected_of_the_fitted_body():
    """Usually it knows the trunk within 4 from here; this time it did not know it at all."""
    entry = MeasureCalibration(body=BodyCorrection(typical=(4.0,) * 12))
    calibration = Calibration(measures={"trunk_inclination": entry})
    standard, nothing = make_standard(check_data(**TRUNK)), table(trunk_inclination=(np.nan, 1.0))
    choices = choose_judgements(standard, reps(), nothing, FRONT)
    (spot,) = find_blind_spots(standard, choices, FRONT, calibration)
    assert "move the phone about 60° around the athlete" in spot.advice


def test_from_an_unknown_direction_the_square_view_is_advised():
    unknown = CameraView("unknown", *[math.nan] * 4)
    standard = make_standard(check_data(**TRUNK))
    choices = choose_judgements(standard, reps(), table(trunk_inclination=(80.0, 19.0)), unknown)
    (spot,) = find_blind_spots(standard, choices, unknown)
    assert spot.reason.startswith("trunk inclination is known to about ±19° only")
    assert spot.advice == "Film it square from the side, lens at hip height."
