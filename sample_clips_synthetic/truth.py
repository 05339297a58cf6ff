"""True angles of the rendered body and the files that record them."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from bodies import SIDES, Array, Body
from pose import SIGN
from truth_floor import FLOOR_DEFINITIONS, floor_measures
from truth_lifts import LIFT_DEFINITIONS, lift_measures

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from schedule import Schedule
    from tempo import Rep

SIDED_JOINTS = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "heel", "big_toe")
JOINT_NAMES = (
    *(f"{side}_{name}" for name in SIDED_JOINTS for side in SIDES),
    *("nose", "left_eye", "right_eye", "left_ear", "right_ear"),
)

HALF_WAY_DEG = 60.0
FACING_SHARE = 0.2

DEFINITIONS = (
    "Degrees from the body's own 3-D joints in the person's axes: forward is where the person "
    "faces when set up, up is vertical, left is the person's left. knee_flexion, elbow_flexion: "
    "180 - angle at the joint in 3-D. hip_flexion: 180 - angle shoulder, hip, knee in 3-D; it is "
    "about 8 to 16 in quiet standing, because shoulders are wider than hips and feet stand apart. "
    "hip_flexion_sagittal: the same three points seen square from the side, + folded. "
    "ankle_flexion: 90 - angle knee, ankle, big toe in 3-D. thigh_inclination: knee-to-hip above "
    "the horizontal; 90 standing, 0 level, negative with the hip below the knee. "
    "shank_inclination: ankle-to-knee from vertical in the sagittal plane, forward +. "
    "trunk_inclination: mid hip to mid shoulder from vertical in the sagittal plane, forward +. "
    "trunk_lateral_inclination: the same in the frontal plane, to the person's right +; null where "
    "the trunk is within about 12 degrees of pointing forward or back. "
    "shoulder_elevation: 3-D angle between shoulder-to-hip and shoulder-to-elbow. "
    "frontal_plane_knee_angle: 180 - angle hip, knee, ankle in the frontal plane, + when the "
    "knee is medial of the hip-to-ankle line; it has no steady meaning when the thigh points at "
    "the viewer. knee_ankle_separation_ratio: knee over ankle distance, left to right. "
    "stance_width_ratio: ankle over shoulder distance, left to right. heel_lift_ratio: heel "
    "height over its standing height / foot length (heel to big toe). wrist_heel_gap_ratio: "
    "wrist of that side to the opposite heel / shank length, 3-D. Rep times are the planned "
    "start, turn and end; values are the angles at the turn; at_60_deg (squats) where the knees "
    "bend through 60 on the way down. null: the person is not in view, or as said."
)


def angle_at(a: Array, b: Array, c: Array) -> Array:
    """Return the angle at ``b`` in degrees, for points of shape (T, D)."""
    u, v = a - b, c - b
    if u.shape[-1] == 2:
        cross = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    else:
        cross = np.linalg.norm(np.cross(u, v), axis=-1)
    return np.degrees(np.arctan2(cross, np.sum(u * v, axis=-1)))


def compute_angles(points: dict[str, Array], body: Body) -> dict[str, Array]:
    """Compute every true measure, one array of shape (T,) each."""
    out: dict[str, Array] = {}
    for side in SIDES:
        p = {name: points[f"{side}_{name}"] for name in SIDED_JOINTS}
        other = points["right_heel" if side == "left" else "left_heel"]
        values = _leg_angles(p, side) | _arm_angles(p)
        foot_m = np.linalg.norm(p["big_toe"] - p["heel"], axis=-1)
        standing_z = body.rest[f"{side}_heel"][2] - body.rest_sole_z
        values["heel_lift_ratio"] = (p["heel"][:, 2] - standing_z) / foot_m
        shank_m = np.linalg.norm(p["knee"] - p["ankle"], axis=-1)
        values["wrist_heel_gap_ratio"] = np.linalg.norm(p["wrist"] - other, axis=-1) / shank_m
        out |= {f"{name}_{side}": value for name, value in values.items()}
    return out | _whole_body(points) | lift_measures(points) | floor_measures(points)


def _leg_angles(p: dict[str, Array], side: str) -> dict[str, Array]:
    thigh, shank = p["hip"] - p["knee"], p["knee"] - p["ankle"]
    length = np.linalg.norm(thigh, axis=-1)
    hip, knee, ankle = (p[name][:, [0, 2]] for name in ("hip", "knee", "ankle"))
    reach = ankle - hip
    cross = reach[:, 0] * (knee - hip)[:, 1] - reach[:, 1] * (knee - hip)[:, 0]
    # Seen from behind (left is +x) the left knee lies medially where the cross product is < 0.
    medial = np.where(cross * SIGN[side] < 0, 1.0, -1.0)
    trunk = p["shoulder"] - p["hip"]
    lean = np.degrees(np.arctan2(-trunk[:, 1], trunk[:, 2]))
    thigh_back = np.degrees(np.arctan2(-thigh[:, 1], thigh[:, 2]))
    return {
        "knee_flexion": 180 - angle_at(p["hip"], p["knee"], p["ankle"]),
        "hip_flexion": 180 - angle_at(p["shoulder"], p["hip"], p["knee"]),
        "hip_flexion_sagittal": (lean - thigh_back + 90) % 360 - 90,
        "ankle_flexion": 90 - angle_at(p["knee"], p["ankle"], p["big_toe"]),
        "thigh_inclination": np.degrees(np.arcsin(thigh[:, 2] / length)),
        "shank_inclination": np.degrees(np.arctan2(-shank[:, 1], shank[:, 2])),
        "frontal_plane_knee_angle": medial * (180 - angle_at(hip, knee, ankle)),
    }


def _arm_angles(p: dict[str, Array]) -> dict[str, Array]:
    return {
        "shoulder_elevation": angle_at(p["hip"], p["shoulder"], p["elbow"]),
        "elbow_flexion": 180 - angle_at(p["shoulder"], p["elbow"], p["wrist"]),
    }


def _whole_body(points: dict[str, Array]) -> dict[str, Array]:
    mid = {
        name: 0.5 * (points[f"left_{name}"] + points[f"right_{name}"])
        for name in ("shoulder", "hip")
    }
    trunk = mid["shoulder"] - mid["hip"]
    apart = {
        name: np.abs(points[f"left_{name}"][:, 0] - points[f"right_{name}"][:, 0])
        for name in ("shoulder", "knee", "ankle")
    }
    sideways = np.degrees(np.arctan2(-trunk[:, 0], trunk[:, 2]))
    seen = np.linalg.norm(trunk[:, [0, 2]], axis=1) / np.linalg.norm(trunk, axis=1)
    return {
        "trunk_inclination": np.degrees(np.arctan2(-trunk[:, 1], trunk[:, 2])),
        # Lying, or bent to level, the trunk points at a viewer in front.
        "trunk_lateral_inclination": np.where(seen < FACING_SHARE, np.nan, sideways),
        "knee_ankle_separation_ratio": apart["knee"] / apart["ankle"],
        "stance_width_ratio": apart["ankle"] / apart["shoulder"],
    }


def _rounded(values: Array, digits: int) -> list[float | None]:
    return [None if np.isnan(v) else round(float(v), digits) for v in values]


def _decimals(measure: str) -> int:
    return 3 if "_ratio" in measure or measure.endswith("_m") else 2


def describe_reps(reps: list[Rep], time_s: Array, angles: dict[str, Array]) -> list[dict[str, Any]]:
    """Return the repetitions with the true values at their turns."""
    rows = []
    for rep in reps:
        values = _values_at(rep.turn_s, time_s, angles)
        rows.append(
            {
                "number": rep.number,
                "side": rep.side,
                "start_s": round(rep.start_s, 4),
                "turn_s": round(rep.turn_s, 4),
                "end_s": round(rep.end_s, 4),
                "planted": list(rep.planted),
                "values": values,
            }
        )
    return rows


def _values_at(moment_s: float, time_s: Array, angles: dict[str, Array]) -> dict[str, float | None]:
    values = {name: np.interp(moment_s, time_s, series) for name, series in angles.items()}
    return {name: _rounded(np.array([v]), _decimals(name))[0] for name, v in values.items()}


def describe_events(
    schedule: Schedule, time_s: Array, angles: dict[str, Array]
) -> dict[str, list[dict[str, Any]]]:
    """Return the holds, stages and rungs of a clip, those it has; times in seconds.

    Holds and stages come with the true values in their middle.
    """
    kinds = {"holds": schedule.holds, "stages": schedule.stages, "rungs": schedule.rungs}
    out = {}
    for name, rows in kinds.items():
        if rows:
            out[name] = [_event(asdict(row), time_s, angles) for row in rows]
    return out


def _event(row: dict[str, Any], time_s: Array, angles: dict[str, Array]) -> dict[str, Any]:
    row = {key: round(v, 4) if isinstance(v, float) else v for key, v in row.items()}
    if "start_s" in row:
        row["values"] = _values_at(0.5 * (row["start_s"] + row["end_s"]), time_s, angles)
    return row


def add_half_way(rows: list[dict[str, Any]], time_s: Array, angles: dict[str, Array]) -> None:
    """Add the knees' frontal values where the knees bend through 60 degrees on the way down.

    At the bottom the thighs point at a viewer in front, and the frontal angle says nothing.
    """
    knee = 0.5 * (angles["knee_flexion_left"] + angles["knee_flexion_right"])
    wanted = {
        name: series
        for name, series in angles.items()
        if name.startswith(("frontal_plane", "knee_ankle"))
    }
    for row in rows:
        down = (time_s >= row["start_s"]) & (time_s <= row["turn_s"])
        moment_s = float(time_s[down][np.argmax(knee[down] >= HALF_WAY_DEG)])
        row["at_60_deg"] = {
            "time_s": round(moment_s, 4),
            "values": _values_at(moment_s, time_s, wanted),
        }


def write_truth(path: Path, record: dict[str, Any], angles: dict[str, Array]) -> None:
    """Write the truth of one clip as compact JSON."""
    series = {name: _rounded(values, _decimals(name)) for name, values in angles.items()}
    definitions = DEFINITIONS + LIFT_DEFINITIONS + FLOOR_DEFINITIONS
    text = json.dumps(
        record | {"angles": series, "definitions": definitions},
        separators=(",", ":"),
        allow_nan=False,
    )
    path.write_text(text + "\n", encoding="utf-8")


def write_joints(
    path: Path, points: dict[str, Array], joints_px: NDArray[np.float64], time_s: Array
) -> None:
    """Write joint positions in metres and in pixels of the upright picture.

    Metres are 16-bit numbers, good to a millimetre at the height of a person.
    """
    joints_m = np.stack([points[name] for name in JOINT_NAMES], axis=1)
    np.savez_compressed(
        path,
        names=np.array(JOINT_NAMES),
        time_s=time_s,
        joints_m=joints_m.astype(np.float16),
        joints_px=np.round(joints_px, 1).astype(np.float32),
    )
