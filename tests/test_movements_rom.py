"""Ranges of motion and timed tests: usual values, trials, and the rules of the chair stand."""

from __future__ import annotations

import numpy as np
import pytest
from standard_examples import check_data, make_standard, rate_data
from synthetic import (
    make_view,
)

from motioncheck.checks import check_set, compute_ranges
from motioncheck.checks.ranges import NO_NORM, describe_norm, describe_norms
from motioncheck.checks.timing import read_set_time
from motioncheck.cli.check import parse_person
from motioncheck.errors import UsageError
from motioncheck.records import Event, MeasureTable, Phase
from motioncheck.standards import ANYONE, Norm, Person, get_standard

ROM = (
    "shoulder-flexion",
    "shoulder-abduction",
    "knee-flexion",
    "hip-flexion",
    "ankle-dorsiflexion-lunge",
    "trunk-forward-flexion",
    "single-leg-squat",
)
SIDE = make_view(90.0)


def standard_of(movement):
    return get_standard(movement).standard


def check_of(movement, check):
    (found,) = (c for c in standard_of(movement).check if c.id == check)
    return found


# The standards.


@pytest.mark.parametrize("movement", ROM)
def test_a_range_says_how_large_a_change_must_be_and_where_its_norms_are_from(movement):
    lines = standard_of(movement).range_of_motion
    assert lines
    for line in lines:
        assert line.change is not None
        assert len(line.change_source) > 10
        for norm in line.norm:
            assert len(norm.how) > 5
            assert norm.source_tag in ("published", "from memory")


@pytest.mark.parametrize("movement", [*ROM, "sit-to-stand"])
def test_every_number_of_a_norm_is_one_a_body_can_have(movement):
    standard = standard_of(movement)
    norms = [n for line in standard.range_of_motion for n in line.norm]
    norms += [n for c in standard.check for n in c.norm]
    for norm in norms:
        numbers = [n for n in (norm.mean, norm.low, norm.high) if n is not None]
        assert all(-10.0 <= n <= 190.0 for n in numbers)
        if norm.low is not None and norm.high is not None:
            assert norm.low < norm.high


@pytest.mark.parametrize("movement", [*ROM, "sit-to-stand"])
def test_the_surgeon_or_the_doctor_comes_before_the_program(movement):
    cautions = " ".join(standard_of(movement).cautions)
    assert "does not diagnose" in cautions
    assert "Limits set by your doctor" in cautions


# Which norms fit: cited, Rikli and Jones 1999 and Soucie et al. 2011 as the files state them.


def usual_stands(age, sex):
    found = describe_norms(check_of("sit-to-stand", "count_30_s").norm, "count", Person(age, sex))
    return [text.split(";")[0] for text in found]


@pytest.mark.parametrize(
    ("age", "sex", "usual"),
    [
        (60, "female", "Women of 60 to 64: the middle half 12 to 17"),
        (64, "male", "Men of 60 to 64: the middle half 14 to 19"),
        (65, "male", "Men of 65 to 69: the middle half 12 to 18"),
        (72, "female", "Women of 70 to 74: the middle half 10 to 15"),
        (79, "male", "Men of 75 to 79: the middle half 11 to 17"),
        (94, "female", "Women of 90 to 94: the middle half 4 to 11"),
    ],
)
def test_the_chair_stand_norm_is_that_of_the_age_and_the_sex(age, sex, usual):
    assert usual_stands(age, sex) == [usual]


def test_without_age_and_sex_all_bands_are_said_and_with_one_of_them_those_it_leaves():
    assert len(usual_stands(None, None)) == 14
    assert len(usual_stands(72, None)) == 2
    women = usual_stands(None, "female")
    assert len(women) == 7
    assert all(text.startswith("Women") for text in women)


def test_a_person_outside_of_every_band_is_told_so():
    assert describe_norms(
        check_of("sit-to-stand", "count_30_s").norm, "count", Person(30, "male")
    ) == (NO_NORM,)
    assert describe_norms((), "deg", ANYONE) == ()


@pytest.mark.parametrize(
    ("age", "sex", "mean"),
    [(30, "female", "141.9°"), (45, "male", "132.9°"), (8, "male", "147.8°")],
)
def test_passive_knee_norms_follow_the_bands_of_the_table(age, sex, mean):
    line = standard_of("knee-flexion").range_of_motion[0]
    soucie = [n for n in line.norm if "Soucie" in n.source and n.fits(Person(age, sex))]
    assert [describe_norm(n, "deg").split("mean ")[1].split(";")[0] for n in soucie] == [mean]
    assert "passive" in describe_norm(soucie[0], "deg")


