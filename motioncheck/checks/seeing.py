"""What can be judged: worked out from how well each measure is known, not from a list of views."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from motioncheck.checks.moments import Span
from motioncheck.checks.reading import list_sides, read_judgement, read_working_side
from motioncheck.measures import NEUTRAL, REGISTRY, Calibration, judge_plane
from motioncheck.measures.filming import (
    describe_move,
    describe_plane,
    expect_half_width,
    expect_with_body,
    find_move,
)
from motioncheck.records import BlindSpot, CameraView, Event, MeasureTable
from motioncheck.standards import Check, Judgement, Standard
from motioncheck.wording import with_unit


@dataclass(frozen=True, slots=True)
class Choice:
    """The form in which a check is asked, and how well its measure is known.

    ``blind`` says why no form can be judged; empty when one can. ``width`` is the usual half-width
    of the form, NaN when its measure is missing.
    """

    judgement: Judgement
    blind: str = ""
    width: float = math.nan


Choices = Mapping[str, Choice]
OfSides = Callable[[float, float], float]


def choose_judgements(
    standard: Standard, events: Sequence[Event], table: MeasureTable, view: CameraView
) -> dict[str, Choice]:
    """Return for each enabled check, by its id, the form that can be judged in these events."""
    return {c.id: choose_judgement(c, events, table, view) for c in standard.check if c.enabled}


def choose_judgement(
    check: Check, events: Sequence[Event], table: MeasureTable, view: CameraView
) -> Choice:
    """Return the first form of a check that is known well enough to be judged.

    Parameters
    ----------
    check : Check
    events : sequence of Event
        Finished reps.
    table : MeasureTable
    view : CameraView

    Returns
    -------
    Choice
        A form is usable when the half-width of its measure, the median over the events at the
        moment it is read, is not larger than the form can bear. When none is: the first form, with
        the reason. Where its measure is missing although the camera could show it, the reason is
        left to each event.
    """
    forms = (check, *check.instead)
    asked = [e for e in events if not check.stages or e.stage in check.stages]
    widths = [_typical_width(form, check.scope, asked, table, view) for form in forms]
    for form, width in zip(forms, widths, strict=True):
        if width <= form.bearable:
            return Choice(form, width=width)
    if math.isfinite(widths[0]):
        return Choice(check, explain_width(check, widths[0], view), widths[0])
    return Choice(check, judge_plane(check.plane, view).reason)


def _typical_width(
    form: Judgement, scope: str, events: Sequence[Event], table: MeasureTable, view: CameraView
) -> float:
    """Median half-width over the events, NaN where the measure is missing in all of them."""
    if scope == "set":
        return 0.0
    if scope == "sides":
        return _wider_side(form, events, table)
    widths = []
    for event, free_s in zip(events, find_free_spans(events), strict=True):
        sides = list_sides(form, event, view)
        known = [read_judgement(form, side, event, table, free_s).uncertainty for side in sides]
        widths += [min((w for w in known if math.isfinite(w)), default=math.nan)]
    return _median([w for w in widths if math.isfinite(w)])


def _wider_side(form: Judgement, events: Sequence[Event], table: MeasureTable) -> float:
    medians = [
        _median([r.uncertainty for r in read_working_side(events, form, table, side)])
        for side in ("left", "right")
    ]
    return max((m for m in medians if math.isfinite(m)), default=math.nan)


def _median(widths: Sequence[float]) -> float:
    return float(np.median(widths)) if widths else math.nan


def explain_width(form: Judgement, width: float, view: CameraView) -> str:
    """Say that a measure is known too badly for a judgement."""
    known, borne = (with_unit(w, form.unit) for w in (width, form.bearable))
    if known == borne:
        known, borne = (with_unit(w, form.unit, digits=1) for w in (width, form.bearable))
    seen = "" if view.view in ("", "unknown") else f"seen from the {view.view}, "
    title = REGISTRY[form.measure].title
    return (
        f"{seen}{title[0].lower()}{title[1:]} is known to about ±{known} only, and the check can "
        f"bear ±{borne}"
    )


def find_blind_spots(
    standard: Standard,
    choices: Choices,
    view: CameraView,
    calibration: Calibration = NEUTRAL,
) -> tuple[BlindSpot, ...]:
    """List the checks that this clip cannot show at all, with how to film them instead."""
    return tuple(
        BlindSpot(
            c.id, c.title, choices[c.id].blind, advise(c, choices[c.id].width, view, calibration)
        )
        for c in standard.check
        if c.enabled and choices[c.id].blind
    )


def advise(check: Check, width: float, view: CameraView, calibration: Calibration) -> str:
    """Say how to film the first form of a check so that it can be judged.

    The nearest direction of the camera from which it can be borne with a margin, on every side it
    looks at, or else on one.

    Parameters
    ----------
    check : Check
    width : float
        Half-width that it had. Where that is more than usual from here with the fitted body, it is
        expected to be so from elsewhere too. NaN where the measure was missing: then nothing is
        expected of the fitted body.
    view : CameraView
    calibration : Calibration
    """
    azimuth, largest = view.azimuth_deg, check.bearable
    if not math.isfinite(azimuth):
        return describe_plane(check.plane)
    width_at = partial(
        _expected_width, check, _harder(check, width, azimuth, calibration), view, calibration
    )
    move = find_move(partial(width_at, max), azimuth, largest)
    if move is None:
        move = find_move(partial(width_at, min), azimuth, largest)
    return describe_move(azimuth, move)


def _harder(check: Check, width: float, azimuth_deg: float, calibration: Calibration) -> float:
    """Return how many times wider than usual the fitted body was, at least 1."""
    if math.isnan(width):
        return math.inf
    usual = _of_sides(
        check, min, lambda side: expect_with_body(check.measure, side, azimuth_deg, calibration)
    )
    share = width / usual
    return max(1.0, share) if math.isfinite(share) else 1.0


def _expected_width(
    check: Check,
    harder: float,
    view: CameraView,
    calibration: Calibration,
    of_sides: OfSides,
    azimuth_deg: float,
) -> float:
    def expect(side: str) -> float:
        return expect_half_width(
            REGISTRY[check.measure],
            side,
            azimuth_deg,
            calibration,
            plane=check.plane,
            azimuth_uncertainty_deg=view.azimuth_uncertainty_deg,
            harder=harder,
        )

    return _of_sides(check, of_sides, expect)


def _of_sides(check: Check, of_sides: OfSides, expect: Callable[[str], float]) -> float:
    """Join what is expected of left and right in the way the check looks at them."""
    if not REGISTRY[check.measure].sided:
        return expect("")
    left, right = expect("left"), expect("right")
    if check.side == "difference":
        return math.hypot(left, right)
    return min(left, right) if check.side == "near" else of_sides(left, right)


def find_free_spans(events: Sequence[Event]) -> list[Span]:
    """Return for each event the end of the one before and the start of the one after."""
    before = [-math.inf, *(e.end_s for e in events[:-1])]
    after = [*(e.start_s for e in events[1:]), math.inf]
    return list(zip(before[: len(events)], after[: len(events)], strict=True))
