"""A batch that is stopped: by Ctrl-C, by killing a worker, by killing all of it at any moment."""

from __future__ import annotations

import dataclasses
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from batch_fakes import make_sheet, write_clip

from motioncheck.history import open_history

DRIVER = Path(__file__).with_name("batch_driver.py")
SHEETS = [make_sheet(n) for n in range(3)]
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")


def fill(folder, count, *, seconds):
    """Write clips of a crew of four; every tenth has nothing that can be measured."""
    for number in range(count):
        behaviour = {"fails": "Nothing there."} if number % 10 == 9 else {}
        path = folder / f"seat{number % 4 + 1}" / f"clip{number}.mp4"
        write_clip(path, SHEETS[number % 3], note=number, seconds=seconds, **behaviour)


def start(folder, out, history):
    return subprocess.Popen(
        [sys.executable, str(DRIVER), str(folder), str(out), str(history)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def finish(folder, out, history):
    """Run the batch to its end; returns its last line."""
    process = start(folder, out, history)
    printed, errors = process.communicate(timeout=120)
    assert process.returncode == 0, errors
    assert errors == ""
    return printed.splitlines()[-1]


def read_results(out, history):
    """Return all that a batch leaves behind, without numbers, instants and the order of recording,
    which with two workers is never the same twice.
    """
    files = {
        p.relative_to(out).as_posix(): p.read_bytes()
        for p in out.rglob("*")
        if p.is_file() and p.name not in (".hashes.json", "group.html", "group.json")
    }
    group = json.loads((out / "group.json").read_bytes())
    group.pop("made_at")
    with open_history(history) as store:
        checks = [
            dataclasses.replace(c, id=0, recorded_at="", folder="", clip_number=0)
            for c in store.checks()
        ]
        trials = [
            dataclasses.replace(t, check_id=0, recorded_at="", clip_number=0)
            for person in store.list_people()
            for t in store.trials(person.code)
        ]
    return files, group, sorted(map(repr, checks)), sorted(map(repr, trials))


def living_children(pid):
    """Return the processes that a process has started and that are there now."""
    found = []
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = status.read_text("ascii", "replace").rsplit(")", 1)[1].split()
        except OSError:
            continue
        if int(fields[1]) == pid:
            found.append(int(status.parent.name))
    return found


def wait_until_gone(pids, limit_s=15.0):
    deadline = time.monotonic() + limit_s
    while time.monotonic() < deadline:
        left = [pid for pid in pids if is_running(pid)]
        if not left:
            return []
        time.sleep(0.05)
    return left


def is_running(pid):
    try:
        state = Path(f"/proc/{pid}/stat").read_text("ascii", "replace").rsplit(")", 1)[1].split()[0]
    except OSError:
        return False
    return state != "Z"


def kill_at_random(folder, scratch, moments, *, chain):
    """Kill batches, ``chain`` times each before they are resumed; return how many were done first.

    Each ends as the undisturbed batch does.
    """
    scratch.mkdir()
    # The first run of a changed program compiles it, and would make every kill come too late.
    finish(folder, scratch / "first", scratch / "first.db")
    began = time.monotonic()
    finish(folder, scratch / "calm", scratch / "calm.db")
    whole_s = time.monotonic() - began
    calm = read_results(scratch / "calm", scratch / "calm.db")
    too_late = 0
    for first in range(0, len(moments), chain):
        out, history = scratch / f"out{first}", scratch / f"history{first}.db"
        for moment in moments[first : first + chain]:
            process = start(folder, out, history)
            time.sleep(moment * whole_s)
            too_late += process.poll() is not None
            process.kill()
            process.communicate()
        finish(folder, out, history)
        assert read_results(out, history) == calm, moments[first : first + chain]
        assert not list(out.rglob(".motioncheck-*"))
        assert not list(out.rglob("*.part"))
        assert not (out / ".work").exists()
    return too_late


def test_killed_at_random_moments_it_ends_as_the_undisturbed_one(tmp_path):
    fill(tmp_path / "crew", 10, seconds=0.05)
    # The first part of the time goes into starting; a kill there finds nothing to spoil.
    draw = random.Random(5)
    moments = [draw.uniform(0.4, 0.95) for _ in range(5)]
    assert kill_at_random(tmp_path / "crew", tmp_path / "kills", moments, chain=5) < 5


@pytest.mark.slow
def test_killed_at_fifty_random_moments_it_ends_as_the_undisturbed_one(tmp_path):
    fill(tmp_path / "crew", 40, seconds=0.05)
    draw = random.Random(50)
    moments = [draw.uniform(0.05, 0.95) for _ in range(50)]
    late = kill_at_random(tmp_path / "crew", tmp_path / "kills", moments, chain=2)
    assert late < 25, "most of them must have been killed at work"


def test_ctrl_c_stops_in_order_and_the_same_goes_on(tmp_path):
    fill(tmp_path / "crew", 6, seconds=0.4)
    out, history = tmp_path / "out", tmp_path / "history.db"
    process = start(tmp_path / "crew", out, history)
    assert process.stdout.readline().startswith("1 True")
    workers = living_children(process.pid)
    process.send_signal(signal.SIGINT)
    printed, errors = process.communicate(timeout=30)
    assert process.returncode == 0, errors
    assert errors == ""
    assert "stopped True" in printed
    assert wait_until_gone(workers) == []
    group = json.loads((out / "group.json").read_bytes())
    waiting = [row for row in group["without_result"] if row["state"] == "waiting"]
    assert len(group["rows"]) + len(waiting) == 6
    assert group["rows"]
    assert waiting
    again = finish(tmp_path / "crew", out, history)
    assert again == f"checked 6 fresh {len(waiting)} stopped False"


def test_ctrl_c_that_the_terminal_sends_to_all_is_no_different(tmp_path):
    fill(tmp_path / "crew", 6, seconds=0.4)
    process = subprocess.Popen(
        [sys.executable, str(DRIVER), str(tmp_path / "crew"), str(tmp_path / "out")],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    process.stdout.readline()
    os.killpg(process.pid, signal.SIGINT)
    printed, errors = process.communicate(timeout=30)
    assert errors == ""
    assert "stopped True" in printed


def test_workers_end_with_a_main_program_that_was_killed(tmp_path):
    fill(tmp_path / "crew", 4, seconds=30.0)
    process = start(tmp_path / "crew", tmp_path / "out", tmp_path / "history.db")
    deadline = time.monotonic() + 30.0
    while len(living_children(process.pid)) < 2 and time.monotonic() < deadline:
        time.sleep(0.05)
    time.sleep(1.0)
    workers = living_children(process.pid)
    assert len(workers) >= 2
    process.kill()
    process.communicate()
    assert wait_until_gone(workers) == []


def test_a_worker_killed_from_outside_costs_a_second_try_only(tmp_path):
    log = tmp_path / "log.txt"
    for number in range(4):
        write_clip(
            tmp_path / "crew" / "seat1" / f"clip{number}.mp4", SHEETS[0], note=number, seconds=0.2
        )
    write_clip(tmp_path / "crew" / "seat2" / "long.mp4", SHEETS[1], log=str(log), late=1.5)
    process = start(tmp_path / "crew", tmp_path / "out", tmp_path / "history.db")
    deadline = time.monotonic() + 30.0
    while not log.exists() and time.monotonic() < deadline:
        time.sleep(0.02)
    os.kill(int(log.read_text(encoding="utf-8").split()[-1]), signal.SIGKILL)
    printed, errors = process.communicate(timeout=60)
    assert errors == ""
    assert printed.splitlines()[-1] == "checked 5 fresh 5 stopped False"
    assert len(log.read_text(encoding="utf-8").splitlines()) == 2
