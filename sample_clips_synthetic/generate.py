"""Render the synthetic sample clips and their truth.

Usage: ``python generate.py [NAME ...] [--out DIR]``; without names every clip is made.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from bodies import Array, Body, Posed
from drills import HEEL_KICKS, HIGH_KNEES, Jacks, Steps, plan_steps
from encode import read_times, set_quarter_turn, write_clip
from motions import Squat
from pose import Motion, solve
from scenario import CLIPS, CREW, FAULTS, Clip
from scene import Camera, Scene, hand_shake
from stroll import Stroll
from tempo import VIDEO_CLOCK_HZ, Rep, even_times, plan_reps, uneven_times
from truth import (
    JOINT_NAMES,
    add_half_way,
    compute_angles,
    describe_reps,
    write_joints,
    write_truth,
)
from twist import Twist

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

GAP_S = 2.5
STEP_STYLES = {"high-knees": HIGH_KNEES, "heel-to-seat-kicks": HEEL_KICKS}
PLANTED = {"air-squat": Squat, "jumping-jacks": Jacks, "wide-stance-twist": Twist}


@dataclass(frozen=True)
class Plan:
    """The times, repetitions and poses of one clip."""

    time_s: Array
    reps: list[Rep]
    absent_s: list[tuple[float, float]]
    body: Body
    posed: Posed


def plan_schedule(clip: Clip, rng: Generator) -> tuple[list[Rep], float, list[tuple[float, float]]]:
    """Return repetitions, length and absences of a clip."""
    style = STEP_STYLES.get(clip.movement)
    if style is None:
        sides = ("left", "right") if clip.movement == "wide-stance-twist" else ("both",)
        reps, total_s = plan_reps(
            clip.timing, count=clip.count, sides=sides, faults=clip.faults, rng=rng
        )
        return reps, total_s, []
    common = {
        "cadence_per_min": clip.cadence_per_min,
        "faults": clip.faults,
        "rng": rng,
        "style": style,
    }
    if clip.gap_after is None:
        reps, total_s = plan_steps(lead_s=0.95, steps=clip.count, **common)
        return reps, total_s, []
    first, away_s = plan_steps(lead_s=0.95, steps=clip.gap_after, tail_s=0.7, **common)
    second, total_s = plan_steps(
        lead_s=away_s + GAP_S + 0.9,
        steps=clip.count - clip.gap_after,
        first_number=clip.gap_after + 1,
        **common,
    )
    return [*first, *second], total_s, [(away_s, away_s + GAP_S)]


def build_motion(clip: Clip, body: Body, time_s: Array, reps: list[Rep], rng: Generator) -> Motion:
    """Return the movement of a clip as a motion of one body."""
    style = STEP_STYLES.get(clip.movement)
    if style is not None:
        return Steps(body, time_s, reps, rng, style)
    return PLANTED[clip.movement](body, time_s, reps, rng)


def shift_reps(reps: list[Rep], by_s: float) -> list[Rep]:
    """Move repetitions in time."""
    return [
        Rep(
            number=r.number,
            side=r.side,
            start_s=r.start_s + by_s,
            turn_s=r.turn_s + by_s,
            end_s=r.end_s + by_s,
            planted=r.planted,
            hold_s=r.hold_s,
        )
        for r in reps
    ]


def plan_clip(clip: Clip) -> Plan:
    """Schedule a clip and pose its body in every frame."""
    rng = np.random.default_rng(clip.seed)
    reps, total_s, absent_s = plan_schedule(clip, rng)
    if clip.uneven:
        time_s = uneven_times(total_s, 0.7, rng)
        reps = shift_reps(reps, float(time_s[0]))
    else:
        time_s = even_times(total_s, clip.rate_hz)
    time_s = np.round(time_s * VIDEO_CLOCK_HZ) / VIDEO_CLOCK_HZ
    body = Body(CREW[clip.person])
    posed = solve(body, build_motion(clip, body, time_s, reps, rng), len(time_s))
    return Plan(time_s=time_s, reps=reps, absent_s=absent_s, body=body, posed=posed)


def second_person(clip: Clip, time_s: Array) -> tuple[list[Body], list[NDArray[np.float32]]]:
    """Return the person in the background, if the clip has one."""
    if clip.second_person is None:
        return [], []
    body = Body(CREW[clip.second_person])
    posed = solve(body, Stroll(body, time_s, np.random.default_rng(clip.seed + 500)), len(time_s))
    return [body], [Stroll.to_background(posed.skin, time_s)]


def in_view(plan: Plan) -> NDArray[np.bool_]:
    """Return True for the frames in which the person is drawn."""
    shown = np.ones(len(plan.time_s), dtype=bool)
    for begin, end in plan.absent_s:
        shown[(plan.time_s >= begin) & (plan.time_s < end)] = False
    return shown


def draw_frames(clip: Clip, plan: Plan, camera: Camera) -> Iterator[NDArray[np.uint8]]:
    """Draw every frame of a clip, lying on its side if it is stored that way."""
    others, other_skins = second_person(clip, plan.time_s)
    scene = Scene([plan.body, *others], camera)
    shown = in_view(plan)
    for t in range(len(plan.time_s)):
        own = plan.posed.skin[t] if shown[t] else None
        picture = scene.draw(t, [own, *(skin[t] for skin in other_skins)])
        yield np.rot90(picture, 1) if clip.quarter_turn else picture
    scene.close()


def describe_clip(clip: Clip, plan: Plan, time_s: Array) -> dict[str, Any]:
    """Return the part of the truth that says what the clip is."""
    camera = clip.camera
    planted = sorted({fault for rep in plan.reps for fault in rep.planted})
    angles = compute_angles(plan.posed.points, plan.body)
    rows = describe_reps(plan.reps, plan.time_s, angles)
    if clip.movement == "air-squat":
        add_half_way(rows, plan.time_s, angles)
    return {
        "clip": f"{clip.name}.mp4",
        "movement": clip.movement,
        "person": clip.person,
        "camera": {
            "azimuth_deg": camera.azimuth_deg,
            "height_m": camera.height_m,
            "distance_m": camera.distance_m,
            "tilt_deg": camera.tilt_deg,
            "moving": clip.handheld,
        },
        "time_s": [round(float(t), 4) for t in time_s],
        "absent_s": [[round(a, 4), round(b, 4)] for a, b in plan.absent_s],
        "reps": rows,
        "planted_faults": {fault: FAULTS[fault] for fault in planted},
    }


def make_clip(clip: Clip, out: Path) -> None:
    """Render one clip and write it with its truth."""
    plan = plan_clip(clip)
    camera = clip.camera
    if clip.handheld:
        rng = np.random.default_rng(clip.seed + 900)
        camera = camera.with_shake(hand_shake(plan.time_s, rng))
    path = out / f"{clip.name}.mp4"
    width, height = camera.size_px
    stored_px = (height, width) if clip.quarter_turn else (width, height)
    write_clip(
        path,
        draw_frames(clip, plan, camera),
        plan.time_s,
        rate_hz=clip.rate_hz,
        size_px=stored_px,
        crf=clip.crf,
    )
    if clip.quarter_turn:
        set_quarter_turn(path)
    stored_s = read_times(path)
    if np.abs(stored_s - plan.time_s).max() > 1e-4:
        raise RuntimeError(f"{path.name}: the file does not keep the frame times it was given")
    shown = in_view(plan)
    angles = compute_angles(plan.posed.points, plan.body)
    angles = {name: np.where(shown, values, np.nan) for name, values in angles.items()}
    write_truth(out / f"{clip.name}.truth.json", describe_clip(clip, plan, stored_s), angles)
    joints = np.stack([plan.posed.points[name] for name in JOINT_NAMES], axis=1)
    write_joints(
        out / f"{clip.name}.joints.npz", plan.posed.points, camera.project(joints), stored_s
    )


def write_manifest(out: Path) -> None:
    """List the clips that are there, with their check sums."""
    rows = []
    for clip in CLIPS:
        path = out / f"{clip.name}.mp4"
        if not path.exists():
            continue
        truth = json.loads((out / f"{clip.name}.truth.json").read_text(encoding="utf-8"))
        times = truth["time_s"]
        rows.append(
            {
                "file": path.name,
                "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
                "bytes": path.stat().st_size,
                "movement": clip.movement,
                "person": clip.person,
                "view_azimuth_deg": clip.camera.azimuth_deg,
                "frames": len(times),
                "duration_s": round(times[-1] - times[0], 3),
                "reps": len(truth["reps"]),
                "planted": {str(r["number"]): r["planted"] for r in truth["reps"] if r["planted"]},
                "special": clip.special,
            }
        )
    text = json.dumps({"clips": rows}, indent=1)
    (out / "manifest.json").write_text(text + "\n", encoding="utf-8")


def main(arguments: list[str] | None = None) -> int:
    """Make the clips named on the command line, or all of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME")
    parser.add_argument("--out", type=Path, default=Path(__file__).resolve().parent)
    options = parser.parse_args(arguments)
    known = {clip.name: clip for clip in CLIPS}
    unknown = [name for name in options.names if name not in known]
    if unknown:
        parser.error(f"no such clip: {', '.join(unknown)}; there are: {', '.join(known)}")
    options.out.mkdir(parents=True, exist_ok=True)
    for name in options.names or known:
        begun = time.monotonic()
        make_clip(known[name], options.out)
        size_kb = (options.out / f"{name}.mp4").stat().st_size / 1000
        print(f"{name}: {size_kb:.0f} kB, {time.monotonic() - begun:.0f} s", file=sys.stderr)
    write_manifest(options.out)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
