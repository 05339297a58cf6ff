"""A constructed body that squats, seen by a constructed camera, for tests of the body fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motioncheck.bodyfit.axes import landmark_offsets
from motioncheck.bodyfit.model import GROUPS, JOINT, LANDMARK_OF, STATURE_M
from motioncheck.records import CleanTrack
from motioncheck.skeleton import COUNT, JOINTS

Array = NDArray[np.float64]
LENGTH = {g.name: g.share * STATURE_M for g in GROUPS}
WIDTH_PX, HEIGHT_PX = 540, 960
RATE_HZ = 15.0


def squat_joints(knee_deg: Array, trunk_deg: Array) -> Array:
    """Return joints along forward, up, right for a squat that keeps the feet in place.

    The shank leans forward by 0.4 of the knee's flexion, the thigh takes the rest; the arms hang
    forward of the trunk by 20 degrees and are straight.
    """
    knee, trunk = np.radians(knee_deg), np.radians(trunk_deg)
    frames = len(knee)
    joints = np.zeros((frames, len(JOINTS), 3))

    def line(angle: Array, length: float) -> Array:
        return length * np.stack([np.sin(angle), np.cos(angle), np.zeros(frames)], axis=1)

    for side, out in (("left", -1.0), ("right", 1.0)):
        across = np.array([0.0, 0.0, out])
        ankle = np.array([0.0, 0.09, 0.0]) + across * LENGTH["hip width"] / 2
        joints[:, JOINT[f"{side}_ankle"]] = ankle
        joints[:, JOINT[f"{side}_heel"]] = ankle + np.array([-0.045, -0.055, 0.0])
        joints[:, JOINT[f"{side}_toe"]] = ankle + np.array([0.196, -0.07, 0.0])
        joints[:, JOINT[f"{side}_knee"]] = ankle + line(0.4 * knee, LENGTH["shank"])
        hip = joints[:, JOINT[f"{side}_knee"]] + line(-0.6 * knee, LENGTH["thigh"])
        joints[:, JOINT[f"{side}_hip"]] = hip
        wider = across * (LENGTH["shoulder width"] - LENGTH["hip width"]) / 2
        trunk_m = float(np.sqrt(LENGTH["trunk"] ** 2 - wider[2] ** 2))
        shoulder = hip + line(trunk, trunk_m) + wider
        joints[:, JOINT[f"{side}_shoulder"]] = shoulder
        arm = np.pi - np.radians(20.0) + 0.0 * knee
        joints[:, JOINT[f"{side}_elbow"]] = shoulder + line(arm, LENGTH["upper arm"])
        joints[:, JOINT[f"{side}_wrist"]] = joints[:, JOINT[f"{side}_elbow"]] + line(
            arm, LENGTH["forearm"]
        )
    return joints


@dataclass(frozen=True)
class Scene:
    """A squatting body and its track; angles in degrees."""

    track: CleanTrack
    joints: Array
    knee_deg: Array
    trunk_deg: Array


def film_squat(
    azimuth_deg: float,
    *,
    seconds: float = 8.0,
    noise_m: float = 0.006,
    depth_noise_m: float = 0.02,
    seed: int = 0,
    depth_m: float = 3.5,
) -> Scene:
    """Return a squat every 4 s as a level camera at this azimuth sees it."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    phase = 0.5 - 0.5 * np.cos(np.pi * np.clip((time_s % 4.0) - 1.0, 0.0, 2.0))
    knee_deg, trunk_deg = 4.0 + 96.0 * phase, 2.0 + 38.0 * phase
    joints = squat_joints(knee_deg, trunk_deg)
    turn = np.radians(azimuth_deg)
    # Camera axes: x right in the picture, y down, z away. Facing the lens, forward is -z and the
    # person's right is -x; at +90 the lens is at the left side: forward is picture left.
    to_camera = np.array(
        [
            [-np.sin(turn), 0.0, -np.cos(turn)],
            [0.0, -1.0, 0.0],
            [-np.cos(turn), 0.0, np.sin(turn)],
        ]
    )
    placed = (joints - [0.0, 0.85, 0.0]) @ to_camera.T + [0.0, 0.0, depth_m]
    marked = placed + landmark_offsets(placed)
    rng = np.random.default_rng(seed)
    focal_px = 1.2 * HEIGHT_PX
    marked[..., :2] += rng.normal(0.0, noise_m, marked[..., :2].shape)
    spot = marked[..., :2] / marked[..., 2:] * focal_px + [WIDTH_PX / 2, HEIGHT_PX / 2]
    image = np.full((len(time_s), COUNT, 2), np.nan)
    world = np.full((len(time_s), COUNT, 3), np.nan)
    image[:, LANDMARK_OF] = spot
    bias = rng.normal(0.0, depth_noise_m, (1, len(JOINTS)))
    hips = (placed[:, JOINT["left_hip"]] + placed[:, JOINT["right_hip"]]) / 2
    own = placed - hips[:, None]
    own[..., 2] += bias
    world[:, LANDMARK_OF] = own
    seen = np.full((len(time_s), COUNT), 0.99)
    track = CleanTrack(time_s, image, seen, world, WIDTH_PX, HEIGHT_PX, RATE_HZ, 6.0)
    return Scene(track, joints, knee_deg, trunk_deg)


def change(track: CleanTrack, **fields: Array) -> CleanTrack:
    """Return the track with other arrays."""
    values = {n: getattr(track, n) for n in ("time_s", "image_px", "visibility", "world_m")}
    return CleanTrack(
        **(values | fields),
        width_px=track.width_px,
        height_px=track.height_px,
        rate_hz=track.rate_hz,
        cutoff_hz=track.cutoff_hz,
    )