def test_a_norm_reads_as_one_sentence_with_its_spread_and_tag():
    norm = Norm(
        sex="male", age_from=20, age_to=54, mean=141.2, sd=5.3, how="active, goniometer",
        source_tag="from memory", source="Boone and Azen 1979",
    )  # fmt: skip
    young = norm.model_copy(update={"age_from": 2})
    child = norm.model_copy(update={"age_from": 2, "age_to": 8})
    assert describe_norm(young, "deg").startswith("Men and boys of 2 to 54: ")
    assert describe_norm(child, "deg").startswith("Boys of 2 to 8: ")
    assert describe_norm(norm, "deg") == (
        "Men of 20 to 54: mean 141.2°, SD 5.3°; active, goniometer. Boone and Azen 1979 "
        "(from memory)"
    )
    old = Norm(age_from=65, low=-1.5, how="x ray", source_tag="published", source="Nobody 2000")
    assert describe_norm(old, "deg") == "People of 65 and older: at least −1.5°; x ray. Nobody 2000"


def test_a_norm_beside_a_check_wants_a_check_of_the_set():
    norm = {"mean": 12.0, "how": "stop watch", "source_tag": "published", "source": "N 2000"}
    kept = make_standard(rate_data(norm=[norm]))
    assert kept.check[0].norm[0].mean == 12.0
    with pytest.raises(ValueError, match="norm goes with scope"):
        make_standard(check_data(norm=[norm]))


@pytest.mark.parametrize(("age", "sex"), [(-1, None), (121, None), (40, "woman")])
def test_an_impossible_person_is_refused(age, sex):
    with pytest.raises(UsageError, match="Expected --"):
        parse_person(age, sex)


def test_a_person_of_whom_nothing_is_known_is_anyone():
    assert parse_person(None, None) == ANYONE
    assert parse_person(72, "female") == Person(72, "female")


# Best and mean of three, worked by hand: trials of one side in time order.

LINE = {
    "measure": "knee_flexion",
    "title": "Knee flexion",
    "change": 12.0,
    "change_source": "Somebody 2000.",
}


def trials_of(values, *, best="highest", side="left", band=4.0):
    """One trial every 4 s with its value all along; the table of both knees, the other at 0."""
    time_s = np.arange(0.0, 4.0 * len(values) + 1.0, 0.05)
    steps = np.repeat(values, 80)
    curve = np.concatenate([steps, np.full(len(time_s) - len(steps), steps[-1])])
    columns = {f"knee_flexion_{s}": curve if s == side else np.zeros(len(time_s))
               for s in ("left", "right")}  # fmt: skip
    bands = {n: np.where(np.isfinite(v), band, np.nan) for n, v in columns.items()}
    events = [rep(n, 4.0 * n - 3.0, side=side) for n in range(1, len(values) + 1)]
    standard = make_standard(range_of_motion=[LINE | {"best": best}])
    return compute_ranges(events, standard, MeasureTable(time_s, columns, bands))


def rep(number, start, *, side="both", out=1.0, back=1.0):
    turn, end = start + out, start + out + back
    phases = (Phase("out", start, turn), Phase("turn", turn, turn), Phase("back", turn, end))
    return Event("rep", number, side, start, turn, end, phases)


def test_best_is_the_largest_and_the_mean_is_that_of_the_first_three():
    """(120 + 126 + 123) / 3 = 123; the fourth trial can be the best but not in the mean."""
    (found,) = trials_of([120.0, 126.0, 123.0, 130.0])
    assert found.side == "left"
    assert found.trials == 4
    assert found.best == pytest.approx(130.0)
    assert found.mean_of_three == pytest.approx(123.0)
    assert found.uncertainty == pytest.approx(4.0)
    assert found.change.startswith("Between sessions only a change of more than 12° says")


def test_best_of_a_line_where_less_is_better_is_the_smallest():
    (found,) = trials_of([9.0, 4.0, 7.0], best="lowest")
    assert found.best == pytest.approx(4.0)
    assert found.mean_of_three == pytest.approx(20.0 / 3.0, abs=1e-3)


def test_two_trials_have_no_mean_of_three_and_an_unseen_one_is_no_trial():
    (found,) = trials_of([120.0, np.nan, 124.0])
    assert found.trials == 2
    assert found.best == pytest.approx(124.0)
    assert found.mean_of_three is None


def test_trials_known_too_badly_to_judge_give_no_number():
    """Knee flexion can bear 2.5 x 5 = 12.5 degrees."""
    (found,) = trials_of([120.0, 126.0, 123.0], band=12.6)
    assert (found.trials, found.best, found.mean_of_three, found.uncertainty) == (
        0,
        None,
        None,
        None,
    )


def test_a_knee_line_that_the_camera_cannot_show_is_not_reported():
    time_s = np.arange(0.0, 13.0, 0.05)
    names = [f"frontal_plane_knee_angle_{s}" for s in ("left", "right")]
    values = {n: np.full(len(time_s), 4.0) for n in names}
    bands = {n: np.full(len(time_s), 3.0) for n in names}
    nothing = {n: np.full(len(time_s), np.nan) for n in names}
    events = [rep(n, 4.0 * n - 3.0, side="left") for n in (1, 2, 3)]
    line = LINE | {"measure": "frontal_plane_knee_angle", "moment": "max"}
    standard = make_standard(range_of_motion=[line])
    seen = MeasureTable(time_s, values, bands, picture=MeasureTable(time_s, values, bands))
    unseen = MeasureTable(time_s, values, bands, picture=MeasureTable(time_s, nothing, nothing))
    assert compute_ranges(events, standard, seen)[0].best == pytest.approx(4.0)
    assert compute_ranges(events, standard, unseen)[0].best is None


