"""A second person who walks past in the background."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from bodies import SIDES, Array, Body
from pose import SIGN, Limb, Measured, Targets, turn, unit
from stance import arm_hinge, flexed_arm, sagittal
from tempo import bump, sway

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

CYCLE_S = 1.15
SPEED_M_S = 0.95
# Behind the exercising person as the camera on their left sees them, and off to one side.
BEHIND_M = 1.9
START_M = 3.2


class Stroll:
    """An easy walk, forward in the person's own axes."""

    def __init__(self, body: Body, time_s: Array, rng: Generator) -> None:
        self.time_s, self.frames = time_s, len(time_s)
        self.phase = {"left": (time_s / CYCLE_S) % 1.0, "right": (time_s / CYCLE_S + 0.5) % 1.0}
        self.sway = sway(time_s, rng, size=0.8)

    @staticmethod
    def to_background(skin: NDArray[np.float32], time_s: Array) -> NDArray[np.float32]:
        """Walk along behind the exercising person, seen by a camera on that person's left."""
        moved = skin.copy()
        moved[:, :, 0] -= BEHIND_M
        moved[:, :, 1] += (START_M - SPEED_M_S * time_s)[:, None].astype(np.float32)
        return moved

    def __call__(self, measured: Measured) -> Targets:
        """Return the targets, given the sizes of the body in each frame."""
        swing = np.cos(2 * np.pi * self.phase["left"])
        trunk = 3 + self.sway
        mid_hip = np.zeros((self.frames, 3))
        mid_hip[:, 2] = np.nan
        return Targets(
            pelvis=turn("x", 0.8 * trunk) @ turn("z", -3 * swing),
            chest=turn("x", trunk) @ turn("z", 4 * swing),
            head=turn("x", 0.5 * trunk),
            legs={side: self._leg(side) for side in SIDES},
            arms={side: self._arm(side) for side in SIDES},
            feet={side: self._foot(side) for side in SIDES},
            mid_hip=mid_hip,
        )

    def _angles(self, side: str) -> tuple[Array, Array]:
        """Return thigh and knee angles; phase 0 is the leg far forward, about to land."""
        phase = self.phase[side]
        thigh = 4 + 21 * np.cos(2 * np.pi * phase)
        knee = 6 + 52 * bump((phase - 0.48) / 0.5) + 8 * bump(phase / 0.3)
        return thigh, knee

    def _leg(self, side: str) -> Limb:
        thigh, knee = self._angles(side)
        upper, lower = sagittal(thigh), sagittal(thigh - knee)
        upper[:, 0] += 0.05 * SIGN[side]
        hinge = np.broadcast_to(np.array([1.0, 0.0, 0.0]), upper.shape)
        return Limb(upper=unit(upper), lower=unit(lower), hinge=hinge)

    def _foot(self, side: str) -> Array:
        thigh, knee = self._angles(side)
        in_air = bump((self.phase[side] - 0.45) / 0.6)
        return turn("z", SIGN[side] * 7.0, self.frames) @ turn("x", in_air * (knee - thigh))

    def _arm(self, side: str) -> Limb:
        forward = -16 * np.cos(2 * np.pi * self.phase[side])
        upper = sagittal(forward)
        upper[:, 0] = SIGN[side] * 0.18
        upper = unit(upper)
        return flexed_arm(upper, arm_hinge(upper, side, np.full(self.frames, 8.0)), 18.0)
