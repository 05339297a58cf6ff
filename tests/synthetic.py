"""Synthetic bodies with known angles, seen by a known camera.

The body has the segment lengths of Drillis & Contini (1966) as drawn in Winter, fig. 4.1 (shares
of stature). Points are in metres in the person's axes: forward, left, up. The camera is
orthographic, so that every angle in the picture can be worked out by hand.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motioncheck.camera import name_view
from motioncheck.measures import BodyPicture, build_body
from motioncheck.records import CameraView, CleanTrack, LandmarkTrack
from motioncheck.skeleton import LANDMARKS

STATURE_M = 1.75
SHARE = {
    "thigh": 0.245,
    "shank": 0.246,
    "ankle_height": 0.039,
    "foot": 0.152,
    "trunk": 0.288,
    "upper_arm": 0.186,
    "forearm": 0.146,
    "half_shoulders": 0.129,
    "half_hips": 0.191 / 2,
}
LENGTH_M = {name: share * STATURE_M for name, share in SHARE.items()}
# The toe is three quarters of the foot ahead of the ankle, the heel one quarter behind it.
TOE_AHEAD_SHARE = 0.75
OUTWARD = {"left": 1.0, "right": -1.0}


@dataclass(frozen=True)
class Pose:
    """Angles in degrees, numbers or arrays (T,); sided ones may be a pair (left, right).

    ``thigh`` and ``arm`` are from hanging, ahead positive; ``shank`` from the vertical, knee ahead
    of the ankle positive (so the knee is flexed by thigh + shank). ``out`` turns the straight leg
    outward, ``arm_out`` the arm. ``knee_in`` bends the leg at the knee toward the middle.
    """

    trunk: object = 0.0
    trunk_side: object = 0.0
    thigh: object = 0.0
    shank: object = 0.0
    out: object = 0.0
    knee_in: object = 0.0
    arm: object = 0.0
    arm_out: object = 0.0
    elbow: object = 0.0
    heel_up_m: object = 0.0


def side_of(value, side):
    if isinstance(value, tuple):
        return value[0 if side == "left" else 1]
    return value


def _vector(forward, left, up):
    return np.stack(np.broadcast_arrays(forward, left, up), axis=-1).astype(float)


def _hanging(ahead_deg, outward_deg, side):
    """Unit vector of a limb: straight down, swung ahead, then turned outward."""
    ahead, outward = np.radians(ahead_deg), np.radians(outward_deg)
    return _vector(
        np.sin(ahead),
        OUTWARD[side] * np.cos(ahead) * np.sin(outward),
        -np.cos(ahead) * np.cos(outward),
    )


def pose_points(pose: Pose, frames: int = 1) -> dict[str, np.ndarray]:
    """Return every landmark, shape (T, 3), standing on its lower ankle with the hips at 0."""
    lean, side_lean = np.radians(pose.trunk), np.radians(pose.trunk_side)
    up = _vector(np.sin(lean), -np.sin(side_lean) * np.cos(lean), np.cos(lean) * np.cos(side_lean))
    neck = LENGTH_M["trunk"] * up
    points: dict[str, np.ndarray] = {}
    for side, outward in OUTWARD.items():
        points |= _leg(pose, side, outward)
        points |= _arm(pose, side, outward, neck)
    head = neck + 0.1 * STATURE_M * up
    points["nose"] = head + _vector(0.10, 0.0, 0.0)
    for side, outward in OUTWARD.items():
        points[f"{side}_ear"] = head + _vector(0.0, outward * 0.075, 0.0)
        points[f"mouth_{side}"] = head + _vector(0.09, outward * 0.025, -0.05)
        for part, left in (("eye_inner", 0.015), ("eye", 0.03), ("eye_outer", 0.045)):
            points[f"{side}_{part}"] = head + _vector(0.09, outward * left, 0.03)
    points = {name: np.broadcast_to(p, (frames, 3)).copy() for name, p in points.items()}
    floor = np.minimum(points["left_ankle"][:, 2], points["right_ankle"][:, 2])
    for p in points.values():
        p[:, 2] += LENGTH_M["ankle_height"] - floor
    return points


def _leg(pose, side, outward):
    thigh, shank, out, bend = (
        side_of(v, side) for v in (pose.thigh, pose.shank, pose.out, pose.knee_in)
    )
    hip = _vector(0.0, outward * LENGTH_M["half_hips"], 0.0)
    knee = hip + LENGTH_M["thigh"] * _hanging(thigh, np.subtract(out, np.divide(bend, 2)), side)
    shank_ahead = np.negative(shank)
    ankle = knee + LENGTH_M["shank"] * _hanging(shank_ahead, np.add(out, np.divide(bend, 2)), side)
    foot, sole = LENGTH_M["foot"], -LENGTH_M["ankle_height"]
    heel_up = side_of(pose.heel_up_m, side)
    return {
        f"{side}_hip": hip,
        f"{side}_knee": knee,
        f"{side}_ankle": ankle,
        f"{side}_heel": ankle + _vector(-(1 - TOE_AHEAD_SHARE) * foot, 0.0, np.add(sole, heel_up)),
        f"{side}_toe": ankle + _vector(TOE_AHEAD_SHARE * foot, 0.0, sole),
    }


def _arm(pose, side, outward, neck):
    ahead, out, bend = (side_of(v, side) for v in (pose.arm, pose.arm_out, pose.elbow))
    shoulder = neck + _vector(0.0, outward * LENGTH_M["half_shoulders"], 0.0)
    elbow = shoulder + LENGTH_M["upper_arm"] * _hanging(ahead, out, side)
    fore = _hanging(np.add(ahead, bend), out, side)
    wrist = elbow + LENGTH_M["forearm"] * fore
    return {
        f"{side}_shoulder": shoulder,
        f"{side}_elbow": elbow,
        f"{side}_wrist": wrist,
        f"{side}_pinky": wrist + 0.08 * fore,
        f"{side}_index": wrist + 0.09 * fore,
        f"{side}_thumb": wrist + 0.05 * fore,
    }


@dataclass(frozen=True)
class Scene:
    """Where the camera stands: 0 in front, +90 on the person's left; ``roll_deg`` of the phone.

    A positive roll means that the picture must be turned clockwise to stand upright.
    """

    azimuth_deg: float = 90.0
    px_per_m: float = 700.0
    roll_deg: float = 0.0
    width_px: int = 1080
    height_px: int = 1920
    floor_px: float = 1750.0


def project(points: dict[str, np.ndarray], scene: Scene) -> tuple[np.ndarray, np.ndarray]:
    """Return picture points (T, 33, 2) and camera-axes points about the mid-hip (T, 33, 3)."""
    turn = np.radians(scene.azimuth_deg)
    toward_lens = np.array([np.cos(turn), np.sin(turn), 0.0])
    right = np.array([-np.sin(turn), np.cos(turn), 0.0])
    body = np.stack([points[name] for name in LANDMARKS], axis=1)
    axes = np.stack([body @ right, -body[..., 2], -(body @ toward_lens)], axis=-1)
    roll = np.radians(-scene.roll_deg)
    spin = np.array([[np.cos(roll), -np.sin(roll)], [np.sin(roll), np.cos(roll)]])
    axes[..., :2] = axes[..., :2] @ spin.T
    image = axes[..., :2] * scene.px_per_m + [scene.width_px / 2.0, scene.floor_px]
    hips = [LANDMARKS.index("left_hip"), LANDMARKS.index("right_hip")]
    return image, axes - axes[:, hips].mean(axis=1, keepdims=True)


def make_track(
    points: dict[str, np.ndarray],
    scene: Scene,
    *,
    rate_hz: float = 30.0,
    noise_px: float = 0.0,
    visibility: float = 0.95,
    seed: int = 0,
) -> LandmarkTrack:
    """Return what a perfect pose model would give, with white noise on the picture points."""
    image, world = project(points, scene)
    noise = np.random.default_rng(seed).normal(0.0, 1.0, image.shape) * noise_px
    frames = len(image)
    return LandmarkTrack(
        np.arange(frames) / rate_hz,
        image + noise,
        np.full(image.shape[:2], visibility),
        world,
        scene.width_px,
        scene.height_px,
        "synthetic",
    )


def make_clean(
    points: dict[str, np.ndarray],
    scene: Scene,
    *,
    rate_hz: float = 30.0,
    visibility: float | np.ndarray = 0.95,
) -> CleanTrack:
    """Return the same as a track that needed no cleaning."""
    image, world = project(points, scene)
    seen = np.broadcast_to(visibility, image.shape[:2])
    time_s = np.arange(len(image)) / rate_hz
    return CleanTrack(
        time_s, image, seen, world, scene.width_px, scene.height_px, rate_hz, cutoff_hz=6.0
    )


def make_view(azimuth_deg: float, uncertainty_deg: float = 5.0) -> CameraView:
    return CameraView(name_view(azimuth_deg), azimuth_deg, uncertainty_deg, 0.0, 1.2)


def make_body(pose: Pose, azimuth_deg: float, *, frames: int = 1, **scene: float) -> BodyPicture:
    """Return the body in the picture for a pose, with the true view."""
    track = make_clean(pose_points(pose, frames), Scene(azimuth_deg, **scene))
    return build_body(track, make_view(azimuth_deg))


def body_from_pixels(pixels: dict[str, tuple[float, float]], azimuth_deg: float) -> BodyPicture:
    """Return one frame with only the given landmarks; all others are missing."""
    image = np.full((1, len(LANDMARKS), 2), np.nan)
    for name, xy in pixels.items():
        image[0, LANDMARKS.index(name)] = xy
    nothing = np.full((1, len(LANDMARKS), 3), np.nan)
    track = CleanTrack(
        np.zeros(1), image, np.ones(image.shape[:2]), nothing, 1080, 1920, 30.0, cutoff_hz=6.0
    )
    return build_body(track, make_view(azimuth_deg))


def strokes(
    time_s: np.ndarray, starts_s, *, out_s: float, hold_s: float, back_s: float
) -> np.ndarray:
    """Return 0 at rest and 1 at the turn; each stroke goes out, holds, and comes back smoothly."""
    share = np.zeros_like(time_s)
    for start in starts_s:
        after = time_s - start
        out = np.clip(after / out_s, 0.0, 1.0)
        back = np.clip((after - out_s - hold_s) / back_s, 0.0, 1.0)
        share += (np.cos(np.pi * back) - np.cos(np.pi * out)) / 2.0
    return share


def squat_pose(share: np.ndarray, *, bottom_deg: float = -8.0) -> Pose:
    """Return a squat whose thigh is at ``bottom_deg`` above the horizontal where share is 1."""
    return Pose(
        trunk=38.0 * share, thigh=(90.0 - bottom_deg) * share, shank=30.0 * share, arm=85.0 * share
    )


def jack_pose(share: np.ndarray, *, up_deg: float = 170.0, elbow_deg: float = 0.0) -> Pose:
    """Return a jumping jack: arms out to ``up_deg`` and legs out to 18 degrees where share is 1."""
    return Pose(out=18.0 * share, arm_out=up_deg * share, elbow=elbow_deg)


def knee_lift_pose(left: np.ndarray, right: np.ndarray, *, top_deg: float = 0.0) -> Pose:
    """Return high knees: the thigh is at ``top_deg`` above the horizontal where a share is 1."""
    lift = 90.0 - top_deg
    return Pose(thigh=(lift * left, lift * right), shank=(10.0 * left, 10.0 * right), elbow=90.0)
