"""Events that were counted and may be something else, such as the walk to the bar."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

from motioncheck.naming.stretches import LEAST_KNOWN
from motioncheck.pipeline.analyse import Analysis
from motioncheck.pipeline.doubt import score_by_source
from motioncheck.pipeline.naming import Naming
from motioncheck.records import Event, Sheet
from motioncheck.sheet.words import lower_first
from motioncheck.standards import LoadedStandard
from motioncheck.wording import join_words

# An event has none of the marks of its movement below this score; of 330 events of the sample clips
# that are what they should be 2 have, both within a stretch that is named rightly.
NO_MARKS: Final = 0.05


def find_strays(
    analysis: Analysis, loaded: LoadedStandard, name: Callable[[], Naming]
) -> tuple[Event, ...]:
    """Tell which counted events may be something else.

    Parameters
    ----------
    analysis : Analysis
        The check with the standard that was named.
    loaded : LoadedStandard
        That standard.
    name : callable
        Names the clip; called only when an event has none of the marks of its movement.

    Returns
    -------
    tuple of Event
        Those without any mark, neither in the picture nor by the fitted body, whose middle lies
        outside of every stretch that is named as the movement. Empty where all are such: then it
        is the movement itself that is to be doubted, see `motioncheck.pipeline.doubt`.
    """
    if not loaded.standard.signature:
        return ()
    odd = [
        event
        for event in analysis.events
        if all(
            score < NO_MARKS and known >= LEAST_KNOWN
            for score, known in score_by_source(event, analysis, loaded.standard)
        )
    ]
    if not odd or len(odd) == len(analysis.events):
        return ()
    own = [s for s in name().stretches if s.movement == loaded.standard.id]
    if not own:
        return ()
    return tuple(
        event
        for event in odd
        if not any(s.start_s <= (event.start_s + event.end_s) / 2.0 <= s.end_s for s in own)
    )


def note_strays(sheet: Sheet, strays: Sequence[Event]) -> Sheet:
    """Return a sheet that says which events may be something else; nothing else changes."""
    word = sheet.movement.event_kind
    one = len(strays) == 1
    places = [f"{e.number} ({e.start_s:.1f} to {e.end_s:.1f} s)" for e in strays]
    them = "it" if one else "them"
    note = (
        f"{word.capitalize()}{'' if one else 's'} {join_words(places)} may be something else than "
        f"{lower_first(sheet.movement.title)}, and {'is' if one else 'are'} counted all the same. "
        f"If so, take {them} out with motioncheck correct strike, or let motioncheck session tell "
        "the movements of the clip apart."
    )
    summary = sheet.summary
    return replace(sheet, summary=replace(summary, notes=(*summary.notes, note)))
