"""Analytic: the shipped standards, and what a standard that breaks the rules is told."""

from __future__ import annotations

import hashlib
import json
import re
import tomllib

import pytest
from standard_examples import check_data, rate_data, split_data, standard_data

from motioncheck.errors import StandardError
from motioncheck.measures import REGISTRY
from motioncheck.standards import get_standard, load_standard_file, load_standards
from motioncheck.standards.loader import package_folder

SHIPPED = sorted(package_folder().glob("*.toml"))


def to_toml(data):
    """Write a standard as TOML; JSON strings, numbers and lists are TOML as they stand."""
    plain = {k: v for k, v in data.items() if not isinstance(v, dict) and k != "check"}
    lines = [f"{key} = {to_value(value)}" for key, value in plain.items()]
    for name, section in data.items():
        if isinstance(section, dict):
            lines += [f"[{name}]", *(f"{k} = {to_value(v)}" for k, v in section.items())]
    for check in data["check"]:
        lines += ["[[check]]", *(f"{k} = {to_value(v)}" for k, v in check.items())]
    return "\n".join(lines) + "\n"


def to_value(value):
    if isinstance(value, list) and value and isinstance(value[0], dict):
        tables = (
            "{" + ", ".join(f"{k} = {to_value(v)}" for k, v in t.items()) + "}" for t in value
        )
        return "[" + ", ".join(tables) + "]"
    return json.dumps(value)


@pytest.fixture
def write(tmp_path):
    def save(data, name="mine.toml"):
        path = tmp_path / name
        path.write_text(data if isinstance(data, str) else to_toml(data), encoding="utf-8")
        return path

    return save


def test_the_five_drills_are_shipped():
    assert {p.stem for p in SHIPPED} >= {
        "air-squat", "heel-to-seat-kicks", "high-knees", "jumping-jacks", "wide-stance-twist",
    }  # fmt: skip


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: p.stem)
def test_a_shipped_standard_is_valid_and_says_when_to_stop(path):
    loaded = load_standard_file(path)
    assert loaded.standard.id == path.stem
    assert loaded.source_hash == hashlib.sha256(path.read_bytes()).hexdigest()
    assert any("stop" in caution.lower() for caution in loaded.standard.cautions)
    assert any("doctor" in caution.lower() for caution in loaded.standard.cautions)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: p.stem)
def test_every_threshold_of_a_shipped_standard_has_a_source_and_room_for_its_error(path):
    standard = load_standard_file(path).standard
    for check in standard.check:
        assert len(check.source) > 10
        if check.source_tag == "published":
            assert re.search(r"(19|20)\d\d", check.source), check.id
        for judgement in (check, *check.instead):
            spec = REGISTRY[judgement.measure]
            low, high = spec.span
            # A threshold nearer to the end of the span than the guard could never be judged.
            good_end = high if judgement.comparison == "at least" else low
            assert abs(good_end - judgement.threshold) > spec.guard, check.id


def test_a_written_example_is_valid(write):
    assert load_standard_file(write(standard_data())).standard.id == "test-squat"


OTHER_FORM = {
    "measure": "knee_height_ratio", "moment": "turn", "side": "near", "comparison": "at least",
    "threshold": 0.0, "unit": "ratio", "plane": "any",
}  # fmt: skip
WITH_SIDES = split_data(signal="knee_height_ratio", turn="highest", sides="alternating")

