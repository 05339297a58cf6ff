"""Whether form changes with the reps: drift of what the checks measure, and where it is lost.

**Drift.** For each check and side the values of the reps, in order, get a robust slope (the median
of all slopes between two reps: Theil 1950, Sen 1968). Its interval holds 90 % for all checks of one
set together: with m of them each gets the level 1 - 0.1 / m, so that of ten sets without any drift
about one is said to have one.

What a value may be off by has two parts. One is the same for all reps of a clip, such as the bias
of the camera's place: it cancels in a slope. The other changes from rep to rep: it shows in the
scatter of the reps, and so in the interval. Where the reps happen to scatter less than
`RANDOM_SHARE` of what the values are known to, that is taken instead. Between clips the first part
need not be the same, because the phone was moved; over several clips it is added in full.

**Loss of form.** The first rep that misses a check and from which on most reps do: at least two of
it and the next two, and more than half of all that follow, itself included. Reps in which the
check could not be seen are left out. Nothing is said for a set with fewer than two misses.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from motioncheck.records import Event, Finding
from motioncheck.records.session import Drift, FormLoss
from motioncheck.skeleton import Side
from motioncheck.wording import with_unit

LEVEL = 0.90
MIN_VALUES = 6
PER_REPS = 10
# All slopes between two of so many values are a million; of more values an even choice is taken.
MAX_VALUES = 1500
# Share of the stated uncertainty that is taken to change from rep to rep (project judgement).
RANDOM_SHARE = 0.5
# Half-widths on a sheet are those of 90 % intervals: 1.645 standard errors.
Z90 = 1.645
TRUSTED_NEXT, TRUSTED_OF = 2, 3


@dataclass(frozen=True, slots=True)
class Series:
    """Values of one check on one side.

    ``rep`` is the number of the rep, ``half_width`` what its value is known to, ``clip`` tells
    the clips apart.
    """

    check: str
    title: str
    side: Side
    unit: str
    rep: tuple[float, ...]
    value: tuple[float, ...]
    half_width: tuple[float, ...]
    clip: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Set:
    """The events of one set in order, each with the clip it is from."""

    block: int
    label: str
    movement: str
    events: tuple[Event, ...]
    clips: tuple[str, ...]


def list_series(events: Sequence[Event], clips: Sequence[str]) -> list[Series]:
    """Return the series of each check and side, those with enough values."""
    rows: dict[tuple[str, Side], list[tuple[int, Finding, str]]] = {}
    for number, (event, clip) in enumerate(zip(events, clips, strict=True), start=1):
        for finding in event.findings:
            known = finding.value is not None and math.isfinite(finding.value)
            if known and finding.verdict != "not visible":
                rows.setdefault((finding.check, finding.side), []).append((number, finding, clip))
    return [
        Series(
            check,
            found[0][1].title,
            side,
            found[0][1].unit,
            rep=tuple(float(number) for number, _, _ in found),
            value=tuple(float(f.value or 0.0) for _, f, _ in found),
            half_width=tuple(f.uncertainty or 0.0 for _, f, _ in found),
            clip=tuple(clip for _, _, clip in found),
        )
        for (check, side), found in rows.items()
        if len(found) >= MIN_VALUES
    ]


def find_drifts(done: Set) -> tuple[Drift, ...]:
    """Find the drift of every check over the reps of a set, or of many sets one after the other."""
    series = list_series(done.events, done.clips)
    return tuple(_drift(one, done, tests=len(series)) for one in series)


def _drift(series: Series, done: Set, *, tests: int) -> Drift:
    slope, half = fit_slope(series, tests=tests)
    seen = abs(slope) > half
    return Drift(
        block=done.block,
        label=done.label,
        movement=done.movement,
        check=series.check,
        title=series.title,
        side=series.side,
        unit=series.unit,
        values=len(series.value),
        per_ten=round(PER_REPS * slope, 3),
        half_width=round(PER_REPS * half, 3),
        seen=seen,
        text=_drift_text(PER_REPS * slope, PER_REPS * half, series.unit, seen=seen),
    )


def _drift_text(change: float, half: float, unit: str, *, seen: bool) -> str:
    digits = 1 if half < 2.0 else 0
    if not seen:
        least = with_unit(half, unit, digits=digits)
        return f"no drift that this method can see (it would see {least} per ten reps)"
    word = "rises" if change > 0 else "falls"
    size, width = (with_unit(abs(v), unit, digits=digits) for v in (change, half))
    return f"{word} by {size} ± {width} per ten reps"


def fit_slope(series: Series, *, tests: int = 1) -> tuple[float, float]:
    """Fit a robust slope.

    Parameters
    ----------
    series : Series
        At least `MIN_VALUES` values.
    tests : int
        How many series share the error level.

    Returns
    -------
    tuple of float
        Slope per rep, and the half-width of its interval: the larger of its two arms.
    """
    from scipy import stats

    chosen = slice(None, None, math.ceil(len(series.rep) / MAX_VALUES))
    rep, value = np.array(series.rep[chosen]), np.array(series.value[chosen])
    level = 1.0 - (1.0 - LEVEL) / max(tests, 1)
    fitted = stats.theilslopes(value, rep, alpha=level)
    slope = float(fitted.slope)
    half = max(float(fitted.high_slope) - slope, slope - float(fitted.low_slope))
    z = float(stats.norm.ppf(0.5 + level / 2.0))
    known = float(np.median(series.half_width)) / Z90
    spread = math.sqrt(float(np.sum((rep - rep.mean()) ** 2)))
    half = max(half, z * RANDOM_SHARE * known / spread)
    if len(set(series.clip)) > 1:
        # The whole of what two clips may differ by, over the reps that lie between them.
        half = math.hypot(half, z * math.sqrt(2.0) * known / float(np.ptp(rep)))
    return slope, half


def find_form_losses(done: Set) -> tuple[FormLoss, ...]:
    """Find for each check the rep from which on most reps miss it."""
    titles: dict[str, str] = {}
    for event in done.events:
        for finding in event.findings:
            titles.setdefault(finding.check, finding.title)
    losses = []
    for check, title in titles.items():
        seen = [
            (n, v)
            for n, e in enumerate(done.events, start=1)
            if (v := _misses(e, check)) is not None
        ]
        start = find_loss([missed for _, missed in seen])
        if start is None:
            continue
        before, after = seen[:start], seen[start:]
        misses = sum(missed for _, missed in after)
        earlier = sum(missed for _, missed in before)
        text = _loss_text(after[0][0], (misses, len(after)), (earlier, len(before)))
        losses.append(
            FormLoss(
                block=done.block,
                label=done.label,
                movement=done.movement,
                check=check,
                title=title,
                rep=after[0][0],
                misses=misses,
                reps=len(after),
                text=text,
            )
        )
    return tuple(losses)


def _misses(event: Event, check: str) -> bool | None:
    """Tell whether an event misses a check, None where it could not be seen."""
    verdicts = {f.verdict for f in event.findings if f.check == check}
    if "misses" in verdicts:
        return True
    return False if verdicts - {"not visible"} else None


def find_loss(missed: Sequence[bool]) -> int | None:
    """Return the index of the first rep from which on most reps miss, None if there is none."""
    for i, miss in enumerate(missed):
        near, rest = missed[i : i + TRUSTED_OF], missed[i:]
        if miss and sum(near) >= TRUSTED_NEXT and 2 * sum(rest) > len(rest):
            return i
    return None


def _loss_text(number: int, after: tuple[int, int], before: tuple[int, int]) -> str:
    share = f"{after[0]} of {after[1]}"
    if before[1] == 0:
        return f"missed from the first rep on ({share}): not a matter of tiring"
    return f"missed from rep {number} on ({share}), before that in {before[0]} of {before[1]}"
