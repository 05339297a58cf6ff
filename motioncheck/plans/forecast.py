"""When the work of a circuit would be done at the pace so far."""

from __future__ import annotations

import math
from dataclasses import dataclass

from motioncheck.plans.schema import EveryMinute
from motioncheck.plans.timed import MINUTE_S


@dataclass
class Forecast:
    """Pace and remaining work, minute by minute.

    The pace is reps of the work per minute **free for it**: the clock without the time of the
    reps due every minute. Each minute to come first loses the time of those reps, at the mean
    time they have taken so far, and the rest of it is worked at that pace.
    """

    total: int
    due: EveryMinute | None
    done: int = 0
    clock_s: float = 0.0
    _due_done: int = 0
    _due_s: float = 0.0

    def add(self, work_reps: int, due_reps: int, clock_s: float, due_s: float) -> None:
        """Add a minute: reps of the work, reps that were due, its seconds, and theirs."""
        self.done += work_reps
        self._due_done += due_reps
        self.clock_s += clock_s
        self._due_s += due_s

    @property
    def left(self) -> int:
        """Reps of the work that remain."""
        return self.total - self.done

    def pace_per_min(self) -> float | None:
        """Return reps of the work per minute free for it; None before the first."""
        free_s = self.clock_s - self._due_s
        if self.done == 0 or free_s <= 0.0:
            return None
        return round(MINUTE_S * self.done / free_s, 2)

    def finish_s(self, owed: int = 0) -> float | None:
        """Predict when the work is done.

        Parameters
        ----------
        owed : int
            Reps of the present minute that are still due, if it has not ended.

        Returns
        -------
        float or None
            Seconds from the start of the clock; the clock itself when nothing is left. None when
            nothing was done yet, or when the reps due every minute leave no time for the work.
        """
        if self.left <= 0:
            return round(self.clock_s, 3)
        free_s = self.clock_s - self._due_s
        if self.done == 0 or free_s <= 0.0:
            return None
        need_s, now_s = self.left * free_s / self.done, self.clock_s
        if now_s % MINUTE_S:
            end_s = MINUTE_S * math.ceil(now_s / MINUTE_S)
            now_s = min(now_s + owed * self._each_s(), end_s)
            if need_s <= end_s - now_s:
                return round(now_s + need_s, 3)
            need_s, now_s = need_s - (end_s - now_s), end_s
        return self._whole_minutes(need_s, now_s)

    def _each_s(self) -> float:
        return self._due_s / self._due_done if self._due_done else 0.0

    def _whole_minutes(self, need_s: float, now_s: float) -> float | None:
        """Work on from a full minute, each one losing the time of the reps due in it."""
        if self.due is not None:
            # Before the first minute in which they are due nothing is lost.
            early_s = max(self.due.first_minute * MINUTE_S - now_s, 0.0)
            if need_s <= early_s:
                return round(now_s + need_s, 3)
            need_s, now_s = need_s - early_s, now_s + early_s
        lost_s = self.due.reps * self._each_s() if self.due else 0.0
        free_s = MINUTE_S - lost_s
        if free_s <= 0.0:
            return None
        full = max(math.ceil(need_s / free_s - 1e-9) - 1, 0)
        return round(now_s + MINUTE_S * full + lost_s + need_s - full * free_s, 3)
