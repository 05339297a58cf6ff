"""Ctrl-C stops the program at once, with one sentence and nothing half-written."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

import pytest
from e2e_support import SQUAT, environment, list_names

pytestmark = [
    pytest.mark.model,
    pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT for one process"),
]

# Says on stdout when the named function is called for the fifth time, and how often in the end.
WATCHED = """
import atexit, importlib, signal, sys
# A shell that starts programs in the background makes them deaf to SIGINT.
signal.signal(signal.SIGINT, signal.default_int_handler)
place, name = sys.argv.pop(1), sys.argv.pop(1)
owner = importlib.import_module(place)
*path, last = name.split(".")
for part in path:
    owner = getattr(owner, part)
real, calls = getattr(owner, last), []
def watched(*args, **options):
    calls.append(1)
    if len(calls) == 5:
        print("under way", flush=True)
    return real(*args, **options)
setattr(owner, last, watched)
atexit.register(lambda: print(len(calls), flush=True))
from motioncheck.cli.main import run
run()
"""


def interrupt(place, name, *words, **extra):
    """Start a check, send SIGINT while the named function is at work, and wait for the end."""
    process = subprocess.Popen(
        [sys.executable, "-c", WATCHED, place, name, "check", *map(str, words)],
        env=environment(**extra),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline().strip() == "under way"
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    finally:
        process.kill()
    return process.returncode, int(out.split()[-1]), err


@pytest.mark.parametrize(
    ("place", "name"),
    [
        ("motioncheck.landmarks.model", "PoseModel.detect"),
        ("motioncheck.pipeline.annotate", "annotate_frame"),
    ],
    ids=["while following", "while annotating"],
)
def test_ctrl_c_stops_at_once_and_leaves_nothing(tmp_path, squat, place, name):
    results, scratch = tmp_path / "results", tmp_path / "scratch"
    results.mkdir()
    scratch.mkdir()
    following = name == "PoseModel.detect"
    code, calls, said = interrupt(
        place, name, SQUAT if following else squat, "-m", "air-squat", "--annotated",
        "--out", results / "out", TMPDIR=scratch, MOTIONCHECK_CACHE=tmp_path / "cache",
    )  # fmt: skip
    assert code == 130
    assert said.strip() == "motioncheck: stopped; nothing was written."
    assert calls < 100  # of 390 pictures, or 151: it did not go on to the end
    assert list_names(results) == []
    assert list_names(scratch) == []
