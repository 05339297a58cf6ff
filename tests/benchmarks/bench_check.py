"""Speed and memory of a check: ``python tests/benchmarks/bench_check.py [CLIP] [--quick]``.

Machines differ and are shared, so the figures to read are ratios taken in one run and processor
time. Runs of what is compared take turns; medians are printed. Nothing here is asserted.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
# The pose library with the networks as their authors published them: what speed is compared with.
PUBLISHED = ROOT / "tests" / "published_models" / "pose_full.task"
CARRIED = ROOT / "motioncheck" / "assets" / "pose_full.task"
SAMPLE = ROOT / "sample_clips_synthetic" / "squat_side_clean.mp4"
CLOCK = Fraction(1, 90_000)
MOVEMENT = "air-squat"


@dataclass(frozen=True)
class Cost:
    """Seconds by the clock on the wall, and of processor time over all threads."""

    wall_s: float
    cpu_s: float


def measure(work: Callable[[], object]) -> Cost:
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return Cost(time.perf_counter() - wall, time.process_time() - cpu)


def check(clip: Path, out: Path, *, annotated: bool = False) -> None:
    """Check a clip from scratch and write everything, as the command does."""
    from motioncheck.pipeline import CheckOptions, check_clip, write_results

    result = check_clip(clip, MOVEMENT, options=CheckOptions())
    write_results(result, out, clip_path=clip, annotated=annotated)


def decode_small(clip: Path) -> list[tuple[float, np.ndarray]]:
    """Decode a clip at the size in which the program shows it to the model."""
    from motioncheck.pipeline.extract import MODEL_HEIGHT_PX
    from motioncheck.video import ClipReader

    with ClipReader(clip, max_height_px=MODEL_HEIGHT_PX) as reader:
        return [(frame.time_s, np.ascontiguousarray(frame.rgb)) for frame in reader]


def run_bare_landmarker(frames: list[tuple[float, np.ndarray]], bundle: Path = PUBLISHED) -> None:
    """Run the pose library alone over pictures that lie decoded in memory: the floor."""
    import mediapipe as mp
    from mediapipe.tasks import python as tasks
    from mediapipe.tasks.python import vision

    options = vision.PoseLandmarkerOptions(
        base_options=tasks.BaseOptions(model_asset_buffer=bundle.read_bytes()),
        running_mode=vision.RunningMode.VIDEO,
    )
    with vision.PoseLandmarker.create_from_options(options) as landmarker:
        for time_s, rgb in frames:
            image = mp.Image(image_format=mp.ImageFormat.SRGB, data=rgb)
            landmarker.detect_for_video(image, round(1000 * time_s))


def compare_with_bare(clip: Path, runs: int) -> None:
    frames = decode_small(clip)
    run_bare_landmarker(frames[:10])  # libraries and models in memory for both
    bare: list[Cost] = []
    unmasked: list[Cost] = []
    whole: list[Cost] = []
    with tempfile.TemporaryDirectory() as scratch:
        for number in range(runs):
            bare.append(measure(lambda: run_bare_landmarker(frames)))
            unmasked.append(measure(lambda: run_bare_landmarker(frames, CARRIED)))
            out = Path(scratch) / str(number)
            whole.append(measure(lambda out=out: check(clip, out)))
    count = len(frames)
    for title, costs in (
        ("bare landmarker", bare),
        ("the same without the mask that nobody reads", unmasked),
        ("check and sheet", whole),
    ):
        wall, cpu = _median(c.wall_s for c in costs), _median(c.cpu_s for c in costs)
        print(
            f"{title}: {count / wall:6.1f} frames/s, {1000 * wall / count:5.1f} ms a frame, "
            f"{1000 * cpu / count:5.1f} ms of processor time a frame"
        )
    wall_ratio = _median(w.wall_s / b.wall_s for w, b in zip(whole, bare, strict=True))
    cpu_ratio = _median(w.cpu_s / b.cpu_s for w, b in zip(whole, bare, strict=True))
    print(f"ratio to the bare landmarker: wall {wall_ratio:.2f}, cpu {cpu_ratio:.2f}")
    compare_fit(clip, _median(c.cpu_s for c in bare), runs)


def compare_fit(clip: Path, bare_cpu_s: float, runs: int) -> None:
    """Print what fitting the body costs beside finding the landmarks of the same clip."""
    from motioncheck.pipeline import CheckOptions, check_clip
    from motioncheck.pipeline.fitting import fit_body
    from motioncheck.pipeline.sources import prepare_for_fit

    result = check_clip(clip, MOVEMENT, options=CheckOptions())
    dense = prepare_for_fit(result.track, result.analysis.clean)
    cpu_s = _median(measure(lambda: fit_body(dense)).cpu_s for _ in range(runs))
    print(
        f"body fit: {cpu_s:.2f} s of processor time, {cpu_s / bare_cpu_s:.0%} of the bare "
        "landmarker's (aim at most 20 %)"
    )


def compare_memory(clip: Path, long_s: float) -> None:
    """Print the peak memory of a short and a long clip, each in a process of its own."""
    peaks = {}
    with tempfile.TemporaryDirectory() as scratch:
        for seconds in (30.0, long_s):
            looped = loop_clip(clip, Path(scratch) / f"{seconds:.0f}.mp4", seconds)
            peaks[seconds] = _run_child("--memory", looped, looped.with_suffix(".check"))
            print(f"peak memory, {seconds:.0f} s clip: {peaks[seconds]:.0f} MiB")
    growth = peaks[long_s] / peaks[30.0] - 1.0
    print(f"growth from 30 s to {long_s:.0f} s: {growth:+.1%} (aim below +10 %)")


def loop_clip(clip: Path, target: Path, seconds: float) -> Path:
    """Write a clip that shows another one again and again."""
    with av.open(str(clip)) as container:
        rate = float(container.streams.video[0].average_rate)
        pictures = [frame.to_ndarray(format="yuv420p") for frame in container.decode(video=0)]
    with av.open(str(target), "w") as container:
        options = {"preset": "ultrafast", "crf": "23"}
        stream = container.add_stream("libx264", rate=round(rate), options=options)
        stream.height, stream.width = pictures[0].shape[0] * 2 // 3, pictures[0].shape[1]
        stream.pix_fmt = "yuv420p"
        stream.time_base = stream.codec_context.time_base = CLOCK
        for number in range(round(seconds * rate)):
            array = pictures[number % len(pictures)]
            frame = av.VideoFrame.from_ndarray(array, format="yuv420p")
            frame.pts, frame.time_base = round(number / rate / CLOCK), CLOCK
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return target


def time_processes(clip: Path, runs: int) -> None:
    """Print the time of whole processes: help, and a check from landmarks kept before."""
    environment = {**os.environ, "MOTIONCHECK_CACHE": ""}
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        environment["MOTIONCHECK_CACHE"] = str(folder / "cache")
        looped = loop_clip(clip, folder / "30.mp4", 30.0)
        command = [sys.executable, "-m", "motioncheck.cli.main"]
        words = ["check", str(looped), "-m", MOVEMENT, "--out", str(folder / "out")]
        kept = str(folder / "track.npz")
        subprocess.run(
            [*command, *words, "--keep-track", kept], check=True, env=environment,
            stdout=subprocess.DEVNULL,
        )  # fmt: skip
        variants = {
            "--help": ["--help"],
            "again, 30 s clip, --track": [*words, "--track", kept],
            "again, 30 s clip, from the cache": words,
        }
        costs: dict[str, list[Cost]] = {title: [] for title in variants}
        for _ in range(runs):
            for title, variant in variants.items():
                costs[title].append(_time_child([*command, *variant], environment))
    for title, found in costs.items():
        wall, cpu = _median(c.wall_s for c in found), _median(c.cpu_s for c in found)
        best = min(c.wall_s for c in found)
        print(f"{title}: wall {wall:.2f} s (best {best:.2f} s), cpu {cpu:.2f} s")


def _time_child(command: list[str], environment: dict[str, str]) -> Cost:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    subprocess.run(command, check=True, env=environment, stdout=subprocess.DEVNULL)
    wall = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Cost(wall, cpu)


def _run_child(mode: str, *paths: Path) -> float:
    command = [sys.executable, __file__, mode, *map(str, paths)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    return float(json.loads(done.stdout.splitlines()[-1])["peak_mib"])


def _print_peak(clip: Path, out: Path) -> None:
    check(clip, out)
    print(json.dumps({"peak_mib": _read_peak_bytes() / 2**20}))


def _read_peak_bytes() -> int:
    status = Path("/proc/self/status")
    if status.exists():
        # On Linux the other counter starts with the peak of the process that started this one.
        line = next(x for x in status.read_text("ascii").splitlines() if x.startswith("VmHWM"))
        return int(line.split()[1]) * 1024
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit


def _median(values: Iterator[float]) -> float:
    return statistics.median(values)


def main() -> None:
    """Print all figures, or those of one child process."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("clip", nargs="?", type=Path, default=SAMPLE, help="an air squat clip")
    parser.add_argument("--runs", type=int, default=5, help="of each thing that is timed")
    parser.add_argument("--quick", action="store_true", help="one minute instead of five")
    parser.add_argument("--memory", nargs=2, type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.memory:
        _print_peak(*asked.memory)
        return
    print(f"{asked.clip.name}, {os.cpu_count()} processors")
    with tempfile.TemporaryDirectory() as scratch:
        # The length of a usual set; its pictures have to fit into memory for the bare landmarker.
        looped = loop_clip(asked.clip, Path(scratch) / "20.mp4", 20.0)
        compare_with_bare(looped, asked.runs)
    time_processes(asked.clip, asked.runs)
    compare_memory(asked.clip, 60.0 if asked.quick else 300.0)


if __name__ == "__main__":
    main()
