"""The trends as JSON with a published schema, as CSV, and writing them."""

from __future__ import annotations

import csv
import io
import json
import os
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
import trend_examples as ex

from motioncheck.errors import InputError, OutputError
from motioncheck.sheet.trend_json import (
    trend_from_json,
    trend_schema,
    trend_schema_text,
    trend_to_json,
)
from motioncheck.sheet.trend_tables import COLUMNS, trend_csv
from motioncheck.sheet.trend_write import write_trend

PUBLISHED = Path(__file__).parents[1] / "docs" / "trend.schema.json"


@pytest.fixture(scope="module")
def report():
    return ex.full_report()


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_published_schema_is_not_stale():
    assert PUBLISHED.read_text(encoding="utf-8") == trend_schema_text(), (
        'run: python -c "from motioncheck.sheet.trend_json import trend_schema_text; '
        "print(trend_schema_text(), end='')\" > docs/trend.schema.json"
    )


def test_the_report_validates_and_survives_the_way_to_json_and_back(report):
    text = trend_to_json(report)
    content = json.loads(text)
    assert next(iter(content)) == "schema"
    assert content["schema"] == "motioncheck/trend/1"
    schema = json.loads(PUBLISHED.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(content)
    assert trend_from_json(text) == report


def test_schema_refuses_an_unknown_word_and_a_missing_field(report):
    validator = jsonschema.Draft202012Validator(trend_schema())
    content = json.loads(trend_to_json(report))
    content["trends"][0]["lines"][0]["changes"][0]["word"] = "improved"
    assert not validator.is_valid(content)
    content = json.loads(trend_to_json(report))
    del content["cautions"]
    assert not validator.is_valid(content)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("no json", "found ''"),
        ('{"schema": "motioncheck/session/1"}', "found 'motioncheck/session/1'"),
        ('{"schema": "motioncheck/trend/1"}', "damaged at person"),
    ],
)
def test_reading_something_else_says_what_was_found(text, match):
    with pytest.raises(InputError, match=match):
        trend_from_json(text)


def test_csv_has_a_row_a_session_of_each_side(report):
    rows = rows_of(trend_csv(report))
    assert len(rows) == 10 + 10 + 8 + 4
    assert tuple(rows[0]) == COLUMNS
    assert rows[0]["best"] == "96"
    assert (rows[0]["side"], rows[10]["side"]) == ("left", "right")
    assert rows[24]["segment"] == "1"
    assert "not comparable" in rows[24]["marks"]
    assert rows[-1]["best"] == ""  # not known, so empty and not 0
    assert rows[-1]["mean"] == "0.99"


def test_csv_neutralises_text_that_a_spreadsheet_would_run_but_no_number(report):
    line = ex.line_of("both", [-5.0, -4.0])
    points = tuple(
        replace(p, session="=1+1", view="@x", clips=("-cmd.mp4",), marks=("+a",))
        for p in line.points
    )
    trend = ex.trend_of([replace(line, points=points)], title="=HYPERLINK()", movement="\tx")
    person = replace(report.person, code="=2+2")
    row = rows_of(trend_csv(replace(report, person=person, trends=(trend,))))[0]
    for name in ("person", "title", "movement", "session", "view", "clips", "marks"):
        assert row[name].startswith("'"), name
    assert row["best"] == "-5"


def test_the_files_are_written_for_the_owner_only(report, tmp_path):
    folder = tmp_path / "seat3.trend"
    write_trend(folder, report)
    assert sorted(p.name for p in folder.iterdir()) == ["trend.csv", "trend.html", "trend.json"]
    write_trend(folder, report, note=True)
    assert (folder / "note.html").is_file()
    if os.name != "nt":
        assert folder.stat().st_mode & 0o777 == 0o700
        assert all(p.stat().st_mode & 0o777 == 0o600 for p in folder.iterdir())


def test_trends_of_somebody_else_are_not_overwritten(report, tmp_path):
    write_trend(tmp_path, report)
    other = replace(report, person=replace(report.person, code="seat4"))
    before = (tmp_path / "trend.html").read_bytes()
    with pytest.raises(OutputError, match="found those of somebody else"):
        write_trend(tmp_path, other)
    assert (tmp_path / "trend.html").read_bytes() == before
    write_trend(tmp_path, other, replace_all=True)
    assert b"seat4" in (tmp_path / "trend.html").read_bytes()


@pytest.mark.parametrize("name", ["trend.html", "trend.csv", "trend.json", "note.html"])
def test_a_file_that_is_no_trend_is_not_overwritten(report, tmp_path, name):
    (tmp_path / name).write_text("mine")
    with pytest.raises(OutputError, match="belongs to no trend"):
        write_trend(tmp_path, report, note=True)
    assert [p.name for p in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "mine"
