"""The JSON sheet, its published schema, and reading it back."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
import sheet_examples as ex

from motioncheck.errors import InputError
from motioncheck.records import Value
from motioncheck.sheet import json_schema, sheet_from_json, sheet_to_json
from motioncheck.sheet.form import DIALECT, plain
from motioncheck.sheet.json import schema_text

PUBLISHED = Path(__file__).parents[1] / "docs" / "sheet.schema.json"
EXAMPLES = (ex.squat_sheet, ex.jack_sheet, ex.blind_sheet, ex.alternating_sheet)


def test_published_schema_is_not_stale():
    assert json.loads(PUBLISHED.read_text(encoding="utf-8")) == json_schema(), (
        'run: python -c "from motioncheck.sheet.json import schema_text; '
        "print(schema_text(), end='')\" > docs/sheet.schema.json"
    )
    assert PUBLISHED.read_text(encoding="utf-8") == schema_text()


@pytest.mark.parametrize("build", EXAMPLES)
def test_examples_validate_against_the_published_schema(build):
    schema = json.loads(PUBLISHED.read_text(encoding="utf-8"))
    assert schema["$schema"] == DIALECT
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(json.loads(sheet_to_json(build().sheet)))


def test_schema_refuses_an_unknown_verdict_and_a_missing_field():
    content = json.loads(sheet_to_json(ex.squat_sheet(1, pictures=False).sheet))
    validator = jsonschema.Draft202012Validator(json_schema())
    content["events"][0]["findings"][0]["verdict"] = "perfect"
    assert not validator.is_valid(content)
    content = json.loads(sheet_to_json(ex.squat_sheet(1, pictures=False).sheet))
    del content["cautions"]
    assert not validator.is_valid(content)


def test_json_holds_at_least_what_the_contract_names():
    text = sheet_to_json(ex.squat_sheet(2, pictures=False).sheet)
    content = json.loads(text)
    assert next(iter(content)) == "schema"
    wanted = {
        "clip": "name sha256 duration_s frame_rate_hz width_px height_px rotation_deg",
        "movement": "id title source_hash",
        "camera": "view azimuth_deg azimuth_uncertainty_deg tilt_deg",
        "track": "model frames seen_ratio swaps_repaired gaps_filled_s",
    }
    for part, names in wanted.items():
        assert set(names.split()) <= set(content[part])
    event = content["events"][0]
    wanted_of_event = {"kind", "number", "side", "start_s", "turn_s", "end_s", "measures"}
    assert wanted_of_event | {"findings"} <= set(event)
    value = event["measures"]["thigh_inclination_right"]
    assert value == {"value": -3.0, "unit": "deg", "uncertainty": 5.0, "source": "image"}
    names = "check verdict value threshold unit uncertainty reason cue"
    assert set(names.split()) <= set(event["findings"][0])
    assert {"summary", "cautions", "provenance"} <= set(content)


@pytest.mark.parametrize("build", EXAMPLES)
def test_round_trip_gives_the_same_sheet(build):
    sheet = build().sheet
    again = sheet_from_json(sheet_to_json(sheet))
    assert again == sheet
    assert sheet_to_json(again) == sheet_to_json(sheet)


def test_numbers_that_are_not_numbers_become_null():
    sheet = ex.squat_sheet(1, pictures=False).sheet
    odd = {"a": Value(float("nan"), "deg", float("inf"))}
    text = sheet_to_json(replace(sheet, events=(replace(sheet.events[0], measures=odd),)))
    assert "NaN" not in text
    assert "Infinity" not in text
    value = json.loads(text)["events"][0]["measures"]["a"]
    assert value["value"] is None
    assert value["uncertainty"] is None


def test_plain_turns_numpy_scalars_into_numbers():
    np = pytest.importorskip("numpy")
    assert plain({"a": (np.float64(1.5), np.int64(2), np.float64("nan"))}) == {"a": [1.5, 2, None]}


def test_hostile_text_survives_as_text():
    sheet = ex.hostile_sheet().sheet
    assert json.loads(sheet_to_json(sheet))["movement"]["title"] == ex.HOSTILE


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("not json", "found ''"),
        ('{"schema": "motioncheck/sheet/99"}', "found 'motioncheck/sheet/99'"),
        ('{"schema": "motioncheck/sheet/1"}', "damaged at clip"),
        ("[1]", "found ''"),
    ],
)
def test_reading_something_else_says_what_was_found(text, match):
    with pytest.raises(InputError, match=match):
        sheet_from_json(text)
