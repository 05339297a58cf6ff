"""Real motion from marker recordings, put in front of a synthetic camera."""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation
from synthetic import Scene, make_clean, make_view

from motioncheck.measures import build_body, compute_table
from motioncheck.rules import make_cycle_rule
from motioncheck.skeleton import LANDMARKS
from motioncheck.splitting import Timeline, split_reps
from motioncheck.standards import get_standard

RATE_HZ = 30.0
# Joints of the recording by landmark; each is the upper end of the bone it is named after.
MARKER_NAMES = {
    "shoulder": "humerus",
    "elbow": "radius",
    "wrist": "hand",
    "hip": "femur",
    "knee": "tibia",
    "ankle": "foot",
    "toe": "toes",
}


@dataclass(frozen=True)
class Row:
    """One line of the reps checked by eye."""

    sequence: str
    exercise: str
    begin_s: float
    end_s: float
    signal: str
    peaks_s: tuple[float, ...]


def read_rows(path: Path) -> list[Row]:
    with path.open(encoding="utf-8") as file:
        return [
            Row(
                r["seq"],
                r["exercise"],
                float(r["t0"]),
                float(r["t1"]),
                r["signal"],
                tuple(float(x) for x in r["peak_times"].split()),
            )
            for r in csv.DictReader(file)
        ]


def read_markers(path: Path, sequence: str) -> dict[str, np.ndarray]:
    """Return landmarks in the person's axes (forward, left, up); z is up and forward is -y."""
    with np.load(path) as data:
        names, joints = list(data["names"]), data[f"s{sequence}"].astype(float)
    turned = np.stack([-joints[..., 1], joints[..., 0], joints[..., 2]], axis=-1)
    return {
        f"{side}_{part}": turned[:, names.index(f"{side[0]}{bone}")]
        for side in ("left", "right")
        for part, bone in MARKER_NAMES.items()
    }


def read_bvh(path: Path) -> dict[str, np.ndarray]:
    """Return joint positions by name from a BVH file, in its own axes."""
    lines = iter(path.read_text(encoding="utf-8").splitlines())
    joints: list[tuple[str, int, np.ndarray, list[str]]] = []
    open_joints: list[int] = []
    for line in lines:
        words = line.split()
        if words[0] in ("ROOT", "JOINT", "End"):
            parent = open_joints[-1] if open_joints else -1
            name = words[1] if words[0] != "End" else f"{joints[parent][0]} end"
            joints.append((name, parent, np.zeros(3), []))
        elif words[0] == "{":
            open_joints.append(len(joints) - 1)
        elif words[0] == "}":
            open_joints.pop()
        elif words[0] == "OFFSET":
            joints[-1][2][:] = [float(w) for w in words[1:]]
        elif words[0] == "CHANNELS":
            joints[-1][3].extend(words[2:])
        elif words[0] == "MOTION":
            break
    next(lines), next(lines)
    rows = np.array([[float(w) for w in line.split()] for line in lines if line.strip()])
    places: list[np.ndarray] = []
    turns: list[Rotation] = []
    column = 0
    for _, parent, offset, channels in joints:
        values = rows[:, column : column + len(channels)]
        column += len(channels)
        place = np.tile(offset, (len(rows), 1))
        for axis, letter in enumerate("XYZ"):
            if f"{letter}position" in channels:
                place[:, axis] += values[:, channels.index(f"{letter}position")]
        spins = [i for i, c in enumerate(channels) if c.endswith("rotation")]
        order = "".join(channels[i][0] for i in spins)
        turn = Rotation.identity(len(rows))
        if spins:
            turn = Rotation.from_euler(order, values[:, spins], degrees=True)
        if parent >= 0:
            place = places[parent] + turns[parent].apply(place)
            turn = turns[parent] * turn
        places.append(place)
        turns.append(turn)
    return {name: p for (name, *_), p in zip(joints, places, strict=True)}


def split_motion(
    points: dict[str, np.ndarray],
    movement: str,
    *,
    azimuth_deg: float,
    min_change: float | None = None,
) -> Timeline:
    """Split marker motion with the rules of a shipped standard, seen from one direction.

    ``min_change`` replaces the smallest change that counts, for a smaller movement of that kind.
    """
    frames = len(next(iter(points.values())))
    whole = {name: np.full((frames, 3), np.nan) for name in LANDMARKS} | points
    track = make_clean(whole, Scene(azimuth_deg), rate_hz=RATE_HZ)
    table = compute_table(build_body(track, make_view(azimuth_deg)))
    rule = make_cycle_rule(get_standard(movement).standard.split)
    if min_change is not None:
        rule = replace(rule, cycle=replace(rule.cycle, min_change=min_change))
    return split_reps(table, rule)
