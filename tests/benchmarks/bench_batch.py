"""Speed of a batch: ``python tests/benchmarks/bench_batch.py [--clips N] [--group N]``.

Without ``--group``: a folder of sample clips on one processor, on two, and two bare landmarkers,
each a process of its own, over the same pictures decoded beforehand, with the network as published
and as it is carried (without the mask that nobody reads: same landmarks, less time). Machines
differ and are shared, so the figures to read are ratios taken in one run. With ``--group N``:
sheets and group sheet of N clips whose landmarks were found before. Nothing here is asserted.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import get_context
from multiprocessing.synchronize import Barrier
from pathlib import Path

from bench_check import CARRIED, PUBLISHED, decode_small, run_bare_landmarker

from motioncheck.landmarks import TrackCache, TrackKey

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_clips_synthetic"
# About equally long, each of one person.
NAMES = (
    "squat_side_clean",
    "jacks_front",
    "twist_front",
    "sit_to_stand_five",
    "squat_side_faults",
    "pull_up_front",
    "front_squat_clean",
    "row_clean",
)
BARE = "two bare landmarkers"
UNMASKED = "two bare landmarkers without the mask"
TWO = "batch with --jobs 2 on two processors"
HELD = "batch with --jobs 1 held to one processor"
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")


@dataclass(frozen=True)
class Cost:
    """Seconds by the clock on the wall, and of processor time of all processes."""

    wall_s: float
    cpu_s: float


def run_batch_command(
    folder: Path, out: Path, cache: Path, *words: str, processors: set[int] | None = None
) -> Cost:
    """Run the command as a user would, in a process of its own, with an empty cache or a full.

    ``processors`` are those that it may use, where the system allows to say so.
    """
    hold = None
    if processors is not None and hasattr(os, "sched_setaffinity"):
        hold = partial(os.sched_setaffinity, 0, processors)
    environment = {**os.environ, "MOTIONCHECK_CACHE": str(cache)}
    command = [sys.executable, "-m", "motioncheck.cli.main", "batch", str(folder)]
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(
        [*command, "--out", str(out), *words], check=True, env=environment,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, preexec_fn=hold,
    )  # fmt: skip
    wall_s, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Cost(wall_s, cpu_s)


def share(clips: list[Path]) -> list[list[Path]]:
    """Deal clips to two processes, the longest first, each to the one that has less."""
    halves: list[list[Path]] = [[], []]
    lengths = [0, 0]
    for clip in sorted(clips, key=count_frames, reverse=True):
        shorter = lengths.index(min(lengths))
        halves[shorter].append(clip)
        lengths[shorter] += count_frames(clip)
    return halves


def count_frames(clip: Path) -> int:
    """Return how many pictures a clip has, as its container says."""
    from motioncheck.video import probe_clip

    return probe_clip(clip).frames_expected or 0


def look_at(clips: list[Path], bundle: Path, ready: Barrier) -> None:
    """Decode clips, wait for the other process, and run the bare landmarker over each."""
    decoded = [decode_small(clip) for clip in clips]
    run_bare_landmarker(decoded[0][:5], bundle)
    ready.wait()
    for frames in decoded:
        run_bare_landmarker(frames, bundle)
    ready.wait()


def run_bare_pair(clips: list[Path], bundle: Path) -> Cost:
    """Time two bare landmarkers side by side; their processor time is not told apart."""
    context = get_context("spawn")
    # One that does not come breaks it for the others.
    ready = context.Barrier(3, timeout=600.0)
    workers = [context.Process(target=look_at, args=(half, bundle, ready)) for half in share(clips)]
    for worker in workers:
        worker.start()
    ready.wait()
    began = time.perf_counter()
    cpu = [read_cpu_s(worker.pid) for worker in workers]
    ready.wait()
    wall_s = time.perf_counter() - began
    cpu_s = sum(read_cpu_s(w.pid) for w in workers) - sum(cpu)
    for worker in workers:
        worker.join()
    return Cost(wall_s, cpu_s)


def read_cpu_s(pid: int | None) -> float:
    """Return the processor time of a running process; 0 where the system does not tell."""
    try:
        text = Path(f"/proc/{pid}/stat").read_text("ascii")
    except OSError:
        return 0.0
    user, system = text.rsplit(")", 1)[1].split()[11:13]
    return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")


def compare_jobs(count: int, copies: int) -> None:
    """Print the rate of one processor, of two, and of two bare landmarkers.

    The bare ones see each clip once: their pictures lie in memory. The batch gets ``copies`` of
    each, so that starting and ending weighs as little as in a folder of a squad.
    """
    clips = [SAMPLES / f"{name}.mp4" for name in NAMES[:count]]
    frames = sum(map(count_frames, clips))
    costs: dict[str, Cost] = {}
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "clips"
        folder.mkdir()
        for clip in clips:
            for number in range(copies):
                # A few bytes more are another clip for the program, with the same pictures.
                content = clip.read_bytes() + number.to_bytes(4, "big")
                (folder / f"{clip.stem}_{number}.mp4").write_bytes(content)
        costs[BARE] = run_bare_pair(clips, PUBLISHED)
        costs[UNMASKED] = run_bare_pair(clips, CARRIED)
        first = {sorted(os.sched_getaffinity(0))[0]}
        for title, jobs, processors in ((TWO, "2", None), (HELD, "1", first)):
            place = Path(scratch) / f"{jobs}.batch"
            costs[title] = run_batch_command(
                folder, place, place / "cache", "--jobs", jobs, processors=processors
            )
    print(f"{len(clips)} clips, {frames} pictures, {copies} times in a batch")
    rates = {}
    for title, cost in costs.items():
        seen = frames * (1 if title in (BARE, UNMASKED) else copies)
        rates[title] = seen / cost.wall_s
        print(
            f"{title}: {rates[title]:6.1f} frames/s, "
            f"{1000 * cost.cpu_s / seen:5.1f} ms of processor time a frame"
        )
    print(f"two processors to one: {rates[TWO] / rates[HELD]:.2f} (aim at least 1.8)")
    print(f"batch to two bare landmarkers: {rates[TWO] / rates[BARE]:.2f} (aim at least 0.90)")
    print(f"batch to the same without the mask: {rates[TWO] / rates[UNMASKED]:.2f}")


def copy_kept(cache: TrackCache, key: TrackKey, clip_sha256: str) -> None:
    """Keep for another clip what is kept for one: landmarks, stills and the fitted body."""
    from motioncheck.landmarks import name_clip_entries

    track, other = cache.get(key), replace(key, clip_sha256=clip_sha256)
    assert track is not None
    cache.put(other, track)
    cache.put_stills(other, cache.get_stills(key))
    old, new = name_clip_entries(key.clip_sha256), name_clip_entries(clip_sha256)
    for body in cache.folder.glob(f"{old}*.body.npz"):
        shutil.copy(body, body.with_name(body.name.replace(old, new)))


def read_movements(out: Path) -> dict[str, str]:
    """Return the movement of each clip as a batch found it."""
    group = json.loads((out / "group.json").read_bytes())
    return {row["clip"]: row["movement"] for row in group["rows"]}


def time_group(count: int, *, named: bool) -> None:
    """Print how long many clips take whose landmarks are known, and then the same once more.

    With ``named`` their folders tell the movement, else the program does.
    """
    from motioncheck.pipeline import CheckOptions
    from motioncheck.pipeline.extract import make_key
    from motioncheck.video import probe_clip

    with tempfile.TemporaryDirectory() as scratch:
        cache, folder = Path(scratch) / "cache", Path(scratch) / "clips"
        sources = [SAMPLES / f"{name}.mp4" for name in NAMES[:4]]
        (Path(scratch) / "first").mkdir()
        for clip in sources:
            shutil.copy(clip, Path(scratch) / "first")
        run_batch_command(Path(scratch) / "first", Path(scratch) / "first.batch", cache)
        options = CheckOptions(cache_folder=cache)
        # The first check of kept landmarks fits a body to them as they are kept.
        run_batch_command(Path(scratch) / "first", Path(scratch) / "again", cache)
        keys = [make_key(probe_clip(clip), options) for clip in sources]
        movements = read_movements(Path(scratch) / "again")
        for number in range(count):
            source, key = sources[number % len(sources)], keys[number % len(keys)]
            told = movements[source.name] if named else ""
            clip = folder / f"seat{number}" / told / source.name
            clip.parent.mkdir(parents=True)
            # A few bytes more are another clip for the program, with the same pictures.
            clip.write_bytes(source.read_bytes() + number.to_bytes(4, "big"))
            copy_kept(TrackCache(cache), key, probe_clip(clip).sha256)
        out = Path(scratch) / "out"
        first = run_batch_command(folder, out, cache)
        again = run_batch_command(folder, out, cache)
        page_kb = (out / "group.html").stat().st_size / 1000
    who = "folders" if named else "program"
    print(f"{count} clips from landmarks found before, movement told by the {who}")
    print(f"sheets and group sheet: {first.wall_s:.1f} s, {1000 * first.cpu_s / count:.0f} ms of "
          f"processor time a clip (aim below 60 s for 500)")  # fmt: skip
    print(f"the same again: {again.wall_s:.1f} s; the page has {page_kb:.0f} kB")


def main() -> None:
    """Print the figures that are asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clips", type=int, default=len(NAMES), help="how many sample clips")
    parser.add_argument("--copies", type=int, default=5, help="of each clip in the batch")
    parser.add_argument("--group", type=int, metavar="N", help="clips of the group sheet")
    parser.add_argument("--unnamed", action="store_true", help="let the program tell movements")
    asked = parser.parse_args()
    os.environ.update(ONE_THREAD)
    if asked.group:
        time_group(asked.group, named=not asked.unnamed)
    else:
        compare_jobs(asked.clips, asked.copies)


if __name__ == "__main__":
    main()
