"""Progress on the terminal: a bar with an estimate on stderr, nothing when it is not a terminal."""

from __future__ import annotations

import sys
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import (
    BarColumn,
    Progress,
    TaskID,
    TaskProgressColumn,
    TextColumn,
    TimeRemainingColumn,
)

STAGES = {
    "landmarks": "Following the body",
    "naming": "Telling the movement",
    "measuring": "Measuring",
    "fitting": "Fitting a body",
    "pictures": "Taking stills",
    "annotating": "Drawing the annotated clip",
}


class ProgressLine:
    """Callable ``(stage, done, total)`` that draws a progress bar while it is open."""

    def __init__(self) -> None:
        self._progress = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            TaskProgressColumn(),
            TimeRemainingColumn(),
            console=Console(stderr=True),
            transient=True,
            disable=not sys.stderr.isatty(),
        )
        self._stage = ""
        self._task: TaskID | None = None

    def __enter__(self) -> Self:
        self._progress.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._progress.stop()

    def __call__(self, stage: str, done: int, total: int) -> None:
        """Show how far a stage is; the total is 0 when unknown."""
        if stage != self._stage:
            self._stage = stage
            if self._task is not None:
                self._progress.remove_task(self._task)
            self._task = self._progress.add_task(STAGES.get(stage, stage), total=total or None)
        if self._task is not None:
            self._progress.update(self._task, completed=done, total=total or None)
