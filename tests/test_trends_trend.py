"""Property: the whole report of one person, from trials to words."""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from standard_examples import check_data, standard_data
from trend_trials import BASE, FIRST_DAY, day_number, make_trial

from motioncheck.measures import REGISTRY
from motioncheck.records.history import PersonRecord
from motioncheck.records.trend import CHANGE_WORDS
from motioncheck.standards import Standard, load_standards
from motioncheck.trends import compute_trends
from motioncheck.trends.series import choose_series, find_better

STANDARDS = {k: s.standard for k, s in load_standards().items()}
SEAT3 = PersonRecord("seat3", birth_year=1990, sex="female")
FRONT = {"view": "front", "azimuth_deg": 0.0}


def report(trials, person=SEAT3, **options):
    return compute_trends(trials, person, standards=STANDARDS, today="2026-06-01", **options)


def only_line(trials, **options):
    (trend,) = report(trials, **options).trends
    (line,) = trend.lines
    return line


def words_of(line, statistic="mean"):
    return [(c.from_day, c.word) for c in line.changes if c.statistic == statistic]


def test_a_change_beyond_the_published_figure_is_called_one():
    line = only_line([make_trial(0, 100.0), make_trial(1, 112.5)])
    mean, best = line.changes
    assert (mean.word, mean.better, mean.difference, mean.needed) == ("changed", True, 12.5, 12.0)
    assert (best.statistic, best.from_value, best.to_value) == ("best", 102.0, 114.5)
    assert mean.text == (
        "100.0° then, 112.5° now: 12.5° more. That is more than the 12.0° needed: changed."
    )
    worse = only_line([make_trial(0, 112.5), make_trial(1, 100.0)]).changes[0]
    assert (worse.word, worse.better) == ("changed", False)


def test_anything_up_to_the_figure_is_no_change_that_this_method_can_see():
    line = only_line([make_trial(0, 100.0), make_trial(1, 112.0)])
    assert line.changes[0].word == "no change that this method can see"
    assert line.changes[0].better is None


def test_across_a_break_nothing_is_compared_and_the_piece_before_still_is():
    trials = [make_trial(0, 100.0), make_trial(1, 130.0), make_trial(2, 150.0, **FRONT)]
    assert words_of(only_line(trials)) == [
        (day_number(1), "not comparable"),
        (day_number(0), "not comparable"),
    ]
    back = only_line([*trials, make_trial(3, 131.0)])
    assert words_of(back) == [
        (day_number(0), "changed"),
        (day_number(1), "no change that this method can see"),
        (day_number(2), "not comparable"),
    ]
    apart = next(c for c in back.changes if c.word == "not comparable")
    assert (apart.difference, apart.needed, apart.better) == (None, None, None)


def test_without_any_figure_nothing_is_said():
    trials = [
        make_trial(w, m, measure="ankle_flexion", movement="air-squat", moment="turn")
        for w, m in enumerate((10.0, 40.0))
    ]
    (trend,) = report(trials, measure="ankle_flexion").trends
    assert trend.mdc.value is None
    assert trend.lines[0].changes[0].word == "no limit"
    assert trend.lines[0].changes[0].difference == 30.0


def test_a_single_session_has_a_point_and_no_comparison():
    line = only_line([make_trial(0)])
    assert len(line.points) == 1
    assert line.changes == ()


def test_own_repeats_take_over_and_differ_between_the_sides():
    """Repeats of 2 and of 8 degrees: differences of alternating sign have SEM 2 and 8 about."""
    trials = []
    for side, size in (("left", 2.0), ("right", 8.0)):
        for week in range(8):
            sign = 1.0 if week % 2 else -1.0
            trials.append(make_trial(week, 100.0, side=side))
            trials.append(make_trial(week, 100.0 + sign * size, clip=1, side=side))
    (trend,) = report(trials).trends
    left, right = trend.lines
    assert (left.mdc_mean.origin, left.mdc_mean.df) == ("own", 7)
    # Differences +-d, mean 0: SD = d sqrt(8/7), SEM = d sqrt(4/7).
    assert left.mdc_mean.sem == pytest.approx(2.0 * (4 / 7) ** 0.5)
    assert right.mdc_mean.sem == pytest.approx(8.0 * (4 / 7) ** 0.5)
    assert trend.mdc == right.mdc_mean
    assert left.changes[0].needed == pytest.approx(left.mdc_mean.value / 2**0.5)


def test_repeats_filmed_in_another_way_than_the_last_session_do_not_count():
    trials = [make_trial(w, 100.0 + c * 3.0 * (-1) ** w, clip=c) for w in range(8) for c in (0, 1)]
    assert only_line(trials).mdc_mean.origin == "own"
    assert only_line([*trials, make_trial(9, **FRONT)]).mdc_mean.origin == "published"


def test_two_sessions_of_one_day_are_not_repeats_of_each_other():
    """Before and after treatment: what differs between them is no error."""
    trials = []
    for week in range(8):
        trials.append(make_trial(week, 100.0))
        trials.append(make_trial(week, 120.0 + week, clip=1, session=f"after-{week}"))
    line = only_line(trials)
    assert len(line.points) == 16
    assert line.mdc_mean.origin == "published"


