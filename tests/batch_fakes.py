"""Clips that are none, and a check that reads them: what a batch does, without the pose model.

A clip is a text file: how its check behaves, and the sheet that comes out of it. The module has to
be importable in workers.
"""

from __future__ import annotations

import hashlib
import json
import os
import signal
import time
from dataclasses import replace
from pathlib import Path

from motioncheck.batch.work import Answer, Task, answer_task
from motioncheck.errors import NoRepsError
from motioncheck.sheet.form import plain


def make_sheet(number: int) -> dict:
    """Return a plausible sheet that differs by its number."""
    import sheet_examples as ex

    sheet = ex.squat_sheet(3 + number % 5, pictures=False).sheet
    movement = replace(sheet.movement, id="air-squat", title="Air squat")
    return plain(replace(sheet, movement=movement))


def write_clip(path: Path, sheet: dict, **behaviour: object) -> Path:
    """Write a made-up clip; ``behaviour`` as in `quick_check`. A ``note`` makes its content new."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps({**behaviour, "sheet": sheet}), encoding="utf-8")
    return path


def quick_check(task: Task) -> Answer:
    """Check a made-up clip.

    It takes ``seconds``, and ``late`` more after it has written into ``log``; ``fails``,
    ``breaks`` and ``dies`` say how it ends instead of well, and ``dies_while`` names a file: it
    dies as long as that is not there, and makes it.
    """
    content = task.clip.read_bytes()
    told = json.loads(content)
    time.sleep(told.get("seconds", 0.0))
    if "log" in told:
        with Path(told["log"]).open("a", encoding="utf-8") as log:
            log.write(f"{task.clip.name} {os.getpid()}\n")
        time.sleep(told.get("late", 0.0))
    if "fails" in told:
        raise NoRepsError(told["fails"])
    if "breaks" in told:
        raise ZeroDivisionError(told["breaks"])
    once = told.get("dies_while")
    if told.get("dies") or (once and not Path(once).exists()):
        if once:
            Path(once).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    sheet = told["sheet"]
    digest = hashlib.sha256(content).hexdigest()
    sheet["clip"] |= {"name": task.clip.name, "sha256": digest}
    files = {
        "sheet.html": f"<p>{digest}".encode(),
        "sheet.json": json.dumps(sheet).encode(),
        "reps.csv": b"rep\n1\n",
        "angles.csv": b"time_s\n0.0\n",
    }
    return Answer(files, sha256=digest)


class InlineRunner:
    """Does the work here and at once: for what does not depend on workers."""

    def __init__(self, work=quick_check) -> None:
        self._work = work
        self._done: list[tuple[Task, Answer]] = []

    def __enter__(self):
        return self

    def __exit__(self, kind, error, trace) -> None:
        pass

    @property
    def room(self) -> int:
        return 1 - len(self._done)

    @property
    def busy(self) -> int:
        return len(self._done)

    def submit(self, task: Task) -> None:
        self._done.append((task, answer_task(self._work, task)))

    def collect(self, timeout_s: float) -> list[tuple[Task, Answer]]:
        done, self._done = self._done, []
        return done
