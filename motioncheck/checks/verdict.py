"""One value against one threshold."""

from __future__ import annotations

import math
from dataclasses import dataclass

from motioncheck.records import Comparison, Verdict
from motioncheck.wording import with_unit


@dataclass(frozen=True, slots=True)
class Ruling:
    """A verdict and, when it is not definite, the reason in one sentence."""

    verdict: Verdict
    reason: str = ""


def judge_value(
    value: float,
    uncertainty: float,
    *,
    comparison: Comparison,
    threshold: float,
    clear_miss: float | None = None,
    unit: str = "deg",
) -> Ruling:
    """Compare a measured value with a threshold.

    Parameters
    ----------
    value, uncertainty : float
        The value and the half-width of its 90 % interval, same unit. NaN: not measured.
    comparison : str
        ``at least`` or ``at most``.
    threshold : float
        The value to reach.
    clear_miss : float, optional
        A value on the bad side of the threshold; short of it a miss is not given.

    Returns
    -------
    Ruling
        ``meets`` or ``misses`` only when the threshold lies outside the interval; otherwise
        ``too close to call``; ``not visible`` when there is no value.
    """
    if not (math.isfinite(value) and math.isfinite(uncertainty)):
        return Ruling("not visible", "the body parts it needs could not be seen at that moment")
    gain = value - threshold if comparison == "at least" else threshold - value
    if abs(gain) < uncertainty:
        return Ruling(
            "too close to call",
            f"{with_unit(abs(gain), unit, digits=1)} from the limit, inside the uncertainty of "
            f"±{with_unit(uncertainty, unit, digits=1)}",
        )
    if gain >= 0:
        return Ruling("meets")
    if clear_miss is not None and abs(gain) < abs(threshold - clear_miss):
        return Ruling(
            "too close to call",
            f"between the limit and a clear miss ({with_unit(clear_miss, unit)})",
        )
    return Ruling("misses")
