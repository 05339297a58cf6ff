"""Following folders that fill: a clip is checked when its file has stopped growing."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from motioncheck.batch.items import BatchItem, Stamp, read_stamp
from motioncheck.batch.settings import Watching

if TYPE_CHECKING:
    from motioncheck.batch.pool import Runner
    from motioncheck.batch.run import Batch, Clip

# While clips come in one after the other, the group sheet is not written after each of them.
GROUP_EVERY_S: Final = 5.0


@dataclass(slots=True)
class _File:
    """A file as it was last seen, since when it looks like that, and as what it was taken."""

    stamp: Stamp
    since: float
    taken: BatchItem | None = None


class Arrivals:
    """Tells which files have arrived completely.

    Parameters
    ----------
    settle_s : float
        How long nothing about a file may change before it counts as complete.
    """

    def __init__(self, settle_s: float) -> None:
        self._settle_s = settle_s
        self._files: dict[Path, _File] = {}

    def look(self, items: list[BatchItem], now: float) -> list[BatchItem]:
        """Return the clips that are complete and were not returned before as they are now.

        One of which something else is said than before, such as whose it is, is returned again.

        Parameters
        ----------
        items : list of BatchItem
            All clips that are there.
        now : float
            Seconds on a clock that never goes back.
        """
        ready = []
        there = {item.clip for item in items}
        self._files = {path: file for path, file in self._files.items() if path in there}
        for item in items:
            stamp = read_stamp(item.clip)
            if stamp is None:
                continue
            file = self._files.get(item.clip)
            if file is None or file.stamp != stamp:
                self._files[item.clip] = _File(stamp, now)
            elif file.taken != item and stamp[0] > 0 and now - file.since >= self._settle_s:
                file.taken = item
                ready.append(item)
        return ready

    @property
    def growing(self) -> bool:
        """Whether a file is not complete yet."""
        return any(file.taken is None and file.stamp[0] > 0 for file in self._files.values())


def watch(
    batch: Batch, runner: Runner, find: Callable[[], list[BatchItem]], watching: Watching
) -> None:
    """Check clips as they come, until nothing happened for as long as was asked for.

    Parameters
    ----------
    find : callable
        Returns the clips that are there now.
    """
    arrivals = Arrivals(watching.settle_s)
    waiting: deque[Clip] = deque()
    next_look = active = time.monotonic()
    written, stale = -GROUP_EVERY_S, True
    while True:
        now = time.monotonic()
        if now >= next_look:
            there = find()
            before = batch.listed
            waiting.extend(batch.follow(arrivals.look(there, now), there))
            stale |= batch.listed < before
            next_look = now + watching.look_s
        pause = max(next_look - time.monotonic(), 0.0)
        stale |= batch.advance(waiting, runner, pause)
        at_work = bool(waiting or runner.busy or batch.unwritten)
        if not at_work:
            time.sleep(pause)
        now = time.monotonic()
        if at_work or arrivals.growing:
            active = now
        if stale and (not at_work or now - written >= GROUP_EVERY_S):
            batch.write_group()
            written, stale = now, False
        if watching.idle_exit_s is not None and now - active >= watching.idle_exit_s:
            return
