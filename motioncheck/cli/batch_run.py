"""What `motioncheck batch` does: from options to a request, progress, and the last words."""

from __future__ import annotations

import os
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn

from motioncheck.batch.find import Given, is_code, is_day, is_session
from motioncheck.batch.items import Outcome
from motioncheck.batch.run import run_batch
from motioncheck.batch.settings import (
    BatchReport,
    BatchRequest,
    Recording,
    Step,
    Watching,
)
from motioncheck.errors import STRICT_MISS_CODE, MotionCheckError, NotMeasurableError, UsageError
from motioncheck.pipeline.options import CheckOptions, default_cache
from motioncheck.sheet.words import split_notes
from motioncheck.sheet.write import require_place
from motioncheck.wording import join_words

STOPPED_CODE = 130
# Estimates from less than this are worth nothing.
MIN_ESTIMATE_S = 3.0


class StoppedError(MotionCheckError):
    """The batch was stopped from the keyboard; what was done until then stays."""

    exit_code = STOPPED_CODE
    default_hint = "The same command goes on from there."


@dataclass(frozen=True, slots=True)
class BatchCommand:
    """What was asked for on the command line."""

    places: tuple[Path, ...]
    out: Path | None
    manifest: Path | None
    movement: str | None
    person: str
    session: str
    day: str
    jobs: int | None
    watch: bool
    idle_exit: float | None
    scheduler: str
    record: bool
    history: str | None
    keep_clip: bool
    standards: Path | None
    show_face: bool
    use_cache: bool
    replace: bool
    strict: bool


def run_command(command: BatchCommand) -> int:
    """Run a batch and print what came of it; return the exit code.

    Raises
    ------
    StoppedError
        After Ctrl-C, once everything is tidy.
    """
    request = make_request(command)
    with BatchProgress() as progress:
        if request.watching is not None:
            progress.note(f"Following {join_words([str(p) for p in request.places])}.")
        report = run_batch(request, on_step=progress, on_note=progress.note)
    print_report(report, record=request.recording is not None)
    if report.stopped:
        done = report.checked + report.failed + report.skipped
        clips = "1 clip is" if done == 1 else f"{done} clips are"
        verb = "is" if report.waiting == 1 else "are"
        left = f", {report.waiting} {verb} left" if report.waiting else ""
        raise StoppedError(f"Stopped; {clips} done{left}.")
    return choose_code(report, strict=command.strict)


def choose_code(report: BatchReport, *, strict: bool) -> int:
    """Return the exit code of a batch that came to its end."""
    if strict and report.misses:
        return STRICT_MISS_CODE
    nothing = report.checked == 0 and report.failed > 0
    if nothing or (strict and report.failed):
        return NotMeasurableError.exit_code
    return 0


def make_request(command: BatchCommand) -> BatchRequest:
    """Return what is asked for; raises `UsageError` when it does not fit together."""
    _require_sense(command)
    out = command.out or default_out(command.places, command.manifest)
    require_place(out)
    record = command.record or command.history is not None
    return BatchRequest(
        places=command.places,
        out=out,
        options=CheckOptions(
            standards_folder=command.standards.resolve() if command.standards else None,
            cache_folder=default_cache() if command.use_cache else None,
            show_face=command.show_face,
        ),
        given=Given(command.person, command.movement, command.session, command.day),
        manifest=command.manifest,
        jobs=command.jobs or os.cpu_count() or 1,
        scheduler=command.scheduler,
        recording=Recording(command.history, command.keep_clip) if record else None,
        watching=Watching(idle_exit_s=command.idle_exit) if command.watch else None,
        replace=command.replace,
    )


def _require_sense(command: BatchCommand) -> None:
    if not command.places and command.manifest is None:
        raise UsageError(
            "Expected a folder, clips or a manifest, found nothing.",
            hint="Example: motioncheck batch FOLDER",
        )
    if command.person and not is_code(command.person):
        raise UsageError(f"Expected --person to be a code such as seat3; found {command.person!r}.")
    if command.session and not is_session(command.session):
        raise UsageError(f"Expected --session to be a short name; found {command.session!r}.")
    if command.day and not is_day(command.day):
        raise UsageError(f"Expected --day as YEAR-MONTH-DAY; found {command.day!r}.")
    if command.keep_clip and not command.record and command.history is None:
        raise UsageError("Expected --keep-clip together with --record, found it alone.")
    if command.idle_exit is not None and not command.watch:
        raise UsageError("Expected --idle-exit together with --watch, found it alone.")
    if command.watch and not any(place.is_dir() for place in command.places):
        raise UsageError("Expected a folder to watch, found none.")


