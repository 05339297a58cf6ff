"""A batch over made-up clips in a process of its own: ``batch_driver.py FOLDER OUT [HISTORY]``."""

from __future__ import annotations

import signal
import sys
from pathlib import Path

from batch_fakes import quick_check

from motioncheck.batch.run import run_batch
from motioncheck.batch.settings import BatchRequest, Recording, Step

# A shell that starts programs in the background makes them deaf to SIGINT.
signal.signal(signal.SIGINT, signal.default_int_handler)


def say(step: Step) -> None:
    """Tell whoever started this how far it is."""
    print(step.done, step.fresh, flush=True)


def main() -> None:
    """Run the batch with two workers."""
    folder, out, *history = map(Path, sys.argv[1:])
    recording = Recording(history[0]) if history else None
    report = run_batch(
        BatchRequest((folder,), out, jobs=2, recording=recording),
        work=quick_check,
        on_step=say,
    )
    print("checked", report.checked, "fresh", report.fresh, "stopped", report.stopped, flush=True)


if __name__ == "__main__":
    main()
