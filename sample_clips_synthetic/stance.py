"""Building blocks that the movements share: standing legs, planted feet, quiet arms."""

from __future__ import annotations

import numpy as np
from bodies import SIDES, Array, Body
from pose import FORWARD, SIGN, Limb, Measured, bend_limb, turn, unit
from scipy.spatial.transform import Rotation


def sagittal(angle_deg: Array) -> Array:
    """Return a direction that hangs down at 0, points forward at 90 and up at 180 degrees."""
    a = np.radians(angle_deg)
    return np.stack([np.zeros_like(a), -np.sin(a), -np.cos(a)], axis=-1)


def sideways(angle_deg: Array, side: str) -> Array:
    """Return a direction that hangs down at 0, points outward at 90 and up at 180 degrees."""
    a = np.radians(angle_deg)
    return np.stack([SIGN[side] * np.sin(a), np.zeros_like(a), -np.cos(a)], axis=-1)


class PlantedFoot:
    """A foot that stays where it is put; it may only roll up over its ball."""

    def __init__(
        self,
        body: Body,
        side: str,
        *,
        x_m: Array | float,
        toe_out_deg: Array | float,
        frames: int,
        heel_lift_ratio: Array | float = 0.0,
        raise_m: Array | float = 0.0,
    ) -> None:
        rest = body.rest
        heel, toe = rest[f"{side}_heel"], rest[f"{side}_big_toe"]
        sole = 0.5 * (heel + toe)
        letter = "L" if side == "left" else "R"
        ball = 0.5 * (body.rest_bones[f"toe1-1.{letter}"] + body.rest_bones[f"toe5-1.{letter}"])
        # The ball of the foot is taken on the ground, so that rolling does not lift the toes.
        ball = np.array([ball[0], ball[1], body.rest_sole_z + 0.01])
        lever = np.hypot(*(heel - ball)[1:])
        lift = np.broadcast_to(heel_lift_ratio, (frames,)) * np.linalg.norm(toe - heel)
        base = np.arcsin((heel - ball)[2] / lever)
        pitch = np.degrees(np.arcsin(np.clip(lift / lever + np.sin(base), -1, 1)) - base)
        yaw = turn("z", SIGN[side] * np.broadcast_to(toe_out_deg, (frames,)), frames)
        self.rotation = yaw @ turn("x", pitch, frames)
        self.toe_bend_deg = pitch
        spot = np.zeros((frames, 3))
        spot[:, 0] = SIGN[side] * np.broadcast_to(x_m, (frames,))
        spot[:, 1] = sole[1]
        spot[:, 2] = sole[2] - body.rest_sole_z + np.broadcast_to(raise_m, (frames,))
        flat = yaw @ (sole - ball)
        self.sole = spot - flat + self.rotation @ (sole - ball)
        self.pole = yaw @ FORWARD

    def ankle(self, measured: Measured, side: str) -> Array:
        """Return where the ankle has to be for the sole to lie on its spot."""
        return self.sole + measured.ankle_over_sole(side)


def plant_leg(measured: Measured, side: str, *, mid_hip: Array, ankle: Array, pole: Array) -> Limb:
    """Reach a leg from the hip to a given ankle, the knee toward ``pole``."""
    hip = mid_hip + measured.from_hip_centre(f"{side}_hip")
    knee = bend_limb(
        hip,
        ankle,
        upper_m=measured.length(side, "hip", "knee"),
        lower_m=measured.length(side, "knee", "ankle"),
        pole=pole,
    )
    return Limb(upper=knee - hip, lower=ankle - knee, hinge=np.cross(pole, ankle - hip))


def leg_reach(measured: Measured, side: str, knee_flexion_deg: Array | float) -> Array:
    """Return the hip-to-ankle distance of a leg bent by a given angle."""
    a, b = measured.length(side, "hip", "knee"), measured.length(side, "knee", "ankle")
    return np.sqrt(a**2 + b**2 + 2 * a * b * np.cos(np.radians(knee_flexion_deg)))


def hip_heights(
    measured: Measured, *, mid_hip: Array, ankles: dict[str, Array], knee_flexion_deg: Array | float
) -> list[Array]:
    """Return the mid-hip heights that bend the left and the right knee by the given angle."""
    heights = []
    for side in SIDES:
        offset = measured.from_hip_centre(f"{side}_hip")
        flat = (mid_hip + offset - ankles[side])[:, :2]
        room = leg_reach(measured, side, knee_flexion_deg) ** 2 - np.sum(flat**2, axis=1)
        heights.append(ankles[side][:, 2] + np.sqrt(np.maximum(room, 1e-4)) - offset[:, 2])
    return heights


def arm_hinge(upper: Array, side: str, abduction_deg: Array) -> Array:
    """Return the elbow's axis; it turns with the arm as a person's upper arm does.

    Hanging, the elbow bends forward; held out sideways, it bends up toward the head.
    """
    a = np.radians(np.clip(abduction_deg, 0, 90))
    zero = np.zeros_like(a)
    axis = np.stack([-np.cos(a), -SIGN[side] * np.sin(a), zero], axis=-1)
    return unit(axis - unit(upper) * np.sum(axis * unit(upper), axis=-1, keepdims=True))


def flexed_arm(upper: Array, hinge: Array, elbow_flexion_deg: Array | float) -> Limb:
    """Add a forearm to an upper arm, bent about its hinge."""
    h = unit(hinge - unit(upper) * np.sum(hinge * unit(upper), axis=-1, keepdims=True))
    flex = np.radians(np.broadcast_to(elbow_flexion_deg, (len(upper),)))
    lower = np.einsum("tij,tj->ti", Rotation.from_rotvec(h * flex[:, None]).as_matrix(), upper)
    return Limb(upper=upper, lower=lower, hinge=h)
