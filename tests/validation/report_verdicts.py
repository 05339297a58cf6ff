"""Verdicts of the program beside those that the true joints give.

The true joints go through the same code: the same checks read the same moments, without
uncertainty. A verdict is right when the true value lies on the side of the limit that it says;
``clear_miss`` makes the program wait with a miss, it does not move the limit.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

from motioncheck.checks import check_set
from motioncheck.checks.findings import check_event
from motioncheck.checks.seeing import Choice, find_free_spans
from motioncheck.errors import MotionCheckError
from motioncheck.pipeline.analyse import Analysis, analyse_track
from motioncheck.pipeline.fitting import Fit, fit_body
from motioncheck.records import Event, Finding, LandmarkTrack, MeasureTable
from motioncheck.rules import make_cycle_rule
from motioncheck.splitting import split_reps
from motioncheck.standards import Check, Standard

DEFINITE = ("meets", "misses")
Row = dict[str, Any]


def compare_verdicts(
    track: LandmarkTrack, standard: Standard, exact: MeasureTable, *, fit: Fit = fit_body
) -> tuple[list[Row], dict[str, int]]:
    """Check a track and its truth.

    Parameters
    ----------
    track : LandmarkTrack
    standard : Standard
    exact : MeasureTable
        Measures of the true joints on the time axis of the cleaned track, uncertainty 0.
    fit : callable
        Fits a body.

    Returns
    -------
    rows : list of dict
        One a check and repetition, and one a check of the set: check, scope, measure, verdict,
        value, uncertainty, threshold; ``true_value`` and ``true_verdict`` (``meets``, ``misses``,
        or ``unknown`` where the measure has no meaning for the true pose).
    reps : dict
        Repetitions ``true`` and ``found``.
    """
    true_events = split_reps(exact, make_cycle_rule(standard.split)).events
    try:
        found = analyse_track(track, standard, fit=fit)
    except MotionCheckError:
        return [], {"true": len(true_events), "found": 0}
    rows = [
        _row(check, finding, _check_exactly(check, event, found, exact, free_s))
        for event, free_s in zip(found.events, find_free_spans(found.events), strict=True)
        for check, finding in zip(_list_checks(standard, "rep"), event.findings, strict=True)
    ]
    rest = _list_checks(standard, "sides", "set")
    for check, finding in zip(rest, found.summary.set_findings, strict=True):
        # Left against right is read at the moments of the program, a rate at those of the truth.
        events = found.events if check.scope == "sides" else true_events
        rows.append(_row(check, finding, _check_set_exactly(check, events, standard, found, exact)))
    return rows, {"true": len(true_events), "found": len(found.events)}


def _list_checks(standard: Standard, *scopes: str) -> list[Check]:
    return [c for c in standard.check if c.enabled and c.scope in scopes]


def _check_exactly(
    check: Check, event: Event, found: Analysis, exact: MeasureTable, free_s: tuple[float, float]
) -> Finding:
    """Check the truth in the form that the program chose, whether or not it can be seen."""
    form = Choice(found.choices[check.id].judgement)
    return check_event(event, check, form, exact, found.view, free_s=free_s)


def _check_set_exactly(
    check: Check,
    events: tuple[Event, ...],
    standard: Standard,
    found: Analysis,
    exact: MeasureTable,
) -> Finding:
    alone = standard.model_copy(update={"check": (check,)})
    choices = {check.id: Choice(found.choices[check.id].judgement)}
    return check_set(events, alone, exact, found.view, choices=choices)[0]


def judge_exactly(finding: Finding) -> str:
    """Return on which side of the limit a true value lies."""
    if finding.value is None:
        return "unknown"
    over = finding.value >= finding.threshold
    under = finding.value <= finding.threshold
    return "meets" if (over if finding.comparison == "at least" else under) else "misses"


def _row(check: Check, finding: Finding, truth: Finding) -> Row:
    return {
        "check": check.id,
        "scope": check.scope,
        "measure": finding.measure,
        "verdict": finding.verdict,
        "value": finding.value,
        "uncertainty": finding.uncertainty,
        "threshold": finding.threshold,
        "true_value": truth.value,
        "true_verdict": judge_exactly(truth),
    }


def count_verdicts(rows: Iterable[Row]) -> Counter[str]:
    """Count findings: meets, misses, undecided, not visible, definite, known, wrong, all.

    ``known`` are the definite ones whose truth is known, ``wrong`` those of them that are wrong.
    """
    count: Counter[str] = Counter()
    for row in rows:
        verdict = row["verdict"]
        count["all"] += 1
        count["undecided" if verdict == "too close to call" else verdict] += 1
        if verdict not in DEFINITE:
            continue
        count["definite"] += 1
        if row["true_verdict"] != "unknown":
            count["known"] += 1
            count["wrong"] += row["true_verdict"] != verdict
    return count


def share(part: int, whole: int) -> float:
    """Return a share, NaN of nothing."""
    return part / whole if whole else float("nan")