BROKEN = {
    "unknown key": (standard_data(colour="blue"), "colour: unknown key"),
    "unknown key in a check": (
        standard_data(check_data(treshold=5.0)), r"check\.1\.treshold: unknown key"),
    "missing key": (standard_data(cautions=None), "cautions: missing; every standard needs it"),
    "no caution": (standard_data(cautions=[]), "cautions: .*at least 1 item"),
    "wrong format": (standard_data(format="motioncheck/standard/9"),
                     "format: .*'motioncheck/standard/1'"),
    "id with spaces": (standard_data(id="My Squat"), "id: .*pattern"),
    "unknown measure": (
        standard_data(check_data(measure="knee_angel")),
        r"check\.1: unknown measure 'knee_angel'; allowed: knee_flexion, hip_flexion"),
    "bad unit": (
        standard_data(check_data(unit="ratio")),
        r"check\.1: unit of thigh_inclination is 'deg', found 'ratio'"),
    "unit that does not exist": (
        standard_data(check_data(unit="furlong")), r"check\.1\.unit: .*'deg', 'ratio'"),
    "impossible threshold": (
        standard_data(check_data(threshold=500.0, clear_miss=None)),
        r"check\.1: threshold of thigh_inclination must be from -90 to 90 deg, found 500"),
    "impossible clear miss": (
        standard_data(check_data(clear_miss=120.0)),
        r"check\.1: clear_miss of thigh_inclination must be from -90 to 90 deg, found 120"),
    "clear miss on the wrong side, at most": (
        standard_data(check_data(clear_miss=-20.0)),
        r"clear_miss \(-20\) must lie on the bad side of the threshold \(at most 5\)"),
    "clear miss on the wrong side, at least": (
        standard_data(check_data(comparison="at least")),
        r"clear_miss \(15\) must lie on the bad side of the threshold \(at least 5\)"),
    "wrong plane": (
        standard_data(check_data(plane="frontal")),
        "thigh_inclination is measured in the plane 'sagittal', found 'frontal'"),
    "sided measure without a side": (
        standard_data(check_data(side=None)),
        r"thigh_inclination wants a side \(working, opposite"),
    "side for a measure that has none": (
        standard_data(check_data(measure="trunk_inclination")),
        'trunk_inclination wants side = "none", found side = \'near\''),
    "duplicate check ids": (
        standard_data(check_data(), check_data()), "check: check id 'depth' is used twice"),
    "moment that does not exist": (
        standard_data(check_data(moment="bottom")), r"check\.1\.moment: .*'turn', 'start'"),
    "signal that needs a certain view": (
        standard_data(split=split_data(signal="knee_flexion")),
        r"split\.signal: 'knee_flexion' cannot be seen from every side; use one of: .*hip_height"),
    "alternating without sides": (
        standard_data(split=split_data(sides="alternating")),
        "split: signal 'hip_height_ratio' has no sides; give side_from as well"),
    "side_from without sides": (
        standard_data(split=split_data(side_from="hip_height_ratio")),
        "split: side_from wants a sided measure, found 'hip_height_ratio'"),
    "a time that ends before it begins": (
        standard_data(split=split_data(min_time_s=9.0, max_time_s=2.0)),
        r"split: min_time_s \(9\) must be less than max_time_s \(2\)"),
    "a range in which nothing lies": (
        standard_data(signature=[
            {"measure": "hip_height_ratio", "moment": "min", "at_least": 0.9, "at_most": 0.4,
             "slack": 0.1}]),
        r"signature\.1: at_least \(0\.9\) must not lie above at_most \(0\.4\)"),
    "a misspelt measure": (
        standard_data(check_data(measure="thigh_inklination")),
        r"unknown measure 'thigh_inklination' \(did you mean thigh_inclination.*\?\); allowed"),
    "what was found is said, too": (
        standard_data(cutoff_hz=60.0),
        "cutoff_hz: input should be less than or equal to 15, found 60"),
    "found in place of one of some words": (
        standard_data(check_data(moment="bottom")), "or 'gain', found 'bottom'"),
    "kind that does not exist": (
        standard_data(split=split_data(kind="cycles")),
        "split: kind should be 'cycle', 'hold' or 'stages', found 'cycles'"),
    "id in plain words": (
        standard_data(id="My Squat"),
        "id: the pattern of an id is 2 to 40 small letters, digits and '-', a letter first, "
        "found 'My Squat'"),
    "no time at all": (standard_data(split=split_data(min_time_s=0.0)),
                       r"split\.min_time_s: .*greater than 0"),
    "cutoff above what a camera can show": (standard_data(cutoff_hz=60.0), "cutoff_hz: .*15"),
    "unknown chart": (standard_data(chart_measure="depth"),
                      "chart_measure: unknown measure 'depth'"),
    "a rate asked of every rep": (
        standard_data(rate_data(scope="rep")),
        r"check\.1: scope = \"set\" goes with rate_per_min, rhythm_cv_percent, .* and only with "
        "them; found scope = 'rep' with rate_per_min"),
    "an angle asked of the whole set": (
        standard_data(check_data(scope="set")), "found scope = 'set' with thigh_inclination"),
    "another form that does not fit the scope": (
        standard_data(rate_data(instead=[OTHER_FORM])),
        "found scope = 'set' with knee_height_ratio"),
    "left against right of the near side": (
        standard_data(check_data(scope="sides"), split=WITH_SIDES),
        r"check\.1: scope = \"sides\" wants side = \"working\", found side = 'near'"),
    "left against right of a drill that does not alternate": (
        standard_data(check_data(scope="sides", side="working")),
        r"check 'depth': scope = \"sides\" wants split.sides = \"alternating\", found 'both'"),
}  # fmt: skip


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_rule_is_named_with_file_key_and_what_is_allowed(write, case):
    data, message = BROKEN[case]
    path = write(data)
    with pytest.raises(StandardError, match=r"mine\.toml is not a valid standard: .*" + message):
        load_standard_file(path)


