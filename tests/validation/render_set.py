"""Render the validation clips and keep the pose model's tracks with the exact truth.

Usage: ``python tests/validation/render_set.py --out DIR [--split NAME] [--only NAME] [--limit N]``

Frames go straight from the renderer to the pose model; no video is written. Every clip becomes
one ``.npz`` file, written as soon as it is ready; ``README.md`` tells what is in it. Clips that
are there already are left alone unless ``--again`` is given. ``--check`` renders nothing: it poses
the bodies anew and says which files no longer hold what the present code would make.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

ROOT = Path(__file__).resolve().parents[2]
os.environ.setdefault("PYVISTA_OFF_SCREEN", "true")
sys.path[:0] = [str(ROOT), str(ROOT / "sample_clips_synthetic"), str(Path(__file__).parent)]

import numpy as np  # noqa: E402
import torch  # noqa: E402
from bodies import SIDES, SUFFIX, Array, Body, Posed  # noqa: E402
from framing import add_bench, focal_px, frame_camera, pitch_deg  # noqa: E402
from items import KEPT_ITEMS, SPLITS, Item  # noqa: E402
from people import get_look  # noqa: E402
from pose import solve  # noqa: E402
from recorded import Recorded  # noqa: E402
from scene import Camera, Scene, hand_shake  # noqa: E402
from truth import JOINT_NAMES  # noqa: E402
from varied import plan_drill  # noqa: E402

from motioncheck.landmarks.model import PoseModel  # noqa: E402
from motioncheck.skeleton import COUNT, INDEX  # noqa: E402

if TYPE_CHECKING:
    from numpy.typing import NDArray

MODEL = "full"
NOISE_LEVELS = 3.0
STILLS = 5
SAME_M = 0.001
# Bones whose upper ends are the joint centres inside the body; these keep their distances.
CENTRES = {
    "shoulder": "upperarm01",
    "elbow": "lowerarm01",
    "wrist": "wrist",
    "hip": "upperleg01",
    "knee": "lowerleg01",
    "ankle": "foot",
}
CENTRE_NAMES = tuple(f"{side}_{joint}" for joint in CENTRES for side in SIDES)
# Where the set keeps numbers shorter than they are computed: 1/32 px, 1/8192 m.
PX_STEPS, M_STEPS = 32, 8192


def pose_item(item: Item, body: Body, recordings: Path) -> tuple[Array, Posed]:
    """Return the frame times and the posed body of one clip."""
    if item.excerpt is not None:
        real = Recorded(body, item.excerpt, folder=recordings, rate_hz=item.rate_hz)
        return real.time_s, solve(body, real, real.frames)
    motion, time_s = plan_drill(
        item.motion, body, seed=item.seed, rate_hz=item.rate_hz, short=item.short
    )
    return time_s, solve(body, motion, len(time_s))


def joint_centres(posed: Posed) -> Array:
    """Return the joint centres inside the body, shape (T, 12, 3), in the order of the names."""
    bones = [f"{bone}.{SUFFIX[side]}" for bone in CENTRES.values() for side in SIDES]
    return np.stack([posed.bones[bone] for bone in bones], axis=1)


def draw_frames(
    item: Item, body: Body, posed: Posed, camera: Camera
) -> Iterator[NDArray[np.uint8]]:
    """Draw every frame, with a little of the noise of a small sensor."""
    scene = Scene([body], camera)
    if item.cover == "bench":
        add_bench(scene, camera)
    rng = np.random.default_rng(item.seed)
    width, height = item.size_px
    noise = rng.normal(0, NOISE_LEVELS, (height, width, 3)).astype(np.float32)
    for t, skin in enumerate(posed.skin):
        shifts = tuple(rng.integers(0, (height, width)))
        picture = scene.draw(t, [skin]) + np.roll(noise, shifts, axis=(0, 1))
        yield np.clip(picture, 0, 255).astype(np.uint8)
    scene.close()


def run_model(
    item: Item,
    pictures: Iterator[NDArray[np.uint8]],
    time_s: Array,
    stills: dict[int, NDArray[np.uint8]],
) -> dict[str, Array]:
    """Show the pictures to the pose model, as `motioncheck.landmarks` does for one person."""
    frames = len(time_s)
    out = {
        "image_px": np.full((frames, COUNT, 2), np.nan),
        "visibility": np.full((frames, COUNT), np.nan),
        "world_m": np.full((frames, COUNT, 3), np.nan),
    }
    width, height = item.size_px
    kept = set(np.linspace(0, frames - 1, STILLS).astype(int).tolist())
    with PoseModel(MODEL, width_px=width, height_px=height) as model:
        for t, picture in enumerate(pictures):
            for pose in model.detect(picture, float(time_s[t])):
                for name, values in out.items():
                    values[t] = getattr(pose, name)
            if t in kept:
                stills[t] = picture
    return out


def describe(item: Item, body: Body, camera: Camera) -> dict[str, Any]:
    """Return what is known about a clip beside its tracks."""
    stature_m = float(np.ptp(body.rest_skin[:, 2]))
    return {
        "name": item.name,
        "split": item.split,
        "body": item.person,
        "motion": item.motion,
        "motion_id": item.motion_id,
        "seed": item.seed,
        "fps": item.rate_hz,
        "excerpt": asdict(item.excerpt) if item.excerpt else None,
        "handheld": item.handheld,
        "cover": item.cover,
        "model": MODEL,
        "camera": {
            "azimuth_deg": camera.azimuth_deg,
            "height_m": camera.height_m,
            "distance_m": round(camera.distance_m, 4),
            "roll_deg": camera.tilt_deg,
            "pitch_deg": round(pitch_deg(camera), 3),
            "focal_px": round(focal_px(camera), 2),
        },
        "person": asdict(body.look) | {"stature_m": round(stature_m, 4)},
    }


def _short(values: Array, steps: int) -> NDArray[np.float32]:
    return (np.round(values * steps) / steps).astype(np.float32)


def make_item(item: Item, out: Path, recordings: Path, pictures: Path | None) -> str:
    """Render one clip, track it, and write its file; return a line about it."""
    body = Body(get_look(item.person))
    time_s, posed = pose_item(item, body, recordings)
    camera = frame_camera(item, posed)
    if item.handheld:
        camera = camera.with_shake(hand_shake(time_s, np.random.default_rng(item.seed + 900)))
    joints_m = np.stack([posed.points[name] for name in JOINT_NAMES], axis=1)
    joints_px = camera.project(joints_m)
    stills: dict[int, NDArray[np.uint8]] = {}
    track = run_model(item, draw_frames(item, body, posed, camera), time_s, stills)
    axes = [camera.axes(t) for t in range(len(time_s))]
    about = describe(item, body, camera)
    width, height = item.size_px
    whole = out / f"{item.name}.npz"
    partial = whole.with_suffix(".part")
    with partial.open("wb") as file:
        np.savez_compressed(
            file,
            time_s=time_s,
            width_px=width,
            height_px=height,
            image_px=_short(track["image_px"], PX_STEPS),
            visibility=track["visibility"].astype(np.float16),
            world_m=_short(track["world_m"], M_STEPS),
            names=np.array(JOINT_NAMES),
            joints_m=_short(joints_m, M_STEPS),
            joints_px=_short(joints_px, PX_STEPS),
            centre_names=np.array(CENTRE_NAMES),
            centres_m=_short(joint_centres(posed), M_STEPS),
            camera_m=np.array([place for place, _ in axes], dtype=np.float32),
            camera_axes=np.array([rows for _, rows in axes], dtype=np.float32),
            about=np.array(json.dumps(about)),
        )
    partial.replace(whole)
    if pictures is not None:
        from contact_sheet import write_stills

        write_stills(pictures / f"{item.name}.png", stills, joints_px, track["image_px"])
    return _summary(item, joints_px, track)


def check_item(item: Item, out: Path, recordings: Path) -> bool:
    """Return True if the truth in the file of a clip is what the present code gives."""
    time_s, posed = pose_item(item, Body(get_look(item.person)), recordings)
    joints_m = np.stack([posed.points[name] for name in JOINT_NAMES], axis=1)
    with np.load(out / f"{item.name}.npz") as file:
        stored_s, stored_m = file["time_s"], file["joints_m"]
    return (
        stored_m.shape == joints_m.shape
        and np.allclose(stored_s, time_s)
        and bool(np.abs(stored_m - joints_m).max() < SAME_M)
    )


def _summary(item: Item, joints_px: Array, track: dict[str, Array]) -> str:
    pairs = [(i, INDEX[name.replace("big_toe", "toe")]) for i, name in enumerate(JOINT_NAMES)]
    ours, theirs = (list(x) for x in zip(*pairs, strict=True))
    off = np.linalg.norm(joints_px[:, ours] - track["image_px"][:, theirs], axis=-1)
    found = np.isfinite(off[:, 0]).mean()
    tall = np.median(np.ptp(joints_px[..., 1], axis=1))
    return (
        f"{len(joints_px)} frames, found {found:.0%}, body {tall:.0f} px, off by "
        f"{np.nanmedian(off):.1f} px median, {np.nanpercentile(off, 95):.1f} px 95th"
    )


def main(arguments: list[str] | None = None) -> int:
    """Make the clips asked for, or all of them."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--out", type=Path, required=True, help="folder for the .npz files")
    parser.add_argument("--split", choices=SPLITS, help="only this split; without it all but train")
    parser.add_argument("--only", metavar="NAME", help="only clips whose name contains this")
    parser.add_argument("--limit", type=int, help="at most this many clips")
    parser.add_argument("--again", action="store_true", help="also make clips that are there")
    parser.add_argument("--check", action="store_true", help="only look for outdated files")
    parser.add_argument("--pictures", type=Path, help="folder for a few stills of each clip")
    parser.add_argument(
        "--mocap",
        type=Path,
        default=ROOT.parent / "shared" / "data" / "mocap",
        help="folder with the marker recordings",
    )
    options = parser.parse_args(arguments)
    torch.set_num_threads(1)
    options.out.mkdir(parents=True, exist_ok=True)
    if options.pictures:
        options.pictures.mkdir(parents=True, exist_ok=True)
    items = SPLITS[options.split] if options.split else KEPT_ITEMS
    wanted = [item for item in items if options.only is None or options.only in item.name]
    if options.check:
        there = [item for item in wanted if (options.out / f"{item.name}.npz").exists()]
        old = [item.name for item in there if not check_item(item, options.out, options.mocap)]
        print(f"{len(there)} files, {len(old)} outdated", *old, sep="\n")
        return int(bool(old))
    for item in wanted[: options.limit]:
        if (options.out / f"{item.name}.npz").exists() and not options.again:
            continue
        begun = time.monotonic()
        line = make_item(item, options.out, options.mocap, options.pictures)
        print(f"{item.name}: {line}, {time.monotonic() - begun:.0f} s", file=sys.stderr, flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