def test_sessions_of_one_day_stay_in_order_when_the_first_is_checked_again():
    day = day_number(0)
    later = f"{day_number(1)}T10:00:00+00:00"
    trials = [
        make_trial(0, mean, side=side, session=session, clip_number=number, recorded_at=recorded)
        for side, more in (("left", 0.0), ("right", 4.0))
        for session, number, mean, recorded in (
            ("morning", 1, 100.0 + more, later),
            ("evening", 2, 120.0 + 2 * more, f"{day}T18:00:00+00:00"),
        )
    ]
    (trend,) = report(trials).trends
    for line in trend.lines:
        assert [p.session for p in line.points] == ["morning", "evening"]
    assert trend.indices[0].value == pytest.approx(-8.0)


def test_usual_values_fit_age_and_sex_and_carry_their_source():
    (trend,) = report([make_trial(0)], PersonRecord("seat3", birth_year=1990, sex="male")).trends
    assert trend.norms
    assert all("Men" in n.text for n in trend.norms)
    banded = [n for n in trend.norms if n.low is not None]
    # Boone and Azen 1979: 141.2, SD 5.3 (from memory), the band is one SD to either side.
    assert (banded[0].low, banded[0].high) == (pytest.approx(135.9), pytest.approx(146.5))
    assert "Boone and Azen" in banded[0].text
    assert "one standard deviation" in banded[0].text


def test_the_year_of_birth_leaves_two_ages_and_both_count():
    """Soucie has 20 to 44 and 45 to 69: born 1981, one is 44 or 45 in March 2026."""

    def groups(year):
        (trend,) = report([make_trial(0)], replace(SEAT3, birth_year=year)).trends
        return {n.text.split(":")[0] for n in trend.norms if "Soucie" in n.text}

    assert groups(1981) == {"Women of 20 to 44", "Women of 45 to 69"}
    assert groups(1983) == {"Women of 20 to 44"}
    assert groups(1900) == set()


def test_nothing_is_guessed_of_a_person_of_whom_nothing_is_known():
    (trend,) = report([make_trial(0)], PersonRecord("seat3")).trends
    lines = STANDARDS["knee-flexion"].range_of_motion[0].norm
    assert len(trend.norms) == len(lines)
    (far,) = report([make_trial(0)], replace(SEAT3, birth_year=1900)).trends
    assert [n.mean for n in far.norms] == [None]
    assert "No source" in far.norms[0].text


@pytest.mark.parametrize(
    ("known", "drawn"),
    [
        ({}, False),
        ({"sex": "male"}, False),
        ({"birth_year": 1990}, False),
        ({"birth_year": 1990, "sex": "male"}, True),
    ],
)
def test_no_group_is_drawn_that_a_person_may_not_belong_to(known, drawn):
    """Every group of knee flexion is of an age, and those of 36 years are of one sex each."""
    (trend,) = report([make_trial(0)], PersonRecord("seat3", **known)).trends
    assert any(n.mean is not None for n in trend.norms) == drawn
    assert any(n.low is not None for n in trend.norms) == drawn
    assert ("No usual values are drawn" in " ".join(trend.notes)) != drawn
    # What the sources say is told all the same.
    assert any("Boone and Azen" in n.text and "SD 5.3°" in n.text for n in trend.norms)


def test_sides_are_compared_in_the_last_session_that_has_both():
    trials = [make_trial(w, 100.0 + 10 * w) for w in range(3)]
    trials += [make_trial(w, 125.0, side="right") for w in range(2)]
    (trend,) = report(trials).trends
    assert {i.day for i in trend.indices} == {day_number(1)}
    by_name = {i.name: i.value for i in trend.indices}
    assert by_name["difference"] == -15.0
    assert by_name["limb symmetry index"] == pytest.approx(88.0)


def with_every_check(standard):
    """Return a standard with the checks switched on that are off."""
    checks = tuple(c.model_copy(update={"enabled": True}) for c in standard.check)
    return standard.model_copy(update={"check": checks})


def test_default_series_follow_the_standard_and_show_nothing_twice():
    standard = with_every_check(STANDARDS["knee-flexion"])
    present = [
        ("knee_flexion", "turn"),
        ("hip_flexion", "turn"),
        ("knee_flexion", "range end"),
        ("knee_flexion", "range"),
        ("knee_flexion", "end"),
        ("elbow_flexion", "turn"),
    ]
    shown = choose_series(standard, present)
    assert shown == [
        ("knee_flexion", "range"),
        ("knee_flexion", "range end"),
        ("hip_flexion", "turn"),
    ]
    # The check of the hip is switched off in the standard, so it is not one of its checks.
    assert choose_series(STANDARDS["knee-flexion"], present) == shown[:2]
    assert choose_series(standard, present, measure="elbow_flexion") == [("elbow_flexion", "turn")]
    assert choose_series(None, present[:2]) == [("hip_flexion", "turn"), ("knee_flexion", "turn")]


