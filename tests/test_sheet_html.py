"""The HTML sheet: content, safety, accessibility, size."""

from __future__ import annotations

import base64
import hashlib
import html
import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import cv2
import numpy as np
import pytest
import sheet_examples as ex

from motioncheck.records import BlindSpot, Cue, MeasureTable, Still
from motioncheck.sheet import ChartSpec, Limit, render_html
from motioncheck.sheet.words import DOUBT

VOID = {"meta", "img", "link", "br", "hr", "input"}


class Outline(HTMLParser):
    """Collects what the tests ask about, and that tags close in the right order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.headings: list[int] = []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if re.fullmatch(r"h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def all(self, tag):
        return [attrs for name, attrs in self.tags if name == tag]


def outline(page: str) -> Outline:
    parser = Outline()
    parser.feed(page)
    parser.close()
    assert parser.open == []
    return parser


def render(example: ex.Example, **options) -> str:
    return render_html(example.sheet, example.table, example.stills, **options)


EXAMPLES = {
    "squats": ex.squat_sheet,
    "jacks": ex.jack_sheet,
    "nothing visible": ex.blind_sheet,
    "alternating": ex.alternating_sheet,
    "one rep": lambda: ex.squat_sheet(1),
    "no rep": lambda: ex.squat_sheet(0),
    "sixty reps": lambda: ex.squat_sheet(60),
    "hostile": ex.hostile_sheet,
}


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_example_is_well_formed_small_and_loads_nothing(name):
    page = render(EXAMPLES[name]())
    parsed = outline(page)
    assert len(page.encode()) < 3_000_000
    names = {tag for tag, _ in parsed.tags}
    assert not names & {"script", "link", "iframe", "object", "embed", "form", "base"}
    for _, attrs in parsed.tags:
        assert not any(key.startswith("on") or key == "style" for key in attrs)
        for key in ("src", "href", "xlink:href"):
            value = attrs.get(key) or "#"
            assert value.startswith(("#", "data:image/jpeg;base64,"))


@pytest.mark.parametrize("name", EXAMPLES)
def test_headings_descend_without_a_jump(name):
    levels = outline(render(EXAMPLES[name]())).headings
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


@pytest.mark.parametrize("name", EXAMPLES)
def test_ids_are_unique_and_references_lead_somewhere(name):
    parsed = outline(render(EXAMPLES[name]()))
    ids = [a["id"] for _, a in parsed.tags if "id" in a]
    assert len(ids) == len(set(ids))
    for _, attrs in parsed.tags:
        for key in ("aria-labelledby", "aria-describedby"):
            assert not attrs.get(key) or attrs[key] in ids
        if (attrs.get("href") or "").startswith("#"):
            assert attrs["href"][1:] in ids


def test_page_has_language_landmarks_skip_link_and_captions():
    page = render(ex.squat_sheet())
    parsed = outline(page)
    assert parsed.all("html")[0]["lang"] == "en"
    assert len(parsed.all("main")) == len(parsed.all("header")) == len(parsed.all("footer")) == 1
    assert parsed.all("a")[0]["class"] == "skip"
    assert all(a.get("scope") in {"row", "col"} for a in parsed.all("th"))
    assert all(a.get("alt") for a in parsed.all("img"))
    scrolls = [a for a in parsed.all("div") if a.get("class") == "scroll"]
    assert scrolls
    for attrs in scrolls:
        assert attrs["role"] == "region"
        assert attrs["tabindex"] == "0"
        assert attrs.get("aria-label") or attrs.get("aria-labelledby")
    for attrs in parsed.all("svg"):
        assert attrs.get("aria-hidden") == "true" or attrs.get("aria-label")


def test_policy_allows_exactly_the_style_of_the_page():
    page = render(ex.squat_sheet())
    policy = html.unescape(re.search(r'Policy" content="([^"]*)"', page).group(1))
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL).group(1)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert "default-src 'none'" in policy
    assert f"style-src 'sha256-{digest}'" in policy
    assert "unsafe" not in policy
    assert "script-src" not in policy
    assert "http" not in style
    assert "url(" not in style


def test_hostile_text_is_shown_and_never_run():
    page = render(ex.hostile_sheet(), person=ex.HOSTILE)
    assert "<script" not in page.lower()
    assert "<img src=x" not in page
    assert "<b>" not in page
    assert "{{ 7*7 }}" in page  # left as text, not worked out by the template engine
    assert html.escape(ex.HOSTILE, quote=False).split("&quot;")[0][:20] in page


def test_hostile_chart_spec_is_escaped():
    example = ex.squat_sheet(2, pictures=False)
    spec = ChartSpec(("trunk_inclination",), ex.HOSTILE, '"><script>', (Limit(30.0, "at most"),))
    page = render(example, chart=spec)
    assert "<script" not in page
    outline(page)


def test_summary_comes_first_with_best_before_cues_and_at_most_three():
    example = ex.squat_sheet()
    many = tuple(Cue(f"c{n}", f"Cue number {n}.", (n,)) for n in range(1, 6))
    sheet = replace(example.sheet, summary=replace(example.sheet.summary, cues=many))
    page = render_html(sheet, example.table, {})
    places = [page.index(text) for text in (
        sheet.summary.headline, sheet.summary.best, "Cue number 1.", "Cue number 3.",
        "This camera could not show", "Rep by rep",
    )]  # fmt: skip
    assert places == sorted(places)
    assert "Cue number 4." not in page


def test_verdicts_stand_as_words_and_marks_with_values_and_limits():
    page = render(ex.squat_sheet())
    assert "at most 45°" in page
    cell = '<use href="#mark-misses"/></svg>misses</span> <span class="number">54° ± 4°</span>'
    assert cell in page
    assert "−3° ± 5°" in page
    assert '<use href="#mark-close"/></svg>too close to call' in page
    assert "Not visible</strong> from this camera in any rep" in page


def test_sides_with_the_same_verdict_share_its_word():
    page = render(ex.jack_sheet())
    first = page[page.index("Rep 1</span>") :]
    cell = first[first.index("<td") : first.index("</td>")]
    assert cell.count("meets</span>") == 1
    assert "left 168° ± 6°" in cell
    assert "right 166° ± 6°" in cell
    last = page[page.index('rep-name">Rep 10<') :]
    cell = last[last.index("<td") : last.index("</td>")]
    assert cell.index("misses") < cell.index("right 139°") < cell.index("left 167°")


def test_when_nothing_is_visible_every_column_stays_and_says_so():
    page = render(ex.blind_sheet())
    assert page.count("#mark-unseen") > 35
    assert "could not be measured in this clip" in page
    assert "There are no pictures for this clip." in page
    assert 'chart"' not in page


def test_set_without_a_rep_still_has_cautions():
    page = render(ex.squat_sheet(0))
    assert "No rep was found that could be judged." in page
    assert "This measures; it does not diagnose." in page


def test_cautions_are_never_folded_away_and_printed():
    page = render(ex.squat_sheet())
    before = page[: page.index("This measures; it does not diagnose.")]
    assert before.count("<details") == before.count("</details>")


def test_long_set_shows_the_reps_that_need_a_look_and_the_best():
    example = ex.squat_sheet(60)
    page = render(example)
    assert page.count("<img ") == 13
    assert "the 12 with most to look at, and the best of the rest" in page
    assert page.count('class="rep-name"') == 60
    assert "Rep 59</strong>" in page  # the only one with four misses


def test_large_pictures_are_made_smaller():
    example = ex.squat_sheet(8, pictures=False)
    rng = np.random.default_rng(1)
    noise = rng.integers(0, 255, (1920, 1080, 3), dtype=np.uint8)
    _, jpeg = cv2.imencode(".jpg", noise, [cv2.IMWRITE_JPEG_QUALITY, 95])
    stills = {n: Still(1.0, jpeg.tobytes(), 1080, 1920, 1.0) for n in range(8)}
    assert len(render_html(example.sheet, example.table, stills)) < 3_000_000


def test_gaps_in_a_measure_are_not_joined():
    example = ex.squat_sheet(pictures=False)
    whole = {k: np.nan_to_num(v, nan=50.0) for k, v in example.table.values.items()}
    table = MeasureTable(example.table.time_s, whole, example.table.uncertainty)

    def strokes(page):
        wide = page[page.index('<div class="wide">') : page.index('<div class="narrow">')]
        return [d.count("M") for d in re.findall(r'<path class="line[^"]*" d="([^"]*)"', wide)]

    assert strokes(render_html(example.sheet, table, {})) == [1, 1]
    assert strokes(render(example)) == [3, 2]
    assert 'class="gap"' in render(example)


def test_left_and_right_are_drawn_in_two_line_styles():
    page = render(ex.squat_sheet())
    assert 'class="line right"' in page
    assert 'class="median right"' in page


def test_one_line_in_a_chart_of_one_measure_names_its_side():
    example = ex.squat_sheet(2, pictures=False)
    page = render(example, chart=ChartSpec(("thigh_inclination_right",), "Thigh, right"))
    assert "Thigh, right over time" in page
    assert 'class="line right"' not in page


def test_a_long_name_of_a_stage_does_not_fill_a_phone():
    """The column of names stays in place; wider than the screen it would hide every verdict."""
    page = render(ex.squat_sheet(1))
    phone = page[page.index("@media (max-width:") : page.index("@media print")]
    (rule,) = re.findall(r"\.rep-name\{([^}]*)\}", phone)
    assert "white-space:normal" in rule
    assert float(re.search(r"max-width:([\d.]+)rem", rule)[1]) * 16 < 390 / 2


def test_person_is_printed_when_given():
    assert "<strong>Ana</strong>" in render(ex.squat_sheet(1), person="Ana")


def test_blind_line_stays_one_line():
    example = ex.squat_sheet(1, pictures=False)
    spots = tuple(BlindSpot(f"c{n}", f"Check {n}", "Why.", "How.") for n in range(9))
    page = render_html(replace(example.sheet, blind_spots=spots), example.table, {})
    assert "This camera could not show: check 0, check 1, check 2 and 6 more." in page


def test_importing_the_room_loads_no_heavy_library():
    code = (
        "import sys, motioncheck.sheet; "
        "print([m for m in ('cv2', 'jinja2', 'pydantic', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_what_looks_like_another_movement_stands_above_the_counts():
    example = ex.squat_sheet(1, pictures=False)
    sheet = example.sheet
    doubt = f"{DOUBT}air squat (93 % sure)."
    notes = (*sheet.summary.notes, "An unfinished rep was cut off.", doubt)
    sheet = replace(sheet, summary=replace(sheet.summary, notes=notes))
    page = render_html(sheet, example.table, {})
    assert page.count(doubt) == 1
    assert page.index(doubt) < page.index('<h2 id="h-summary">')
    assert page.index("An unfinished rep was cut off.") > page.index('<h2 id="h-summary">')
