"""Analytic: findings of tables whose values are written down, one check at a time."""

from __future__ import annotations

import numpy as np
import pytest
from standard_examples import check_data, make_standard, rate_data, split_data
from synthetic import make_view

from motioncheck.checks import check_events, check_set
from motioncheck.checks.reading import read_judgement
from motioncheck.records import Event, MeasureTable, Phase
from motioncheck.standards import get_standard

SIDE, FRONT = make_view(90.0), make_view(0.0)
TIME_S = np.arange(0.0, 60.0, 0.05)


def table(band=2.0, **columns):
    """Columns that are constant, or given over time; ``band`` for all or by column."""
    values = {name: np.broadcast_to(v, TIME_S.shape).astype(float) for name, v in columns.items()}
    widths = band if isinstance(band, dict) else dict.fromkeys(values, band)
    bands = {name: np.where(np.isfinite(v), widths[name], np.nan) for name, v in values.items()}
    return MeasureTable(TIME_S, values, bands)


def rep(number=1, start=1.0, *, side="both", out=1.0, hold=0.0, back=1.0):
    turn, end = start + out + hold / 2, start + out + hold + back
    phases = (
        Phase("out", start, start + out),
        Phase("turn", start + out, start + out + hold),
        Phase("back", start + out + hold, end),
    )
    return Event("rep", number, side, start, turn, end, phases)


def find(standard, measures, view=SIDE, event=None):
    (checked,) = check_events([event or rep()], standard, measures, view)
    assert len(checked.findings) == 1
    return checked.findings[0]


@pytest.mark.parametrize(
    ("value", "verdict", "cue"),
    [
        (2.0, "meets", ""),
        (4.0, "too close to call", ""),
        (6.0, "too close to call", ""),
        (12.0, "too close to call", ""),
        (20.0, "misses", "Sit lower."),
        (np.nan, "not visible", ""),
    ],
)
def test_a_check_of_at_most_5_with_a_clear_miss_at_15_and_a_band_of_2(value, verdict, cue):
    columns = {"thigh_inclination_left": value, "thigh_inclination_right": -40.0}
    finding = find(make_standard(), table(**columns))
    assert finding.verdict == verdict
    assert finding.cue == cue
    assert finding.value == (None if np.isnan(value) else value)
    assert finding.side == "left"
    assert bool(finding.reason) == (verdict in ("too close to call", "not visible"))
    assert (finding.threshold, finding.comparison, finding.unit) == (5.0, "at most", "deg")


def test_the_near_side_is_the_one_that_faces_the_lens_and_both_from_the_front():
    columns = {"knee_height_ratio_left": 1.0, "knee_height_ratio_right": -1.0}
    standard = make_standard(
        check_data(
            measure="knee_height_ratio", unit="ratio", plane="any", comparison="at least",
            threshold=0.0, clear_miss=-0.1,
        )
    )  # fmt: skip
    measures = table(band=0.05, **columns)
    assert find(standard, measures, make_view(80.0)).side == "left"
    assert find(standard, measures, make_view(-80.0)).side == "right"
    # From the front neither is nearer: the side that needs more attention speaks.
    front = find(standard, measures, make_view(0.0))
    assert (front.side, front.verdict) == ("right", "misses")


@pytest.mark.parametrize(
    ("left", "right", "side", "verdict"),
    [
        (0.0, 30.0, "right", "misses"),
        (30.0, 0.0, "left", "misses"),
        (0.0, 5.0, "right", "too close to call"),
        (30.0, np.nan, "left", "misses"),
        (0.0, np.nan, "left", "meets"),
        (np.nan, np.nan, "left", "not visible"),
    ],
)
def test_of_both_sides_the_worse_one_speaks_and_a_hidden_one_does_not(left, right, side, verdict):
    columns = {"thigh_inclination_left": left, "thigh_inclination_right": right}
    finding = find(make_standard(check_data(side="worst")), table(**columns))
    assert (finding.side, finding.verdict) == (side, verdict)


@pytest.mark.parametrize(("kind", "expected"), [("working", "left"), ("opposite", "right")])
def test_working_and_opposite_side_follow_the_side_of_the_rep(kind, expected):
    columns = {"thigh_inclination_left": 0.0, "thigh_inclination_right": 90.0}
    finding = find(make_standard(check_data(side=kind)), table(**columns), event=rep(side="left"))
    assert finding.side == expected


def test_a_side_difference_within_a_rep_has_both_uncertainties():
    columns = {"thigh_inclination_left": 10.0, "thigh_inclination_right": 40.0}
    finding = find(make_standard(check_data(side="difference")), table(band=3.0, **columns))
    assert finding.value == 30.0
    assert finding.uncertainty == pytest.approx(np.hypot(3.0, 3.0), abs=1e-3)
    assert finding.side == "both"


