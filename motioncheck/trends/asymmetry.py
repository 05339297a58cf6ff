"""Left against right: the usual indices with their formulas, and where they must not be used."""

from __future__ import annotations

import math

from motioncheck.measures.registry import MeasureSpec
from motioncheck.records.trend import SideIndex
from motioncheck.wording import with_unit

# A percentage of a value this near to zero is mostly error: the guard band, taken four times, is
# a quarter of it. Project judgement.
NEAR_ZERO_GUARDS = 4.0
CUT_OFFS = (
    "Cut-offs in use, such as 90 % or 10 %, are agreements or arbitrary, not findings; healthy "
    "people are not even either."
)
REFUSED = (
    "Not given as a percentage: the measure has a sign or a zero that is a matter of convention, "
    "or a side is too near to zero, and a percentage of that says nothing."
)


def compute_limb_symmetry_index(involved: float, uninvolved: float) -> float:
    """Return ``100 * involved / uninvolved``; 100 is even.

    Percent. NaN in, NaN out; NaN as well when the uninvolved side is 0.
    """
    return 100.0 * involved / uninvolved if uninvolved else math.nan


def compute_symmetry_index(left: float, right: float) -> float:
    """Return ``100 * (right - left) / ((right + left) / 2)``; 0 is even, + more on the right.

    Percent. NaN in, NaN out; NaN as well when the two add up to 0. Source: Robinson, Herzog &
    Nigg 1987 (from memory).
    """
    half = 0.5 * (right + left)
    return 100.0 * (right - left) / half if half else math.nan


def compute_symmetry_angle(left: float, right: float) -> float:
    """Return ``100 * (45 - atan2(left, right)) / 90`` with the arc in degrees.

    Percent; 0 is even, + more on the right, ±100 equal size and opposite sign. NaN in, NaN out;
    NaN as well when both are 0. Source: Zifchock et al. 2008 (formula from memory).
    """
    if left == 0.0 and right == 0.0:
        return math.nan
    angle = 45.0 - math.degrees(math.atan2(left, right))
    # Half a turn further is the same line; the index is kept within 100 to either side.
    if angle > 90.0:
        angle -= 180.0
    elif angle < -90.0:
        angle += 180.0
    return 100.0 * angle / 90.0


def compute_percent_of_smaller(left: float, right: float) -> float:
    """Return ``100 * (larger / smaller - 1)``; 0 is even.

    Percent, for two positive values; NaN otherwise.
    """
    smaller, larger = min(left, right), max(left, right)
    return 100.0 * (larger / smaller - 1.0) if smaller > 0.0 else math.nan


def allows_percentages(spec: MeasureSpec, left: float, right: float) -> bool:
    """Tell whether a percentage of two sides says something.

    Not where the measure is a signed one (its span reaches at least half as far below zero as
    above), and not where a side lies within four guard bands of zero.
    """
    low, high = spec.span
    signed = low <= -0.5 * high
    return not signed and min(left, right) >= NEAR_ZERO_GUARDS * spec.guard


def list_indices(
    spec: MeasureSpec,
    left: float,
    right: float,
    *,
    half_widths: tuple[float | None, float | None] = (None, None),
    day: str = "",
) -> tuple[SideIndex, ...]:
    """Return the plain difference and, where they may be used, the percentages.

    Parameters
    ----------
    spec : MeasureSpec
        What was measured.
    left, right : float
        Value of each side, unit of the measure.
    half_widths : tuple of float or None
        Half-widths of their 90 % intervals; they make the one of the difference.
    day : str
        Day of the two.
    """
    width = None
    if None not in half_widths:
        width = math.hypot(*(w for w in half_widths if w is not None))
    found = [_difference(left, right, spec.unit, width, day)]
    if not allows_percentages(spec, left, right):
        refused = [(name, formula) for name, formula, _ in _FORMULAS]
        return (*found, *(SideIndex(n, None, "%", f, REFUSED, day) for n, f in refused))
    values = {
        "limb symmetry index": compute_limb_symmetry_index(left, right),
        "symmetry index": compute_symmetry_index(left, right),
        "symmetry angle": compute_symmetry_angle(left, right),
        "difference to the smaller side": compute_percent_of_smaller(left, right),
    }
    error = ""
    if width is not None:
        share = 100.0 * width / (0.5 * (left + right))
        error = f" The two sides are so well known that a difference of {share:.0f} % can be error."
    for name, formula, limits in _FORMULAS:
        found.append(
            SideIndex(name, values[name], "%", formula, f"{limits}{error} {CUT_OFFS}", day)
        )
    return tuple(found)


def _difference(left: float, right: float, unit: str, width: float | None, day: str) -> SideIndex:
    known = "How well it is known cannot be told."
    if width is not None:
        known = f"Known to ± {with_unit(width, unit, digits=1)} (90 %)."
    return SideIndex(
        "difference",
        left - right,
        unit,
        "left − right",
        f"{known} In side views the far side is known less well than the near one.",
        day,
    )


_FORMULAS = (
    (
        "limb symmetry index",
        "left ÷ right × 100; 100 is even",
        "It is meant as involved ÷ uninvolved side; which one that is, is not known here, so the "
        "left stands above. It hides a loss on both sides.",
    ),
    (
        "symmetry index",
        "(right − left) ÷ half their sum × 100; 0 is even, + more on the right",
        "It depends on the size of the values: the same difference is a larger index at a smaller "
        "angle (Robinson et al. 1987).",
    ),
    (
        "symmetry angle",
        "(45° − arctan(left ÷ right)) ÷ 90° × 100; 0 is even, + more on the right",
        "It needs no reference side, and its numbers are smaller than those of the other indices "
        "(Zifchock et al. 2008; formula from memory).",
    ),
    (
        "difference to the smaller side",
        "(larger ÷ smaller − 1) × 100; 0 is even",
        "It does not say which side is larger.",
    ),
)
