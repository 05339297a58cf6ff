"""A batch on a cluster: a real scheduler and workers, each a process of its own."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import NamedTuple

import pytest
from batch_fakes import make_sheet, quick_check, write_clip

from motioncheck.batch import cluster as module
from motioncheck.batch.run import run_batch
from motioncheck.batch.settings import BatchRequest
from motioncheck.errors import MissingPartError, UsageError

pytest.importorskip("distributed")
TESTS = Path(__file__).parent
SHEET = make_sheet(0)
# Sockets that the library leaves to the garbage collector when its own processes are killed.
pytestmark = pytest.mark.filterwarnings(
    "ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning"
)


def run_dask(*words, cwd):
    environment = {**os.environ, "PYTHONPATH": str(TESTS), "OMP_NUM_THREADS": "1"}
    return subprocess.Popen(
        [sys.executable, "-m", "dask", *words],
        env=environment, cwd=cwd, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def add_worker(address, cwd):
    return run_dask(
        "worker", address, "--no-nanny", "--nthreads", "1", "--no-dashboard", cwd=cwd
    )  # fmt: skip


def drain(process):
    """Read what a process prints, so that it never waits for a reader; closes it at the end."""

    def read():
        with process.stderr:
            process.stderr.read()

    threading.Thread(target=read, daemon=True).start()


class Cluster(NamedTuple):
    """Address of a scheduler, and the processes."""

    address: str
    workers: list
    scheduler: subprocess.Popen


@pytest.fixture
def cluster(tmp_path):
    """A scheduler and two workers."""
    scheduler = run_dask(
        "scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--no-show",
        cwd=tmp_path,
    )  # fmt: skip
    processes = [scheduler]
    try:
        address = None
        for line in scheduler.stderr:
            found = re.search(r"Scheduler at:\s+(tcp://127\.0\.0\.1:\d+)", line)
            if found:
                address = found[1]
                break
        assert address, "the scheduler did not start"
        workers = [add_worker(address, tmp_path) for _ in range(2)]
        processes += workers
        for process in processes:
            drain(process)
        yield Cluster(address, workers, scheduler)
    finally:
        for process in processes[::-1]:
            process.kill()
            process.wait()
        for process in processes:
            wait_until(lambda process=process: process.stderr.closed)


def wait_until(condition, limit_s=5.0):
    deadline = time.monotonic() + limit_s
    while not condition() and time.monotonic() < deadline:
        time.sleep(0.02)


def fill(folder, count, log, **behaviour):
    for number in range(count):
        path = folder / f"seat{number % 4 + 1}" / f"clip{number}.mp4"
        write_clip(path, SHEET, note=number, log=str(log), **behaviour)


def read_rows(out):
    group = json.loads((out / "group.json").read_bytes())
    return group["rows"], group["without_result"]


def read_log(log):
    try:
        lines = log.read_text(encoding="utf-8").splitlines()
    except OSError:
        return []
    return [(name, int(pid)) for name, pid in (line.split() for line in lines)]


@pytest.mark.slow
def test_two_workers_share_the_clips_and_the_death_of_one_loses_none(tmp_path, cluster):
    address, workers, _ = cluster
    log = tmp_path / "log.txt"
    fill(tmp_path / "crew", 12, log, late=0.3)
    write_clip(tmp_path / "crew" / "seat9" / "bad.mp4", SHEET, fails="Nothing there.")
    killed = []

    def kill_half_way():
        while len({pid for _, pid in read_log(log)}) < 2 or len(read_log(log)) < 6:
            time.sleep(0.02)
        # In the middle of a clip, because it has just written its line.
        victim = read_log(log)[-1][1]
        os.kill(victim, signal.SIGKILL)
        killed.append(victim)

    killer = threading.Thread(target=kill_half_way)
    killer.start()
    request = BatchRequest((tmp_path / "crew",), tmp_path / "out", scheduler=address)
    report = run_batch(request, work=quick_check)
    killer.join()
    assert killed
    assert killed[0] in {worker.pid for worker in workers}
    assert (report.checked, report.failed) == (12, 1)
    tried = [name for name, _ in read_log(log)]
    assert len(set(tried)) == 12
    assert len(tried) > 12, "the clip of the killed worker was tried again"
    cluster_rows = read_rows(tmp_path / "out")
    # The same rows as on this machine, and nothing to do for the same batch here.
    local = BatchRequest((tmp_path / "crew",), tmp_path / "local", jobs=2)
    run_batch(local, work=quick_check)
    assert read_rows(tmp_path / "local") == cluster_rows
    again = BatchRequest((tmp_path / "crew",), tmp_path / "out", jobs=2)
    assert run_batch(again, work=quick_check).fresh == 0


@pytest.mark.slow
@pytest.mark.model
def test_a_real_clip_is_checked_on_a_cluster(tmp_path, cluster):
    clip = TESTS.parent / "sample_clips_synthetic" / "squat_side_faults.mp4"
    request = BatchRequest((clip,), tmp_path / "out", scheduler=cluster.address)
    report = run_batch(request)
    assert report.checked == 1
    [row] = read_rows(tmp_path / "out")[0]
    assert row["movement"] == "air-squat"
    assert (tmp_path / "out" / row["sheet"]).stat().st_size > 100_000


def test_no_scheduler_at_the_address_is_a_plain_sentence(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "CONNECT_S", 0.5)
    write_clip(tmp_path / "crew" / "clip.mp4", SHEET)
    request = BatchRequest((tmp_path / "crew",), tmp_path / "out", scheduler="tcp://127.0.0.1:9")
    with pytest.raises(UsageError, match=r"Expected a scheduler at tcp://127\.0\.0\.1:9"):
        run_batch(request, work=quick_check)
    request = BatchRequest((tmp_path / "crew",), tmp_path / "out", scheduler="what?")
    with pytest.raises(UsageError, match="Expected a scheduler"):
        run_batch(request, work=quick_check)


def test_without_the_library_it_says_how_to_install_it(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    write_clip(tmp_path / "crew" / "clip.mp4", SHEET)
    request = BatchRequest((tmp_path / "crew",), tmp_path / "out", scheduler="tcp://127.0.0.1:9")
    with pytest.raises(MissingPartError, match=r"motioncheck\[cluster\]"):
        run_batch(request, work=quick_check)


class LonelyClient:
    """A cluster to which nobody has come; ``workers`` is how many there are."""

    status = "running"

    def __init__(self, workers):
        self._workers = workers

    def nthreads(self):
        return {f"worker {number}": 1 for number in range(self._workers)}

    def run(self, function, on_error):
        if not self._workers:
            raise ValueError("No workers found")
        return {name: function() for name in self.nthreads()}

    def cancel(self, futures, force):
        pass

    def close(self, timeout):
        pass


@pytest.mark.parametrize(("workers", "alone_s", "times"), [(0, 0.0, 1), (0, 60.0, 0), (1, 0.0, 0)])
def test_a_scheduler_without_workers_is_told_once_and_waited_for(
    monkeypatch, workers, alone_s, times
):
    monkeypatch.setattr(module, "ALONE_S", alone_s)
    monkeypatch.setattr(module, "COUNT_EVERY_S", 0.0)
    monkeypatch.setattr(module, "_connect", lambda address: LonelyClient(workers))
    notes = []
    with module.ClusterRunner(quick_check, "tcp://127.0.0.1:9", notes.append) as runner:
        for _ in range(3):
            assert runner.collect(0.0) == []
    assert notes == ["The scheduler has no workers yet; waiting."] * times


def test_an_address_that_is_none_is_said_at_once(tmp_path):
    write_clip(tmp_path / "crew" / "clip.mp4", SHEET)
    request = BatchRequest((tmp_path / "crew",), tmp_path / "out", scheduler="here:8786")
    with pytest.raises(UsageError, match=r"as tcp://HOST:PORT, found 'here:8786'"):
        run_batch(request, work=quick_check)


@pytest.mark.slow
def test_a_lost_scheduler_ends_the_batch_and_what_is_done_stays(tmp_path, cluster):
    address, _, scheduler = cluster
    log = tmp_path / "log.txt"
    fill(tmp_path / "crew", 12, log, late=0.3)

    def kill_scheduler():
        while len(read_log(log)) < 5:
            time.sleep(0.02)
        scheduler.kill()

    killer = threading.Thread(target=kill_scheduler)
    killer.start()
    request = BatchRequest((tmp_path / "crew",), tmp_path / "out", scheduler=address)
    report = run_batch(request, work=quick_check)
    killer.join()
    assert report.checked >= 1
    assert report.checked + report.failed == 12
    assert report.failed > 0
    again = run_batch(
        BatchRequest((tmp_path / "crew",), tmp_path / "out", jobs=2), work=quick_check
    )
    assert (again.checked, again.failed) == (12, 0)
    assert again.fresh == report.failed