def test_all_problems_are_named_at_once(write):
    data = standard_data(check_data(unit="ratio"), check_data(id="two", threshold=500.0), colour=1)
    with pytest.raises(StandardError, match="colour") as caught:
        load_standard_file(write(data))
    assert "check.1: unit" in str(caught.value)
    assert "check.2: threshold" in str(caught.value)


def test_left_against_right_of_an_alternating_drill_is_allowed(write):
    data = standard_data(check_data(scope="sides", side="working"), split=WITH_SIDES)
    assert load_standard_file(write(data)).standard.check[0].scope == "sides"


def test_a_file_that_is_not_toml_is_named_with_the_place_of_the_fault(write):
    with pytest.raises(StandardError, match=r"mine\.toml: expected a TOML file.*line 2"):
        load_standard_file(write('id = "a"\nthis is not toml\n'))


def test_a_file_that_is_not_utf_8_is_named(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_bytes('title = "Kniebeuge für alle"'.encode("latin-1"))
    with pytest.raises(StandardError, match=r"mine\.toml: expected a TOML file.*utf-8"):
        load_standard_file(path)


def test_a_byte_order_mark_is_read_over(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_bytes(to_toml(standard_data()).encode("utf-8-sig"))
    assert load_standard_file(path).standard.id == "test-squat"


def test_hidden_files_in_a_folder_of_standards_are_passed_over(write, tmp_path):
    write(standard_data(), "mine.toml")
    write("what a system keeps beside a file", "._mine.toml")
    assert "test-squat" in load_standards(tmp_path)


def test_a_file_that_is_not_there_is_named(tmp_path):
    with pytest.raises(StandardError, match="found none that can be read"):
        load_standard_file(tmp_path / "absent.toml")


def test_standards_of_the_user_add_to_the_shipped_ones_and_override_them_by_id(write, tmp_path):
    write(standard_data(), "new.toml")
    write(standard_data(id="air-squat", title="My own squat"), "squat.toml")
    found = load_standards(tmp_path)
    assert set(found) == {p.stem for p in SHIPPED} | {"test-squat"}
    assert found["air-squat"].standard.title == "My own squat"
    assert found["air-squat"].own
    assert not found["high-knees"].own
    assert get_standard("test-squat", tmp_path).standard.id == "test-squat"


def test_two_standards_of_the_user_cannot_share_an_id(write, tmp_path):
    write(standard_data(), "a.toml")
    write(standard_data(), "b.toml")
    with pytest.raises(StandardError, match=r"b\.toml and a\.toml both define 'test-squat'"):
        load_standards(tmp_path)


def test_a_folder_that_is_not_there_is_named(tmp_path):
    with pytest.raises(StandardError, match=r"Expected a folder of standards at .*absent"):
        load_standards(tmp_path / "absent")


def test_an_unknown_movement_is_answered_with_those_there_are():
    with pytest.raises(StandardError, match=r"air-squat, .*wide-stance-twist; found 'somersault'"):
        get_standard("somersault")


def test_every_standard_error_has_exit_code_4_and_a_next_step(write):
    with pytest.raises(StandardError, match="colour") as caught:
        load_standard_file(write(standard_data(colour="blue")))
    assert caught.value.exit_code == 4
    assert "motioncheck movements validate" in caught.value.hint


def test_the_test_writer_of_toml_gives_back_what_it_was_given():
    data = standard_data(check_data(instead=[OTHER_FORM]), rate_data())
    assert tomllib.loads(to_toml(data)) == data
