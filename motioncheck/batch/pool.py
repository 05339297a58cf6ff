"""Workers on this machine: a process for each clip under way.

Each worker has a pool of its own, because workers that share a channel can leave it locked or cut
short when one of them is killed. What they return is small and comes through in one piece; the
rendered files are put into a folder beside the results.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import tempfile
import threading
from collections.abc import Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Final, Protocol, Self

from motioncheck.batch.work import Answer, Task, Work, answer_task
from motioncheck.sheet.write import plain_errors

if TYPE_CHECKING:
    from pebble import ProcessPool

TRIES: Final = 2
# Libraries read these when they are loaded, so they are set before a worker starts.
THREAD_VARIABLES: Final = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
)


class Runner(Protocol):
    """Where tasks are done: workers of this machine, or a cluster."""

    def __enter__(self) -> Self:
        """Start."""

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End the workers, whatever they are doing."""

    @property
    def room(self) -> int:
        """How many more tasks it can take now."""

    @property
    def busy(self) -> int:
        """How many tasks are under way."""

    def submit(self, task: Task) -> None:
        """Take a task."""

    def collect(self, timeout_s: float) -> list[tuple[Task, Answer]]:
        """Return what was finished, waiting for something at most so long."""


@dataclass
class _Slot:
    """A worker, what it is doing, and how often that was tried."""

    pool: ProcessPool
    task: Task | None = None
    future: Future[Answer] | None = None
    tries: int = 0


class LocalRunner:
    """Workers as processes of this machine.

    Parameters
    ----------
    work : callable
        A function of a module, so that a worker can import it.
    jobs : int
        How many clips are checked at once.
    staging : Path
        A folder for what the workers render; it is there already and is emptied by the caller.
    """

    def __init__(self, work: Work, jobs: int, staging: Path) -> None:
        self._work = work
        self._staging = staging
        self._jobs = jobs
        self._slots: list[_Slot] = []
        self._kept: Mapping[str, str | None] = {}

    def __enter__(self) -> Self:
        self._kept = {name: os.environ.get(name) for name in THREAD_VARIABLES}
        os.environ.update(dict.fromkeys(THREAD_VARIABLES, "1"))
        self._slots = [_Slot(_make_pool()) for _ in range(self._jobs)]
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for slot in self._slots:
            slot.pool.stop()  # type: ignore[no-untyped-call]
        for slot in self._slots:
            slot.pool.join()
        self._slots = []
        for name, value in self._kept.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value

    @property
    def room(self) -> int:
        """How many workers have nothing to do."""
        return sum(slot.task is None for slot in self._slots)

    @property
    def busy(self) -> int:
        """How many clips are being checked."""
        return len(self._slots) - self.room

    def submit(self, task: Task) -> None:
        """Give a task to a worker that has none."""
        slot = next(s for s in self._slots if s.task is None)
        slot.task, slot.tries = task, 0
        self._start(slot)

    def collect(self, timeout_s: float) -> list[tuple[Task, Answer]]:
        """Return what was finished, waiting for something at most so long."""
        futures = [s.future for s in self._slots if s.future is not None]
        if futures:
            wait(futures, timeout=timeout_s, return_when=FIRST_COMPLETED)
        done = []
        for slot in self._slots:
            if slot.task is None or slot.future is None or not slot.future.done():
                continue
            answer = self._finish(slot)
            if answer is not None:
                done.append((slot.task, answer))
                slot.task = slot.future = None
        return done

    def _start(self, slot: _Slot) -> None:
        slot.tries += 1
        assert slot.task is not None  # given by the caller
        for _ in range(TRIES):
            with interrupts_held_back():
                try:
                    slot.future = slot.pool.schedule(
                        run_staged, args=(self._work, slot.task, self._staging)
                    )
                except RuntimeError:  # its worker was killed while it had nothing to do
                    _renew(slot)
                else:
                    return
        raise RuntimeError("a worker cannot be started")

    def _finish(self, slot: _Slot) -> Answer | None:
        """Return the answer; None when the worker was lost and the clip is tried again."""
        from concurrent.futures.process import BrokenProcessPool

        from pebble import ProcessExpired

        assert slot.future is not None  # asked for by `collect`
        try:
            return slot.future.result()
        except (ProcessExpired, BrokenProcessPool) as error:
            code = getattr(error, "exitcode", None)
        _renew(slot)
        if slot.tries < TRIES:
            self._start(slot)
            return None
        return Answer(error=_describe_end(code))


def _describe_end(code: int | None) -> str:
    how = ""
    if code is not None and code < 0:
        with contextlib.suppress(ValueError):
            how = f" by {signal.Signals(-code).name}"
    elif code:
        how = f" with code {code}"
    return (
        f"The process that checked this clip was ended{how}, {TRIES} times. "
        "Check it alone to see why; too little memory is the most usual reason."
    )


def _make_pool() -> ProcessPool:
    import multiprocessing

    from pebble import ProcessPool

    # A fresh interpreter: the libraries used here do not survive being forked.
    context = multiprocessing.get_context("spawn")
    return ProcessPool(max_workers=1, initializer=end_with_parent, context=context)


def _renew(slot: _Slot) -> None:
    """Put a new pool in the place of one whose worker is gone."""
    slot.pool.stop()  # type: ignore[no-untyped-call]
    slot.pool.join()
    slot.pool = _make_pool()


def end_with_parent() -> None:
    """Make this worker end when the program that started it is gone, however that ended."""
    threading.Thread(target=_wait_for_parent, name="motioncheck-parent", daemon=True).start()


def _wait_for_parent() -> None:
    import multiprocessing

    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


@contextlib.contextmanager
def interrupts_held_back() -> Iterator[None]:
    """Keep Ctrl-C from threads and processes that are started meanwhile; it comes afterwards.

    The terminal sends it to every process of the program; the main one tells the others.
    """
    if sys.platform == "win32":
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def run_staged(work: Work, task: Task, staging: Path) -> Answer:
    """Do the work and put its files into a new folder below ``staging``.

    Raises
    ------
    OutputError
        If they cannot be written there: with a full disk no other clip would fare better.
    """
    answer = answer_task(work, task)
    if not answer.files:
        return answer
    with plain_errors(staging.parent):
        folder = Path(tempfile.mkdtemp(dir=staging))
        for name, content in answer.files.items():
            (folder / name).write_bytes(content)
    return replace(answer, files={}, staged=str(folder))
