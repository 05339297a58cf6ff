"""The group sheet as a page, a table and data: content, safety, size, and its script."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import json
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
from group_examples import MADE_AT, NO_PERSON, crew, entry, squad, squats
from sheet_examples import HOSTILE, hostile_sheet
from test_sheet_html import outline

from motioncheck.batch.group import GroupEntry, build_group
from motioncheck.errors import InputError
from motioncheck.sheet.group_html import render_group, render_group_files
from motioncheck.sheet.group_json import (
    group_from_json,
    group_schema,
    group_schema_text,
    group_to_json,
)
from motioncheck.sheet.group_tables import ROW_COLUMNS, group_csv
from motioncheck.sheet.group_view import facts, headline, look_lines, reason_lines

PUBLISHED = Path(__file__).parents[1] / "docs" / "group.schema.json"
BROWSER = shutil.which("chromium") or shutil.which("google-chrome")


def group_of(entries):
    return build_group(entries, title="Warm-up", made_at=MADE_AT)


@pytest.fixture(scope="module")
def group():
    return group_of(crew())


@pytest.fixture(scope="module")
def page(group):
    return render_group(group)


def hostile_group():
    """Return a group with an attack in every text that comes from outside."""
    sheet = hostile_sheet().sheet
    events = tuple(
        replace(e, findings=tuple(replace(f, verdict="misses") for f in e.findings))
        for e in sheet.events
    )
    fields = {"session": "=" + HOSTILE, "notes": (HOSTILE,)}
    entries = [
        GroupEntry(
            "@" + HOSTILE + str(n), HOSTILE, sheet="javascript:alert(1)",
            result=replace(sheet, events=events), **fields,
        )
        for n in range(3)
    ]  # fmt: skip
    entries.append(
        GroupEntry("-" + HOSTILE, "+" + HOSTILE, "failed", movement="=m", reason="=" + HOSTILE)
    )
    return replace(group_of(entries), title=HOSTILE, made_at=HOSTILE, notes=(HOSTILE,))


# The page -------------------------------------------------------------------------------------


def test_the_page_is_sound_and_loads_nothing(page):
    parsed = outline(page)
    assert parsed.headings[0] == 1
    assert all(b - a <= 1 for a, b in zip(parsed.headings, parsed.headings[1:], strict=False))
    assert parsed.all("img") == parsed.all("iframe") == parsed.all("form") == []
    assert parsed.all("script") == [{}]
    assert not re.search(r'(?:href|src)="(?:https?:)?//', page)
    names = [attrs["id"] for _, attrs in parsed.tags if "id" in attrs]
    assert len(names) == len(set(names))
    targets = {a["href"][1:] for a in parsed.all("a") if a["href"].startswith("#")}
    assert targets <= set(names)
    labels = {attrs["aria-labelledby"] for _, attrs in parsed.tags if "aria-labelledby" in attrs}
    assert labels <= set(names)


def test_only_the_script_of_the_page_may_run(page):
    (policy,) = [m["content"] for m in outline(page).all("meta") if "http-equiv" in m]
    assert policy.startswith("default-src 'none'")
    script = re.search(r"<script>(.*?)</script>", page, flags=re.DOTALL).group(1)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in policy
    assert not re.search(r"\b(fetch|XMLHttpRequest|import|eval|innerHTML|localStorage)\b", script)
    assert not re.search(r"\son[a-z]+=", re.sub(r"<script>.*</script>", "", page, flags=re.DOTALL))


def test_without_the_script_everything_is_there_worst_first(page, group):
    bodies = re.findall(r"<tbody>(.*?)</tbody>", page, flags=re.DOTALL)
    squatters = re.findall(r'class="first"><b><a href="[^"]*">(\w+)<', bodies[0])
    assert squatters == [r.person for r in group.rows if r.movement == "air-squat"]
    (controls,) = [a for t, a in outline(page).tags if a.get("id") == "controls"]
    assert "hidden" in controls
    assert " hidden" not in bodies[0]


def test_the_top_says_who_what_is_shared_and_who_has_no_clip(page, group):
    assert headline(group) == "4 of 7 clips need a look."
    top = page[: page.index("</section>")]
    assert top.index(">seat2</a>") < top.index(">seat6</a>") < top.index(">seat4</a>")
    assert "Thighs level at the bottom: missed by 2 of 4 athletes" in top
    assert "<strong>seat8:</strong> No person could be found in the picture." in top
    # Another clip of this athlete was checked, so it is only counted.
    assert "1 more clip without a result, of athletes who have another one." in top
    assert "Stop" in top
    assert facts(group) == (
        "9 clips of 8 athletes", "7 checked, 2 without a result", "made 2026-04-12 08:15 UTC",
    )  # fmt: skip


def test_a_cell_has_word_count_and_median_and_not_visible_is_grey(page):
    assert re.search(r'<td class="misses" data-s="[\d.]+">misses <b>6 of 8</b><small>median 17°<',
                     page)  # fmt: skip
    assert re.search(r'<td class="unseen" data-s="[\d.]+">not visible</td>', page)
    assert re.search(r'<td class="meets" data-s="[\d.]+">meets<small>1.20 s<', page)


def test_neither_a_score_nor_a_picture_is_shown(page, group):
    assert "score" not in page.lower()
    text = re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL)
    for score in (row.score for row in group.rows if row.score > 20):
        for digits in range(4):
            assert not re.search(rf"(?<![\d.]){score:.{digits}f}(?![\d.])", text)
    assert "base64" not in page


def test_every_sheet_is_linked_and_only_relative_links_are_kept(page, group):
    links = {a["href"] for a in outline(page).all("a")}
    assert {row.sheet for row in group.rows} <= links
    parsed = outline(render_group(hostile_group()))
    assert all(a["href"].startswith("#") for a in parsed.all("a"))


def test_hostile_text_stays_text():
    page = render_group(hostile_group())
    parsed = outline(page)
    assert parsed.all("script") == [{}]
    assert parsed.all("img") == []
    assert "{{ 7*7 }}" in page
    assert "<script>alert" not in page


def test_a_corrected_clip_says_so_and_the_session_stands_where_they_differ():
    one = replace(group_of([entry("seat1", squats())]).rows[0], corrected=2, session="morning")
    base = group_of([entry("seat1", squats())])
    assert "2 corrections by hand" in render_group(replace(base, rows=(one,)))
    assert "morning · seat1.mp4" not in render_group(replace(base, rows=(one,)))
    two = replace(one, person="seat2", session="evening")
    assert "morning · seat1.mp4" in render_group(replace(base, rows=(one, two)))


def test_a_session_of_some_clips_is_not_called_that_of_all():
    row = group_of([entry("seat1", squats())]).rows[0]
    base = group_of([entry("seat1", squats())])
    some = replace(base, rows=(replace(row, session="morning"), replace(row, person="seat2")))
    assert not any("morning" in fact for fact in facts(some))
    everyone = replace(some, rows=tuple(replace(r, session="morning") for r in some.rows))
    assert "session morning" in facts(everyone)


def test_a_clip_that_waits_is_not_called_unusable():
    waiting = render_group(group_of([GroupEntry("seat1", "a.mp4", "waiting")]))
    assert "No usable clip" not in waiting
    assert "No result yet" in waiting
    failed = render_group(group_of([GroupEntry("seat1", "a.mp4", "failed", reason=NO_PERSON)]))
    assert "No usable clip" in failed


def test_a_group_without_any_result_is_a_page_without_a_script():
    page = render_group(group_of([GroupEntry("seat1", "a.mp4", "failed", reason=NO_PERSON)]))
    assert "No clip has a result." in page
    assert outline(page).all("script") == []
    outline(render_group(group_of([])))


def test_nobody_to_look_at_is_said_plainly():
    group = group_of([entry("seat1", squats())])
    assert headline(group) == "None of 1 clip needs a look first."
    assert "No clip misses something in a quarter" in render_group(group)


def test_long_lists_are_cut_at_the_top_and_whole_below():
    group = group_of(squad(300))
    looks = [row for row in group.rows if row.look]
    assert len(looks) > 8
    assert len(look_lines(group)) == 8
    page = render_group(group)
    assert f"And {len(looks) - 8} more" in page
    lines, _ = reason_lines(group)
    assert len(lines) == 2
    assert all(" more" in line.people for line in lines)
    for row in group.without_result:
        assert f"<td>{row.clip}</td>" in page


def test_five_hundred_clips_stay_small():
    page = render_group(group_of(squad(500)))
    assert len(page.encode()) < 3_000_000
    assert page.count('<th scope="row" class="first">') == len(group_of(squad(500)).rows)


# The script, in a real browser ------------------------------------------------------------------

needs_browser = pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine")


def dom_after(page: str, tmp_path: Path, actions: str = "") -> str:
    """Return the page as it stands in a browser after some actions."""
    if actions:
        # A page may run no script but its own; here the policy gives way to the actions.
        page = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
        page = page.replace("</body>", f"<script>{actions}</script></body>")
    place = tmp_path / "page.html"
    place.write_text(page, encoding="utf-8")
    done = subprocess.run(
        [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path}/u",
         "--dump-dom", place.as_uri()],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    return re.sub(r"<script>.*?</script>", "", done.stdout, flags=re.DOTALL)


@needs_browser
def test_the_script_runs_under_the_policy_of_the_page(page, tmp_path):
    dom = dom_after(page, tmp_path)
    assert 'aria-label="Sort by Thighs level at the bottom"' in dom
    assert re.search(r'id="controls"[^>]*>', dom).group(0).count("hidden") == 0
    assert "7 clips, worst first unless sorted." in dom


HELP = """
function byId(id) { return document.getElementById(id); }
var said = [];
function say() {
  said.push(Array.from(document.querySelectorAll("tbody tr:not([hidden]) > .first > b"))
    .filter(function (b) { return !b.closest("section").hidden; })
    .map(function (b) { return b.textContent; }).join(" ") + "|" + byId("shown").textContent);
  document.title = said.join("/");
}
function press(column) { document.querySelectorAll("table.many .sorter")[column].click(); }
function change(id) { byId(id).dispatchEvent(new Event(id === "f-text" ? "input" : "change")); }
"""


def titles_after(page: str, tmp_path: Path, steps: list[str]) -> list[list[str]]:
    """Return the athletes shown after each step, and the line that counts them."""
    dom = dom_after(page, tmp_path, HELP + "".join(step + "say();" for step in steps))
    title = re.search(r"<title>(.*?)</title>", dom).group(1)
    return [part.split("|") for part in title.split("/")]


@needs_browser
def test_sorting_by_name_and_by_a_check_and_back(page, tmp_path):
    steps = ["press(0);", "press(2);", "press(2);", 'byId("f-reset").click();']
    orders = [names.split()[:5] for names, _ in titles_after(page, tmp_path, steps)]
    assert orders[0] == ["seat1", "seat2", "seat3", "seat4", "seat5"]
    # Depth: 6, 3, 1 of 8 miss; then meets; then not visible.
    assert orders[1] == ["seat2", "seat4", "seat3", "seat1", "seat5"]
    assert orders[2] == orders[1][::-1]
    assert orders[3] == ["seat2", "seat4", "seat5", "seat3", "seat1"]


@needs_browser
def test_the_sorted_column_is_told_to_screen_readers(page, tmp_path):
    dom = dom_after(page, tmp_path, HELP + "press(0); press(2);")
    marked = re.findall(r'<th [^>]*aria-sort="(\w+)"[^>]*><span class="check">([^<]*)', dom)
    assert marked == [("descending", "Thighs level at the bottom")]


@needs_browser
def test_one_clip_is_not_called_clips(tmp_path):
    page = render_group(group_of([entry("seat1", squats())]))
    assert "1 clip.</p>" in dom_after(page, tmp_path)


@needs_browser
def test_filters_and_back(page, tmp_path):
    cases = {
        'byId("f-text").value = "SEAT3"; change("f-text");': "seat3",
        'byId("f-look").checked = true; change("f-look");': "seat2 seat4 seat5 seat6",
        'byId("f-check").value = "0:0"; byId("f-verdict").value = "misses"; change("f-verdict");':
            "seat2 seat4 seat3",
        'byId("f-verdict").value = "unseen"; change("f-verdict");':
            "seat2 seat4 seat5 seat3 seat1",
        'byId("f-check").value = "1:0"; change("f-check");': "seat6 seat7",
        'byId("f-text").value = "nobody"; change("f-text");': "",
    }  # fmt: skip
    back = 'byId("f-reset").click();'
    shown = titles_after(page, tmp_path, [step for case in cases for step in (case, back)])
    for (names, line), expected in zip(shown[::2], cases.values(), strict=True):
        assert names == expected
        assert line == f"Shown: {len(expected.split())} of 7 clips."
    for names, line in shown[1::2]:
        assert len(names.split()) == 7
        assert line == "7 clips, worst first unless sorted."


# Table and data ---------------------------------------------------------------------------------


def test_csv_has_a_row_a_clip_and_four_columns_a_check(group):
    text = group_csv(group)
    rows = list(csv.DictReader(io.StringIO(text)))
    assert "\r" not in text
    assert [row["person"] for row in rows] == [
        r.person for r in (*group.rows, *group.without_result)
    ]
    first = rows[0]
    assert list(first)[: len(ROW_COLUMNS)] == list(ROW_COLUMNS)
    assert first["needs_a_look"] == "yes"
    assert (first["events"], first["events_to_fix"]) == ("8", "8")
    assert [first[f"air-squat.depth_{k}"] for k in ("verdict", "misses", "of", "median_deg")] == [
        "misses", "6", "8", "17",
    ]  # fmt: skip
    assert first["jumping-jacks.arms_verdict"] == ""
    unseen = next(row for row in rows if row["person"] == "seat5")
    assert (unseen["air-squat.knees_verdict"], unseen["air-squat.knees_median_ratio"]) == (
        "not visible", "",
    )  # fmt: skip
    assert rows[-1]["events"] == rows[-1]["needs_a_look"] == ""
    assert "score" not in text


def test_no_cell_is_taken_for_a_formula():
    text = group_csv(hostile_group())
    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    texts = [cell for cell in cells if not re.fullmatch(r"-?\d+(\.\d+)?", cell)]
    assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in texts)
    assert "'@" + HOSTILE + "0" in cells
    # A measured negative number stays a number.
    squat = group_csv(group_of([entry("seat1", squats())]))
    assert next(csv.DictReader(io.StringIO(squat)))["air-squat.depth_median_deg"] == "-7"


def test_published_schema_is_not_stale():
    assert PUBLISHED.read_text(encoding="utf-8") == group_schema_text(), (
        'run: python -c "from motioncheck.sheet.group_json import group_schema_text; '
        "print(group_schema_text(), end='')\" > docs/group.schema.json"
    )


def test_json_follows_the_published_schema_and_comes_back(group):
    content = json.loads(group_to_json(group))
    assert next(iter(content)) == "schema"
    assert content["schema"] == "motioncheck/group/1"
    schema = json.loads(PUBLISHED.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(content)
    assert group_from_json(group_to_json(group)) == group


def test_schema_refuses_an_unknown_state_and_a_missing_field(group):
    validator = jsonschema.Draft202012Validator(group_schema())
    content = json.loads(group_to_json(group))
    content["rows"][0]["state"] = "perfect"
    assert not validator.is_valid(content)
    content = json.loads(group_to_json(group))
    del content["rows"][0]["cells"][0]["value"]
    assert not validator.is_valid(content)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("no json", "found ''"),
        ('{"schema": "motioncheck/sheet/1"}', "found 'motioncheck/sheet/1'"),
        ('{"schema": "motioncheck/group/1"}', "damaged at title"),
    ],
)
def test_reading_something_else_says_what_was_found(text, match):
    with pytest.raises(InputError, match=match):
        group_from_json(text)


def test_all_files_are_rendered_together(group):
    files = render_group_files(group)
    assert set(files) == {"group.html", "group.json", "group.csv"}
    assert files["group.csv"] == group_csv(group)