def test_a_check_of_the_size_ignores_the_sign():
    measures = table(band=0.05, pelvis_shift_ratio=-0.5)
    shift = {
        "measure": "pelvis_shift_ratio", "side": "none", "unit": "ratio", "plane": "frontal",
        "threshold": 0.2, "clear_miss": None,
    }  # fmt: skip
    signed = find(make_standard(check_data(**shift)), measures, FRONT)
    size = find(make_standard(check_data(**shift, absolute=True)), measures, FRONT)
    assert (signed.verdict, signed.value) == ("meets", -0.5)
    assert (size.verdict, size.value) == ("misses", 0.5)


@pytest.mark.parametrize(
    ("moment", "expected"),
    [("turn", 0.5), ("start", 0.0), ("end", 1.0), ("max", 0.97), ("min", 0.03), ("mean", 0.5),
     ("range", 1.0), ("spread", 1 / np.sqrt(12))],
)  # fmt: skip
def test_a_moment_reads_its_part_of_the_rep(moment, expected):
    """A ramp from 0 to 1 over the rep. Largest and smallest are means of the last twentieth, so
    0.025 inside; the deviation of a ramp is 1 / sqrt 12."""
    event = rep(start=10.0, out=5.0, back=5.0)
    ramp = np.clip((TIME_S - event.start_s) / 10.0, 0.0, 1.0)
    data = check_data(moment=moment, measure="trunk_inclination", side="none")
    finding = find(make_standard(data), table(trunk_inclination=ramp), event=event)
    assert finding.value == pytest.approx(expected, abs=0.01)


def test_a_rep_seen_by_half_has_no_mean_but_a_largest_value():
    event = rep(start=10.0, out=5.0, back=5.0)
    seen = np.where(TIME_S < 15.0, 50.0, np.nan)
    for moment, verdict in (("mean", "not visible"), ("max", "misses")):
        data = check_data(moment=moment, measure="trunk_inclination", side="none")
        assert (
            find(make_standard(data), table(trunk_inclination=seen), event=event).verdict == verdict
        )


KNEE_LINE = check_data(
    measure="frontal_plane_knee_angle", moment="max", side="worst", plane="frontal strict",
    threshold=8.0, clear_miss=12.0,
)  # fmt: skip


@pytest.mark.parametrize(
    ("left", "right", "verdict"),
    [
        (30.0, -25.0, "too close to call"),
        (-25.0, 30.0, "too close to call"),
        (30.0, 25.0, "misses"),
        (30.0, -2.0, "misses"),
        (30.0, -8.0, "misses"),
    ],
)
def test_knees_that_read_opposite_by_the_same_amount_point_at_the_camera(left, right, verdict):
    """Section 0.3 of the reference: a turned camera makes one valgus and the other varus."""
    columns = {"frontal_plane_knee_angle_left": left, "frontal_plane_knee_angle_right": right}
    finding = find(make_standard(KNEE_LINE), table(**columns), FRONT)
    assert finding.verdict == verdict
    assert ("turned camera" in finding.reason) == (verdict == "too close to call")
    assert bool(finding.cue) == (verdict == "misses")


def test_a_check_that_is_switched_off_gives_no_finding():
    standard = make_standard(check_data(enabled=False), check_data(id="other"))
    measures = table(thigh_inclination_left=0.0, thigh_inclination_right=0.0)
    assert find(standard, measures).check == "other"


def test_measures_of_a_rep_leave_out_what_was_not_seen_and_carry_their_times():
    columns = {"thigh_inclination_left": 1.0, "thigh_inclination_right": np.nan}
    (event,) = check_events(
        [rep(out=2.0, hold=0.5, back=1.0)], make_standard(), table(**columns), SIDE
    )
    assert "thigh_inclination_right" not in event.measures
    assert event.measures["thigh_inclination_left"].value == 1.0
    assert event.measures["rep_time_s"].value == 3.5
    assert event.measures["lowering_time_s"].value == 2.0
    assert event.measures["rising_time_s"].value == 1.0


def set_finding(data, turns_s, **columns):
    events = [rep(n, t - 0.2, out=0.2, back=0.2) for n, t in enumerate(turns_s, start=1)]
    columns = columns or {"thigh_inclination_left": 0.0}
    (finding,) = check_set(events, make_standard(data), table(**columns), SIDE)
    return finding


def test_the_rate_is_60_over_the_median_step():
    finding = set_finding(rate_data(), 1.0 + 1.5 * np.arange(10))
    assert finding.value == pytest.approx(40.0)
    assert finding.verdict == "meets"
    slow = set_finding(rate_data(), 1.0 + 3.0 * np.arange(10))
    assert (slow.value, slow.verdict, slow.cue) == (20.0, "misses", "Quicker.")


