"""Corrections on the page, in the table, in the JSON and on the terminal; hostile text in them."""

from __future__ import annotations

import csv
import html
import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import jsonschema
import pytest
import sheet_examples as ex
from test_sheet_html import outline

from motioncheck.checks import apply_corrections
from motioncheck.records.history import Correction
from motioncheck.sheet import render_html, reps_csv, sheet_to_json
from motioncheck.sheet.corrected import correction_lines, when_text
from motioncheck.sheet.json import json_schema, sheet_from_json
from motioncheck.sheet.words import worst_verdict

EXAMPLE = ex.squat_sheet()
SHEET = EXAMPLE.sheet
HOSTILE = '<script>alert("x")</script><b onclick=y>&'
# Of seven squats 1.2 s into the clip and every 2.9 s, turning after 1.3 s.
TURN = {n: SHEET.events[n - 1].turn_s for n in range(1, 8)}


def fix(kind, at_s=None, **fields):
    by = fields.pop("by", "coach1")
    return Correction(
        kind, SHEET.clip.sha256, SHEET.movement.id, by, "2026-04-12T08:15:30+00:00", at_s=at_s,
        **fields,
    )  # fmt: skip


def corrected(*corrections):
    return apply_corrections(SHEET, corrections)


def page_of(sheet, stills=None):
    return render_html(sheet, EXAMPLE.table, EXAMPLE.stills if stills is None else stills)


