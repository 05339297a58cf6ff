"""Workers of a cluster: tasks over clips go out, the rendered files come back.

The workers read the clips themselves, under the same path as here. They write nothing but their
own cache; the history and all results are written by the main program.
"""

from __future__ import annotations

import contextlib
import math
import re
import time
from dataclasses import replace
from queue import Empty, SimpleQueue
from types import TracebackType
from typing import Any, Final, Self

from motioncheck import __version__
from motioncheck.batch.settings import OnNote, ignore_note
from motioncheck.batch.work import Answer, Task, Work, answer_task
from motioncheck.errors import MissingPartError, UsageError
from motioncheck.pipeline.options import default_cache

# Client and Future of a library without types.
Client = Any
Future = Any

CONNECT_S: Final = 15.0
# A worker always finds its next clip waiting; results are still collected as they come.
AHEAD: Final = 2
# Asking the scheduler how many workers there are takes a while; this often is enough.
COUNT_EVERY_S: Final = 1.0
# Workers that are started together with the batch are there by then.
ALONE_S: Final = 5.0
_ADDRESS: Final = re.compile(r"[a-z]+://.+:[0-9]+/?")


class ClusterRunner:
    """Workers of a Dask cluster.

    Parameters
    ----------
    work : callable
        A function of a module that the workers can import.
    address : str
        Of the scheduler, ``tcp://HOST:PORT``.
    on_note : callable, optional
        Told once when there is nobody to do the work; it is waited for all the same.

    Raises
    ------
    MissingPartError
        If the library is not installed.
    UsageError
        If no scheduler answers there, or a worker has another version of this program.
    """

    def __init__(self, work: Work, address: str, on_note: OnNote = ignore_note) -> None:
        self._work = work
        self._address = address
        self._on_note = on_note
        self._client: Client | None = None
        self._tasks: dict[int, tuple[Task, Future]] = {}
        self._finished: SimpleQueue[int] = SimpleQueue()
        self._threads = 0
        self._counted = -math.inf
        self._entered = math.inf
        self._told_alone = False

    def __enter__(self) -> Self:
        self._client = _connect(self._address)
        try:
            _require_same_program(self._client)
        except BaseException:
            self._close()
            raise
        self._entered = time.monotonic()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._close()

    def _close(self) -> None:
        """Take back what is not begun and leave the cluster; it is not ours to stop."""
        client, self._client = self._client, None
        if client is None:
            return
        with contextlib.suppress(Exception):  # the scheduler may be gone
            client.cancel([future for _, future in self._tasks.values()], force=True)
        self._tasks.clear()
        with contextlib.suppress(Exception):
            client.close(timeout=CONNECT_S)

    @property
    def room(self) -> int:
        """How many more tasks keep every worker busy."""
        return max(AHEAD * self._count_threads(), 1) - len(self._tasks)

    @property
    def busy(self) -> int:
        """How many clips were sent and have not come back."""
        return len(self._tasks)

    def _count_threads(self) -> int:
        assert self._client is not None  # inside `with`
        if not self._lost and time.monotonic() - self._counted > COUNT_EVERY_S:
            self._counted = time.monotonic()
            with contextlib.suppress(Exception):  # the scheduler is lost: tasks will tell
                self._threads = sum(self._client.nthreads().values())
        return self._threads

    def submit(self, task: Task) -> None:
        """Send a task."""
        assert self._client is not None  # inside `with`
        sent = replace(task, options=replace(task.options, cache_folder=None))
        try:
            if self._lost:
                raise ConnectionError
            future = self._client.submit(
                answer_from_cluster,
                self._work,
                sent,
                task.options.cache_folder is not None,
                pure=False,
                retries=1,
            )
        except Exception:  # whatever a library raises whose scheduler is lost
            self._tasks[task.number] = (task, None)
            self._finished.put(task.number)
            return
        self._tasks[task.number] = (task, future)
        future.add_done_callback(lambda _, number=task.number: self._finished.put(number))

    @property
    def _lost(self) -> bool:
        """Whether the library has given up reaching the scheduler."""
        return self._client is None or self._client.status in ("closing", "closed")

    def collect(self, timeout_s: float) -> list[tuple[Task, Answer]]:
        """Return what came back, waiting for something at most so long."""
        done: list[tuple[Task, Answer]] = []
        if self._lost:  # nothing will come back any more, and asking could take for ever
            done = [(task, _read_answer(None)) for task, _ in self._tasks.values()]
            self._tasks.clear()
            return done
        self._say_when_alone()
        with contextlib.suppress(Empty):
            number = self._finished.get(timeout=timeout_s) if timeout_s > 0 else None
            while True:
                if number is not None:
                    task, future = self._tasks.pop(number)
                    done.append((task, _read_answer(future)))
                number = self._finished.get_nowait()
        return done

    def _say_when_alone(self) -> None:
        """Tell once when nobody has come to do the work; it is waited for all the same."""
        if self._threads or self._told_alone or self._count_threads():
            return
        if time.monotonic() - self._entered >= ALONE_S:
            self._told_alone = True
            self._on_note("The scheduler has no workers yet; waiting.")


def _connect(address: str) -> Client:
    # The library says nothing useful about other texts, and takes half a minute for it.
    if not _ADDRESS.fullmatch(address):
        raise UsageError(
            f"Expected a scheduler as tcp://HOST:PORT, found {address!r}.",
            hint="`dask scheduler` prints its address when it starts.",
        )
    try:
        import distributed
    except ImportError as error:
        raise MissingPartError(
            "Expected the library for clusters, found it is not installed.",
            hint="Install it with `pip install 'motioncheck[cluster]'`, here and on every worker.",
        ) from error
    connect: Any = distributed.Client
    try:
        return connect(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise UsageError(
            f"Expected a scheduler at {address}, found none ({type(error).__name__}).",
            hint="Start one with `dask scheduler`, or check --scheduler.",
        ) from error


def _require_same_program(client: Client) -> None:
    try:
        found: dict[str, str] = client.run(find_version, on_error="return")
    except ValueError:  # no workers yet
        return
    other = sorted({str(v) for v in found.values() if v != __version__})
    if other:
        raise UsageError(
            f"Expected version {__version__} of this program on every worker, found "
            f"{', '.join(other)}.",
            hint="Install the same version on every machine of the cluster.",
        )


def find_version() -> str:
    """Return the version of this program on a worker."""
    return __version__


def answer_from_cluster(work: Work, task: Task, use_cache: bool) -> Answer:
    """Do the work on a worker of a cluster, with the cache of that machine."""
    if use_cache:
        task = replace(task, options=replace(task.options, cache_folder=default_cache()))
    return answer_task(work, task)


def _read_answer(future: Future) -> Answer:
    """Return the answer; what was lost on the way becomes one as well."""
    if future is None:
        return Answer(error="The cluster gave no result: its scheduler was lost.")
    try:
        answer: Answer = future.result()
    except Exception as error:  # whatever a cluster may raise costs this clip only
        lost = type(error).__name__ == "KilledWorker"
        why = "every worker that was given it was lost" if lost else f"{type(error).__name__}"
        return Answer(error=f"The cluster gave no result: {why}.")
    return answer