def default_out(places: tuple[Path, ...], manifest: Path | None) -> Path:
    """Return where results go unless told otherwise: beside what was given first."""
    first = places[0] if places else manifest
    assert first is not None  # one of them was asked for
    first = first.absolute()
    return first.with_name(f"{first.name if first.is_dir() else first.stem}.batch")


class BatchProgress:
    """Callable for each clip that is done: a line each, and a bar with an estimate below.

    Where standard error is no terminal there are plain lines only, with the estimate in them.
    """

    def __init__(self) -> None:
        self._console = Console(stderr=True, highlight=False, soft_wrap=True)
        self._terminal = sys.stderr.isatty()
        self._progress = Progress(
            TextColumn("{task.completed} of {task.total} clips"),
            BarColumn(),
            TextColumn("{task.fields[left]}"),
            console=self._console,
            transient=True,
            disable=not self._terminal,
        )
        self._task: TaskID | None = None
        self._started = time.monotonic()
        self._known_bytes = 0

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

    def note(self, text: str) -> None:
        """Show a sentence above the bar."""
        plain = "".join(c if c.isprintable() else " " for c in text)
        self._console.print(f"motioncheck: {plain}", markup=False)

    def __call__(self, step: Step) -> None:
        """Show that a clip is done."""
        if not step.fresh:
            self._known_bytes += step.size_bytes
        left = describe_left(step, self._known_bytes, time.monotonic() - self._started)
        if self._task is None:
            self._task = self._progress.add_task("", total=step.total, left="")
        self._progress.update(self._task, completed=step.done, total=step.total, left=left)
        if step.fresh or step.outcome.state != "checked":
            rest = f" ({left})" if left and not self._terminal else ""
            line = f"[{step.done}/{step.total}] {describe_outcome(step.outcome)}{rest}"
            self._console.print(line, markup=False)


def describe_outcome(outcome: Outcome) -> str:
    """Return one line about a clip."""
    name = "".join(c if c.isprintable() else "?" for c in outcome.item.name)
    if outcome.sheet is not None:
        sheet = outcome.sheet
        first_notes, _ = split_notes(sheet.summary.notes)
        return " ".join([f"{name}: {sheet.movement.title}.", *first_notes, sheet.summary.headline])
    return f"{name}: {outcome.state}. {outcome.reason}"


def describe_left(step: Step, known_bytes: int, passed_s: float) -> str:
    """Return about how long the rest takes, judged by the sizes of the files; empty if unknown."""
    checked = step.done_bytes - known_bytes
    rest = step.total_bytes - step.done_bytes
    if checked <= 0 or rest <= 0 or passed_s < MIN_ESTIMATE_S:
        return ""
    return f"about {describe_time(passed_s * rest / checked)} left"


def describe_time(seconds: float) -> str:
    """Return a time as people say it."""
    if seconds < 90:
        return f"{max(round(seconds), 1)} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes / 60:.1f} h"


def print_report(report: BatchReport, *, record: bool) -> None:
    """Print what came of a batch and where it is."""
    print(f"Checked: {report.checked}, without a result: {report.failed}", end="")
    print(f", the same clip twice: {report.skipped}" if report.skipped else "", end="")
    known = report.checked + report.failed - report.fresh
    were = "was" if known == 1 else "were"
    print(f"; {known} of them {were} done before." if known > 0 else ".")
    if record:
        print(f"In the history: {report.recorded}.")
        if report.without_person:
            print(
                f"Not in the history, because nobody said whose they are: {report.without_person}."
            )
    for sentence in report.refused:
        print(f"Not in the history: {sentence}")
    print(f"Group sheet: {report.group}")
