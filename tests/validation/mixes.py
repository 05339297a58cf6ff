"""Render clips in which several movements follow each other, and keep what the pose model found.

Usage: ``python tests/validation/mixes.py --out DIR [--only NAME] [--again] [--pictures DIR]``

They serve to measure how well movements are told apart. Two kinds: movements of the sample clips
joined to one another, with other things in between (`mix_plan.py`), and the two marker recordings
as a whole (`recorded.py`), whose labels come with them. ``README.md`` says how labels were mapped.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
os.environ.setdefault("PYVISTA_OFF_SCREEN", "true")
sys.path[:0] = [str(ROOT), str(ROOT / "sample_clips_synthetic"), str(Path(__file__).parent)]

import numpy as np  # noqa: E402
import torch  # noqa: E402
from bodies import Array, Body, Posed  # noqa: E402
from framing import frame_camera  # noqa: E402
from items import PORTRAIT_PX, Item  # noqa: E402
from mix_files import OTHER, STEP_S, save_mix  # noqa: E402
from mix_plan import MIXES, Mix, pose_mix  # noqa: E402
from people import get_look  # noqa: E402
from pose import solve  # noqa: E402
from recorded import Excerpt, Recorded  # noqa: E402
from render_set import draw_frames, run_model  # noqa: E402

# Label of the recordings -> movement. The README of the recordings names 1 to 8. Of these, 2 (jog),
# 5 (arm circles), 6 (turning the upright trunk), 7 (reaching sideways) and 8 (boxing) are none of
# the program's movements. 10 has no name there; its hands go to the opposite foot over a wide
# stance, twice.
RECORDED_LABELS = {
    "1": "jumping-jacks",
    "3": "air-squat",
    "4": "high-knees",
    "10": "wide-stance-twist",
}
RECORDED_S = {"13_30": 20.5, "13_31": 25.1}


@dataclass(frozen=True)
class Recording:
    """One marker recording as a whole, seen from one side."""

    name: str
    recording: str
    person: str
    azimuth_deg: float
    seed: int
    split: str
    rate_hz: float = 30.0
    height_m: float = 1.1
    distance_m: float = 3.6
    size_px: tuple[int, int] = PORTRAIT_PX

    def item(self) -> Item:
        """Return what the renderer of the validation set wants to know."""
        return Item(
            name=self.name,
            split=self.split,
            person=self.person,
            motion="recorded",
            seed=self.seed,
            azimuth_deg=self.azimuth_deg,
            height_m=self.height_m,
            distance_m=self.distance_m,
            fill=0.8,
            roll_deg=0.0,
            rate_hz=self.rate_hz,
            size_px=self.size_px,
        )


RECORDINGS = (
    Recording("r1330_front", "13_30", "c1", 18.0, 8101, "tune"),
    Recording("r1330_side", "13_30", "c4", 78.0, 8102, "tune"),
    Recording("r1331_front", "13_31", "f2", 12.0, 8201, "report"),
    Recording("r1331_side", "13_31", "f5", 72.0, 8202, "report"),
)


def pose_recording(clip: Recording, mocap: Path) -> tuple[Array, Body, Posed, list[str]]:
    """Return frame times, body, its poses and the labels of a recording."""
    whole = Excerpt(clip.recording, 0.0, RECORDED_S[clip.recording], "whole")
    body = Body(get_look(clip.person))
    motion = Recorded(body, whole, folder=mocap, rate_hz=clip.rate_hz)
    text = (mocap / f"labels_{clip.recording}.txt").read_text(encoding="ascii").split()
    labels = [RECORDED_LABELS.get(label, OTHER) for label in text]
    posed = solve(body, motion, motion.frames)
    return motion.time_s, body, posed, labels[: round(motion.time_s[-1] / STEP_S)]


def render(
    item: Item, body: Body, posed: Posed, time_s: Array, pictures: Path | None
) -> dict[str, Array]:
    """Film the body and return what the pose model finds."""
    camera = frame_camera(item, posed)
    stills: dict[int, np.ndarray] = {}
    track = run_model(item, draw_frames(item, body, posed, camera), time_s, stills)
    if pictures is not None:
        from contact_sheet import write_stills

        # No true joints: what the pose model found is drawn twice.
        found = np.nan_to_num(track["image_px"])
        write_stills(pictures / f"{item.name}.png", stills, found, track["image_px"])
    return track


def make_mix(mix: Mix, out: Path, pictures: Path | None) -> None:
    """Film one mixed clip and write its file."""
    body = Body(get_look(mix.person))
    time_s, posed, labels = pose_mix(mix, body)
    track = render(mix.item(), body, posed, time_s, pictures)
    about = {
        "name": mix.name,
        "split": mix.split,
        "source": "rendered",
        "pieces": mix.pieces,
        "body": mix.person,
        "azimuth_deg": mix.azimuth_deg,
        "fps": mix.rate_hz,
    }
    save_mix(
        out / f"{mix.name}.npz",
        time_s=time_s,
        size_px=mix.size_px,
        track=track,
        labels=labels,
        about=about,
    )


def make_recording(clip: Recording, out: Path, mocap: Path, pictures: Path | None) -> None:
    """Film one recording and write its file."""
    time_s, body, posed, labels = pose_recording(clip, mocap)
    track = render(clip.item(), body, posed, time_s, pictures)
    about = {
        "name": clip.name,
        "split": clip.split,
        "source": f"recording {clip.recording}",
        "body": clip.person,
        "azimuth_deg": clip.azimuth_deg,
        "fps": clip.rate_hz,
    }
    save_mix(
        out / f"{clip.name}.npz",
        time_s=time_s,
        size_px=clip.size_px,
        track=track,
        labels=labels,
        about=about,
    )


def main(arguments: list[str] | None = None) -> int:
    """Make the clips asked for, or all of them."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--out", type=Path, required=True, help="folder for the .npz files")
    parser.add_argument("--only", metavar="NAME", help="only clips whose name contains this")
    parser.add_argument("--again", action="store_true", help="also make clips that are there")
    parser.add_argument("--pictures", type=Path, help="folder for a few stills of each clip")
    parser.add_argument(
        "--mocap",
        type=Path,
        default=ROOT.parent / "shared" / "data" / "mocap",
        help="folder with the marker recordings",
    )
    options = parser.parse_args(arguments)
    torch.set_num_threads(1)
    for folder in filter(None, (options.out, options.pictures)):
        folder.mkdir(parents=True, exist_ok=True)
    for clip in (*RECORDINGS, *MIXES):
        if options.only and options.only not in clip.name:
            continue
        if (options.out / f"{clip.name}.npz").exists() and not options.again:
            continue
        begun = time.monotonic()
        if isinstance(clip, Mix):
            make_mix(clip, options.out, options.pictures)
        else:
            make_recording(clip, options.out, options.mocap, options.pictures)
        print(f"{clip.name}: {time.monotonic() - begun:.0f} s", file=sys.stderr, flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
