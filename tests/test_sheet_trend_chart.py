"""The picture of a trend: marks, breaks, bands, days, and how light it stays."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import date
from itertools import pairwise
from xml.etree import ElementTree

import pytest
import trend_examples as ex

from motioncheck.records.trend import NormBand
from motioncheck.sheet.trend_axes import day_ticks
from motioncheck.sheet.trend_chart import DENSE, is_dense, norm_place, trend_chart

SIZE = {"width": 1040, "height": 330, "font": 14}


def parts(svg, css):
    """Return the elements of a class."""
    root = ElementTree.fromstring(svg)
    return [e for e in root.iter() if css in e.get("class", "").split()]


def moves(path):
    """Return how many strokes a path has."""
    return path.get("d").count("M")


def test_sides_differ_by_mark_line_and_word():
    svg = trend_chart(ex.hip_trend(), **SIZE)
    left = [e for e in parts(svg, "left") if "point" in e.get("class")]
    right = [e for e in parts(svg, "right") if "point" in e.get("class")]
    assert "a4.4" in left[0].get("d")  # discs
    assert "a" not in right[0].get("d")  # squares
    assert [moves(path) for path in (left[0], right[0])] == [10, 10]
    assert sorted(e.text for e in parts(svg, "side-name")) == ["left", "right"]
    assert len(parts(svg, "bar")) == 2


def test_values_of_both_sides_differ_from_left_and_right_ones():
    lines = [ex.line_of(side, [100.0, 100.5]) for side in ("left", "right", "both")]
    svg = trend_chart(ex.trend_of(lines), **SIZE)
    assert len({e.get("d").split("M")[1] for e in parts(svg, "point")}) == 3
    names = parts(svg, "side-name")
    assert sorted(e.text for e in names) == ["both", "left", "right"]
    heights = sorted(float(e.get("y")) for e in names)
    assert all(b - a >= 14 for a, b in pairwise(heights))
    (line,) = [e for e in parts(svg, "line") if "both" in e.get("class")]
    assert "third" in line.get("class")
    alone = trend_chart(ex.trend_of(lines[2:]), **SIZE)
    assert parts(alone, "side-name") == parts(alone, "third") == []


def test_a_line_without_any_spread_can_be_drawn():
    line = ex.line_of("both", [100.0, 100.0], needed=None)
    points = tuple(replace(p, best_uncertainty=None) for p in line.points)
    trend = ex.trend_of([replace(line, points=points)], mdc=ex.NO_MDC, norms=())
    svg = trend_chart(trend, **SIZE)
    assert not re.search(r"nan|inf", svg)
    assert parts(svg, "point")


def test_the_line_is_broken_between_stretches_and_the_break_is_numbered():
    svg = trend_chart(ex.broken_trend(), **SIZE)
    assert [moves(line) for line in parts(svg, "line")] == [2]
    assert [e.text for e in parts(svg, "mark-number")] == ["1", "2"]
    assert [e.text for e in parts(svg, "stretch")] == ["A", "B"]
    (upright,) = parts(svg, "break")
    assert moves(upright) == 1
    (small,) = parts(svg, "small-mark")
    assert moves(small) == 1


def test_a_stretch_that_goes_on_after_another_is_joined_by_a_bridge_only():
    values = [90.0, 91.0, 95.0, 92.0, 93.0]
    line = ex.line_of("both", values, segments=[0, 0, 1, 0, 0])
    svg = trend_chart(ex.trend_of([line]), **SIZE)
    assert [moves(path) for path in parts(svg, "line")] == [3]
    (bridge,) = parts(svg, "bridge")
    assert moves(bridge) == 1
    assert [e.text for e in parts(svg, "stretch")] == ["A", "B", "A"]
    assert moves(parts(svg, "break")[0]) == 2


def test_the_limit_band_is_what_the_last_word_was_measured_by():
    """The last point lies outside of the band exactly when the word is changed."""
    for last, outside in ((97.3, False), (97.5, True)):
        line = ex.line_of("left", [90.0, 91.0, last])
        svg = trend_chart(ex.trend_of([line], norms=()), **SIZE)
        (band,) = parts(svg, "mdc-fill")
        top = float(band.get("y"))
        (points,) = parts(svg, "point")
        y = float(re.findall(r"M[\d.]+ ([\d.]+)a", points.get("d"))[-1])
        assert (y < top) == outside
        assert (line.changes[0].word == "changed") == outside


def test_no_band_is_drawn_without_a_limit():
    assert parts(trend_chart(ex.ratio_trend(), **SIZE), "mdc-fill") == []


@pytest.mark.parametrize(
    ("low", "high", "place"),
    [
        (100.0, 120.0, "drawn"), (500.0, 520.0, "above"), (-300.0, -200.0, "below"),
        (None, 105.0, "drawn"), (100.0, None, "drawn"), (None, None, ""),
    ],
)  # fmt: skip
def test_usual_values_are_drawn_or_their_place_is_said(low, high, place):
    trend = ex.trend_of(
        [ex.line_of("both", [100.0, 104.0])], norms=(NormBand(low, high, None, "somebody"),)
    )
    svg = trend_chart(trend, **SIZE)
    assert norm_place(trend) == place
    assert len(parts(svg, "norm")) == (1 if place == "drawn" else 0)
    words = "".join(e.text for e in parts(svg, "norm-text"))
    assert (f"({place} this picture)" in words) == (place in {"above", "below"})
    for rect in parts(svg, "norm"):
        assert float(rect.get("height")) > 0


@pytest.mark.parametrize(("mean", "place"), [(107.0, "drawn"), (400.0, "above")])
def test_a_usual_mean_without_a_band_is_a_line(mean, place):
    norms = (NormBand(None, None, mean, "somebody"),)
    trend = ex.trend_of([ex.line_of("both", [100.0, 104.0])], norms=norms)
    svg = trend_chart(trend, **SIZE)
    assert norm_place(trend) == place
    assert parts(svg, "norm") == []
    assert [moves(path) for path in parts(svg, "norm-edge")] == [1] * (place == "drawn")
    assert f"usual mean {mean:.1f}°" in svg


def test_a_session_without_a_value_is_left_out_and_the_line_goes_on():
    line = ex.line_of("both", [100.0, 101.0, 104.0])
    points = (line.points[0], replace(line.points[1], best=None), line.points[2])
    svg = trend_chart(ex.trend_of([replace(line, points=points)]), **SIZE)
    (path,) = parts(svg, "line")
    assert moves(path) == 1
    assert moves(parts(svg, "point")[0]) == 2


def test_nothing_to_draw_is_no_picture():
    line = ex.line_of("both", [100.0])
    empty = replace(line, points=(replace(line.points[0], best=None, mean=None),))
    assert trend_chart(ex.trend_of([empty]), **SIZE) == ""
    assert trend_chart(ex.trend_of([]), **SIZE) == ""
    assert norm_place(ex.trend_of([empty])) == ""


def test_one_session_and_two_of_one_day_can_be_drawn():
    assert parts(trend_chart(ex.trend_of([ex.line_of("both", [100.0])]), **SIZE), "point")
    line = ex.line_of("both", [100.0, 110.0])
    same = tuple(replace(p, day=ex.day_of(0)) for p in line.points)
    svg = trend_chart(ex.trend_of([replace(line, points=same)]), **SIZE)
    places = re.findall(r"M([\d.]+) ", parts(svg, "point")[0].get("d"))
    assert places[0] != places[1]


def test_no_number_in_the_drawing_is_missing():
    for trend in (*ex.full_report().trends, *ex.long_report(400, 1).trends):
        svg = trend_chart(trend, **SIZE)
        assert not re.search(r"nan|inf", svg)


def test_many_sessions_are_drawn_without_single_marks():
    few, many = ex.long_report(DENSE, 1).trends[0], ex.long_report(DENSE + 1, 1).trends[0]
    assert (is_dense(few), is_dense(many)) == (False, True)
    svg = trend_chart(many, **SIZE)
    assert parts(svg, "point") == []
    assert parts(svg, "band")
    long = trend_chart(ex.long_report(5000, 1).trends[0], **SIZE)
    assert len(long) < 100_000


def test_a_peak_in_a_long_history_is_not_thinned_away():
    trend = ex.long_report(1000, 1).trends[0]
    left, right = trend.lines
    points = list(left.points)
    points[456] = replace(points[456], best=400.0)
    sharp = replace(trend, lines=(replace(left, points=tuple(points)), right))
    svg = trend_chart(sharp, **SIZE)
    (line,) = [e for e in parts(svg, "line") if "left" in e.get("class")]
    heights = sorted(float(y) for _, y in re.findall(r"([\d.]+) ([\d.]+)", line.get("d")))
    assert heights[0] < 50.0 < 200.0 < heights[1]


@pytest.mark.parametrize("days", [0, 1, 3, 10, 13, 30, 100, 365, 1500, 9000, 40000])
def test_days_under_the_axis_are_round_inside_and_not_too_many(days):
    low = date(2026, 3, 2).toordinal() - 0.6
    high = low + days + 1.2
    found = day_ticks(low, high, 10)
    assert 1 <= len(found) <= 10
    assert all(math.floor(low) <= day.toordinal() <= high for day in found)
    assert found == sorted(set(found))
    if days > 200:
        assert all(day.day == 1 for day in found)
