"""The set at a glance: headline, best thing, cues, tempo, consistency, left against right."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from motioncheck.checks.rungs import describe_rungs
from motioncheck.measures import REGISTRY
from motioncheck.records import (
    VERDICTS,
    Consistency,
    Cue,
    Event,
    Finding,
    RangeResult,
    SideDifference,
    Summary,
    Tempo,
    Verdict,
)
from motioncheck.splitting.tempo import compute_set_tempo
from motioncheck.standards import CycleSplit, Standard
from motioncheck.wording import list_reps, with_unit

MAX_CUES = 3
DEFAULT_FRAME_S = 1.0 / 30.0
# A check is praised when no rep misses it and at least this share of the reps surely meets it.
PRAISE_SHARE = 0.5


def summarise(
    events: Sequence[Event],
    set_findings: Sequence[Finding],
    standard: Standard,
    *,
    partial: int = 0,
    ranges: Sequence[RangeResult] = (),
    frame_s: float = DEFAULT_FRAME_S,
) -> Summary:
    """Summarise a set.

    Parameters
    ----------
    events : sequence of Event
        Finished reps with their findings.
    set_findings : sequence of Finding
    standard : Standard
    partial : int
        Reps cut off by the start or end of the clip, which are not counted.
    ranges : sequence of RangeResult
    frame_s : float
        Time of one frame.
    """
    findings = [f for e in events for f in e.findings]
    counts = Counter(f.verdict for f in [*findings, *set_findings])
    to_fix = list_to_fix(events)
    return Summary(
        headline=write_headline(events, set_findings, to_fix, counts, standard.event_word),
        best=_best(events, set_findings, standard),
        count=len(events),
        count_left=sum(e.side == "left" for e in events),
        count_right=sum(e.side == "right" for e in events),
        verdicts={v: counts.get(v, 0) for v in VERDICTS},
        reps_to_fix=to_fix,
        cues=pick_cues(events, set_findings, standard),
        tempo=compute_tempo(events, standard, frame_s=frame_s),
        consistency=compute_consistency(events, standard),
        side_differences=compute_side_differences(events, standard),
        set_findings=tuple(set_findings),
        notes=write_notes(events, partial, standard.event_word),
        ranges=tuple(ranges),
        rungs=describe_rungs(events, standard),
    )


def list_to_fix(events: Sequence[Event], check: str = "") -> tuple[int, ...]:
    """Return the numbers of the events with a miss, rising; of one check where it is given."""
    # What was added by hand stands in time order, with a number after all the others.
    return tuple(
        sorted(
            e.number
            for e in events
            if any(f.verdict == "misses" and check in ("", f.check) for f in e.findings)
        )
    )


def write_headline(
    events: Sequence[Event],
    set_findings: Sequence[Finding],
    to_fix: Sequence[int],
    counts: Counter[Verdict],
    noun: str,
) -> str:
    """Say in a line how many there are and how many of them call for work."""
    total = f"{len(events)} {noun}{'s' if len(events) != 1 else ''}"
    sides = Counter(e.side for e in events)
    if sides["left"] or sides["right"]:
        total += f" ({sides['left']} left, {sides['right']} right)"
    if counts["meets"] + counts["misses"] + counts["too close to call"] == 0:
        return f"{total}. This camera could not show any of the checks."
    if to_fix:
        return f"{total}, {len(to_fix)} to work on: {list_reps(to_fix, noun)}."
    if any(f.verdict == "misses" for f in set_findings):
        return f"{total}. No single {noun} misses the standard; the set as a whole does."
    return f"{total}. {_seen_of(events, set_findings)}"


def _seen_of(events: Sequence[Event], set_findings: Sequence[Finding]) -> str:
    """Say how many of the checks could be seen when none of them is missed."""
    verdicts: dict[str, set[Verdict]] = {}
    for finding in [*(f for e in events for f in e.findings), *set_findings]:
        verdicts.setdefault(finding.check, set()).add(finding.verdict)
    seen = [v for v in verdicts.values() if v != {"not visible"}]
    close = any("too close to call" in v for v in seen)
    result = "none is missed, some are too close to call" if close else "none is missed"
    if len(seen) == len(verdicts):
        return f"Of {len(seen)} checks {result}."
    return f"Only {len(seen)} of {len(verdicts)} checks could be seen from here; {result}."


def _best(events: Sequence[Event], set_findings: Sequence[Finding], standard: Standard) -> str:
    shares: list[tuple[float, int, str]] = []
    for order, check in enumerate(standard.check):
        verdicts = [
            f.verdict
            for f in [*(f for e in events for f in e.findings), *set_findings]
            if f.check == check.id
        ]
        if not verdicts or "misses" in verdicts:
            continue
        share = verdicts.count("meets") / len(verdicts)
        if share >= PRAISE_SHARE:
            shares.append((share, -order, check.praise))
    if shares:
        return max(shares)[2]
    return praise_plainly(events, standard.event_word)


def praise_plainly(events: Sequence[Event], noun: str) -> str:
    """Say the best thing about a set of which no check can be praised."""
    total = len(events)
    clean = sum(not any(f.verdict == "misses" for f in e.findings) for e in events)
    if clean and any(f.verdict == "meets" for e in events for f in e.findings):
        return f"{clean} of {total} {noun}s miss nothing that could be judged."
    return "The whole set was done to the end." if total else ""


def pick_cues(
    events: Sequence[Event], set_findings: Sequence[Finding], standard: Standard
) -> tuple[Cue, ...]:
    """Pick at most three cues: each time the one that most reps without a cue yet call for.

    Among equals the cue that more reps call for, then the order of the standard. A cue for the
    whole set weighs as much as one for half of the reps.
    """
    return choose_cues(events, set_findings, {c.id: c.cue for c in standard.check})


def choose_cues(
    events: Sequence[Event], set_findings: Sequence[Finding], texts: Mapping[str, str]
) -> tuple[Cue, ...]:
    """Pick cues as `pick_cues`, from the cue of each check, the most important check first."""
    left = _called_for(events, set_findings, texts)
    chosen: list[Cue] = []
    served: set[int] = set()
    while left and len(chosen) < MAX_CUES:
        half = len(events) / 2
        best = max(
            left,
            key=lambda cue: (len(set(cue.reps) - served) if cue.reps else half, len(cue.reps)),
        )
        left.remove(best)
        chosen.append(best)
        served |= set(best.reps)
    return tuple(chosen)


def _called_for(
    events: Sequence[Event], set_findings: Sequence[Finding], texts: Mapping[str, str]
) -> list[Cue]:
    cues = []
    for check, text in texts.items():
        reps = list_to_fix(events, check)
        whole_set = any(f.check == check and f.verdict == "misses" for f in set_findings)
        if reps or whole_set:
            cues.append(Cue(check, text, reps))
    return cues


def compute_tempo(
    events: Sequence[Event], standard: Standard, *, frame_s: float = DEFAULT_FRAME_S
) -> Tempo:
    """Compute mean times of lowering, pause, rising, and rest between reps, in seconds.

    Lowering and rising are None for movements without a lowering phase. The pause is None when no
    rep pauses; the rest is the time from the end of a rep to the start of the next, None for
    alternating sides, which overlap. Holds and stages have only the time of all of them together
    and the rest between them. ``frame_s`` is the time of a frame, for the uncertainty of the
    loss of speed. Of an event that somebody added only its turn is sure: without a span the time
    under tension is not known, and without phases it counts for the pace alone.
    """
    split = standard.split
    if not events:
        return Tempo(None, None, None, None, None, None)
    if not isinstance(split, CycleSplit):
        rest_s, held_s = compute_rest(events), compute_tension(events)
        return Tempo(None, None, None, rest_s, None, None, under_tension_s=held_s)
    phased = [e for e in events if len(e.phases) >= 3]
    outs, pauses, backs = (
        [e.phases[i].end_s - e.phases[i].start_s for e in phased] for i in range(3)
    )
    steps = np.diff([e.turn_s for e in events])
    lowers = split.lowering != "none"
    down, up = (outs, backs) if split.lowering == "first" else (backs, outs)
    rising = split.phases[2 if split.lowering == "first" else 0] if lowers else None
    whole = compute_set_tempo(phased, frame_s=frame_s, rising=rising)
    return Tempo(
        lowering_s=_mean(down) if lowers else None,
        pause_s=_mean(pauses) if any(p > 0 for p in pauses) else None,
        rising_s=_mean(up) if lowers else None,
        rest_s=None if split.sides == "alternating" else compute_rest(events),
        cycle_s=round(float(np.median(steps)), 3) if len(steps) else None,
        reps_per_min=round(60.0 / float(np.median(steps)), 1) if len(steps) else None,
        under_tension_s=compute_tension(events),
        speed_loss_percent=_rounded(None if whole is None else whole.speed_loss_percent, 1),
        speed_loss_uncertainty=_rounded(
            None if whole is None else whole.speed_loss_uncertainty_percent, 1
        ),
    )


def compute_rest(events: Sequence[Event]) -> float | None:
    """Return the mean time between neighbours that both have a span, seconds; None without."""
    pairs = [(a, b) for a, b in itertools.pairwise(events) if _has_span(a) and _has_span(b)]
    return _mean([max(b.start_s - a.end_s, 0.0) for a, b in pairs])


def compute_tension(events: Sequence[Event]) -> float | None:
    """Return the time of all events together, seconds; None where one of them has no span."""
    if not events or not all(_has_span(e) for e in events):
        return None
    whole = compute_set_tempo(events, frame_s=DEFAULT_FRAME_S)
    return _rounded(None if whole is None else whole.under_tension_s)


def _has_span(event: Event) -> bool:
    return event.end_s > event.start_s or not event.added


def _rounded(value: float | None, digits: int = 3) -> float | None:
    return None if value is None else round(value, digits)


def _mean(values: Sequence[float]) -> float | None:
    return round(float(np.mean(values)), 3) if values else None


def compute_consistency(events: Sequence[Event], standard: Standard) -> tuple[Consistency, ...]:
    """Compute spread and drift of each check's value over the reps.

    Drift is the mean of the last third minus that of the first third; its uncertainty is twice
    the standard error from the spread of the reps. Needs six values.
    """
    checks = {c.id: c.title for c in standard.check if c.scope == "rep" and c.enabled}
    return spread_of_checks(events, checks)


def spread_of_checks(events: Sequence[Event], titles: Mapping[str, str]) -> tuple[Consistency, ...]:
    """Compute spread and drift as `compute_consistency`, of checks given by id and title."""
    rows = []
    for check, title in titles.items():
        found = [f for e in events for f in e.findings if f.check == check]
        values = np.array([f.value for f in found if f.value is not None])
        if len(values) < 3:
            continue
        unit = found[0].unit
        sd = float(np.std(values, ddof=1))
        drift, drift_band = _drift(values, sd)
        rows.append(
            Consistency(
                measure=found[0].measure,
                title=title,
                unit=unit,
                mean=round(float(values.mean()), 3),
                sd=round(sd, 3),
                drift=None if drift is None else round(drift, 3),
                drift_uncertainty=None if drift_band is None else round(drift_band, 3),
                text=_drift_text(drift, drift_band, unit, events[0].kind),
            )
        )
    return tuple(rows)


def _drift(
    values: np.ndarray[tuple[int], np.dtype[np.float64]], sd: float
) -> tuple[float | None, float | None]:
    third = len(values) // 3
    if len(values) < 6:
        return None, None
    change = float(values[-third:].mean() - values[:third].mean())
    return change, 2.0 * sd * math.sqrt(2.0 / third)


def _drift_text(drift: float | None, band: float | None, unit: str, noun: str) -> str:
    if drift is None or band is None:
        return f"too few {noun}s to tell a drift"
    if abs(drift) <= band:
        return f"no drift from first to last {noun}s beyond their spread"
    word = "rises" if drift > 0 else "falls"
    return f"{word} by {with_unit(abs(drift), unit)} from the first to the last {noun}s"


def compute_side_differences(
    events: Sequence[Event], standard: Standard
) -> tuple[SideDifference, ...]:
    """Compare left and right at the turn for each sided measure of the standard.

    Alternating drills compare left reps with right reps (the working limb), stages those of the
    left with those of the right arm; others compare the two sides within the reps. Compared are
    medians, as in the checks of the set. The uncertainty combines the half-width of one side and
    the scatter of the reps. Values that are known too badly to be judged are left out.
    """
    every = [j.measure for c in standard.check for j in (c, *c.instead)]
    return compare_measures(events, every, working=standard.by_sides)


def compare_measures(
    events: Sequence[Event], measures: Sequence[str], *, working: bool
) -> tuple[SideDifference, ...]:
    """Compare left and right as `compute_side_differences`, of measures given by id."""
    working = working or any(e.kind == "stage" for e in events)
    rows = []
    for measure in dict.fromkeys(m for m in measures if REGISTRY[m].sided):
        sides = [_side_values(events, measure, s, working=working) for s in ("left", "right")]
        if min(len(s) for s in sides) < 2:
            continue
        rows.append(_compare_sides(measure, sides))
    return tuple(rows)


def _side_values(
    events: Sequence[Event], measure: str, side: str, *, working: bool
) -> list[tuple[float, float]]:
    chosen = [e for e in events if not working or e.side == side]
    values = [e.measures.get(f"{measure}_{side}") for e in chosen]
    known = [
        (v.value, v.uncertainty)
        for v in values
        if v is not None and v.value is not None and v.uncertainty is not None
    ]
    return [(value, width) for value, width in known if width <= REGISTRY[measure].bears]


def _compare_sides(measure: str, sides: list[list[tuple[float, float]]]) -> SideDifference:
    spec = REGISTRY[measure]
    means = [float(np.median([v for v, _ in s])) for s in sides]
    errors = [float(np.var([v for v, _ in s], ddof=1) / len(s)) for s in sides]
    band = max(float(np.mean([u for _, u in s])) for s in sides)
    difference = means[0] - means[1]
    uncertainty = math.hypot(band, 2.0 * math.sqrt(sum(errors)))
    larger = "left" if difference > 0 else "right"
    text = (
        "no difference that this camera can tell"
        if abs(difference) <= uncertainty
        else f"{larger} is larger by {with_unit(abs(difference), spec.unit)}"
    )
    return SideDifference(
        measure=measure,
        title=spec.title,
        unit=spec.unit,
        left=round(means[0], 3),
        right=round(means[1], 3),
        difference=round(difference, 3),
        uncertainty=round(uncertainty, 3),
        text=text,
    )


def write_notes(events: Sequence[Event], partial: int, noun: str) -> tuple[str, ...]:
    """Say what was cut off by the edge of the clip, and whether one side was done more often."""
    notes = []
    if partial:
        word = f"{noun} was" if partial == 1 else f"{noun}s were"
        notes.append(
            f"{partial} unfinished {word} cut off by the edge of what was filmed and not counted."
        )
    left, right = (sum(e.side == s for e in events) for s in ("left", "right"))
    if noun != "stage" and left and right and abs(left - right) > 1:
        notes.append(f"The sides were not done equally often: {left} left, {right} right.")
    return tuple(notes)
