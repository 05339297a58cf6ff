"""How measures of one person changed between sessions: the content of the trend pages.

Everything here is plain data. Numbers that are not known are None, never 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from motioncheck.records.history import Better, PersonRecord
from motioncheck.skeleton import Side

# The value of a session that a line is drawn through.
Statistic = Literal["best", "mean"]
# Where the minimal detectable change is from; "common practice" has no source.
MdcOrigin = Literal["own", "published", "common practice", "calibrated", ""]
ChangeWord = Literal[
    "changed",
    "no change that this method can see",
    "not comparable",
    "no limit",
    "one session so far",
]
CHANGE_WORDS: tuple[ChangeWord, ...] = (
    "changed",
    "no change that this method can see",
    "not comparable",
    "no limit",
    "one session so far",
)
TREND_SCHEMA_ID = "motioncheck/trend/1"


@dataclass(frozen=True, slots=True)
class Mdc:
    """The minimal detectable change at 95 % between two single values, and where it is from.

    ``sem`` is the standard error of measurement of one value. ``df`` are its degrees of freedom,
    None where a source gives the figure. ``text`` says in one or two sentences how it was found,
    with the source.
    """

    value: float | None
    sem: float | None
    origin: MdcOrigin
    df: int | None
    text: str


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """One session: the best of all its values, the mean over its clips, with their uncertainty.

    ``trials`` are the clips it is made of, ``values`` the single values. Uncertainties are
    half-widths of 90 % intervals. ``segment`` counts from 0; points of one segment can be
    compared. ``marks`` say in short sentences what differs from the point before.
    """

    session: str
    day: str
    trials: int
    values: int
    best: float | None
    mean: float | None
    best_uncertainty: float | None
    mean_uncertainty: float | None
    segment: int
    marks: tuple[str, ...] = ()
    corrected: bool = False
    clips: tuple[str, ...] = ()
    view: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """A comparison of two sessions by one statistic.

    ``needed`` is the change that counts as one for these two points. ``better`` tells in which
    direction the change went, None where that cannot be said or nothing changed.
    """

    statistic: Statistic
    from_day: str
    to_day: str
    from_value: float | None
    to_value: float | None
    difference: float | None
    needed: float | None
    word: ChangeWord
    better: bool | None
    text: str


@dataclass(frozen=True, slots=True)
class NormBand:
    """Usual values for an age and sex; ``text`` has group, method and source."""

    low: float | None
    high: float | None
    mean: float | None
    text: str


@dataclass(frozen=True, slots=True)
class SideLine:
    """One side of one measure over the sessions.

    ``changes`` compare the last session with the first one of its segment and with the one before,
    and with the first of all where the line is broken in between. ``mdc_mean`` and ``mdc_best``
    are what holds for this side, between two sessions of one clip each.
    """

    side: Side
    points: tuple[TrendPoint, ...]
    changes: tuple[Change, ...]
    mdc_mean: Mdc | None = None
    mdc_best: Mdc | None = None


@dataclass(frozen=True, slots=True)
class SideIndex:
    """Left against right in the last session that has both.

    ``value`` is a percentage or, for ``difference``, in the unit of the measure; None where the
    formula is not defined or must not be used. ``formula`` is spelled out, ``limits`` say what it
    cannot tell.
    """

    name: str
    value: float | None
    unit: str
    formula: str
    limits: str
    day: str = ""


@dataclass(frozen=True, slots=True)
class Trend:
    """One measure of one movement of one person over the sessions.

    ``mdc`` is the larger one of its sides.
    """

    movement: str
    movement_title: str
    measure: str
    title: str
    moment: str
    unit: str
    unit_words: str
    better: Better
    lines: tuple[SideLine, ...]
    mdc: Mdc
    norms: tuple[NormBand, ...]
    indices: tuple[SideIndex, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TrendReport:
    """Everything the trend pages of one person say."""

    person: PersonRecord
    made_at: str
    sessions: int
    first_day: str
    last_day: str
    trends: tuple[Trend, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...] = ()
    schema: str = TREND_SCHEMA_ID
