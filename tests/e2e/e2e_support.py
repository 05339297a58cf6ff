"""What the end-to-end tests share: sample clips, clips made from them, and runs of the program."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt
import pytest

from motioncheck.cli import main

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_clips_synthetic"
SQUAT = SAMPLES / "squat_side_clean.mp4"
CLOCK = Fraction(1, 90_000)
Rgb = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Run:
    """What a run of the program left on the terminal."""

    code: int
    out: str
    err: str


class Cli:
    """Runs the real command line in this process, and in others where it has to be."""

    def __init__(self, cache: Path, scratch: Path, capture: Any, patch: pytest.MonkeyPatch) -> None:
        self.cache, self.scratch = cache, scratch
        self._capture, self._patch = capture, patch

    def __call__(self, *words: str | Path) -> Run:
        """Run ``motioncheck WORDS`` through its entry point."""
        self._patch.setattr(sys, "argv", ["motioncheck", *map(str, words)])
        self._patch.setenv("MOTIONCHECK_CACHE", str(self.cache))
        self._patch.setattr(tempfile, "tempdir", str(self.scratch))
        self._capture.readouterr()
        with pytest.raises(SystemExit) as end:
            main.run()
        out, err = self._capture.readouterr()
        return Run(int(end.value.code or 0), out, err)

    def refuse(self, folder: Path, code: int, *words: str | Path) -> str:
        """Run, expect an error, and return its sentence.

        The error has to be a single line on stderr without a traceback, with the documented code,
        and nothing in ``folder`` or among the temporary files may have changed.
        """
        before = snapshot(folder)
        run = self(*words)
        assert run.code == code, run
        lines = run.err.strip().splitlines()
        assert len(lines) == 1, run.err
        assert lines[0].startswith("motioncheck: ")
        assert "Traceback" not in run.err + run.out
        assert run.out == ""
        assert snapshot(folder) == before
        assert list(self.scratch.iterdir()) == []
        return lines[0]


def snapshot(folder: Path) -> dict[str, bytes | None]:
    """Return every path below a folder with the content of the files."""
    return {
        str(p.relative_to(folder)): p.read_bytes() if p.is_file() else None
        for p in sorted(folder.rglob("*"))
    }


def read_sheet(folder: Path) -> dict[str, Any]:
    content = json.loads((folder / "sheet.json").read_text(encoding="utf-8"))
    assert isinstance(content, dict)
    return content


def environment(**extra: str | Path) -> dict[str, str]:
    return {**os.environ, "PYTHONUTF8": "1", **{key: str(value) for key, value in extra.items()}}


def run_python(code: str, *words: str | Path, **extra: str | Path) -> subprocess.CompletedProcess:
    """Run Python code in a process of its own; the words become its arguments."""
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, words)],
        env=environment(**extra),
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


def find_program() -> Path:
    """Return the console script that `pip` installed; skips the test where there is none."""
    program = Path(sys.executable).with_name("motioncheck")
    if not program.is_file():
        pytest.skip("the console script is not beside this Python")
    return program


def edit_clip(
    source: Path,
    target: Path,
    *,
    until_s: float = float("inf"),
    change: Callable[[Rgb], Rgb] = lambda rgb: rgb,
    options: dict[str, str] | None = None,
) -> Path:
    """Write a clip again with its own time stamps, shorter or with changed pictures."""
    pictures = iterate(source, until_s)
    with av.open(str(target), "w", options=options or {}) as container:
        stream = None
        for time_s, rgb in pictures:
            rgb = np.ascontiguousarray(change(rgb))
            if stream is None:
                quick = {"preset": "ultrafast", "crf": "18", "g": "15", "bf": "0"}
                stream = container.add_stream("libx264", rate=30, options=quick)
                stream.height, stream.width = rgb.shape[:2]
                stream.pix_fmt = "yuv420p"
                stream.time_base = stream.codec_context.time_base = CLOCK
            frame = av.VideoFrame.from_ndarray(rgb, format="rgb24").reformat(format="yuv420p")
            frame.pts, frame.time_base = round(time_s / CLOCK), CLOCK
            container.mux(stream.encode(frame))
        assert stream is not None
        container.mux(stream.encode(None))
    return target


def iterate(source: Path, until_s: float = float("inf")) -> Iterator[tuple[float, Rgb]]:
    with av.open(str(source)) as container:
        for frame in container.decode(video=0):
            if frame.time > until_s:
                return
            yield frame.time, frame.to_ndarray(format="rgb24")


def load_joints_px(name: str) -> tuple[list[str], npt.NDArray[np.float64]]:
    """Return names and true picture positions (T, K, 2) of the joints of a sample clip."""
    with np.load(SAMPLES / f"{name}.joints.npz") as file:
        return [str(n) for n in file["names"]], file["joints_px"].astype(float)


@contextmanager
def forbid(patch: pytest.MonkeyPatch, *targets: str) -> Iterator[None]:
    """Make the named functions fail the test when they are called."""

    def refuse(*_: object, **__: object) -> None:
        pytest.fail("called something that a saved track makes needless")

    with patch.context() as inner:
        for target in targets:
            inner.setattr(target, refuse)
        yield


def even(length: int) -> int:
    return length - length % 2


def list_names(folder: Path) -> Sequence[str]:
    return sorted(p.name for p in folder.iterdir())