@pytest.mark.parametrize(
    ("changes", "better"),
    [
        ([{"comparison": "at most"}], "lower"),
        ([{"comparison": "at least", "clear_miss": -5.0}], "higher"),
        ([{"comparison": "at most", "absolute": True}], ""),
        ([{}, {"id": "other", "comparison": "at least", "clear_miss": None}], ""),
    ],
)
def test_the_better_direction_is_that_of_the_checks(changes, better):
    checks = [check_data(**c) for c in changes]
    standard = Standard.model_validate(standard_data(*checks))
    assert find_better(standard, "thigh_inclination", "turn") == better


def test_a_movement_without_a_standard_is_shown_without_a_better_direction():
    (trend,) = report([make_trial(0, movement="of-old"), make_trial(1, movement="of-old")]).trends
    assert trend.movement_title == "of-old"
    assert (trend.better, trend.lines[0].points[0].best) == ("", None)
    assert "no direction" in trend.notes[0]


def test_empty_history_and_unknown_choices_say_so():
    for found in (report([]), report([BASE], measure="no_such"), report([BASE], movement="x")):
        assert found.trends == ()
        assert "Nothing recorded" in found.notes[0]
        assert (found.sessions, found.first_day) == (0, "")


def test_cautions_and_how_many_changes_may_be_chance():
    found = report([make_trial(w, 100.0, side=s) for w in range(3) for s in ("left", "right")])
    assert (found.sessions, found.first_day, found.last_day) == (3, day_number(0), day_number(2))
    assert any("Stop at sharp" in c for c in found.cautions)
    assert any("does not diagnose" in c for c in found.cautions)
    assert any("licensed" in c for c in found.cautions)
    # Two sides, two pairs of sessions, best and mean: too few for one to be wrong by chance.
    assert found.notes == ()
    series = [
        ("knee-flexion", "knee_flexion", "range"),
        ("knee-flexion", "knee_flexion", "range end"),
        ("hip-flexion", "hip_flexion", "range"),
    ]
    longer = report(
        [
            make_trial(w, 100.0, side=s, movement=movement, measure=m, moment=moment)
            for w in range(3)
            for s in ("left", "right")
            for movement, m, moment in series
        ]
    )
    assert "about 1 of them" in longer.notes[0]


LUNGE = STANDARDS["ankle-dorsiflexion-lunge"]
(KNEE_LINE,) = (c for c in LUNGE.check if c.measure == "frontal_plane_knee_angle")


def of_the_lunge(band, **options):
    """Frontal-plane knee angle in the ankle lunge, whose check can bear 5 degrees."""
    trial = make_trial(
        0, 20.0, movement=LUNGE.id, measure="frontal_plane_knee_angle",
        moment=KNEE_LINE.moment, uncertainty=band,
    )  # fmt: skip
    return report([trial], **options)


def test_what_the_sheet_calls_not_visible_is_no_trend():
    """Else a number stands on the page of the therapist that the sheet refused to give."""
    assert KNEE_LINE.bearable == 5.0
    (trend,) = of_the_lunge(5.0).trends
    assert trend.measure == "frontal_plane_knee_angle"
    found = of_the_lunge(5.1)
    assert found.trends == ()
    assert (found.sessions, found.first_day) == (1, day_number(0))
    assert "did not show it well enough for its check: frontal-plane knee angle" in found.notes[-1]
    (asked,) = of_the_lunge(5.1, measure="frontal_plane_knee_angle").trends
    assert asked.lines[0].points[0].mean == 20.0


def test_a_thousand_sessions_of_many_measures_keep_a_point_each():
    measures = [s.id for s in REGISTRY][:30]
    trials = [
        replace(BASE, check_id=n, session=f"s{n}", day=day, measure=m, movement="of-old")
        for n in range(1000)
        for day in [(FIRST_DAY + dt.timedelta(days=n)).isoformat()]
        for m in measures
    ]
    found = report(trials)
    assert len(found.trends) == 30
    assert all(len(t.lines[0].points) == 1000 for t in found.trends)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 5),
            st.floats(0, 160),
            st.sampled_from(["left side", "right side", "front", "unknown"]),
            st.sampled_from(["0.1.0", "0.1.1", "0.2.0"]),
            st.sampled_from(["left", "right"]),
        ),
        max_size=25,
    ),
    st.randoms(use_true_random=False),
)
def test_order_of_reading_does_not_matter_and_words_fit_their_numbers(rows, order):
    trials = [
        make_trial(w, m, clip=i, view=v, azimuth_deg=None, program_version=p, side=s)
        for i, (w, m, v, p, s) in enumerate(rows)
    ]
    found = report(trials)
    shuffled = list(trials)
    random.Random(order.random()).shuffle(shuffled)
    assert report(shuffled) == found
    for line in (line for t in found.trends for line in t.lines):
        for change in line.changes:
            assert change.word in CHANGE_WORDS
            if change.word == "changed":
                assert abs(change.difference) > change.needed
            elif change.needed is not None:
                assert abs(change.difference) <= change.needed
