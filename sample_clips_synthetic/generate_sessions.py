"""Render the long clips of whole pieces of a session, and their truth.

Usage: ``python generate_sessions.py [NAME ...] [--out DIR]``; without names every clip is made.
They are not kept with the others because of their size; what the program's tests need of them is
the landmarks and the truth.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from bodies import Body
from encode import write_clip
from programme import Bout, compose, describe_bouts, lay_out, solids_of
from scenario import CREW
from scenario_sessions import SESSION_CLIPS, SessionClip
from scene import Scene

if TYPE_CHECKING:
    from bodies import Array
    from numpy.typing import NDArray


def draw(clip: SessionClip, body: Body, bouts: list[Bout]) -> Iterator[NDArray[np.uint8]]:
    """Draw every frame; what was done is added to ``bouts`` on the way."""
    scene = Scene([body], clip.camera)
    for solid in solids_of(body, clip.segments):
        scene.add_solid(solid)
    frame = 0
    for part in compose(body, clip.segments, clip.rate_hz, begin_s=clip.begin_s):
        if part.bout is not None:
            bouts.append(part.bout)
        for t in range(len(part.time_s)):
            yield scene.draw(frame, [None if part.skin is None else part.skin[t]])
            frame += 1
    scene.close()


def frame_times(clip: SessionClip) -> Array:
    """Return the times of the frames of the file, which starts at 0."""
    rows, total_s = lay_out(clip.segments)
    begin_s = rows[0][2] if clip.begin_s is None else clip.begin_s
    return np.arange(0.0, total_s - begin_s, 1.0 / clip.rate_hz)


def make(clip: SessionClip, out: Path) -> None:
    """Render one clip and write it with its truth; the times of the truth are those of the file."""
    body = Body(CREW[clip.person])
    bouts: list[Bout] = []
    times = frame_times(clip)
    path = out / f"{clip.name}.mp4"
    write_clip(
        path,
        draw(clip, body, bouts),
        times,
        rate_hz=clip.rate_hz,
        size_px=clip.camera.size_px,
        crf=clip.crf,
    )
    begin_s = lay_out(clip.segments)[0][0][2] if clip.begin_s is None else clip.begin_s
    record = {
        "clip": path.name,
        "person": clip.person,
        "plan": clip.plan,
        "special": clip.special,
        "camera": {"azimuth_deg": clip.camera.azimuth_deg},
        "clock_zero_s": round(-begin_s, 3),
        "duration_s": round(float(times[-1]), 3),
        "bouts": describe_bouts([b.shifted(-begin_s) for b in bouts]),
    }
    (out / f"{clip.name}.truth.json").write_text(json.dumps(record, indent=1) + "\n", "utf-8")


def main(arguments: list[str] | None = None) -> int:
    """Make the clips named on the command line, or all of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME")
    parser.add_argument("--out", type=Path, default=Path(__file__).resolve().parent)
    options = parser.parse_args(arguments)
    known = {clip.name: clip for clip in SESSION_CLIPS}
    unknown = [name for name in options.names if name not in known]
    if unknown:
        parser.error(f"no such clip: {', '.join(unknown)}; there are: {', '.join(known)}")
    options.out.mkdir(parents=True, exist_ok=True)
    for name in options.names or known:
        begun = time.monotonic()
        make(known[name], options.out)
        size_kb = (options.out / f"{name}.mp4").stat().st_size / 1000
        print(f"{name}: {size_kb:.0f} kB, {time.monotonic() - begun:.0f} s", file=sys.stderr)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