class Rows(HTMLParser):
    """Collects the text of each row, with crossed-out text between tildes."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[tuple[str, str]] = []
        self.inside = False

    def handle_starttag(self, tag, attrs):
        if tag == "tr":
            self.rows.append((dict(attrs).get("class") or "", ""))
            self.inside = True
        elif tag == "s" and self.inside:
            self._add("~")

    def handle_endtag(self, tag):
        if tag == "tr":
            self.inside = False
        elif tag == "s" and self.inside:
            self._add("~")

    def handle_data(self, data):
        if self.inside:
            self._add(f" {data.strip()} ")

    def _add(self, text):
        css, so_far = self.rows[-1]
        self.rows[-1] = (css, so_far + text)


def rows_of(page):
    parser = Rows()
    parser.feed(page)
    return [(css, " ".join(text.split())) for css, text in parser.rows]


def row(page, start):
    return next(found for found in rows_of(page) if found[1].startswith(start))


ALL = (
    fix("strike", TURN[2], text="racking the bar", id=4),
    fix("add", 0.5, text="walked in", id=5),
    fix("verdict", TURN[6], check="trunk", verdict="meets", text="filmed from below", id=6),
    fix("note", text="shoes were off", id=7),
)


def test_a_struck_rep_is_crossed_out_with_the_word_who_and_why():
    css, text = row(page_of(corrected(ALL[0])), "~ Rep 2")
    assert css == "struck"
    assert text.startswith("~ Rep 2 ~ struck")
    assert "struck by coach1: racking the bar" in text
    style = page_of(corrected(ALL[0])).split("<style>")[1].split("</style>")[0]
    assert re.search(r"tr\.struck td>div\{text-decoration:line-through\}", style)


def test_a_struck_rep_is_not_shaded_as_a_miss_and_its_picture_is_crossed_out():
    page = page_of(corrected(fix("strike", TURN[6])))
    struck = page.split('<tr class="struck">')[1].split("</tr>")[0]
    assert "misses" in struck
    assert "has-miss" not in struck
    figure = re.search(r'<figure class="struck">.*?</figure>', page, re.S)
    assert "<s>Rep 6</s>" in figure.group(0)
    assert "misses" not in figure.group(0)


def test_an_added_rep_has_a_row_of_its_own_and_no_values():
    css, text = row(page_of(corrected(ALL[1])), "Rep 8")
    assert css == "added"
    assert text.startswith("Rep 8 added 0.5 s added by coach1: walked in")
    assert set(text.split("walked in")[1].split()) == {"–"}


def test_the_measured_verdict_stands_beside_the_corrected_one_as_word_and_mark():
    page = page_of(corrected(ALL[2]))
    _, text = row(page, "Rep 6")
    assert "meets corrected; measured: misses" in text
    cell = page.split("corrected; measured: ")[1].split("</td>")[0]
    assert 'href="#mark-misses"' in cell
    listed = row(page, "6 Rep 6 at")[1]
    assert re.search(r"misses meets coach1, 2026-04-12 08:15 UTC filmed from below$", listed)
    assert "The lines in the pictures show what was measured" in page


def test_a_verdict_on_an_added_rep_says_that_nothing_was_measured():
    page = page_of(corrected(ALL[1], fix("verdict", 0.5, check="depth", verdict="misses")))
    assert "misses not measured" in row(page, "Rep 8")[1]


def test_every_correction_is_listed_with_its_number_who_when_and_why():
    page = page_of(corrected(*ALL))
    listed = page.split('id="h-corrections"')[1].split("</section>")[0]
    for number, what, why in (
        ("4", "Rep 2 at 5.4 s struck", "racking the bar"),
        ("5", "Rep 8 at 0.5 s added", "walked in"),
        ("6", "Rep 6 at 17.0 s: Chest up at the bottom", "filmed from below"),
        ("7", "Note on the set", "shoes were off"),
    ):
        _, text = row(listed, f"{number} {what}")
        assert "coach1, 2026-04-12 08:15 UTC" in text
        assert text.endswith(why)


def test_a_correction_that_does_not_apply_is_listed_and_says_why():
    page = page_of(corrected(fix("strike", 0.2, id=3)))
    assert (
        "not applied: this check of the clip finds no rep there" in row(page, "3 Rep at 0.2 s")[1]
    )


def test_a_sheet_without_corrections_says_nothing_of_them():
    page = page_of(SHEET).split("</style>")[1]
    for word in ("h-corrections", "struck", ">Corrections<", "as-measured", "rep-added"):
        assert word not in page
    assert "state" not in reps_csv(SHEET).splitlines()[0].split(",")


def test_the_summary_strip_says_struck_and_added_in_words():
    strip = page_of(corrected(*ALL)).split('<ul class="strip')[1].split("</ul>")[0]
    assert '<span class="unseen-text">Rep 2: struck</span>' in strip
    assert "<s>2</s> struck" in strip
    assert '<span class="unseen-text">Rep 8: added</span>' in strip
    assert strip.count("<li") == 8


def test_the_charts_mark_struck_and_added_reps_without_colour_alone():
    page = page_of(corrected(*ALL))
    wide = page.split('<div class="wide">')[1].split("</svg>")[0]
    assert wide.count('class="rep-struck"') == 1
    assert wide.count('class="rep-added"') == 1
    assert 'class="rep-number out"' in wide
    assert "a struck rep, number crossed out" in page
    # Six reps are left that can be laid over each other: neither the struck nor the added one.
    assert "6 laid over each other" in page


def test_a_corrected_page_keeps_its_tags_headings_and_size():
    parsed = outline(page_of(corrected(*ALL)))
    assert parsed.headings[0] == 1
    assert len(page_of(corrected(*ALL)).encode()) < 3_000_000


@pytest.mark.parametrize("kind", ["strike", "note", "verdict"])
def test_hostile_text_of_who_and_why_is_escaped_on_the_page(kind):
    extra = {"check": "depth", "verdict": "misses"} if kind == "verdict" else {}
    page = page_of(corrected(fix(kind, TURN[2], by=HOSTILE, text=HOSTILE, **extra)))
    assert "<script" not in page
    assert "<b onclick" not in page
    assert html.escape(HOSTILE, quote=False) in page.replace("&#34;", '"')
    outline(page)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_no_cell_of_the_table_begins_like_a_formula(start):
    evil = f"{start}cmd|' /C calc'!A0"
    sheet = corrected(fix("note", TURN[3], by=evil, text=evil), fix("add", 0.5, by=evil, text=evil))
    # Even a remark that begins with the text itself.
    sheet = replace(sheet, corrections=tuple(replace(c, title=evil, kind="verdict", check="x",
                                                     corrected="meets")
                                             for c in sheet.corrections))  # fmt: skip
    rows = list(csv.reader(io.StringIO(reps_csv(sheet))))
    said = [cell for line in rows[1:] for cell in line if "calc" in cell]
    assert len(said) == 2
    for cell in said:
        assert cell.startswith("'")


def test_the_table_has_the_measured_verdict_the_corrected_one_and_the_state():
    rows = list(csv.DictReader(io.StringIO(reps_csv(corrected(*ALL)))))
    by_number = {r["number"]: r for r in rows}
    assert [r["number"] for r in rows] == ["8", "1", "2", "3", "4", "5", "6", "7"]
    assert (by_number["2"]["state"], by_number["8"]["state"]) == ("struck", "added")
    assert by_number["1"]["state"] == ""
    assert by_number["6"]["trunk_verdict"] == "misses"
    assert by_number["6"]["trunk_corrected"] == "meets"
    assert by_number["6"]["depth_corrected"] == ""
    assert by_number["8"]["trunk_inclination"] == by_number["8"]["trunk_verdict"] == ""
    assert by_number["2"]["corrections"] == "struck by coach1: racking the bar"


def test_the_json_has_both_verdicts_fits_its_schema_and_reads_back():
    sheet = corrected(*ALL)
    content = json.loads(sheet_to_json(sheet))
    jsonschema.validate(content, json_schema())
    trunk = next(f for f in content["events"][6]["findings"] if f["check"] == "trunk")
    assert (trunk["verdict"], trunk["corrected"]) == ("misses", "meets")
    assert [c["kind"] for c in content["corrections"]] == [c.kind for c in ALL]
    assert content["corrections"][0]["by"] == "coach1"
    assert sheet_from_json(sheet_to_json(sheet)) == sheet


def test_a_sheet_written_before_there_were_corrections_can_still_be_read():
    content = json.loads(sheet_to_json(SHEET))
    del content["corrections"]
    for event in content["events"]:
        del event["struck"], event["added"]
        for finding in event["findings"]:
            del finding["corrected"]
    assert sheet_from_json(json.dumps(content)) == SHEET


def test_lines_for_the_terminal_say_both_verdicts_and_steer_nothing():
    evil = "\x1b[2Jbar\r\n\u202etxt\x07"
    lines = correction_lines(corrected(fix("verdict", TURN[6], check="trunk", verdict="meets",
                                           by=evil, text=evil, id=9)))  # fmt: skip
    assert len(lines) == 1
    assert "misses as measured, meets as corrected" in lines[0]
    assert lines[0].startswith("Correction 9: Rep 6 at 17.0 s: Chest up at the bottom")
    assert lines[0].isprintable()


def test_the_mark_of_a_rep_is_that_of_the_verdicts_that_hold():
    held = {e.number: e for e in corrected(ALL[2]).events}[6]
    measured = SHEET.events[5]
    trunk_only = [f for f in held.findings if f.check == "trunk"]
    assert worst_verdict([f for f in measured.findings if f.check == "trunk"]) == "misses"
    assert worst_verdict(trunk_only) == "meets"


def test_an_instant_is_printed_to_the_minute_and_anything_else_as_it_stands():
    assert when_text("2026-04-12T08:15:30.123456+00:00") == "2026-04-12 08:15 UTC"
    assert when_text("yesterday") == "yesterday"
