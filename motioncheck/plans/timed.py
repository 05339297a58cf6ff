"""A rep on the clock of a circuit."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from motioncheck.records import Event

MINUTE_S = 60.0
# Sums of times are exact to far better than this.
TINY_S = 1e-6


@dataclass(frozen=True, slots=True)
class Timed:
    """A rep with its movement, in seconds on a clock."""

    movement: str
    start_s: float
    end_s: float
    event: Event

    def since(self, zero_s: float) -> Timed:
        """Return it on a clock that starts later; what was before the start is cut off."""
        return replace(self, start_s=max(self.start_s - zero_s, 0.0), end_s=self.end_s - zero_s)


def minute_of_end(end_s: float) -> int:
    """Return the minute a rep ends in; one that ends on the minute belongs to the one before."""
    return max(math.ceil((end_s - TINY_S) / MINUTE_S) - 1, 0)


def minute_of_start(start_s: float) -> int:
    """Return the minute a rep starts in; one that starts on the minute belongs to it."""
    return max(math.floor((start_s + TINY_S) / MINUTE_S), 0)
