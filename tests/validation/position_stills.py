"""Which positions of the body the pose model finds in a single picture: 34 of them, rendered.

    python tests/validation/position_stills.py [--only WORD] [--turned] [--out FILE]

Standing, kneeling, on hands and knees, planks, prone, supine, on the side, sitting, hanging, head
down; each from eight directions, by phones 0.5 and 1.2 m high, of two bodies, in wide and in tall
pictures. Nothing is shown before, so the model must find the body from nothing. With ``--turned``
pictures in which nobody was found are shown turned by quarter turns as well.

Needs the extra ``clips``. Truth: the joints that were rendered. The table is in
``docs/positions.md``.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
os.environ.setdefault("PYVISTA_OFF_SCREEN", "true")
sys.path[:0] = [str(ROOT), str(ROOT / "sample_clips_synthetic"), str(Path(__file__).parent)]

import numpy as np  # noqa: E402
from bodies import SIDES, Array, Body  # noqa: E402
from pose import LEFT, SIGN, Limb, Targets, solve, turn, unit  # noqa: E402
from positions import JOINTS, WRONG, measure_px_per_m, measure_stature_m, turn_by  # noqa: E402
from scenario import CREW  # noqa: E402
from scene import Camera, Scene  # noqa: E402

from motioncheck.landmarks import PoseModel  # noqa: E402
from motioncheck.skeleton import INDEX  # noqa: E402

BODIES = ("seat 3", "seat 6")
# Ten degrees beside the eighths of a turn: nobody films exactly along an axis.
AZIMUTHS_DEG = tuple(range(10, 370, 45))
HEIGHTS_M = (0.5, 1.2)
DISTANCE_M = 4.2
WIDE, TALL = ((960, 540), 30.0), ((540, 960), 50.0)
# Directions that look along a lying body, from the feet or the head.
ALONG_DEG = {"": (10, 190), "side": (100, 280)}


@dataclass(frozen=True)
class Position:
    """Angles in degrees; a pair is left, right.

    ``pelvis`` and ``chest`` (None: as the pelvis) lean forward from upright, -90 on the back;
    ``roll`` leans to the side. ``hip``, ``knee``, ``shoulder`` (raised forward), ``elbow`` and
    ``out`` (arm raised sideways) as in anatomy. ``lift_m`` is the height over the floor.
    """

    pelvis: float = 0.0
    chest: float | None = None
    roll: float = 0.0
    hip: float | tuple[float, float] = 2.0
    knee: float | tuple[float, float] = 4.0
    shoulder: float | tuple[float, float] = 8.0
    elbow: float | tuple[float, float] = 8.0
    out: float | tuple[float, float] = 12.0
    lift_m: float = 0.0


P = Position
POSITIONS = {
    "standing": P(),
    "bent over": P(70, 85, hip=75, knee=15, shoulder=85),
    "deep squat": P(35, 30, hip=120, knee=130, shoulder=90),
    "low lunge": P(20, hip=(100, -10), knee=(95, 60), shoulder=20),
    "tall kneeling": P(knee=90),
    "half kneeling": P(hip=(90, 0), knee=(90, 90)),
    "sitting on the heels": P(hip=85, knee=150),
    "folded on the shins": P(85, 95, hip=150, knee=155, shoulder=170),
    "hands and knees": P(88, hip=90, knee=90, shoulder=90),
    "hands and knees, arm and leg out": P(88, hip=(90, 0), knee=(90, 0), shoulder=(170, 90)),
    "plank on the hands": P(70, shoulder=75),
    "plank on the forearms": P(82, shoulder=88, elbow=88),
    "push-up, bottom": P(86, shoulder=15, elbow=95, out=45),
    "side plank": P(roll=70, shoulder=0, out=85),
    "downward fold on hands": P(130, hip=85, knee=3, shoulder=175),
    "prone, arms at the sides": P(90),
    "prone, arms ahead": P(90, shoulder=175),
    "prone, chest up": P(88, 50, hip=-5, shoulder=50),
    "supine, straight": P(-90),
    "supine, knees bent": P(-90, hip=50, knee=100),
    "supine, leg raised": P(-90, hip=(85, 0), knee=0),
    "supine, hips and knees at 90": P(-90, hip=90, knee=90, shoulder=90),
    "bridge": P(-115, -112, hip=-5, knee=80, shoulder=10),
    "side lying": P(roll=90),
    "side lying, knees bent": P(roll=90, hip=60, knee=90, shoulder=60),
    "long sitting": P(-5, hip=85, knee=0, shoulder=20),
    "V sit": P(-45, hip=100, knee=10, shoulder=60),
    "hanging": P(shoulder=178, lift_m=0.4),
    "hanging, knees up": P(-10, hip=90, knee=90, shoulder=175, lift_m=0.6),
    "hanging, legs level": P(-15, hip=90, knee=0, shoulder=172, lift_m=0.6),
    "chin over the bar": P(shoulder=60, elbow=140, lift_m=0.6),
    "handstand": P(180, shoulder=178),
    "head down, knees bent": P(180, hip=90, knee=90, shoulder=178),
    "hanging head down": P(150, hip=100, knee=110, shoulder=150, lift_m=0.5),
}


@dataclass(frozen=True)
class Still:
    """A picture and the joints in it, shape (12, 2), with the stature, all in pixels."""

    rgb: np.ndarray
    joints_px: Array
    stature_px: float
    along: bool


@dataclass
class Count:
    """How many stills of a position were found, and the errors of those, per cent of stature."""

    stills: int = 0
    found: int = 0
    wrong: int = 0
    along: int = 0
    along_found: int = 0
    turned_right: int = 0
    turned_wrong: int = 0

    def __post_init__(self) -> None:
        self.errors: list[Array] = []


def _side(value: float | tuple[float, float], side: str) -> float:
    return value[SIDES.index(side)] if isinstance(value, tuple) else value


def make_targets(positions: list[Position]) -> Targets:
    """Turn positions into the wanted directions of one frame each."""

    def angles(name: str, side: str) -> Array:
        return np.array([_side(getattr(p, name), side) for p in positions])

    def lean(angle: list[float]) -> Array:
        return turn("y", [-p.roll for p in positions]) @ turn("x", angle)

    pelvis = lean([p.pelvis for p in positions])
    chest = lean([p.pelvis if p.chest is None else p.chest for p in positions])
    legs = {s: _leg(pelvis, angles("hip", s), angles("knee", s), SIGN[s]) for s in SIDES}
    arms = {
        s: _arm(chest, angles("shoulder", s), angles("elbow", s), angles("out", s), SIGN[s])
        for s in SIDES
    }
    feet = {s: pelvis @ turn("x", angles("knee", s) - angles("hip", s)) for s in SIDES}
    middle = np.zeros((len(positions), 3))
    return Targets(pelvis, chest, chest, legs, arms, feet, middle)


def _along(raised_deg: Array, sideways: Array | float) -> Array:
    """Return directions that hang down, raised forward."""
    raised = np.radians(raised_deg)
    across = np.broadcast_to(sideways, raised.shape)
    return unit(np.stack([across, -np.sin(raised), -np.cos(raised)], axis=-1))


def _turned(frame: Array, direction: Array) -> Array:
    return np.asarray(np.einsum("tij,tj->ti", frame, direction))


def _leg(pelvis: Array, hip: Array, knee: Array, sign: float) -> Limb:
    upper, lower = _along(hip, 0.07 * sign), _along(hip - knee, 0.035 * sign)
    return Limb(_turned(pelvis, upper), _turned(pelvis, lower), pelvis @ LEFT)


def _arm(chest: Array, raised: Array, bend: Array, out: Array, sign: float) -> Limb:
    spread = sign * np.sin(np.radians(out)) * np.abs(np.cos(np.radians(raised)))
    upper = _along(raised, 0.05 * sign + spread)
    lower = _along(raised + bend, 0.2 * spread)
    across = np.cross(upper, lower)
    long = np.linalg.norm(across, axis=-1, keepdims=True)
    hinge = np.where(long > 0.05, across / np.maximum(long, 1e-9), [-1.0, 0.0, 0.0])
    return Limb(_turned(chest, upper), _turned(chest, lower), _turned(chest, hinge))


def pose_bodies(person: str, positions: list[Position]) -> tuple[Body, Array, Array]:
    """Return the body, its skin (N, V, 3) and joints (N, 12, 3), over the middle of the floor."""
    body, targets = Body(CREW[person]), make_targets(positions)
    posed = solve(body, lambda _measured: targets, len(positions))
    low, high = posed.skin.min(axis=1), posed.skin.max(axis=1)
    shift = -0.5 * (low + high)
    shift[:, 2] = 0.01 - low[:, 2] + [p.lift_m for p in positions]
    joints = np.stack([posed.points[name] for name in JOINTS], axis=1)
    skin = (posed.skin + shift[:, None]).astype(np.float32)
    return body, skin, joints + shift[:, None]


def draw_stills(names: list[str]) -> Iterator[tuple[str, Still]]:
    """Yield every still of the positions."""
    for number, person in enumerate(BODIES):
        body, skins, joints = pose_bodies(person, [POSITIONS[name] for name in names])
        for azimuth in AZIMUTHS_DEG:
            size_px, view_deg = WIDE if (azimuth // 45 + number) % 2 == 0 else TALL
            for height_m in HEIGHTS_M:
                camera = Camera(azimuth, DISTANCE_M, height_m, view_deg=view_deg, size_px=size_px)
                scene = Scene([body], camera)
                for i, name in enumerate(names):
                    yield name, _draw(scene, camera, azimuth, POSITIONS[name], skins[i], joints[i])
                scene.close()


def _draw(
    scene: Scene, camera: Camera, azimuth: int, position: Position, skin: Array, joints: Array
) -> Still:
    """Draw one still; the phone aims at the middle of the body."""
    aim_m = float(skin[:, 2].min() + skin[:, 2].max()) / 2.0
    scene.camera = Camera(
        azimuth,
        DISTANCE_M,
        camera.height_m,
        aim_m=aim_m,
        view_deg=camera.view_deg,
        size_px=camera.size_px,
    )
    px = scene.camera.project(joints[None])
    stature = measure_stature_m(joints[None]) * measure_px_per_m(px, joints[None])
    rgb = np.ascontiguousarray(scene.draw(0, [skin]))
    return Still(rgb, px[0], stature, azimuth in ALONG_DEG["side" if position.roll else ""])


def judge(model: dict[tuple[int, ...], PoseModel], still: Still, quarters: int) -> Array | None:
    """Return the error of each joint, None where nobody was found."""
    rgb, points = turn_by(still.rgb, still.joints_px, quarters)
    high, wide = rgb.shape[:2]
    if (wide, high) not in model:
        one = PoseModel(width_px=wide, height_px=high, single_pictures=True)
        model[wide, high] = one.__enter__()
    poses = model[wide, high].detect(np.ascontiguousarray(rgb), 0.0)
    if not poses:
        return None
    found = poses[0].image_px[[INDEX[name] for name in JOINTS]]
    return np.asarray(np.linalg.norm(found - points, axis=1) / still.stature_px * 100.0)


def add(
    count: Count, model: dict[tuple[int, ...], PoseModel], still: Still, *, turned: bool
) -> None:
    """Count one still."""
    error = judge(model, still, 0)
    right = error is not None and bool(error.mean() < WRONG)
    count.stills += 1
    count.found += right
    count.wrong += error is not None and not right
    count.along += still.along
    count.along_found += still.along and right
    if right:
        count.errors.append(error)
    if error is None and turned:
        others = (judge(model, still, quarters) for quarters in (1, 3, 2))
        first = next((other for other in others if other is not None), None)
        if first is not None:
            count.turned_right += bool(first.mean() < WRONG)
            count.turned_wrong += not bool(first.mean() < WRONG)


def make_line(name: str, count: Count) -> str:
    """Return the line of a position in the table."""
    errors = np.concatenate(count.errors) if count.errors else np.array([np.nan])
    across = count.stills - count.along
    median, most = np.percentile(errors, (50, 95))
    line = f"| {name} | {(count.found - count.along_found) / max(across, 1):.0%}"
    line += f" | {count.along_found / max(count.along, 1):.0%} | {count.wrong / count.stills:.0%}"
    return line + f" | {median:.1f} | {most:.1f} |"


def main() -> None:
    """Print the table, and write it where asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--only", default="", help="positions that hold this word")
    parser.add_argument("--turned", action="store_true", help="turned pictures where none is found")
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    names = [name for name in POSITIONS if asked.only in name]
    counts = {name: Count() for name in names}
    model: dict[tuple[int, ...], PoseModel] = {}
    for name, still in draw_stills(names):
        add(counts[name], model, still, turned=asked.turned)
    for one in model.values():
        one.__exit__(None, None, None)
    head = "position | found from across | found along the body | wrong body | median | 95 %"
    lines = [f"| {head} |", "|" + " --- |" * 6]
    lines += [make_line(name, count) for name, count in counts.items()]
    print("\n".join(lines))
    if asked.turned:
        right = sum(count.turned_right for count in counts.values())
        wrong = sum(count.turned_wrong for count in counts.values())
        print(f"nobody upright: turned pictures showed {right} right and {wrong} wrong bodies")
    if asked.out:
        asked.out.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
