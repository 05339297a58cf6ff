"""Programs that write to a history for the tests: many at once, or killed half-way.

``record PLACE NAME SECONDS`` says that it is ready, waits for a line, records shared clips and its
own until the time is over, and prints what the history answered. ``crash PLACE CLIP`` is killed
before the first statement, then before the second and so on until it comes through, and prints
after each whether the old state was left.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from pathlib import Path

from history_examples import dump, make_sheet
from sqlalchemy import Engine, event

from motioncheck.history import open_history
from motioncheck.history.codes import now
from motioncheck.records.history import Correction

PEOPLE = 3
MIN_ROUNDS = 12


def record(place, name, seconds):
    """Record two clips in turn: one that others record as well, one of its own."""
    answers, number = [], 0
    with open_history(place) as history:
        # All begin together, however long each took to start.
        print("ready", flush=True)
        sys.stdin.readline()
        until = time.monotonic() + seconds
        while number < MIN_ROUNDS or time.monotonic() < until:
            for clip in (f"shared{number}", f"{name}{number}"):
                sheet = make_sheet(clip)
                person = f"seat{number % PEOPLE}"
                # A handful of sessions, so that these too are made by several at once.
                done = history.record(
                    sheet, person=person, session=f"week {number // 20}", day="2026-03-01"
                )
                answers.append((clip, done.check_id, done.status))
            history.add_correction(
                Correction("note", sheet.clip.sha256, "air-squat", name, now(), text=clip)
            )
            number += 1
    print(json.dumps({"answers": answers, "rounds": number}))


def crash(place, clip):
    """Be killed at every statement in turn."""
    with open_history(place) as history:
        before = dump(history)
    for number in range(1, 1000):
        child = os.fork()
        if child == 0:
            _record_and_die(place, clip, number)
        _, status = os.waitpid(child, 0)
        with open_history(place) as history:
            after = dump(history)
        killed = os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL
        print(json.dumps({"killed": killed, "status": status, "old": after == before}), flush=True)
        if not killed:
            return


def _record_and_die(place, clip, number):
    """Record, and be killed before the statement of this number; the commit counts as one."""
    count = 0

    def step(*_):
        nonlocal count
        count += 1
        if count == number:
            os.kill(os.getpid(), signal.SIGKILL)

    try:
        with open_history(place) as history:
            event.listen(Engine, "before_cursor_execute", step)
            event.listen(Engine, "commit", step)
            history.record(
                make_sheet("a", version="2"), person="seat3", day="2026-03-02",
                clip_path=Path(clip), keep_clip=True, plan=("plan.toml", "title = 1"),
            )  # fmt: skip
        os._exit(0)
    finally:
        os._exit(1)


if __name__ == "__main__":
    if sys.argv[1] == "record":
        record(sys.argv[2], sys.argv[3], float(sys.argv[4]))
    else:
        crash(sys.argv[2], sys.argv[3])
