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
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import floor_holds
import numpy as np
from bodies import Array, Body, Posed
from burpee import BURPEE
from drills import HEEL_KICKS, HIGH_KNEES, Jacks, Steps, plan_steps
from encode import read_times, set_quarter_turn, write_clip
from getup import GET_UP
from motions import Squat
from pose import solve
from scenario import CLIPS as BASE_CLIPS
from scenario import CREW, FAULTS, Clip
from scenario_floor import FLOOR_CLIPS, FLOOR_FAULTS
from scenario_standing import STANDING_CLIPS, STANDING_FAULTS
from scene import Camera, Scene, Solid, hand_shake
from schedule import Movement, Schedule, repeated, shift_reps
from standing import STANDING_MOVEMENTS
from stroll import Stroll
from tempo import VIDEO_CLOCK_HZ, even_times, uneven_times
from truth import (
    JOINT_NAMES,
    add_half_way,
    compute_angles,
    describe_events,
    describe_reps,
    write_joints,
    write_truth,
)
from twist import Twist

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray
    from pose import Motion

GAP_S = 2.5
CLIPS = (*BASE_CLIPS, *FLOOR_CLIPS, *STANDING_CLIPS)
ALL_FAULTS = FAULTS | FLOOR_FAULTS | STANDING_FAULTS
STEP_STYLES = {"high-knees": HIGH_KNEES, "heel-to-seat-kicks": HEEL_KICKS}


@dataclass(frozen=True)
class Plan:
    """The times, events and poses of one clip."""

    time_s: Array
    schedule: Schedule
    body: Body
    posed: Posed
    solids: tuple[Solid, ...] = ()


def plan_stepping(clip: Clip, rng: Generator) -> Schedule:
    """Plan a running drill, with nobody in view in the middle if the clip asks for it."""
    common = {
        "cadence_per_min": clip.cadence_per_min,
        "faults": clip.faults,
        "rng": rng,
        "style": STEP_STYLES[clip.movement],
    }
    if clip.gap_after is None:
        reps, total_s = plan_steps(lead_s=0.95, steps=clip.count, **common)
        return Schedule(reps=reps, total_s=total_s)
    first, away_s = plan_steps(lead_s=0.95, steps=clip.gap_after, tail_s=0.7, **common)
    second, total_s = plan_steps(
        lead_s=away_s + GAP_S + 0.9,
        steps=clip.count - clip.gap_after,
        first_number=clip.gap_after + 1,
        **common,
    )
    absent_s = [(away_s, away_s + GAP_S)]
    return Schedule(reps=[*first, *second], total_s=total_s, absent_s=absent_s)


def build_stepping(
    clip: Clip, body: Body, time_s: Array, schedule: Schedule, rng: Generator
) -> Motion:
    """Return a running drill as a motion of one body."""
    return Steps(body, time_s, schedule.reps, rng, STEP_STYLES[clip.movement])


STEPPING = Movement(plan=plan_stepping, build=build_stepping)
MOVEMENTS: dict[str, Movement] = {
    "air-squat": repeated(Squat),
    "jumping-jacks": repeated(Jacks),
    "wide-stance-twist": repeated(Twist, sides=("left", "right")),
    "high-knees": STEPPING,
    "heel-to-seat-kicks": STEPPING,
    **dict.fromkeys(floor_holds.STYLES, floor_holds.HOLDS),
    "get-up": GET_UP,
    "burpee": BURPEE,
    **STANDING_MOVEMENTS,
}


def plan_clip(clip: Clip) -> Plan:
    """Schedule a clip and pose its body in every frame."""
    rng = np.random.default_rng(clip.seed)
    movement = MOVEMENTS[clip.movement]
    schedule = movement.plan(clip, rng)
    if clip.uneven:
        time_s = uneven_times(schedule.total_s, 0.7, rng)
        schedule = replace(schedule, reps=shift_reps(schedule.reps, float(time_s[0])))
    else:
        time_s = even_times(schedule.total_s, clip.rate_hz)
    time_s = np.round(time_s * VIDEO_CLOCK_HZ) / VIDEO_CLOCK_HZ
    body = Body(CREW[clip.person])
    motion = movement.build(clip, body, time_s, schedule, rng)
    posed = solve(body, motion, len(time_s))
    solids = getattr(motion, "solids", ())
    return Plan(time_s=time_s, schedule=schedule, body=body, posed=posed, solids=solids)


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
    for begin, end in plan.schedule.absent_s:
        shown[(plan.time_s >= begin) & (plan.time_s < end)] = False
    return shown


def draw_frames(clip: Clip, plan: Plan, camera: Camera) -> Iterator[NDArray[np.uint8]]:
    """Draw every frame of a clip, lying on its side if it is stored that way."""
    others, other_skins = second_person(clip, plan.time_s)
    scene = Scene([plan.body, *others], camera)
    for solid in plan.solids:
        scene.add_solid(solid)
    shown = in_view(plan)
    for t in range(len(plan.time_s)):
        own = plan.posed.skin[t] if shown[t] else None
        picture = scene.draw(t, [own, *(skin[t] for skin in other_skins)])
        yield np.rot90(picture, 1) if clip.quarter_turn else picture
    scene.close()


def describe_clip(clip: Clip, plan: Plan, time_s: Array) -> dict[str, Any]:
    """Return the part of the truth that says what the clip is."""
    camera = clip.camera
    schedule = plan.schedule
    angles = compute_angles(plan.posed.points, plan.body)
    rows = describe_reps(schedule.reps, plan.time_s, angles)
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
        "absent_s": [[round(a, 4), round(b, 4)] for a, b in plan.schedule.absent_s],
        "reps": rows,
        **describe_events(schedule, plan.time_s, angles),
        "planted_faults": {fault: ALL_FAULTS[fault] for fault in schedule.planted},
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
        events = truth["reps"] or truth.get("holds", [])
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
                "holds": len(truth.get("holds", [])),
                "stages": len(truth.get("stages", [])),
                "planted": {str(r["number"]): r["planted"] for r in events if r["planted"]},
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