# The timed tests: hips of 0.5 seated and 1.0 standing, one stand every 2 s or so.


def stands(starts_s, *, up=1.0, down=1.0, length_s=40.0, hold=0.0):
    """Seated before, between and after; rise and sit down in straight lines."""
    time_s = np.arange(0.0, length_s, 0.02)
    hips = np.full(len(time_s), 0.5)
    events = []
    for n, start in enumerate(starts_s, 1):
        top, leave = start + up, start + up + hold
        here = (time_s >= start) & (time_s <= leave + down)
        hips[here] = np.interp(time_s[here], [start, top, leave, leave + down], [0.5, 1, 1, 0.5])
        events.append(rep(n, start, out=up + hold / 2, back=down + hold / 2))
    columns = {"hip_height_ratio": hips}
    return events, MeasureTable(time_s, columns, {"hip_height_ratio": np.full(len(time_s), 0.04)})


def count_of(events, table, cut_off=()):
    return read_set_time("reps_in_30_s", events, table, cut_off).value


def test_stands_turned_within_30_s_of_the_first_rise_are_counted():
    """Rises at 2, 5, ..., 35 s; time-out at 32 s; tops at 3, 6, ..., 30 are ten, 33 is late."""
    events, table = stands(np.arange(2.0, 36.0, 3.0))
    # The rise of 32 s begins at time-out itself and has not gone anywhere.
    assert count_of(events, table) == 10


@pytest.mark.parametrize(
    ("begun_s", "counted"),
    [
        (0.60, True),  # 60 % of the way up at time-out
        (0.52, True),
        (0.50, False),  # exactly half is not more than half
        (0.40, False),
    ],
)
def test_a_stand_more_than_half_way_up_at_time_out_counts(begun_s, counted):
    """Rikli and Jones 1999. Time-out is at 32 s; the last rise takes 1 s in a straight line."""
    events, table = stands([2.0, 12.0, 22.0, 32.0 - begun_s])
    assert count_of(events, table) == (4 if counted else 3)


def test_a_last_stand_that_the_end_of_the_clip_cuts_off_follows_the_same_rule():
    events, table = stands([2.0, 12.0, 22.0, 31.3], length_s=32.2)
    *whole, cut = events
    assert count_of(whole, table, [cut]) == 4  # 70 % of the way up
    events, table = stands([2.0, 12.0, 22.0, 31.7], length_s=32.2)
    *whole, cut = events
    assert count_of(whole, table, [cut]) == 3  # 30 %


def test_a_rep_cut_off_at_the_beginning_is_no_part_of_the_count():
    events, table = stands([2.0, 12.0, 22.0])
    before = rep(1, 0.0, out=0.5, back=0.5)
    assert count_of(events, table, [before]) == 3


TIMED = make_standard(*[c.model_dump() for c in standard_of("sit-to-stand").check if c.norm])


def set_finding(check, events, table, person=ANYONE):
    found = check_set(events, TIMED, table, SIDE, person=person)
    (finding,) = (f for f in found if f.check == check)
    return finding


def test_a_clip_too_short_for_the_count_is_not_visible_and_says_why():
    events, table = stands(np.arange(2.0, 14.0, 2.0), length_s=20.0)
    finding = set_finding("count_30_s", events, table)
    assert finding.verdict == "not visible"
    assert finding.value is None
    assert finding.reason == (
        "the clip ends 18.0 s after the first rep began, and the count takes 30 s"
    )
    assert finding.cue == ""


def test_fewer_than_five_stands_have_no_time_of_five_and_it_says_why():
    events, table = stands([2.0, 5.0, 8.0, 11.0])
    finding = set_finding("time_of_five", events, table)
    assert finding.verdict == "not visible"
    assert finding.reason == "five reps are needed, 4 were finished"


def test_time_of_five_runs_from_the_first_rise_to_the_fifth_sitting_down():
    """Rises at 2, 4, ..., 10 s, the fifth is seated again at 12 s: 10 s, at most 12 is met."""
    events, table = stands([2.0, 4.0, 6.0, 8.0, 10.0, 12.0])
    finding = set_finding("time_of_five", events, table, Person(65, "male"))
    assert finding.value == pytest.approx(10.0)
    assert finding.verdict == "meets"
    assert finding.norms[0].startswith("People of 60 to 69: mean 11.4 s;")


def test_fifteen_stands_meet_seven_miss_and_the_usual_stands_beside():
    many, table = stands(np.arange(2.0, 36.0, 2.0))
    finding = set_finding("count_30_s", many, table, Person(72, "female"))
    assert (finding.value, finding.verdict) == (15, "meets")
    assert len(finding.norms) == 1
    few, table = stands(np.arange(2.0, 36.0, 5.0))
    finding = set_finding("count_30_s", few, table)
    assert (finding.value, finding.verdict) == (6, "misses")
    assert len(finding.norms) == 14
