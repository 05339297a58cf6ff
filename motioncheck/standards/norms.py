"""What is usual for age and sex, in words."""

from __future__ import annotations

from collections.abc import Sequence

from motioncheck.standards.ranges import Norm, Person
from motioncheck.wording import MINUS

ADULT_FROM = 18
NO_NORM = "No source that is known here gives usual values for this age and sex."


def describe_norms(norms: Sequence[Norm], unit: str, person: Person) -> tuple[str, ...]:
    """Say what is usual for a person: one sentence a norm that fits; says so when none does."""
    fitting = tuple(describe_norm(n, unit) for n in norms if n.fits(person))
    return fitting or ((NO_NORM,) if norms else ())


def describe_norm(norm: Norm, unit: str) -> str:
    """Say what is usual, for whom, how it was measured, and where it is from."""
    who = _group(norm)
    if (norm.age_from, norm.age_to) != (0, 120):
        last = "and older" if norm.age_to == 120 else f"to {norm.age_to}"
        who += f" of {norm.age_from} {last}"
    usual = []
    if norm.mean is not None:
        spread = "" if norm.sd is None else f", SD {describe_amount(norm.sd, unit)}"
        usual.append(f"mean {describe_amount(norm.mean, unit)}{spread}")
    if norm.low is not None and norm.high is not None:
        low, high = describe_amount(norm.low, unit), describe_amount(norm.high, unit)
        usual.append(f"the middle half {low} to {high}")
    elif norm.low is not None:
        usual.append(f"at least {describe_amount(norm.low, unit)}")
    elif norm.high is not None:
        usual.append(f"at most {describe_amount(norm.high, unit)}")
    tag = "" if norm.source_tag == "published" else f" ({norm.source_tag})"
    return f"{who[0].upper()}{who[1:]}: {', '.join(usual)}; {norm.how}. {norm.source}{tag}"


def _group(norm: Norm) -> str:
    if norm.sex == "any":
        return "people"
    adults, children = ("women", "girls") if norm.sex == "female" else ("men", "boys")
    if norm.age_to < ADULT_FROM:
        return children
    young = 0 < norm.age_from < ADULT_FROM
    return f"{adults} and {children}" if young else adults


def describe_amount(value: float, unit: str) -> str:
    """Return a number of a source as it stands there, with its unit."""
    suffix = {"deg": "°", "s": " s", "%": " %", "1/min": "/min"}.get(unit, "")
    return f"{value:g}".replace("-", MINUS) + suffix
