"""The trend report of one person: every series, its sides, what changed and what is usual."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from operator import attrgetter

from motioncheck.records.history import PersonRecord, Trial
from motioncheck.records.trend import Change, Mdc, NormBand, SideIndex, SideLine, Trend, TrendReport
from motioncheck.skeleton import Side
from motioncheck.standards import Norm, Person, Standard
from motioncheck.standards.norms import NO_NORM, describe_norm
from motioncheck.trends.asymmetry import list_indices
from motioncheck.trends.compare import find_changes, find_limits
from motioncheck.trends.figures import find_figure, find_spec
from motioncheck.trends.once import count_once
from motioncheck.trends.points import build_line
from motioncheck.trends.series import (
    Series,
    choose_series,
    find_bearable,
    find_better,
    find_norms,
    name_series,
)
from motioncheck.wording import join_words

CAUTIONS = (
    "Stop at sharp or rising pain, chest pain, dizziness or numbness.",
    "Limits set by your doctor, physiotherapist or coach and local rules come before anything "
    "printed here. This measures; it does not diagnose.",
    "What a change means for a person, and what to do about it, is for somebody licensed to judge "
    "it. A change that counts is one beyond the error of the method; whether it matters to the "
    "person is another question.",
)
SIDES: tuple[Side, ...] = ("left", "right", "both")
Sessions = dict[tuple[str, str], list[Trial]]
# Trials of one movement by series, side and session.
Grouped = dict[Series, dict[Side, Sessions]]
_line_of = attrgetter("movement", "measure", "moment", "side")
# Not by when it was recorded alone: a clip that is checked again stays where it was.
_filmed_at = attrgetter("day", "clip_number", "recorded_at", "check_id")
# From so many comparisons on, one of them is likely to be wrong by chance.
MANY = 20
ALL_AGES = (0, 120)
WHOSE_NORMS = (
    "No usual values are drawn: which group fits hangs on age or sex, and not both are on record "
    "(motioncheck person set)."
)
NO_STANDARD = "Without a standard of this movement, no direction counts as the better one."


def compute_trends(
    trials: Sequence[Trial],
    person: PersonRecord,
    *,
    standards: Mapping[str, Standard],
    measure: str | None = None,
    movement: str | None = None,
    today: str,
) -> TrendReport:
    """Compute how the measures of one person changed from session to session.

    Parameters
    ----------
    trials : sequence of Trial
        What the history holds of the person, in any order.
    person : PersonRecord
        Birth year and sex choose what is usual; nothing is guessed where they are missing.
    standards : mapping of str to Standard
        Standards by movement.
    measure, movement : str, optional
        Show these only. With a measure, also one that no check asks for.
    today : str
        Day the report is made, ISO 8601.

    Returns
    -------
    TrendReport
        Without trends where nothing fits; a note says so.

    Notes
    -----
    How each figure is found stands in ``docs/trends.md``.
    """
    once, doubled = count_once(trials)
    wanted = [
        t
        for t in once
        if (movement is None or t.movement == movement) and measure in (None, t.measure)
    ]
    wanted.sort(key=_filmed_at)
    shown = wanted if measure else [t for t in wanted if _is_known_well(t, standards)]
    found: list[Trend] = []
    for name, grouped in sorted(_group(shown).items()):
        standard = standards.get(name)
        for series in choose_series(standard, grouped, measure=measure):
            found.append(_build_trend(name, series, grouped[series], standard, person))
    days = [t.day for t in wanted]
    return TrendReport(
        person=person,
        made_at=today,
        sessions=len({(t.day, t.session) for t in wanted}),
        first_day=days[0] if days else "",
        last_day=days[-1] if days else "",
        trends=tuple(found),
        cautions=CAUTIONS,
        notes=(*_notes(found, measure, movement), *_tell_unsure(wanted, shown), *doubled),
    )


def _is_known_well(trial: Trial, standards: Mapping[str, Standard]) -> bool:
    """Return False for values the sheet calls not visible, because the check cannot bear them."""
    limit = find_bearable(standards.get(trial.movement), trial.measure, trial.moment)
    return limit is None or trial.uncertainty is None or trial.uncertainty <= limit


def _tell_unsure(wanted: Sequence[Trial], shown: Sequence[Trial]) -> tuple[str, ...]:
    """Say which measures were left out somewhere, because they were known too badly."""
    kept = {id(t) for t in shown}
    out = sorted({t.measure for t in wanted if id(t) not in kept})
    if not out:
        return ()
    specs = [find_spec(measure) for measure in out]
    titles = [s.title.lower() if s else m for s, m in zip(specs, out, strict=True)]
    return (
        "Left out of clips in which the camera did not show it well enough for its check: "
        f"{join_words(titles)}. With --measure it is shown all the same.",
    )


def _group(trials: Sequence[Trial]) -> dict[str, Grouped]:
    """Group trials that are sorted by day; the order stays."""
    flat: dict[tuple[str, str, str, Side], Sessions] = {}
    for t in trials:
        sessions = flat.setdefault(_line_of(t), {})
        sessions.setdefault((t.day, t.session), []).append(t)
    movements: dict[str, Grouped] = {}
    for (movement, measure, moment, side), sessions in flat.items():
        movements.setdefault(movement, {}).setdefault((measure, moment), {})[side] = sessions
    return movements


def _build_trend(
    movement: str,
    series: Series,
    sides: Mapping[Side, Sessions],
    standard: Standard | None,
    person: PersonRecord,
) -> Trend:
    measure, moment = series
    spec = find_spec(measure)
    better = find_better(standard, measure, moment)
    figure = find_figure(standard, measure, moment)
    present = [s for s in SIDES if s in sides]
    unit = next(iter(sides[present[0]].values()))[0].unit
    lines = []
    for side in present:
        line = build_line(sides[side], better)
        limits = find_limits(line, figure, better, unit)
        changes = find_changes(line.points, limits, better, unit)
        lines.append(SideLine(side, line.points, changes, limits.mean, limits.best))
    titles = {measure: spec.title} if spec else {}
    norms = _norms(standard, series, unit, person, _last_day(lines))
    return Trend(
        movement=movement,
        movement_title=standard.title if standard else movement,
        measure=measure,
        title=name_series(standard, measure, moment, titles),
        moment=moment,
        unit=unit,
        unit_words=spec.unit_words if spec else "",
        better=better,
        lines=tuple(lines),
        mdc=_largest([line.mdc_mean for line in lines if line.mdc_mean is not None]),
        norms=norms,
        indices=_indices(measure, lines),
        notes=(
            *((NO_STANDARD,) if standard is None else ()),
            *((WHOSE_NORMS,) if _is_anybodys(norms) else ()),
        ),
    )


def _last_day(lines: Sequence[SideLine]) -> str:
    return max(line.points[-1].day for line in lines)


def _largest(limits: Sequence[Mdc]) -> Mdc:
    """Return the limit that is largest; one without a figure only where there is no other."""
    return max(limits, key=lambda m: -1.0 if m.value is None else m.value)


def _norms(
    standard: Standard | None, series: Series, unit: str, person: PersonRecord, day: str
) -> tuple[NormBand, ...]:
    """Return what is usual for the person on a day.

    Only the year of birth is known, so there are two ages the person can have on that day; what
    fits either of them is shown. Where age or sex is not known and a group depends on it, its
    values stand in words only: a band that is drawn would be a guess about the person.
    """
    norms = find_norms(standard, *series)
    if not norms:
        return ()
    ages: tuple[int | None, ...] = (None,)
    if person.birth_year is not None:
        age = int(day[:4]) - person.birth_year
        ages = (max(age - 1, 0), max(age, 0))
    fitting = [n for n in norms if any(n.fits(Person(age, person.sex)) for age in ages)]
    if not fitting:
        return (NormBand(None, None, None, NO_NORM),)
    return tuple(
        _band(norm, unit)
        if _is_for_sure(norm, person)
        else NormBand(None, None, None, describe_norm(norm, unit))
        for norm in fitting
    )


def _is_for_sure(norm: Norm, person: PersonRecord) -> bool:
    """Return True where nothing that is not known of a person could exclude a norm."""
    right_sex = person.sex is not None or norm.sex == "any"
    right_age = person.birth_year is not None or (norm.age_from, norm.age_to) == ALL_AGES
    return right_sex and right_age


def _is_anybodys(norms: Sequence[NormBand]) -> bool:
    """Return True where all the norms there are may be those of other people."""
    numbers = [n for n in norms if (n.low, n.high, n.mean) != (None, None, None)]
    return bool(norms) and not numbers and norms[0].text != NO_NORM


def _band(norm: Norm, unit: str) -> NormBand:
    """Return the band: the limits of the source, else one standard deviation about the mean."""
    low, high, how = norm.low, norm.high, ""
    if norm.mean is not None and norm.sd is not None and low is None and high is None:
        low, high = norm.mean - norm.sd, norm.mean + norm.sd
        how = " The band is one standard deviation to either side of the mean."
    return NormBand(low, high, norm.mean, describe_norm(norm, unit) + how)


def _indices(measure: str, lines: Sequence[SideLine]) -> tuple[SideIndex, ...]:
    """Return left against right by the means of the last session that has both."""
    by_side = {line.side: {(p.day, p.session): p for p in line.points} for line in lines}
    both = by_side.get("left", {}).keys() & by_side.get("right", {}).keys()
    spec = find_spec(measure)
    if not both or spec is None:
        return ()
    # Two sessions of one day are in the order of filming, not of their names.
    last = next(key for key in reversed(by_side["left"]) if key in both)
    left, right = by_side["left"][last], by_side["right"][last]
    if left.mean is None or right.mean is None:
        return ()
    widths = (left.mean_uncertainty, right.mean_uncertainty)
    return list_indices(spec, left.mean, right.mean, half_widths=widths, day=last[0])


def _notes(trends: Sequence[Trend], measure: str | None, movement: str | None) -> tuple[str, ...]:
    if not trends:
        what = f" of {measure}" if measure else ""
        where = f" in {movement}" if movement else ""
        return (f"Nothing recorded{what}{where} that a trend could be made of.",)
    made = sum(_judged(c) for t in trends for line in t.lines for c in line.changes)
    if made < MANY:
        return ()
    return (
        f"{made} comparisons are made here. Each calls a change what is none in up to one of "
        f"twenty cases, so about {round(made / 20)} of them may by chance; one alone among many "
        "says little.",
    )


def _judged(change: Change) -> bool:
    return change.word in ("changed", "no change that this method can see")
