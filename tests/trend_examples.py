"""Made-up trends for the tests of the trend pages; nobody real, every number invented."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

from motioncheck.records.history import PersonRecord
from motioncheck.records.trend import (
    Change,
    Mdc,
    NormBand,
    SideIndex,
    SideLine,
    Trend,
    TrendPoint,
    TrendReport,
)

FIRST_DAY = date(2026, 3, 2)
PERSON = PersonRecord("seat3", name="Made-up Person", birth_year=1994, sex="female", stature_m=1.7)
OWN = Mdc(
    7.4, 2.67, "own", 9,
    "7.4°. From this person's own repeats on 5 days: the standard error of one value is 2.7°.",
)  # fmt: skip
NO_MDC = Mdc(None, None, "", None, "No figure is known for this measure.")
NORM = NormBand(110.0, 130.0, 120.0, "women aged 20 to 44, goniometer (made up for a test)")


def day_of(number: int, every: int = 4) -> str:
    """Return the day of a session that is one of a regular row."""
    return (FIRST_DAY + timedelta(days=number * every)).isoformat()


def point(number: int, value: float | None, **more) -> TrendPoint:
    """Return the point of one session, its mean a little below its best."""
    fields = {
        "session": f"s{number + 1}", "day": day_of(number), "trials": 2, "values": 8,
        "best": value, "mean": None if value is None else value - 3.0,
        "best_uncertainty": None if value is None else 5.0,
        "mean_uncertainty": None if value is None else 3.5,
        "segment": 0, "clips": (f"hip_{number + 1}.mp4",), "view": "left side view",
    } | more  # fmt: skip
    return TrendPoint(**fields)


def change_of(points, needed: float | None = 7.4, better: str = "higher", **more) -> Change:
    """Return the change from the first point of the last segment to the last one."""
    own = [p for p in points if p.segment == points[-1].segment]
    first, last = own[0], own[-1]
    difference = last.best - first.best
    changed = needed is not None and abs(difference) > needed
    word = "changed" if changed else "no change that this method can see"
    good = (difference > 0) == (better == "higher") if changed and better else None
    fields = {
        "statistic": "best", "from_day": first.day, "to_day": last.day, "from_value": first.best,
        "to_value": last.best, "difference": difference, "needed": needed,
        "word": "no limit" if needed is None else word, "better": good,
        "text": f"From {first.day} to {last.day}: {difference:+.1f}°.",
    } | more  # fmt: skip
    return Change(**fields)


def line_of(side: str, values, *, segments=None, marks=None, **more) -> SideLine:
    """Return one side with a value a session; ``marks`` are by number of the session."""
    points = tuple(
        point(i, value, segment=(segments or [0] * len(values))[i], marks=(marks or {}).get(i, ()))
        for i, value in enumerate(values)
    )
    return SideLine(side, points, (change_of(points, **more),) if len(points) > 1 else ())


def trend_of(lines, **more) -> Trend:
    """Return a trend of the bend of the hip."""
    fields = {
        "movement": "hip-flexion", "movement_title": "Hip flexion, standing",
        "measure": "hip_flexion", "title": "Hip flexion", "moment": "range", "unit": "deg",
        "unit_words": "", "better": "higher", "lines": tuple(lines), "mdc": OWN, "norms": (NORM,),
        "indices": (), "notes": (),
    } | more  # fmt: skip
    return Trend(**fields)


def hip_trend() -> Trend:
    """Return both sides over ten sessions; the left gains, the right does not."""
    left = [96, 97.5, 99, 98, 103, 104, 107, 109, 110.5, 112]
    right = [114, 113, 116, 115, 112.5, 114, 116, 115, 117, 115.5]
    index = SideIndex(
        "difference", 3.5, "deg", "right minus left", "Both sides can be low together.",
        day_of(9),
    )  # fmt: skip
    ratio = SideIndex(
        "symmetry index", 3.1, "%", "100 × (right − left) / (0.5 × (right + left))",
        "Not defined where the two sides cancel; grows without bound near zero.", day_of(9),
    )  # fmt: skip
    return trend_of([line_of("left", left), line_of("right", right)], indices=(index, ratio))


def broken_trend() -> Trend:
    """Return one line that is broken by another camera view, with a mark that breaks nothing."""
    values = [62, 60, 57, 58, 71, 70, 66, 61]
    marks = {
        2: ("The program version differs: 0.2.0 instead of 0.1.0.",),
        4: ("Filmed from the front instead of the left side: not comparable.",),
    }
    line = line_of(
        "both", values, segments=[0] * 4 + [1] * 4, marks=marks, better="lower", needed=9.1
    )
    return trend_of(
        [line], movement="air-squat", movement_title="Air squat", measure="trunk_inclination",
        title="Trunk inclination", moment="turn", better="lower", norms=(),
        mdc=Mdc(9.1, 3.28, "published", None, "9.1°. Published figure (made up for a test)."),
    )  # fmt: skip


def ratio_trend() -> Trend:
    """Return a ratio without a limit and without a direction."""
    line = line_of("both", [0.92, 0.95, 1.01, 0.99], needed=None, better="")
    points = tuple(
        replace(p, best=None, mean=p.best, best_uncertainty=None, mean_uncertainty=0.06)
        for p in line.points
    )
    change = replace(line.changes[0], statistic="mean", text="No figure to compare with.")
    line = replace(line, points=points, changes=(change,))
    return trend_of(
        [line], movement="air-squat", movement_title="Air squat", measure="knee_width_ratio",
        title="Knees over the feet", moment="turn", unit="ratio",
        unit_words="times the ankle distance", better="", norms=(), mdc=NO_MDC,
    )  # fmt: skip


def full_report(**more) -> TrendReport:
    """Return a report with every kind of line."""
    fields = {
        "person": PERSON, "made_at": "2026-04-08", "sessions": 10, "first_day": day_of(0),
        "last_day": day_of(9), "trends": (hip_trend(), broken_trend(), ratio_trend()),
        "cautions": (
            "This measures movement from pictures. It is no diagnosis.",
            "Stop at sharp or rising pain, chest pain, dizziness or numbness.",
        ),
        "notes": ("Two clips were recorded twice; only the newer check counts.",),
    } | more  # fmt: skip
    return TrendReport(**fields)


def long_report(sessions: int = 1000, measures: int = 8) -> TrendReport:
    """Return many sessions of one person; the view changes now and then."""

    def line(side, phase):
        points = tuple(
            point(
                i, 100 + 12 * math.sin(i / 90 + phase) + 4 * math.sin(i * 2.4 + phase),
                day=day_of(i, 2), segment=i // 300,
                marks=("Filmed from another side: not comparable.",) if i and i % 300 == 0 else (),
            )
            for i in range(sessions)
        )  # fmt: skip
        return SideLine(side, points, (change_of(points),))

    trends = tuple(
        trend_of([line("left", n), line("right", n + 0.6)], measure=f"m{n}", title=f"Measure {n}")
        for n in range(measures)
    )
    return full_report(
        trends=trends, sessions=sessions, last_day=day_of(sessions - 1, 2), first_day=day_of(0)
    )
