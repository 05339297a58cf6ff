"""Compare fitted bodies with the truth of the validation clips, beside plainer ways to measure.

Usage: ``python tests/validation/evaluate_fit.py [--split validate] [--only NAME] [--data DIR]``

Prints, for each measure, the root mean square error over time of three ways: the angle in the
picture, the pose model's own 3-D landmarks, and the fitted body; by 30 degree bin of azimuth and
by motion. Then how often the truth lies within the 90 % interval of the fit, the errors of the
camera, and the cost. A clip counts as one: errors are pooled as the mean square over clips.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from motioncheck.bodyfit import Body, fit_track, measure_all
from motioncheck.bodyfit.body import person_axes
from motioncheck.bodyfit.evidence import find_upright
from motioncheck.bodyfit.measures import SIDED, WHOLE
from motioncheck.bodyfit.model import JOINTS, LANDMARK_OF
from motioncheck.cleaning import clean_track
from motioncheck.records import CleanTrack, LandmarkTrack

Array = NDArray[np.float64]
Angles = dict[str, Array]
CUTOFF_HZ = {"high_knees": 10.0, "heel_kicks": 10.0, "jacks": 10.0}
SLOW_CUTOFF_HZ = 6.0
EXTRACTION_S = 0.020  # of the pose model for one frame
Z90 = 1.645
MEASURES = (*SIDED, *WHOLE)
COLUMNS = [f"{m}_{s}" for m in SIDED for s in ("left", "right")] + list(WHOLE)
TURN = "at the turn"


@dataclass
class Outcome:
    """Errors of one clip, degrees: by way and measure over time; the camera's; and the cost."""

    about: dict
    errors: dict[str, dict[str, Array]]
    covered: dict[str, Array]
    camera: dict[str, float]
    cpu_share: float


def read_clip(path: Path) -> tuple[dict, CleanTrack, Array, Array]:
    """Return description, cleaned track, true joints (T, K, 3), camera rows right, up, away."""
    data = np.load(path)
    about = json.loads(str(data["about"]))
    track = LandmarkTrack(
        data["time_s"],
        data["image_px"],
        data["visibility"].astype(float),
        data["world_m"],
        int(data["width_px"]),
        int(data["height_px"]),
        "full",
    )
    cutoff = CUTOFF_HZ.get(about["motion"], SLOW_CUTOFF_HZ)
    clean = clean_track(track, cutoff_hz=cutoff, visibility_gate=0.0)
    names = [str(n).replace("big_toe", "toe") for n in data["names"]]
    joints = data["joints_m"][:, [names.index(j) for j in JOINTS]].astype(float)
    at = clean.time_s - clean.time_s[0] + track.time_s[0]
    resampled = np.stack(
        [np.interp(at, track.time_s, c) for c in joints.reshape(len(joints), -1).T], axis=1
    ).reshape(-1, *joints.shape[1:])
    return about, clean, resampled, data["camera_axes"][0].astype(float)


def compute_all(joints: Array) -> Angles:
    """Compute all measures of joints along forward, up and right."""
    angles = {f"{m}_{s}": f(joints, s) for m, f in SIDED.items() for s in ("left", "right")}
    return angles | {m: f(joints, "") for m, f in WHOLE.items()}


def from_world(track: CleanTrack) -> Angles:
    """Measures of the pose model's own 3-D landmarks, up taken along the picture."""
    joints = track.world_m[:, LANDMARK_OF]
    known = np.isfinite(joints).all(axis=(1, 2))
    upright = find_upright(track.image_px[:, LANDMARK_OF]) & known
    axes = person_axes(np.nan_to_num(joints), np.array([0.0, -1.0, 0.0]), upright)
    return compute_all(joints @ axes.T)


def from_picture(track: CleanTrack, azimuth_deg: float) -> Angles:
    """Measures read off the picture as if it were square to the body, the nearest side or front."""
    x, up = track.image_px[:, LANDMARK_OF, 0], -track.image_px[:, LANDMARK_OF, 1]
    zero, turn = np.zeros_like(x), np.radians(azimuth_deg)
    if abs(np.sin(turn)) > np.sqrt(0.5):
        return compute_all(np.stack([-np.sign(np.sin(turn)) * x, up, zero], axis=-1))
    return compute_all(np.stack([zero, up, -np.sign(np.cos(turn)) * x], axis=-1))


def wrap(angle: Array | float) -> Array:
    """Bring angles to -180 .. 180 degrees."""
    return (np.asarray(angle) + 180.0) % 360.0 - 180.0


