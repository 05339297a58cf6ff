"""Checking a clip opens no connection: what is filmed stays on this machine."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest
from e2e_support import environment, find_program, read_sheet, run_python

pytestmark = pytest.mark.model

# A socket of any kind, a look-up of a host, or a connection ends the program at once.
WITHOUT_SOCKETS = """
import os, sys
def watch(event, _):
    if event.startswith("socket."):
        sys.stderr.write(event)
        sys.stderr.flush()
        os._exit(99)
sys.addaudithook(watch)
from motioncheck.cli.main import run
run()
"""


def test_a_check_runs_with_sockets_taken_away(tmp_path, squat):
    words = ("check", squat, "-m", "air-squat", "--annotated", "-o", tmp_path / "out")
    run = run_python(WITHOUT_SOCKETS, *words, "--no-cache")
    assert run.returncode == 0, run.stderr
    assert len(read_sheet(tmp_path / "out")["events"]) == 2


def test_records_of_people_are_made_read_and_erased_with_sockets_taken_away(tmp_path, squat):
    history = ("--history", tmp_path / "history.db")
    for words in (
        ("person", "add", "seat5", "--birth-year", "1990"),
        ("check", squat, "-m", "air-squat", "-o", tmp_path / "out", "--person", "seat5",
         "--keep-clip", "--no-cache"),
        ("history", "show", "seat5"),
        ("trend", "seat5", "--out", tmp_path / "trend", "--note"),
        ("history", "backup", tmp_path / "copy.db"),
        ("person", "export", "seat5", "--out", tmp_path / "seat5.zip"),
        ("person", "erase", "seat5", "--yes"),
    ):  # fmt: skip
        run = run_python(WITHOUT_SOCKETS, *words, *history)
        assert run.returncode == 0, (words, run.stderr)
    assert (tmp_path / "trend" / "note.html").is_file()
    assert not (tmp_path / "out").exists()


def test_taking_sockets_away_is_noticed():
    """Guards the test above: the trap has to close on a program that does look up a host."""
    code = WITHOUT_SOCKETS.replace(
        "from motioncheck.cli.main import run\nrun()", "import http.client\n"
        "http.client.HTTPConnection('localhost', 9).connect()",
    )  # fmt: skip
    assert run_python(code).returncode == 99


def test_the_system_sees_no_network_socket_either(tmp_path, squat):
    strace = shutil.which("strace")
    if strace is None:
        pytest.skip("strace is not installed; the test with sockets taken away still holds")
    log = tmp_path / "calls.txt"
    words = ["check", squat, "-m", "air-squat", "-o", tmp_path / "out", "--no-cache"]
    trace = [strace, "-f", "--seccomp-bpf", "-e", "trace=network", "-o", log]
    run = subprocess.run(
        [*trace, find_program(), *words],
        env=environment(), capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    if run.returncode != 0 and "ptrace" in run.stderr:
        pytest.skip("tracing other programs is not allowed here")
    assert run.returncode == 0, run.stderr
    assert len(read_sheet(tmp_path / "out")["events"]) == 2
    calls = log.read_text("utf-8")
    assert re.findall(r".*(?:AF_INET|AF_NETLINK|connect\(|sendto\().*", calls) == []
    assert "exited with 0" in calls
