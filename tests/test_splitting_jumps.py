"""Analytic: a jump within a rep, as flight and landing of the rep it belongs to."""

from __future__ import annotations

import numpy as np
import pytest

from motioncheck.records import Event, MeasureTable, Phase
from motioncheck.splitting.jumps import CAUGHT_S, LANDING_S, add_flights

STATURE_M, GRAVITY = 1.75, 9.80665
RATE_HZ = 30.0


def feet_table(takeoffs_s, flight_s, length_s, hidden=None):
    """Both feet leave the floor for the same time, on the path of a thrown body."""
    time_s = np.arange(0.0, length_s, 1.0 / RATE_HZ)
    height = np.zeros(len(time_s))
    for takeoff_s in takeoffs_s:
        t = time_s - takeoff_s
        arc = GRAVITY * t * (flight_s - t) / 2.0 / STATURE_M
        height = np.maximum(height, np.where((t > 0) & (t < flight_s), arc, 0.0))
    values = {f"foot_rise_ratio_{s}": height.copy() for s in ("left", "right")}
    if hidden is not None:
        values[f"foot_rise_ratio_{hidden}"][:] = np.nan
    widths = {c: np.where(np.isfinite(v), 0.01, np.nan) for c, v in values.items()}
    return MeasureTable(time_s, values, widths)


def rep(number, start_s):
    phases = (
        Phase("going down", start_s, start_s + 1.0),
        Phase("plank", start_s + 1.0, start_s + 1.2),
        Phase("coming up", start_s + 1.2, start_s + 2.0),
    )
    return Event("rep", number, "both", start_s, start_s + 1.1, start_s + 2.0, phases)


def test_a_jump_after_standing_up_belongs_to_the_rep_before_it():
    """0.30 s in the air from 2.2 s and 5.7 s: h = g t² / 8 would be 11 cm."""
    table = feet_table([3.2, 6.7], 0.30, 9.0)
    first, second = add_flights([rep(1, 1.0), rep(2, 4.5)], table)
    for event, takeoff_s in ((first, 3.2), (second, 6.7)):
        assert [p.name for p in event.phases[3:]] == ["flight", "landing"]
        flight, landing = event.phases[3:]
        assert flight.start_s == pytest.approx(takeoff_s, abs=0.04)
        assert event.measures["flight_time_s"].value == pytest.approx(0.30, abs=0.05)
        assert landing.start_s == flight.end_s
        assert landing.end_s - landing.start_s == pytest.approx(LANDING_S)
        assert event.end_s == pytest.approx(landing.start_s + CAUGHT_S)


def test_a_rep_without_a_jump_has_a_flight_of_no_time():
    table = feet_table([3.2], 0.30, 9.0)
    jumped, stood = add_flights([rep(1, 1.0), rep(2, 4.5)], table)
    assert jumped.measures["flight_time_s"].value > 0.2
    assert stood.measures["flight_time_s"].value == 0.0
    assert [p.name for p in stood.phases] == ["going down", "plank", "coming up"]


def test_feet_that_were_not_seen_say_nothing_about_a_jump():
    table = feet_table([3.2], 0.30, 9.0)
    nothing = {column: np.full(len(table.time_s), np.nan) for column in table.values}
    (event,) = add_flights([rep(1, 1.0)], MeasureTable(table.time_s, nothing, nothing))
    assert "flight_time_s" not in event.measures


@pytest.mark.parametrize("hidden", ["left", "right"])
def test_a_foot_hidden_behind_the_other_goes_with_it(hidden):
    jumped, stood = add_flights(
        [rep(1, 1.0), rep(2, 4.5)], feet_table([3.2], 0.30, 9.0, hidden=hidden)
    )
    assert jumped.measures["flight_time_s"].value == pytest.approx(0.30, abs=0.05)
    assert stood.measures["flight_time_s"].value == 0.0


def test_feet_that_hop_to_a_plank_are_no_jump():
    """The same hop twice: with the hips low over the hands, then under the standing body."""
    table = feet_table([2.05, 3.2], 0.30, 9.0)
    hips = np.where(table.time_s < 2.7, 0.4, 1.0)
    values = {**table.values, "hip_height_ratio": hips}
    widths = {**table.uncertainty, "hip_height_ratio": np.full(len(hips), 0.04)}
    (event,) = add_flights([rep(1, 1.0)], MeasureTable(table.time_s, values, widths))
    flight = next(p for p in event.phases if p.name == "flight")
    assert flight.start_s == pytest.approx(3.2, abs=0.04)
