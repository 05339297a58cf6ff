"""From stretches to one movement for the whole clip, or the reason why there is none."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from motioncheck.naming.stretches import OTHER, Stretch

# One movement is that of the clip when it takes this share of the time of all named ones.
NEARLY_ALL = 0.85
# It must be that sure, on average over its time.
SURE = 0.6


@dataclass(frozen=True, slots=True)
class Decision:
    """What a clip shows as a whole.

    ``movement`` is empty when it was not told; ``several`` is True when that is because there
    is more than one. ``confidence`` belongs to the first of ``likeliest``, which holds at most
    two movements, the likelier first.
    """

    movement: str
    confidence: float
    several: bool
    likeliest: tuple[str, ...]


def decide(stretches: Sequence[Stretch]) -> Decision:
    """Decide which movement a clip shows.

    Parameters
    ----------
    stretches : sequence of Stretch
    """
    time_s: defaultdict[str, float] = defaultdict(float)
    sure_s: defaultdict[str, float] = defaultdict(float)
    behind_s: defaultdict[str, float] = defaultdict(float)
    for stretch in stretches:
        lasts = stretch.end_s - stretch.start_s
        behind_s[stretch.runner_up] += lasts
        if stretch.movement != OTHER:
            time_s[stretch.movement] += lasts
            sure_s[stretch.movement] += lasts * stretch.confidence
    named = sorted(time_s, key=lambda name: -time_s[name])
    behind = sorted(behind_s, key=lambda name: -behind_s[name])
    likeliest = tuple([*named, *(n for n in behind if n != OTHER and n not in time_s)][:2])
    if not named:
        return Decision("", 0.0, False, likeliest)
    first = named[0]
    confidence = sure_s[first] / time_s[first]
    alone = time_s[first] >= NEARLY_ALL * sum(time_s.values())
    chosen = first if alone and confidence >= SURE else ""
    return Decision(chosen, confidence, not alone, likeliest)
