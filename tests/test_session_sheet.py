"""The session sheet: HTML, JSON with its published schema, CSV, and writing them."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
from session_examples import FULL_PLAN, MOVEMENTS, bout, full_session, plan_of, reps
from sheet_examples import HOSTILE
from test_sheet_html import outline

from motioncheck.errors import InputError, OutputError
from motioncheck.plans.session import SessionFacts, build_session
from motioncheck.records.session import ClipLink, Count, Unmatched
from motioncheck.sheet.session_chart import minute_chart
from motioncheck.sheet.session_html import render_session
from motioncheck.sheet.session_json import (
    session_from_json,
    session_schema,
    session_schema_text,
    session_to_json,
)
from motioncheck.sheet.session_tables import minutes_csv, sets_csv
from motioncheck.sheet.session_view import done_text, planned_text, safe_link
from motioncheck.sheet.session_write import render_session_files, write_session

PUBLISHED = Path(__file__).parents[1] / "docs" / "session.schema.json"


@pytest.fixture(scope="module")
def sheet():
    return full_session()


@pytest.fixture(scope="module")
def page(sheet):
    return render_session(sheet, person="seat 3")


def hostile(sheet):
    """Return the sheet with an attack in every text that comes from outside."""
    block = sheet.blocks[1]
    bad = tuple(
        replace(
            s, title=HOSTILE, notes=(HOSTILE,),
            prescribed=replace(s.prescribed, load="=" + HOSTILE, notes=HOSTILE),
            pieces=tuple(replace(p, clip=HOSTILE, sheet="javascript:alert(1)") for p in s.pieces),
        )
        for s in block.sets
    )  # fmt: skip
    circuit = sheet.blocks[-1].circuit
    counts = tuple(replace(c, title=HOSTILE, notes=HOSTILE) for c in circuit.counts)
    circuit = replace(circuit, counts=counts, notes=(HOSTILE,), pieces=bad[0].pieces)
    clocked = replace(sheet.blocks[-1], circuit=circuit)
    return replace(
        sheet, title=HOSTILE, notes=HOSTILE, plan_file=HOSTILE, headline=HOSTILE, form=HOSTILE,
        blocks=(replace(block, title="@" + HOSTILE, notes=HOSTILE, sets=bad), clocked),
        cautions=(HOSTILE,), how_matched=(HOSTILE,), options={HOSTILE: HOSTILE},
        clips=(ClipLink(HOSTILE, "", (HOSTILE,), "//elsewhere", None, HOSTILE),),
        unmatched=(Unmatched(HOSTILE, HOSTILE, 0, bad[0].pieces[0]),),
        cues=tuple(replace(c, text=HOSTILE, title=HOSTILE) for c in sheet.cues),
        drifts=tuple(replace(d, title=HOSTILE, text=HOSTILE) for d in sheet.drifts),
        form_losses=tuple(replace(f, title=HOSTILE, text=HOSTILE) for f in sheet.form_losses),
        totals=tuple(replace(t, title=HOSTILE) for t in sheet.totals),
    )  # fmt: skip


def test_published_schema_is_not_stale():
    assert PUBLISHED.read_text(encoding="utf-8") == session_schema_text(), (
        'run: python -c "from motioncheck.sheet.session_json import session_schema_text; '
        "print(session_schema_text(), end='')\" > docs/session.schema.json"
    )


def test_the_session_validates_and_survives_the_way_to_json_and_back(sheet):
    text = session_to_json(sheet)
    content = json.loads(text)
    assert next(iter(content)) == "schema"
    assert content["schema"] == "motioncheck/session/1"
    schema = json.loads(PUBLISHED.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(content)
    assert session_from_json(text) == sheet


def test_schema_refuses_an_unknown_status_and_a_missing_field(sheet):
    validator = jsonschema.Draft202012Validator(session_schema())
    content = json.loads(session_to_json(sheet))
    content["blocks"][0]["sets"][0]["status"] = "perfect"
    assert not validator.is_valid(content)
    content = json.loads(session_to_json(sheet))
    del content["cautions"]
    assert not validator.is_valid(content)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("no json", "found ''"),
        ('{"schema": "motioncheck/sheet/1"}', "found 'motioncheck/sheet/1'"),
        ('{"schema": "motioncheck/session/1"}', "damaged at title"),
    ],
)
def test_reading_something_else_says_what_was_found(text, match):
    with pytest.raises(InputError, match=match):
        session_from_json(text)


def test_the_page_is_sound_and_loads_nothing(page):
    parsed = outline(page)
    assert parsed.headings[0] == 1
    assert all(b - a <= 1 for a, b in zip(parsed.headings, parsed.headings[1:], strict=False))
    assert parsed.all("script") == parsed.all("img") == parsed.all("iframe") == []
    assert not re.search(r'(?:href|src)="(?:https?:)?//', page)
    (policy,) = [m["content"] for m in parsed.all("meta") if "http-equiv" in m]
    assert policy.startswith("default-src 'none'")
    names = [attrs["id"] for _, attrs in parsed.tags if "id" in attrs]
    assert len(names) == len(set(names))
    targets = {a["href"][1:] for a in parsed.all("a") if a["href"].startswith("#")}
    assert targets <= set(names)
    labels = {attrs["aria-labelledby"] for _, attrs in parsed.tags if "aria-labelledby" in attrs}
    assert labels <= set(names)


def test_every_set_has_its_word_its_mark_and_its_link(page, sheet):
    for word in ("as planned", "short", "missing"):
        assert re.search(rf'<span class="status \w+"><svg.*?</svg>{word}</span>', page)
    links = {a["href"] for a in outline(page).all("a")}
    assert {clip.sheet for clip in sheet.clips} <= links
    assert "seat 3" in page
    assert "Chest up as at the catch." in page
    assert "12.5 kg, sandbag at the chest" in page
    assert "8 of 9 in order" in page
    assert "left 31.0 s, right 22.0 s" in page
    assert "Stop" in page


def test_the_circuit_is_drawn_with_words_beside_the_colours(page):
    assert "began after 14.0 s" in page
    assert re.search(r'class="work-text"[^>]*>A</text>', page)
    assert ">55 left</text>" in page
    assert 'fill="url(#hatch-b6w)"' in page
    assert "at that pace it would take" in page


def test_on_a_phone_cues_wrap_and_wide_tables_say_that_they_scroll(page):
    narrow = re.findall(r"@media \(max-width:46rem\)\{(.*?\})\s*\}", page, flags=re.DOTALL)
    assert any(re.search(r"\.cue-reps[^}]*\{white-space:normal", rules) for rules in narrow)
    tables = len(re.findall(r'<table class="(?:sets|minutes)', page))
    assert tables > 0
    assert page.count("Scroll sideways inside the table for more.") >= tables


def test_hostile_text_stays_text_and_leads_nowhere(sheet):
    page = render_session(hostile(sheet), person=HOSTILE)
    parsed = outline(page)
    assert parsed.all("script") == parsed.all("img") == parsed.all("b") == []
    assert "{{ 7*7 }}" in page
    assert all(a["href"].startswith("#") for a in parsed.all("a"))


@pytest.mark.parametrize(
    ("link", "kept"),
    [
        ("a.check/sheet.html", True), ("../a%20b.check/sheet.html", True), ("", True),
        ("javascript:alert(1)", False), ("//host/x", False), ("/etc/passwd", False),
        ("http://host", False), ("\\\\host\\x", False),
    ],
)  # fmt: skip
def test_only_relative_links_are_kept(link, kept):
    assert safe_link(link) == (link if kept else "")


def test_a_plan_without_circuit_clips_or_findings_makes_a_page():
    plan = plan_of('[[block]]\nkind = "sets"\nmovement = "air-squat"\nsets = 1\nreps = 3\n')
    sheet = build_session(
        plan, [bout("air-squat", reps(3, 0, findings=()))], SessionFacts(MOVEMENTS)
    )
    page = render_session(sheet)
    outline(page)
    assert "not judged" in page
    assert "No set has six values" in page
    assert minutes_csv(sheet).count("\n") == 1
    outline(render_session(build_session(plan_of(FULL_PLAN), [], SessionFacts(MOVEMENTS))))


def test_a_circuit_without_a_clock_has_no_chart(sheet):
    circuit = replace(sheet.blocks[-1].circuit, rows=(), total_s=None)
    assert minute_chart(circuit, width=400, font=12, name="x") == ""


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_sets_csv_has_a_row_a_set(sheet):
    rows = rows_of(sets_csv(sheet))
    assert len(rows) == 16
    third = rows[4]
    assert third["label"] == "Set 3 of 3"
    assert (third["status"], third["planned_reps"], third["done"]) == ("fewer", "10", "8")
    assert (third["planned_rest_s"], third["rest_before_s"]) == ("60", "62")
    assert (third["to_standard"], third["missed"], third["partly_seen"]) == ("4", "4", "1")
    missing = rows[9]
    assert missing["status"] == "missing"
    assert missing["clip"] == missing["duration_s"] == missing["hold_s"] == ""


def test_minutes_csv_has_a_row_a_minute_that_adds_up(sheet):
    rows = rows_of(minutes_csv(sheet))
    assert [row["minute"] for row in rows] == ["0", "1", "2", "3"]
    for row in rows:
        parts = sum(float(row[k]) for k in ("work_s", "every_minute_s", "rest_s"))
        assert parts == pytest.approx(float(row["clock_s"]), abs=1e-9)
    assert [row["reps_air-squat"] for row in rows] == ["15", "0", "14", "0"]
    assert [row["late"] for row in rows] == ["no", "yes", "no", "no"]
    assert rows[3]["completed_after_s"] == ""


def test_no_cell_is_taken_for_a_formula(sheet):
    bad = hostile(sheet)
    circuit = bad.blocks[-1].circuit
    odd = replace(circuit, counts=(replace(circuit.counts[0], movement="=1+1"),))
    bad = replace(bad, blocks=(*bad.blocks[:-1], replace(bad.blocks[-1], circuit=odd)))
    for text in (sets_csv(bad), minutes_csv(bad)):
        for row in csv.reader(io.StringIO(text)):
            assert not any(cell.startswith(("=", "+", "@")) for cell in row)
    assert "'=" + HOSTILE in {row["load"] for row in rows_of(sets_csv(bad))}


def test_amounts_are_said_in_few_words(sheet):
    texts = [(planned_text(s.prescribed), done_text(s)) for b in sheet.blocks for s in b.sets]
    assert texts[0] == ("20 reps", "20 of 20")
    assert texts[6] == ("30 s each side", "")
    assert texts[9] == ("5 stages", "–")
    assert texts[13] == ("8 reps each side", "16 of 16")


def test_a_session_is_written_and_written_anew(tmp_path, sheet):
    write_session(tmp_path / "out", sheet)
    assert {p.name for p in (tmp_path / "out").iterdir()} == set(render_session_files(sheet))
    again = replace(sheet, title="Again")
    write_session(tmp_path / "out", again)
    assert session_from_json((tmp_path / "out" / "session.json").read_bytes()) == again


def test_another_session_and_foreign_files_are_not_overwritten(tmp_path, sheet):
    other = replace(sheet, clips=(ClipLink("x.mp4", "ab" * 32, ()),))
    write_session(tmp_path, sheet)
    with pytest.raises(OutputError, match="found that of other clips"):
        write_session(tmp_path, other)
    assert session_from_json((tmp_path / "session.json").read_bytes()) == sheet
    write_session(tmp_path, other, replace=True)
    foreign = tmp_path / "foreign"
    foreign.mkdir()
    (foreign / "sets.csv").write_text("mine")
    with pytest.raises(OutputError, match=r"Expected no sets\.csv in .*belongs to no session"):
        write_session(foreign, sheet)
    assert (foreign / "sets.csv").read_text() == "mine"
    assert [p.name for p in foreign.iterdir()] == ["sets.csv"]


def test_counts_without_letters_left_start_again(sheet):
    circuit = sheet.blocks[-1].circuit
    one = circuit.counts[0]
    many = tuple(Count(f"m{i}", f"M{i}", 1, 0, 0, one.tally) for i in range(27))
    assert "<svg" in minute_chart(replace(circuit, counts=many), width=400, font=12, name="x")
