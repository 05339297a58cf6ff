"""Which series a trend shows by default, and which direction of each is the better one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from motioncheck.measures import REGISTRY
from motioncheck.records.history import Better
from motioncheck.standards import Check, Judgement, Norm, Standard
from motioncheck.trends.figures import find_range

# Measure and moment.
Series = tuple[str, str]


def choose_series(
    standard: Standard | None, present: Iterable[Series], *, measure: str | None = None
) -> list[Series]:
    """Return the series of one movement to show, in the order of the standard.

    Parameters
    ----------
    standard : Standard or None
        Without it (a movement that is not there any more) everything present is shown.
    present : iterable of (measure, moment)
        What the history holds.
    measure : str, optional
        Show this measure only, at every moment it was read.
    """
    there = dict.fromkeys(present)
    if measure is not None:
        return _without_doubles([s for s in there if s[0] == measure])
    if standard is None:
        return sorted(there)
    wanted: dict[Series, None] = {}
    for line in standard.range_of_motion:
        wanted[line.measure, _range_moment(line.moment)] = None
    for form in _forms(standard):
        at = (form.measure, form.moment)
        # Times are kept at the turn, whatever the moment of the check.
        timed = REGISTRY[form.measure].compute is None and at not in there
        wanted[(form.measure, "turn") if timed else at] = None
    return _without_doubles([s for s in wanted if s in there])


def list_measures(standards: Iterable[Standard]) -> frozenset[str]:
    """Return every measure that a trend of these movements shows when none is asked for."""
    return frozenset(
        measure
        for standard in standards
        for measure in (
            *(line.measure for line in standard.range_of_motion),
            *(form.measure for form in _forms(standard)),
        )
    )


def _range_moment(moment: str) -> str:
    return "range" if moment == "turn" else f"range {moment}"


def _forms(standard: Standard) -> list[Judgement]:
    checks: Sequence[Check] = [c for c in standard.check if c.enabled and c.scope != "sides"]
    return [form for check in checks for form in (check, *check.instead)]


def _without_doubles(series: list[Series]) -> list[Series]:
    """Leave out what a line of the range of motion shows already."""
    return [
        (measure, moment)
        for measure, moment in series
        if (measure, _range_moment(moment)) not in series
    ]


def find_bearable(standard: Standard | None, measure: str, moment: str) -> float | None:
    """Return the largest half-width with which a check of a series is still judged.

    None where no check reads the measure at that moment: the lines of the range of motion hold
    only values that were seen well enough, and a time is not known better or worse by the view.
    """
    if standard is None or measure not in REGISTRY or REGISTRY[measure].compute is None:
        return None
    forms = [f for f in _forms(standard) if (f.measure, f.moment) == (measure, moment)]
    return max((f.bearable for f in forms), default=None)


def find_better(standard: Standard | None, measure: str, moment: str) -> Better:
    """Return which direction the standard calls the better one; empty where it does not say.

    That of its line of the range of motion, else of the checks of that measure and moment, unless
    they ask for both directions. A check of the size whatever the sign has none, because the
    values have their sign.
    """
    line = find_range(standard, measure, moment)
    if line is not None:
        return "higher" if line.best == "highest" else "lower"
    if standard is None:
        return ""
    forms = [f for f in _forms(standard) if f.measure == measure and _same(f, moment)]
    if any(f.absolute or f.side == "difference" for f in forms):
        return ""
    asked = {f.comparison for f in forms}
    if len(asked) != 1:
        return ""
    return "higher" if asked == {"at least"} else "lower"


def find_norms(standard: Standard | None, measure: str, moment: str) -> tuple[Norm, ...]:
    """Return the usual values of the line of the range of motion, else of a check of the set."""
    if standard is None:
        return ()
    line = find_range(standard, measure, moment)
    if line is not None:
        return line.norm
    return next((c.norm for c in standard.check if c.measure == measure and c.norm), ())


def _same(form: Judgement, moment: str) -> bool:
    return moment == form.moment or REGISTRY[form.measure].compute is None


def name_series(
    standard: Standard | None, measure: str, moment: str, titles: Mapping[str, str]
) -> str:
    """Return the title: that of the range of motion, else of the measure."""
    line = find_range(standard, measure, moment)
    if line is not None and moment.startswith("range"):
        return line.title
    return titles.get(measure, measure)
