"""The comparison page: three sources over time, drawn so that each can be told from the others."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace

import numpy as np
import pytest
import sheet_examples as ex
from test_sheet_html import outline

from motioncheck.sheet.compare import Compared, compare_chart, describe, render_comparison

TIME_S = np.linspace(0.0, 20.0, 601)
WAVE = 40.0 + 30.0 * np.sin(TIME_S)
NOTHING = np.full(len(TIME_S), np.nan)


def compared(column="knee_flexion_left", **changes):
    one = Compared(
        column, "Knee flexion", "deg", TIME_S, WAVE + 4.0, WAVE - 10.0, WAVE,
        np.full(len(TIME_S), 8.0), TIME_S > 10.0,
    )  # fmt: skip
    return replace(one, **changes)


def sheet():
    return ex.squat_sheet(3, pictures=False).sheet


def draw(one, width=1040):
    return compare_chart(sheet().events, one, width=width, height=230, font=14)


def test_the_page_is_well_formed_loads_nothing_and_runs_nothing():
    page = render_comparison(sheet(), [compared(), compared("knee_flexion_right")])
    parsed = outline(page)
    assert not parsed.all("script")
    assert not re.findall(r"(?:src|href)=\"(?!#|data:)", page)
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "").replace("http-equiv", "")
    assert [t for t, _ in parsed.tags].count("h1") == 1
    assert page.count("<h2") == 2
    assert "<h3>Left</h3>" in page
    assert "<h3>Right</h3>" in page


def test_the_policy_allows_exactly_the_style_of_the_page():
    page = render_comparison(sheet(), [compared()])
    style = re.search(r"<style>(.*?)</style>", page, flags=re.DOTALL).group(1)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in page.replace("&#39;", "'")


def test_each_source_has_a_line_style_of_its_own_and_reps_are_shaded_and_numbered():
    chart = draw(compared())
    for css in ("picture-line", "model-line", "body-line", "body-band", "body-bar"):
        assert f'class="{css}"' in chart
    assert chart.count('class="rep-band') == 3
    assert chart.count('class="rep-number"') == 3
    style = render_comparison(sheet(), [compared()])
    dashes = re.findall(r"\.(picture|model|body)-line\{[^}]*?(stroke-dasharray:[^;}]+)?\}", style)
    assert len({d for _, d in dashes}) == 3


def test_a_source_that_knows_nothing_has_no_line():
    chart = draw(compared(picture=NOTHING, from_body=np.zeros(len(TIME_S), dtype=bool)))
    assert 'class="picture-line"' not in chart
    assert 'class="body-bar"' not in chart
    assert 'class="body-line"' in chart
    assert draw(compared(picture=NOTHING, model=NOTHING, body=NOTHING)) == ""
    single = compared(
        time_s=TIME_S[:1], picture=WAVE[:1], model=WAVE[:1], body=WAVE[:1],
        half_width=WAVE[:1], from_body=np.ones(1, dtype=bool),
    )  # fmt: skip
    assert draw(single) == ""


def test_a_very_wide_band_does_not_flatten_the_lines():
    """Lines from 0 to 74; the band reaches 400 either way, the axis no farther than 60 % more."""
    chart = draw(compared(half_width=np.full(len(TIME_S), 400.0)))
    labels = [int(t.replace("−", "-")) for t in re.findall(r">([−\d]+)°<", chart)]
    assert min(labels) >= -60
    assert max(labels) <= 130
    heights = [float(y) for y in re.findall(r"[ML][\d.]+ ([\d.-]+)", chart)]
    assert min(heights) >= 0.0
    assert max(heights) <= 230.0


def test_the_remark_says_how_well_the_body_is_known_and_how_far_the_others_are():
    assert describe(compared()) == (
        "Fitted body: usually ± 8°; picture: usually 4° away from it; pose model: usually 10° away "
        "from it."
    )
    assert "picture: cannot show it from here" in describe(compared(picture=NOTHING))
    alone = compared(body=NOTHING, half_width=NOTHING)
    assert describe(alone) == "There is no fitted body to compare with."
    assert "No body was fitted" in render_comparison(sheet(), [alone])


@pytest.mark.parametrize("width", [370, 1040])
def test_a_chart_has_words_for_those_who_cannot_see_it(width):
    assert 'aria-label="Knee flexion, left over time from three sources."' in draw(
        compared(), width
    )


def test_texts_from_outside_are_escaped():
    hostile = ex.hostile_sheet().sheet
    page = render_comparison(hostile, [compared(title="<b>&\"'")])
    outline(page)
    assert "<b>" not in page
