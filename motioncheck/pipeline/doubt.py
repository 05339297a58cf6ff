"""Whether a clip shows another movement than the one its user named.

Whoever names a movement is believed and gets the verdicts asked for; a slip of the hand would
give praise and blame that mean nothing. So what was named is held against what the clip shows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from motioncheck.naming import OTHER, Stretch, score_event
from motioncheck.naming.decide import SURE
from motioncheck.naming.stretches import EVEN_SCORE, LEAST_KNOWN
from motioncheck.pipeline.analyse import Analysis
from motioncheck.pipeline.naming import Naming
from motioncheck.records import Event, Sheet
from motioncheck.rules import split_measures
from motioncheck.sheet.words import DOUBT, lower_first
from motioncheck.standards import CycleSplit, LoadedStandard, Standard, load_standards

# The option under which a sheet keeps what its clip looks like; absent where nothing is doubted.
LOOKS_LIKE = "looks_like"
# The movement is there when this share of its events has its marks: a set has sloppy ones, and
# something of any other movement may look like it once. Project judgement, see docs/naming.md.
MARKED_SHARE = 0.25


@dataclass(frozen=True, slots=True)
class Doubt:
    """What a clip looks like instead; ``confidence`` as in `motioncheck.naming.Decision`."""

    movement: str
    title: str
    confidence: float


def find_doubt(
    analysis: Analysis,
    loaded: LoadedStandard,
    name: Callable[[], Naming],
    standards_folder: Path | None = None,
) -> Doubt | None:
    """Tell which other movement a checked clip plainly shows.

    Parameters
    ----------
    analysis : Analysis
        The check with the standard that was named.
    loaded : LoadedStandard
        That standard.
    name : callable
        Names the clip; called only when the check itself speaks against the standard, because
        it costs more than all the rest.
    standards_folder : Path, optional
        The user's own standards.

    Returns
    -------
    Doubt or None
        None when what was checked has the marks of its movement, in the picture or by the fitted
        body; when the standard says nothing of how it is told from others; when the naming is not
        sure, names the same movement anywhere in the clip, or names a variant of it.
    """
    if not loaded.standard.signature or has_marks(analysis, loaded.standard):
        return None
    naming = name()
    found = find_other(naming, loaded.standard.id)
    if found is None:
        return None
    other = load_standards(standards_folder)[found[0]]
    if are_variants(loaded, other):
        return None
    return Doubt(found[0], naming.titles[found[0]], found[1])


def has_marks(analysis: Analysis, standard: Standard) -> bool:
    """Tell whether the checked events look like their movement, by either source.

    The fitted body is asked as well because it knows the depth: seen from behind, heels kicked to
    the seat look like knees lifted to the hip in the picture.
    """
    marked = [
        any(
            score >= EVEN_SCORE and known >= LEAST_KNOWN
            for score, known in score_by_source(event, analysis, standard)
        )
        for event in analysis.events
    ]
    return sum(marked) >= MARKED_SHARE * len(marked)


def score_by_source(
    event: Event, analysis: Analysis, standard: Standard
) -> list[tuple[float, float]]:
    """Return how far an event has the marks of a movement and how much of them is known.

    First by whichever source knows each measure better, then by the picture alone where that is
    another one; both 0 to 1, as `motioncheck.naming.score_event` gives them.
    """
    table = analysis.table
    sources = (table,) if table.picture is None else (table, table.picture)
    return [score_event(source, event, standard.signature) for source in sources]


def find_other(naming: Naming, movement: str) -> tuple[str, float] | None:
    """Return the only other movement that is named for sure, and how sure; None without one.

    Parameters
    ----------
    naming : Naming
    movement : str
        What the user named; None comes back as well when it is done anywhere in the clip.
    """
    named = [s for s in naming.stretches if s.movement != OTHER]
    if any(s.movement == movement for s in named):
        return None
    decision = naming.decision
    if decision.movement:
        return decision.movement, decision.confidence
    sure = [s for s in named if s.confidence >= SURE]
    if len({s.movement for s in sure}) != 1:
        return None
    return sure[0].movement, _mean_confidence(sure)


def _mean_confidence(stretches: list[Stretch]) -> float:
    """Average over the time, as the decision on a whole clip does."""
    lasts = [s.end_s - s.start_s for s in stretches]
    weighed = [t * s.confidence for t, s in zip(lasts, stretches, strict=True)]
    return sum(weighed) / sum(lasts)


def are_variants(a: LoadedStandard, b: LoadedStandard) -> bool:
    """Tell whether two movements are cut into events in the same way, so that they are of a kind.

    Reps are when they have the same phases about the same turn, such as squats on one leg and on
    two, holds and stages when the same measures tell them. Of a user's own standard the same
    measures are enough, whatever its phases are called.
    """
    one, other = a.standard.split, b.standard.split
    if one.kind != other.kind:
        return False
    if set(split_measures(a.standard)) == set(split_measures(b.standard)):
        own = a.own or b.own
        if own or not isinstance(one, CycleSplit):
            return True
    if not (isinstance(one, CycleSplit) and isinstance(other, CycleSplit)):
        return False
    return (one.phases, one.turn) == (other.phases, other.turn)


def note_doubt(sheet: Sheet, doubt: Doubt) -> Sheet:
    """Return a sheet that says first of all what its clip looks like; no verdict changes."""
    sure = min(99, round(100 * doubt.confidence))
    note = (
        f"{DOUBT}{lower_first(doubt.title)} ({sure} % sure). It was "
        f"checked as {lower_first(sheet.movement.title)}, as asked. If that is a slip, check it "
        f"again with -m {doubt.movement}."
    )
    origin = sheet.provenance
    return replace(
        sheet,
        summary=replace(sheet.summary, notes=(note, *sheet.summary.notes)),
        provenance=replace(origin, options={**origin.options, LOOKS_LIKE: doubt.movement}),
    )
