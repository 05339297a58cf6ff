"""Trials for tests of trends: one clip each, alike but for what a test changes."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

from motioncheck.records.history import Trial

FIRST_DAY = dt.date(2026, 3, 1)
BASE = Trial(
    check_id=1,
    session="2026-03-01",
    day="2026-03-01",
    recorded_at="2026-03-01T10:00:00+00:00",
    clip="seat3.mp4",
    movement="knee-flexion",
    measure="knee_flexion",
    side="left",
    moment="range",
    unit="deg",
    count=3,
    mean=100.0,
    lowest=98.0,
    highest=102.0,
    sd=2.0,
    mean_of_first=100.0,
    uncertainty=5.0,
    source="body",
    view="left side",
    azimuth_deg=90.0,
    model="full",
    model_sha256="model-a",
    standard_hash="standard-a",
    program_version="0.1.0",
    calibration="calibration-a",
)


def day_number(week: int) -> str:
    """Return the day of a weekly session, counting from 0."""
    return (FIRST_DAY + dt.timedelta(weeks=week)).isoformat()


def make_trial(week: int = 0, mean: float = 100.0, *, clip: int = 0, **changes: Any) -> Trial:
    """Return the trial of one clip; best and lowest value lie 2 from the mean."""
    day = day_number(week)
    base = replace(
        BASE,
        check_id=1 + 100 * week + clip,
        session=day,
        day=day,
        recorded_at=f"{day}T10:{clip:02d}:00+00:00",
        clip=f"seat3-{week}-{clip}.mp4",
        mean=mean,
        lowest=mean - 2.0,
        highest=mean + 2.0,
        mean_of_first=mean,
    )
    return replace(base, **changes)