RHYTHM = rate_data(
    id="rhythm", measure="rhythm_cv_percent", unit="%", comparison="at most", threshold=10.0
)


def test_a_rest_in_the_middle_of_a_set_is_no_unevenness():
    """Two even halves with 15 s between them: the one long step is a rest, not rhythm."""
    even = 1.0 + 1.5 * np.arange(10)
    rested = np.where(np.arange(10) < 5, even, even + 15.0)
    assert set_finding(RHYTHM, even).value == pytest.approx(0.0, abs=1e-6)
    assert set_finding(RHYTHM, rested).value == pytest.approx(0.0, abs=1e-6)
    assert set_finding(rate_data(), rested).value == pytest.approx(40.0)


def test_uneven_steps_have_their_coefficient_of_variation():
    """Steps of 1.0 and 1.5 s in turn, four each: mean 1.25, deviation 0.2673, 21.4 per cent."""
    turns = np.cumsum([1.0, *[1.0, 1.5] * 4])
    finding = set_finding(RHYTHM, turns)
    assert finding.value == pytest.approx(100 * np.std([1.0, 1.5] * 4, ddof=1) / 1.25, abs=0.01)
    assert finding.value == pytest.approx(21.4, abs=0.05)
    assert finding.verdict == "misses"


def test_two_reps_have_no_rate():
    finding = set_finding(rate_data(), [1.0, 2.0])
    assert (finding.verdict, finding.reason) == (
        "not visible", "too few reps were seen well enough",
    )  # fmt: skip


def test_left_against_right_compares_the_working_limbs_over_the_set():
    """Left reps read 10, right reps 40: 30 apart, uncertain by one band, since nothing scatters."""
    data = check_data(scope="sides", side="working", threshold=12.0)
    standard = make_standard(
        data, split=split_data(signal="knee_height_ratio", turn="highest", sides="alternating")
    )
    events = [rep(n, 2.0 * n, side="left" if n % 2 else "right") for n in range(1, 9)]
    measures = table(band=4.0, thigh_inclination_left=10.0, thigh_inclination_right=40.0)
    (finding,) = check_set(events, standard, measures, SIDE)
    assert finding.value == 30.0
    assert finding.uncertainty == 4.0
    assert finding.verdict == "misses"
    one_sided = [e for e in events if e.side == "left"]
    assert check_set(one_sided, standard, measures, SIDE)[0].verdict == "not visible"


def test_arms_that_trail_the_feet_are_late_by_the_shift_put_in():
    """Arms and feet open in the same course, the arms 0.3 s later."""
    standard = get_standard("jumping-jacks").standard
    event = rep(start=10.0, out=0.6, back=0.6)

    def hill(late):
        return np.exp(-(((TIME_S - 10.5 - late) / 0.15) ** 2))

    columns = {f"shoulder_elevation_{s}": 160 * hill(0.3) for s in ("left", "right")}
    columns |= {f"elbow_flexion_{s}": 0.0 for s in ("left", "right")}
    columns |= {f"frontal_plane_knee_angle_{s}": 0.0 for s in ("left", "right")}
    columns["stance_width_ratio"] = 1.5 * hill(0.0)

    def together(stance_band):
        bands = {**dict.fromkeys(columns, 2.0), "stance_width_ratio": stance_band}
        (checked,) = check_events([event], standard, table(bands, **columns), FRONT)
        finding = next(f for f in checked.findings if f.check == "together")
        return finding.verdict, finding.value

    verdict, value = together(0.08)
    assert value == pytest.approx(0.3, abs=0.02)
    assert verdict == "misses"
    # A width that is hardly known has no time at which it is widest.
    assert together(0.5) == ("not visible", None)


def test_times_are_read_off_the_picture_whatever_the_values_are_taken_from():
    """The fitted body has arms and feet in time, the picture the arms late by 0.3 s."""
    standard = get_standard("jumping-jacks").standard

    def hill(late):
        return np.exp(-(((TIME_S - 10.5 - late) / 0.15) ** 2))

    def both(late):
        arms = {f"shoulder_elevation_{s}": 160 * hill(late) for s in ("left", "right")}
        return table(0.05, **arms, stance_width_ratio=1.5 * hill(0.0))

    body, picture = both(0.0), both(0.3)
    combined = MeasureTable(TIME_S, body.values, body.uncertainty, picture=picture)
    event, check = (
        rep(start=10.0, out=0.6, back=0.6),
        next(c for c in standard.check if c.id == "together"),
    )
    for measures, lag_s in ((combined, 0.3), (body, 0.0)):
        assert read_judgement(check, "both", event, measures).value == pytest.approx(
            lag_s, abs=0.02
        )
