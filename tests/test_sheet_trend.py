"""The trend page and the progress note: content, safety, accessibility, size."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
import trend_examples as ex
from sheet_examples import HOSTILE
from test_sheet_html import outline

from motioncheck.records.history import PersonRecord
from motioncheck.records.trend import NormBand
from motioncheck.sheet import trend_note, trend_words
from motioncheck.sheet.trend_html import render_trend
from motioncheck.sheet.trend_note import render_note, shorten
from motioncheck.sheet.trend_view import (
    change_rows,
    glance_rows,
    headline,
    marks_of,
    session_rows,
)
from motioncheck.sheet.trend_write import without_name


@pytest.fixture(scope="module")
def report():
    return ex.full_report()


@pytest.fixture(scope="module")
def page(report):
    return render_trend(report)


def hostile(report):
    """Return the report with an attack in every text that comes from outside."""

    def point(p):
        return replace(p, session=HOSTILE, view=HOSTILE, clips=(HOSTILE,), marks=(HOSTILE,))

    def line(one):
        changes = tuple(replace(c, text=HOSTILE) for c in one.changes)
        return replace(one, points=tuple(point(p) for p in one.points), changes=changes)

    trends = tuple(
        replace(
            t, movement=HOSTILE, movement_title=HOSTILE, measure=HOSTILE, title=HOSTILE,
            unit=HOSTILE, unit_words=HOSTILE, notes=(HOSTILE,), moment=HOSTILE,
            lines=tuple(line(one) for one in t.lines), mdc=replace(t.mdc, text=HOSTILE),
            norms=tuple(replace(n, text=HOSTILE) for n in t.norms),
            indices=tuple(
                replace(i, name=HOSTILE, formula=HOSTILE, limits=HOSTILE, unit=HOSTILE, day=HOSTILE)
                for i in t.indices
            ),
        )
        for t in report.trends
    )  # fmt: skip
    person = replace(report.person, code=HOSTILE, name=HOSTILE, notes=HOSTILE)
    return replace(
        report, person=person, trends=trends, cautions=(HOSTILE,), notes=(HOSTILE,),
        made_at=HOSTILE,
    )  # fmt: skip


@pytest.mark.parametrize("render", [render_trend, render_note])
def test_the_pages_are_sound_and_load_nothing(report, render):
    page = render(report)
    parsed = outline(page)
    assert parsed.headings[0] == 1
    assert all(b - a <= 1 for a, b in zip(parsed.headings, parsed.headings[1:], strict=False))
    assert parsed.all("script") == parsed.all("img") == parsed.all("iframe") == []
    assert not re.search(r'(?:href|src)="(?:https?:)?//', page)
    assert "url(" not in page
    (policy,) = [m["content"] for m in parsed.all("meta") if "http-equiv" in m]
    assert policy.startswith("default-src 'none'")
    names = [attrs["id"] for _, attrs in parsed.tags if "id" in attrs]
    assert len(names) == len(set(names))
    targets = {a["href"][1:] for a in parsed.all("a")}
    assert targets <= set(names)
    labels = {attrs["aria-labelledby"] for _, attrs in parsed.tags if "aria-labelledby" in attrs}
    assert labels <= set(names)
    assert all(svg.get("aria-label") for svg in parsed.all("svg") if svg.get("role") == "img")


@pytest.mark.parametrize("render", [render_trend, render_note])
def test_hostile_text_stays_text(report, render):
    page = render(hostile(report))
    parsed = outline(page)
    assert parsed.all("script") == parsed.all("img") == parsed.all("b") == []
    assert "<script" not in page
    assert all(a["href"].startswith("#") for a in parsed.all("a"))


def test_every_verdict_is_a_word_beside_its_mark(page):
    for word in (
        "changed, for the better", "no change that this method can see", "no limit"
    ):  # fmt: skip
        assert re.search(rf'<span class="word \w+"><svg.*?</svg>{word}</span>', page)
    assert "own repeat trials" in page
    assert "published figure" in page
    assert "100 × (right − left) / (0.5 × (right + left))" in page
    assert "Not defined where the two sides cancel" in page
    assert "110.0° to 130.0°. Women" not in page
    assert "women aged 20 to 44, goniometer (made up for a test)" in page


def test_a_fall_of_a_measure_that_should_fall_is_for_the_better():
    rows = glance_rows(ex.full_report())
    trunk = next(row for row in rows if row.title == "Trunk inclination")
    assert trunk.change == "−10.0°"
    assert (trunk.mark.symbol, trunk.mark.tone) == ("down", "good")
    assert trunk.first_day == "18 Mar 2026"  # the first session of the stretch that goes on


def test_the_same_change_in_the_other_direction_is_for_the_worse():
    trend = ex.broken_trend()
    (line,) = trend.lines
    worse = replace(line.changes[0], better=False)
    trend = replace(trend, lines=(replace(line, changes=(worse,)),))
    (row,) = glance_rows(ex.full_report(trends=(trend,)))
    assert row.mark.word == "changed, for the worse"
    assert row.mark.tone == "bad"


def test_headline_counts_the_words():
    rows = glance_rows(ex.full_report())
    assert headline(rows) == (
        "Changed: 2 of 4 lines. No change that this method can see: 1. No limit: 1."
    )
    same = [row for row in rows if row.word == "no change that this method can see"]
    assert headline(same) == "No change that this method can see."
    assert headline([]) == "No measure to show."


def test_difference_and_limit_never_look_equal_when_they_are_not():
    change = ex.hip_trend().lines[0].changes[0]
    close = replace(change, difference=7.44, needed=7.41)
    assert trend_words.change_texts(close, "deg") == ("+7.44°", "7.41°")
    assert trend_words.change_texts(change, "deg") == ("+16.0°", "7.4°")


def test_one_session_alone_is_said_to_be_the_only_one_so_far():
    line = ex.line_of("both", [101.0])
    (row,) = glance_rows(ex.full_report(trends=(ex.trend_of([line]),)))
    assert (row.first, row.last, row.change) == ("–", "101.0° ± 5.0°", "–")
    assert row.word == "one session so far"
    assert headline([row]) == "One session so far: there is nothing to compare yet."
    outline(render_trend(ex.full_report(trends=(ex.trend_of([line]),))))
    outline(render_note(ex.full_report(trends=(ex.trend_of([line]),))))


def test_a_report_without_trends_is_a_page():
    empty = ex.full_report(trends=(), cautions=(), notes=())
    assert "No measure to show." in render_trend(empty)
    note = render_note(empty)
    assert "No measure to show." in note
    assert "no diagnosis" in note
    assert "Stop at sharp or rising pain" in note


def test_marks_of_both_sides_are_told_once():
    marks = {1: ("Another model.",)}
    lines = [ex.line_of(side, [90.0, 91.0, 92.0], marks=marks) for side in ("left", "right")]
    (mark,) = marks_of(ex.trend_of(lines))
    assert (mark.number, mark.texts, mark.breaks) == (1, ("Another model.",), False)


def test_a_broken_line_is_told_and_ruled_off_in_the_table():
    page = render_trend(ex.full_report(trends=(ex.broken_trend(),)))
    assert "Filmed from the front instead of the left side: not comparable." in page
    assert "(not comparable with the session before)" in page
    assert page.count('<tr class="broken">') == 1
    rows, sessions = session_rows(ex.broken_trend())
    assert sessions == 8
    assert "".join(row.stretch for row in rows) == "AAAABBBB"
    assert [row.mark for row in rows if row.mark] == ["1", "2"]


def test_sides_of_one_session_stand_in_one_row_and_a_missing_one_is_a_dash():
    left, right = ex.line_of("left", [90.0, 91.0]), ex.line_of("right", [95.0, 96.0])
    right = replace(right, points=right.points[1:], changes=())
    rows, _ = session_rows(ex.trend_of([left, right]))
    assert rows[0].cells[1] is None
    assert rows[1].cells[0].best == "91.0° ± 5.0°"
    assert rows[1].cells[1].best == "96.0° ± 5.0°"


def test_limits_of_the_two_sides_are_told_apart_only_when_they_differ():
    trend = ex.hip_trend()
    assert len(trend_words.mdc_lines(trend)) == 1
    wide = replace(ex.OWN, value=9.9, text="9.9°. Measured on the right.")
    sided = replace(trend, lines=(trend.lines[0], replace(trend.lines[1], mdc_best=wide)))
    texts = dict(trend_words.mdc_lines(sided))
    assert texts["right"] == "own repeat trials: 9.9°. Measured on the right."
    assert texts["left"].startswith("own repeat trials: 7.4°.")


def test_a_figure_without_a_source_is_not_called_published():
    text = trend_words.mdc_text(replace(ex.OWN, origin="common practice", text="8°."), "deg")
    assert "common practice, no source" in text
    assert "published" not in text


@pytest.mark.parametrize(
    ("band", "said"),
    [
        (NormBand(110.0, 130.0, 120.0, "a"), "110.0° to 130.0°. a"),
        (NormBand(None, 45.0, None, "a"), "Up to 45.0°. a"),
        (NormBand(45.0, None, None, "a"), "From 45.0°. a"),
        (NormBand(None, None, 120.0, "mean 120°"), "mean 120°"),
    ],
)
def test_usual_values_are_told_with_their_source(band, said):
    assert trend_words.norm_text(band, "deg") == said


def test_every_comparison_stands_in_the_table():
    trend = ex.hip_trend()
    rows = change_rows(trend)
    assert [row.side for row in rows] == ["left", "right"]
    assert rows[0].days == "2 Mar 2026 to 7 Apr 2026"


def test_the_code_stands_alone_unless_the_name_is_wanted(report):
    hidden = without_name(replace(report, person=replace(report.person, notes="Secret note")))
    for render in (render_trend, render_note):
        assert "Made-up Person" not in render(hidden)
        assert "seat3" in render(hidden)
        assert "Made-up Person" in render(report)
    assert "Secret note" not in render_trend(hidden)
    assert "1994" in render_trend(hidden)  # usual values are chosen by it


def test_a_thousand_sessions_of_eight_measures_are_a_light_page():
    report = ex.long_report()
    page = render_trend(report)
    assert len(page.encode()) < 3_000_000
    rows, sessions = session_rows(report.trends[0])
    assert (len(rows), sessions) == (40, 1000)
    assert [row.stretch for row in rows[:4]] == ["A", "B", "C", "D"]
    assert rows[-1].session == "s1000"
    assert "40 of 1000" in page
    assert len(render_note(report).encode()) < 500_000


def test_the_note_is_bounded_whatever_is_put_into_it(report):
    long = "word " * 200
    trends = tuple(
        replace(trend, title=long, movement_title=long) for _ in range(9) for trend in report.trends
    )
    note = render_note(replace(report, trends=trends, cautions=(long,) * 30, notes=(long,) * 9))
    parsed = outline(note)
    assert len(re.findall(r"<tr><th scope=\"row\">", note)) == trend_note.MOST_ROWS
    assert len([s for s in parsed.all("svg") if s.get("role") == "img"]) <= 2
    assert note.count("<li>") == 1 + trend_note.MOST_CAUTIONS
    body = re.sub(r"<style>.*?</style>|<svg.*?</svg>|<[^>]*>", "", note, flags=re.DOTALL)
    assert len(body) < 4500
    assert "Remark of the therapist or coach" in note
    assert "28 more lines stand on the trend page only" in note


def test_a_phone_is_told_that_the_table_goes_on_to_the_side(page):
    """The first and last values are outside the picture there."""
    hint, table = page.index('<p class="hint">Scroll sideways'), page.index("<table")
    assert hint < table
    assert re.search(r"\.hint\{display:none", page)


def test_a_long_title_on_the_note_is_cut_before_its_side():
    """Else the lines of left and right could not be told apart."""
    lines = [ex.line_of(side, [90.0, 91.0]) for side in ("left", "right")]
    trend = replace(ex.trend_of(lines), title="Extension of the knee (0° is straight)")
    rows = re.findall(r'<th scope="row">(.*?)</th>', render_note(ex.full_report(trends=(trend,))))
    assert len(rows) == 2
    for row, side in zip(rows, ("left", "right"), strict=True):
        # What may be cut ends before the side begins.
        cut, rest = re.fullmatch(
            r'<span class="titled"><span class="one-line">(.*?)</span>(.*)', row
        ).groups()
        assert cut.startswith("Extension of the knee")
        assert side not in cut
        assert rest.startswith(f"<span>,&nbsp;{side}</span>")


def test_the_note_shows_changed_lines_first():
    same = ex.trend_of([ex.line_of("both", [90.0, 91.0])], title="Same")
    moved = ex.trend_of([ex.line_of("both", [90.0, 120.0])], title="Moved")
    trends = (*[same] * trend_note.MOST_ROWS, moved)
    note = render_note(ex.full_report(trends=trends))
    assert "Moved" in note
    assert "1 more line stands on the trend page only" in note


@pytest.mark.parametrize(
    ("text", "short"),
    [
        ("one two three", "one two…"),
        ("onetwothree", "onetwoth…"),
        ("one", "one"),
        (" a  b ", "a b"),
    ],
)
def test_text_is_cut_at_a_word(text, short):
    assert shorten(text, 9) == short


def test_letters_go_on_after_z():
    assert [trend_words.letter_of(n) for n in (0, 25, 26, 27, 701, 702)] == [
        "A", "Z", "AA", "AB", "ZZ", "AAA",
    ]  # fmt: skip


def test_a_person_of_whom_only_the_code_is_known_is_enough():
    page = render_trend(ex.full_report(person=PersonRecord("seat1")))
    assert "Trends of seat1" in page
    assert "born" not in page
