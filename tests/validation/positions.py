"""Which positions of the body the pose model finds, and how exactly: measured on rendered clips.

    python tests/validation/positions.py [CLIP ...] [--folder DIR] [--every N] [--fit] [--out FILE]

Each clip is shown as it was filmed and turned by quarter turns, which makes a lying or an inverted
body of a standing one: once picture by picture without memory ("from nothing"), once as the
program follows it. Clips filmed lying, kneeling or hanging are what the turned ones stand in for.
With ``--fit`` the table is about what comes after: what cleaning leaves of hips and knees, where
the camera is taken to be, and the angles of the fitted body.

Truth: the joints that were rendered (`NAME.joints.npz`). Errors are in per cent of stature.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from motioncheck.bodyfit import fit_track
from motioncheck.camera import estimate_view
from motioncheck.cleaning import clean_track, leave_out_impossible, leave_out_walking
from motioncheck.landmarks import FollowOptions, Pose, PoseModel, extract_track
from motioncheck.measures import measure_joints
from motioncheck.pipeline.sources import hide_outside, prepare_for_fit
from motioncheck.records import CleanTrack
from motioncheck.skeleton import INDEX
from motioncheck.skeleton import JOINTS as BODY_JOINTS
from motioncheck.video import ClipReader

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

CLIPS = Path(__file__).parents[2] / "sample_clips_synthetic"
# As the program decodes clips for the model.
MODEL_HEIGHT_PX = 640
PARTS = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
JOINTS = tuple(f"{side}_{part}" for part in PARTS for side in ("left", "right"))
PAIRS = np.arange(len(JOINTS)).reshape(-1, 2)
LEGS = slice(3, 6)
# Ankle to shoulder over standing height, from memory: about 0.78 in tables of body segments.
ANKLE_TO_SHOULDER = 0.78
# Legs nearer together than this in the picture cannot be told apart; per cent of stature.
TOGETHER = 3.0
# Beyond this mean error a body counts as found wrongly: a thigh is a quarter of the stature.
WRONG = 10.0
FIT_CUTOFF_HZ = 6.0
FIT_MEASURES = ("trunk_inclination", "knee_flexion", "hip_flexion")
TURNS = {0: "as filmed", 1: "head to the left", 2: "upside down", 3: "head to the right"}


@dataclass(frozen=True)
class Shot:
    """A picture and where the joints are in it, pixels, shape (12, 2)."""

    time_s: float
    rgb: Picture
    joints_px: Array
    whole: bool = True


@dataclass(frozen=True)
class Seen:
    """How a clip was seen: share of frames found, errors in per cent of stature.

    ``error`` has shape (frames, 12), NaN where nobody was found. ``swapped`` tells for each frame
    whether the legs are nearer to the truth when exchanged, NaN where they cannot be told apart.
    """

    error: Array
    swapped: Array

    @property
    def found(self) -> float:
        """Share of frames in which a body was found where it is."""
        mean = np.nan_to_num(self.error.mean(axis=1), nan=np.inf)
        return float(np.mean(mean < WRONG)) if len(mean) else float("nan")

    @property
    def any_body(self) -> float:
        """Share of frames in which the model named a body, right or wrong."""
        return float(np.isfinite(self.error[:, 0]).mean())

    def line(self) -> str:
        """Shares found (right, any), median error, error of 95 of 100 joints, legs exchanged."""
        known = self.error[np.isfinite(self.error)]
        median, most = np.percentile(known, (50, 95)) if len(known) else (np.nan, np.nan)
        legs = self.swapped[np.isfinite(self.swapped)]
        share = f"{legs.mean():.0%}" if len(legs) else ""
        return f"{self.found:.0%} | {self.any_body:.0%} | {median:.1f} | {most:.1f} | {share}"


def load_truth(clip: Path) -> tuple[Array, Array, float]:
    """Return times (T,), joints in the picture (T, 12, 2) and the stature in pixels."""
    with np.load(clip.with_suffix("").with_suffix(".joints.npz")) as data:
        names = [str(name) for name in data["names"]]
        rows = [names.index(name) for name in JOINTS]
        px = data["joints_px"][:, rows].astype(np.float64)
        metres = data["joints_m"][:, rows].astype(np.float64)
        return data["time_s"], px, measure_px_per_m(px, metres) * measure_stature_m(metres)


def measure_px_per_m(px: Array, metres: Array) -> float:
    """Return how large a metre is in the picture: the best parallel projection of all joints."""
    space = np.concatenate([metres, np.ones((*metres.shape[:2], 1))], axis=2).reshape(-1, 4)
    projection = np.linalg.lstsq(space, px.reshape(-1, 2), rcond=None)[0]
    return float(np.linalg.norm(projection[:3], axis=0).mean())


def measure_stature_m(metres: Array) -> float:
    """Return the standing height that fits to the bones, whatever the body does."""
    middle = {part: metres[:, PAIRS[i]].mean(axis=1) for i, part in enumerate(PARTS)}
    trunk = np.linalg.norm(middle["shoulder"] - middle["hip"], axis=-1)
    bones = [np.linalg.norm(metres[:, PAIRS[i]] - metres[:, PAIRS[i + 1]], axis=-1) for i in (3, 4)]
    return float(np.median(trunk + sum(b.mean(axis=1) for b in bones)) / ANKLE_TO_SHOULDER)


def read_shots(clip: Path, *, turn: int = 0, small: bool = False) -> Iterator[Shot]:
    """Yield the frames of a clip, turned counter-clockwise by quarter turns.

    With ``small`` a picture that lies on its side is shrunk into one of the shape of the clip, as
    if a body lay before a phone that stands.
    """
    time_s, joints, _ = load_truth(clip)
    with ClipReader(clip, max_height_px=MODEL_HEIGHT_PX) as reader:
        scale = 0.0
        for frame in reader:
            scale = frame.rgb.shape[1] / reader.info.width_px
            row = int(np.argmin(np.abs(time_s - frame.time_s)))
            rgb, points = turn_by(frame.rgb, joints[row] * scale, turn)
            if small and turn % 2:
                rgb, points = shrink(rgb, points)
            yield Shot(frame.time_s, np.ascontiguousarray(rgb), points)


def turn_by(rgb: Picture, points: Array, quarters: int) -> tuple[Picture, Array]:
    """Turn a picture and points in it counter-clockwise."""
    for _ in range(quarters):
        points = np.stack([points[:, 1], rgb.shape[1] - points[:, 0]], axis=1)
        rgb = np.rot90(rgb)
    return rgb, points


def shrink(rgb: Picture, points: Array) -> tuple[Picture, Array]:
    """Put a picture, made smaller, into the middle of one that is as high as this one is wide."""
    import cv2

    high, wide = rgb.shape[:2]
    scale = high / wide
    less = cv2.resize(np.ascontiguousarray(rgb), (high, round(high * scale)))
    above = (wide - less.shape[0]) // 2
    below = wide - less.shape[0] - above
    # The rows at the edge are drawn out: wall above, floor below.
    whole = cv2.copyMakeBorder(less, above, below, 0, 0, cv2.BORDER_REPLICATE)
    return np.asarray(whole, dtype=np.uint8), points * scale + [0.0, above]


def compute_errors(points: Array, shot: Shot, stature_px: float) -> tuple[Array, float]:
    """Return the error of each joint in per cent of stature, and whether the legs are exchanged."""
    error = np.linalg.norm(points - shot.joints_px, axis=1) / stature_px * 100.0
    pairs = PAIRS[LEGS]
    apart = shot.joints_px[pairs[:, 0]] - shot.joints_px[pairs[:, 1]]
    if not np.linalg.norm(apart, axis=1).mean() / stature_px * 100.0 > TOGETHER:
        return error, float("nan")
    exchanged = np.linalg.norm(points[pairs[:, ::-1]] - shot.joints_px[pairs], axis=2).mean()
    as_named = np.linalg.norm(points[pairs] - shot.joints_px[pairs], axis=2).mean()
    return error, float(exchanged < as_named) if np.isfinite(as_named) else float("nan")


def see_from_nothing(shots: Sequence[Shot], stature_px: float) -> Seen:
    """Let the model look at each picture by itself."""
    high, wide = shots[0].rgb.shape[:2]
    rows = []
    with PoseModel(width_px=wide, height_px=high, single_pictures=True) as model:
        for shot in shots:
            rows.append(_judge(model.detect(shot.rgb, 0.0), shot, stature_px))
    return _gather(rows)


def see_following(shots: Sequence[Shot], stature_px: float) -> Seen:
    """Follow the body through the pictures as the program does."""
    high, wide = shots[0].rgb.shape[:2]
    options = FollowOptions(look_for_others=False)
    track = extract_track(shots, width_px=wide, height_px=high, options=options)
    rows = [INDEX[name] for name in JOINTS]
    return _gather(
        [
            compute_errors(points, shot, stature_px)
            for points, shot in zip(track.image_px[:, rows], shots, strict=True)
        ]
    )


def _judge(poses: Sequence[Pose], shot: Shot, stature_px: float) -> tuple[Array, float]:
    rows = [INDEX[name] for name in JOINTS]
    points = poses[0].image_px[rows] if poses else np.full((len(JOINTS), 2), np.nan)
    return compute_errors(points, shot, stature_px)


def _gather(rows: Sequence[tuple[Array, float]]) -> Seen:
    return Seen(np.array([error for error, _ in rows]), np.array([swap for _, swap in rows]))


def measure_clip(
    clip: Path, *, turn: int = 0, small: bool = False, every: int = 10, follow: bool = True
) -> tuple[Seen, Seen | None]:
    """Return how a clip is seen from nothing (one frame in ``every``) and when followed."""
    shots = list(read_shots(clip, turn=turn, small=small))
    with ClipReader(clip) as reader:
        width_px = reader.info.width_px
    _, _, stature_px = load_truth(clip)
    shown = shots[0].rgb.shape[turn % 2 == 0]
    scale = shown / width_px
    if small and turn % 2:
        # The shape is that of the clip, the body smaller by the ratio of its sides.
        high, wide = shots[0].rgb.shape[:2]
        scale = wide / width_px * wide / high
    alone = see_from_nothing(shots[::every], stature_px * scale)
    return alone, see_following(shots, stature_px * scale) if follow else None


def measure_fit(clip: Path) -> str:
    """Return a line of the table of ``--fit``."""
    with ClipReader(clip, max_height_px=MODEL_HEIGHT_PX) as reader:
        size = {"width_px": reader.info.width_px, "height_px": reader.info.height_px}
        track = extract_track(reader, **size)
    clean = clean_track(hide_outside(track), cutoff_hz=FIT_CUTOFF_HZ)
    clean = leave_out_impossible(leave_out_walking(clean))
    view, body = estimate_view(clean), fit_track(prepare_for_fit(track, clean))
    true = measure_truth(clip, body.time_s)
    found = measure_joints(body.time_s, np.asarray(body.joints_m))
    seen = np.isfinite(np.interp(body.time_s, track.time_s, track.image_px[:, 0, 0]))
    cells = [f"{_share_left(clean, part):.0%}" for part in ("hip", "knee")]
    camera = json.loads(clip.with_suffix(".truth.json").read_text(encoding="utf-8"))["camera"]
    for azimuth in (view.azimuth_deg, body.azimuth_deg):
        cells.append(f"{_wrap(azimuth - camera['azimuth_deg']):+.0f}")
    cells.append(f"{body.tilt_deg:+.1f}")
    for measure in FIT_MEASURES:
        columns = [column for column in true if column.startswith(measure)]
        error = np.concatenate([_wrap(found[c] - true[c])[seen] for c in columns])
        error = np.abs(error[np.isfinite(error)])
        cells.append(f"{np.median(error):.1f} | {np.sqrt(np.mean(error**2)):.1f}")
    return f"| {clip.stem} | {' | '.join(cells)} |"


def _wrap(angle_deg: Array | float) -> Array:
    """Bring differences of angles to -180 .. 180 degrees."""
    return np.asarray((np.asarray(angle_deg) + 180.0) % 360.0 - 180.0)


def _share_left(clean: CleanTrack, part: str) -> float:
    """Return the share of frames in which the better seen side of a pair is left."""
    points = [clean.point(f"{side}_{part}")[:, 0] for side in ("left", "right")]
    return max(float(np.isfinite(x).mean()) for x in points)


def measure_truth(clip: Path, time_s: Array) -> dict[str, Array]:
    """Return the true measures; people of the sample clips face -y, their right is -x, up is z."""
    with np.load(clip.with_suffix("").with_suffix(".joints.npz")) as data:
        names = [str(name).replace("big_toe", "toe") for name in data["names"]]
        joints = data["joints_m"][:, [names.index(name) for name in BODY_JOINTS]]
        true = measure_joints(data["time_s"], joints[..., [1, 2, 0]].astype(float) * [-1, 1, -1])
        return {name: np.interp(time_s, data["time_s"], v) for name, v in true.items()}


def make_fit_table(clips: Sequence[Path]) -> str:
    """Return a Markdown table of what cleaning, view and fit make of clips."""
    angles = " | ".join(f"{m.replace('_', ' ')}: median | rms" for m in FIT_MEASURES)
    lines = [f"| clip | hips left | knees left | view off by | fit off by | tilt | {angles} |"]
    lines.append("|" + " --- |" * 12)
    for clip in clips:
        lines.append(measure_fit(clip))
        print(lines[-1], flush=True)
    return "\n".join(lines) + "\n"


def make_table(clips: Sequence[Path], *, every: int, turns: Sequence[int], follow: bool) -> str:
    """Return a Markdown table with one line for each clip and turn."""
    head = "found | any body | median | 95 % | legs exchanged"
    lines = [f"| clip | picture | from nothing: {head} | followed: {head} |"]
    lines.append("|" + " --- |" * 12)
    for clip in clips:
        for turn in turns:
            for small in (False, True) if turn % 2 else (False,):
                seen, followed = measure_clip(
                    clip, turn=turn, small=small, every=every, follow=follow
                )
                picture = TURNS[turn] + (", small" if small else "")
                rest = followed.line() if followed else " | | | | "
                lines.append(f"| {clip.stem} | {picture} | {seen.line()} | {rest} |")
                print(lines[-1], flush=True)
    return "\n".join(lines) + "\n"


def main() -> None:
    """Print the table, and write it where asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("clips", nargs="*", help="names without .mp4; default: all")
    parser.add_argument("--folder", type=Path, default=CLIPS)
    parser.add_argument("--every", type=int, default=10, help="one frame in so many from nothing")
    parser.add_argument("--turns", type=int, nargs="*", default=list(TURNS))
    parser.add_argument("--no-follow", action="store_true")
    parser.add_argument("--fit", action="store_true", help="cleaning, view and fit instead")
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    clips = [asked.folder / f"{name}.mp4" for name in asked.clips]
    clips = clips or sorted(asked.folder.glob("*.mp4"))
    if asked.fit:
        table = make_fit_table(clips)
    else:
        table = make_table(clips, every=asked.every, turns=asked.turns, follow=not asked.no_follow)
    if asked.out:
        asked.out.write_text(table, encoding="utf-8")


if __name__ == "__main__":
    main()
