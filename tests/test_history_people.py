"""People of the history: what a code may be, what is known of somebody, what is refused."""

from __future__ import annotations

import datetime

import pytest
from history_examples import make_sheet
from hypothesis import given
from hypothesis import strategies as st

from motioncheck.errors import UsageError
from motioncheck.history import open_history, validate_code
from motioncheck.history.codes import age_on, validate_day, validate_person, validate_session
from motioncheck.records.history import PersonRecord

THIS_YEAR = datetime.date.today().year


@pytest.fixture
def history(history_place):
    with open_history(history_place) as opened:
        yield opened


@pytest.mark.parametrize("code", ["a", "seat3", "A-1_b.c", "_x", "9", "x" * 40])
def test_usable_codes(code):
    assert validate_code(code) == code


@pytest.mark.parametrize(
    "code",
    ["", " ", "-a", ".a", "..", "a b", "a/b", "a\\b", "a\n", "ä", "a\u0430", "a\x00", "x" * 41],
)
def test_unusable_codes_say_what_was_expected(code):
    with pytest.raises(UsageError, match="Expected a code of 1 to 40 letters"):
        validate_code(code)


@given(st.text(max_size=50))
def test_a_usable_code_is_one_plain_part_of_a_path(text):
    from pathlib import PurePosixPath, PureWindowsPath

    try:
        code = validate_code(text)
    except UsageError:
        return
    assert PurePosixPath("a", code).parts == ("a", code)
    assert PureWindowsPath("a", code).parts == ("a", code)
    assert code.isascii()


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("birth_year", 1899, "from 1900 to"),
        ("birth_year", THIS_YEAR + 1, "from 1900 to"),
        ("sex", "f", "female or male"),
        ("stature_m", 0.49, "from 0.5 to 2.6 m"),
        ("stature_m", 174.0, "from 0.5 to 2.6 m"),
        ("stature_m", float("nan"), "from 0.5 to 2.6 m"),
        ("name", "x" * 201, "at most 200"),
        ("notes", "x" * 20_001, "at most 20000"),
        ("notes", "a\x00b", "readable characters"),
        ("name", "\ud800", "readable characters"),
    ],
)
def test_facts_that_cannot_be_are_refused(field, value, message):
    with pytest.raises(UsageError, match=message):
        validate_person(PersonRecord("seat3", **{field: value}))


@pytest.mark.parametrize("year", [1900, THIS_YEAR])
@pytest.mark.parametrize("stature", [0.5, 2.6])
def test_the_limits_themselves_are_allowed(year, stature):
    validate_person(PersonRecord("seat3", birth_year=year, sex="male", stature_m=stature))


@pytest.mark.parametrize("day", ["2026-3-1", "2026-02-30", "20260301", "today", "", "2026-03-01 "])
def test_unusable_days(day):
    with pytest.raises(UsageError, match="YEAR-MONTH-DAY"):
        validate_day(day)


@pytest.mark.parametrize("name", ["", "  ", "a\nb", "a\x1b[2J", "x" * 121])
def test_unusable_names_of_sessions(name):
    with pytest.raises(UsageError, match="Expected a session name"):
        validate_session(name)


def test_age_is_that_reached_in_the_year_of_the_day():
    person = PersonRecord("seat3", birth_year=1990)
    assert age_on(person, "2026-01-01") == 36
    assert age_on(person, "1989-01-01") is None
    assert age_on(PersonRecord("seat3"), "2026-01-01") is None


def test_people_are_added_changed_and_listed_by_code(history):
    history.add_person(PersonRecord("seat4"))
    person = history.add_person(PersonRecord("seat3", "Third", 1990, "male", 1.9, "stroke side"))
    assert history.get_person("seat3") == person
    assert [p.code for p in history.list_people()] == ["seat3", "seat4"]
    changed = history.set_person("seat3", sex=None, stature_m=1.91)
    assert changed == history.get_person("seat3")
    assert (changed.sex, changed.stature_m, changed.name) == (None, 1.91, "Third")
    assert history.get_person("seat4") == PersonRecord("seat4")


def test_a_change_that_cannot_be_leaves_the_person_as_it_was(history):
    person = history.add_person(PersonRecord("seat3", birth_year=1990))
    with pytest.raises(UsageError, match="female or male"):
        history.set_person("seat3", sex="other", birth_year=1991)
    with pytest.raises(TypeError, match="expected fields"):
        history.set_person("seat3", nickname="x")
    assert history.list_people() == (person,)


def test_a_code_that_is_taken_is_refused_whatever_its_capitals(history):
    history.add_person(PersonRecord("seat3", "Third"))
    for code in ("seat3", "SEAT3"):
        with pytest.raises(UsageError, match="there is a seat3 already"):
            history.add_person(PersonRecord(code))
    assert [p.name for p in history.list_people()] == ["Third"]


@pytest.mark.parametrize("ask", ["get_person", "list_sessions", "trials", "checks"])
def test_nobody_of_this_code_is_said_so(history, ask):
    history.add_person(PersonRecord("seat3"))
    with pytest.raises(UsageError, match="nobody called seat9"):
        getattr(history, ask)("seat9")
    with pytest.raises(UsageError, match="Seat3 where there is only seat3"):
        getattr(history, ask)("Seat3")


def test_lines_count_sessions_and_current_checks(history):
    history.add_person(PersonRecord("seat4"))
    for clip, day in (("a", "2026-03-01"), ("b", "2026-03-01"), ("c", "2026-03-08")):
        history.record(make_sheet(clip), person="seat3", day=day)
    history.record(make_sheet("c", version="2"), person="seat3", day="2026-03-08")
    lines = [(x.person.code, x.sessions, x.checks, x.last_day) for x in history.list_person_lines()]
    assert lines == [("seat3", 2, 3, "2026-03-08"), ("seat4", 0, 0, "")]


def test_a_check_number_that_is_none_is_said_so(history):
    for number in (12, 0, -1, 10**30):
        with pytest.raises(UsageError, match=f"none numbered {number}"):
            history.sheet_of(number)


def test_somebody_is_looked_up_with_what_a_record_would_refuse(history):
    person = history.add_person(PersonRecord("seat3", birth_year=1990))
    history.record(make_sheet(), person="seat3", session="camp", day="2026-02-05")
    assert history.find_person("seat4", session="camp", day="2026-02-06") is None
    assert history.find_person("seat3", session="camp") == person
    assert history.find_person("seat3", session="other", day="2026-02-06") == person
    for refused, message in (
        ({"code": "SEAT3"}, "there is only seat3"),
        ({"code": "a/b"}, "Expected a code"),
        ({"code": "seat3", "session": "camp", "day": "2026-02-06"}, "'camp' of seat3 on"),
        ({"code": "seat3", "day": "6 February"}, "Expected a day"),
    ):
        with pytest.raises(UsageError, match=message):
            history.find_person(**refused)