def evaluate_clip(path: Path) -> Outcome:
    """Fit one clip and compare."""
    about, track, joints, camera = read_clip(path)
    # z is up, and the camera is at an azimuth from -y, towards +x. Recorded people do not always
    # face -y: the truth is taken along the way they face while they stand, like the fit.
    facing = person_axes(joints, np.array([0.0, 0.0, 1.0]), find_upright(-joints[..., [0, 2]]))
    truth = compute_all(joints @ facing.T)
    begun = time.process_time()
    body = fit_track(track)
    cpu_s = time.process_time() - begun
    measured = measure_all(body)
    turned = float(np.degrees(np.arctan2(facing[0, 0], -facing[0, 1])))
    azimuth = float(wrap(about["camera"]["azimuth_deg"] - turned))
    ways = {
        "picture": from_picture(track, azimuth),
        "world": from_world(track),
        "fit": {c: m.value for c, m in measured.items()},
    }
    errors = {way: {c: wrap(a[c] - truth[c]) for c in COLUMNS} for way, a in ways.items()}
    covered = {c: np.abs(errors["fit"][c]) <= Z90 * measured[c].se for c in COLUMNS}
    if about["motion"] == "squat":
        depth = np.minimum(truth["thigh_inclination_left"], truth["thigh_inclination_right"])
        turn = depth <= depth.min() + 10.0
        for way in errors.values():
            legs = [c for c in COLUMNS if c.startswith(("thigh", "shank"))]
            way |= {f"{c} {TURN}": way[c][turn] for c in legs}
    return Outcome(
        about,
        errors,
        covered,
        compare_camera(body, about, camera, azimuth),
        cpu_s / (len(track.time_s) * EXTRACTION_S),
    )


def compare_camera(body: Body, about: dict, axes: Array, azimuth_deg: float) -> dict[str, float]:
    """Return errors of azimuth, tilt and pitch in degrees."""
    known = about["camera"]
    return {
        "azimuth": float(wrap(body.azimuth_deg - azimuth_deg)),
        "tilt": body.tilt_deg + float(np.degrees(np.arcsin(axes[0, 2]))),
        "pitch": body.pitch_deg - known["pitch_deg"],
    }


def pool(outcomes: list[Outcome], way: str, name: str) -> float:
    """Root mean square over clips, both sides, of the error of one measure."""
    squares = []
    for outcome in outcomes:
        parts = [e for c, e in outcome.errors[way].items() if _is(c, name)]
        together = np.concatenate(parts) if parts else np.array([])
        together = together[np.isfinite(together)]
        if len(together):
            squares.append(np.mean(together**2))
    return float(np.sqrt(np.mean(squares))) if squares else float("nan")


def _is(column: str, name: str) -> bool:
    at_turn = column.endswith(TURN)
    base = column.removesuffix(" " + TURN).removesuffix("_left").removesuffix("_right")
    return base == name.removesuffix(" " + TURN) and at_turn == name.endswith(TURN)


def print_tables(outcomes: list[Outcome]) -> None:
    """Print everything."""
    groups: dict[str, list[Outcome]] = {"all": outcomes}
    groups["side views"] = [
        o for o in outcomes if abs(np.sin(np.radians(o.about["camera"]["azimuth_deg"]))) > 0.9
    ]
    by_bin: dict[str, list[Outcome]] = defaultdict(list)
    for o in outcomes:
        by_bin[f"azimuth {round(o.about['camera']['azimuth_deg'] / 30) * 30 % 360:03d}"].append(o)
    groups |= dict(sorted(by_bin.items()))
    for key in ("motion", "body", "cover"):
        for value in sorted({str(o.about[key]) for o in outcomes}):
            groups[f"{key} {value or 'nothing'}"] = [
                o for o in outcomes if str(o.about[key]) == value
            ]
    names = (*MEASURES, f"thigh_inclination {TURN}", f"shank_inclination {TURN}")
    for name in names:
        print(f"\n{name}: RMSE in degrees of picture / world / fit")
        single = [[pool([o], way, name) for way in ("picture", "world", "fit")] for o in outcomes]
        middle = np.nanmedian(np.array(single), axis=0)
        print(f"  {'median of clips':28s} " + " ".join(f"{v:6.1f}" for v in middle))
        for group, members in groups.items():
            row = [pool(members, way, name) for way in ("picture", "world", "fit")]
            if np.isfinite(row[2]):
                print(f"  {group:22s} n={len(members):3d} " + " ".join(f"{v:6.1f}" for v in row))
    print("\ntruth within the 90 % interval of the fit, share of frames")
    for name in MEASURES:
        inside = [o.covered[c] for o in outcomes for c in o.covered if _is(c, name)]
        print(f"  {name:28s} {np.concatenate(inside).mean():.2f}")
    print("\ncamera, RMSE and mean error in degrees")
    for key in ("azimuth", "tilt", "pitch"):
        e = np.array([o.camera[key] for o in outcomes])
        print(
            f"  {key:8s} {np.sqrt(np.mean(e**2)):5.1f} {e.mean():+5.1f}, "
            f"median size {np.median(np.abs(e)):.1f}"
        )
    shares = [o.cpu_share for o in outcomes]
    print(f"\ncost: {np.median(shares):.0%} of extraction (median), {max(shares):.0%} at most, CPU")


def main() -> None:
    """Evaluate the clips asked for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, default=Path(__file__).parent / "data")
    parser.add_argument("--split", choices=("calibrate", "validate"), default="validate")
    parser.add_argument("--only", default="", help="clips whose name contains this")
    options = parser.parse_args()
    outcomes = []
    for path in sorted(options.data.glob("*.npz")):
        about = json.loads(str(np.load(path)["about"]))
        if about["split"] == options.split and options.only in path.name:
            outcomes.append(evaluate_clip(path))
    print(f"{len(outcomes)} clips, split {options.split!r}")
    if outcomes:
        print_tables(outcomes)


if __name__ == "__main__":
    main()
