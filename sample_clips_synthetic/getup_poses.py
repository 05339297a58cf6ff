"""The seven poses of the get-up, worked out for one body from where hand and feet stay.

The head lies toward +y and the feet toward -y, so that the person faces -y when up again. The
loaded arm points straight up throughout; "free" is the other side.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from floor_holds import OTHER, TOES_TUCKED_DEG, bent_leg
from keyed import TALL, Foot, Pose, hanging, orient
from keyed_arms import WRIST_M, Arm, Reach
from pose import FORWARD, SIGN, UP, unit
from scipy.spatial.transform import Rotation

if TYPE_CHECKING:
    from bodies import Array
    from sizes import Sizes

# How straight the free arm is when it props; share of its full length.
PROP_SHARE = 0.975
KNEE_LYING_DEG = 122.0


@dataclass(frozen=True)
class Trunk:
    """How the chest is: leaning by some degrees to a side, its free shoulder toward ``down``.

    ``toward``: the way it leans, (to the free side, to the head end). ``down``: where the free
    shoulder is from the chest, (to the free side, to the head end, up).
    """

    lean: float
    toward: tuple[float, float]
    down: tuple[float, float, float]

    def matrix(self, free: float) -> Array:
        """Return the chest's rotation (3, 3); ``free`` is +1 if the left side is free."""
        lean = np.radians(self.lean)
        way = unit(np.array([free * self.toward[0], self.toward[1]]))
        up = np.array([*(np.sin(lean) * way), np.cos(lean)])
        own = np.array([free * self.down[0], *self.down[1:]])
        left = unit(free * (own - up * (up @ own)))
        return np.stack([left, np.cross(up, left), up], axis=-1)


ELBOW = Trunk(63.0, (0.12, 1.0), (1.0, 0.0, -0.40))
HAND = Trunk(27.0, (0.15, 1.0), (1.0, 0.15, -0.25))
BRIDGE = Trunk(58.0, (0.15, 1.0), (0.95, 0.1, -0.4))
PASSING = Trunk(54.0, (0.6, 0.8), (0.6, 0.15, -0.8))
KNEEL = Trunk(54.0, (1.0, 0.40), (0.25, 0.1, -1.0))


class GetUp:
    """The poses of one body with one loaded side."""

    def __init__(self, sizes: Sizes, loaded: str) -> None:
        self.sizes, self.loaded, self.free_side = sizes, loaded, OTHER[loaded]
        self.free = SIGN[self.free_side]
        self.seat_z = 0.93 * sizes.seat_r
        back, _ = sizes.ankle_over_ball(0.0)
        self.foot_y = -bent_leg(sizes, KNEE_LYING_DEG) - back
        self.hand = self._hand_spot()

    def _shoulder(self, chest: Array) -> Array:
        """Return the free shoulder from the middle of the hips."""
        s = self.sizes
        out: Array = chest @ np.array([self.free * s.shoulder_x, 0.0, s.trunk])
        return out

    def _hand_spot(self) -> Array:
        """Put the hand where the arm is straight when sitting tall."""
        shoulder = self._shoulder(HAND.matrix(self.free)) + self.seat_z * UP
        reach = PROP_SHARE * self.sizes.arm
        flat = np.sqrt(max(reach**2 - (shoulder[2] - WRIST_M) ** 2, 0.0004))
        way = unit(np.array([self.free * 0.9, 0.45]))
        spot: Array = shoulder[:2] + flat * way
        return spot

    def _over_hand(self, trunk: Trunk, hip_z: float) -> tuple[Array, Array]:
        """Lean the trunk until the straight arm reaches the floor; return chest and hip."""
        reach = PROP_SHARE * self.sizes.arm
        for lean in np.arange(trunk.lean, 80.0, 0.5):
            chest = replace(trunk, lean=float(lean)).matrix(self.free)
            shoulder = self._shoulder(chest)
            high = hip_z + shoulder[2] - WRIST_M
            if high <= 0.995 * reach:
                break
        flat = np.sqrt(max(reach**2 - high**2, 0.0))
        way = unit(np.array([self.free * trunk.toward[0], trunk.toward[1]]))
        hip = self.hand - flat * way - shoulder[:2]
        return chest, np.array([*hip, hip_z])

    def _planted(self) -> Foot:
        sign = SIGN[self.loaded]
        return Foot(
            x=sign * 1.2 * self.sizes.hip_x,
            y=self.foot_y,
            yaw=sign * 5.0,
            knee=(sign * 0.12, -0.6, 1.0),
        )

    def _long(self, hip: Array, knee: float = 5.0) -> Foot:
        """Lay the free leg long, on its heel."""
        pitch = -68.0
        back, up = self.sizes.ankle_over_ball(pitch)
        x = self.free * 2.1 * self.sizes.hip_x
        across = x - hip[0] - self.free * self.sizes.hip_x
        rest = bent_leg(self.sizes, knee) ** 2 - (hip[2] - up) ** 2 - across**2
        return Foot(
            x=x,
            y=float(hip[1] - np.sqrt(rest) - back),
            yaw=self.free * 8.0,
            pitch=pitch,
            knee=(self.free * 0.2, -0.2, 1.0),
        )

    def _pose(
        self,
        hip: Array,
        chest: Array,
        *,
        pelvis: Array,
        head: Array,
        foot: Foot,
        arm: Arm | Reach,
        rests: tuple[str, ...] = (),
        bend: float = 4.0,
    ) -> Pose:
        return Pose(
            hip=(float(hip[0]), float(hip[1]), float(hip[2])),
            pelvis=pelvis,
            chest=chest,
            head=head,
            feet={self.loaded: self._planted(), self.free_side: foot},
            arms={self.loaded: loaded_arm(self.loaded, bend), self.free_side: arm},
            rests=frozenset(rests),
        )

    def _prop(self, **changes: object) -> Reach:
        values = {
            "x": float(self.hand[0]),
            "y": float(self.hand[1]),
            "yaw": self.free * 75.0,
            "pole": (self.free * 0.2, 1.0, 0.0),
        }
        return Reach(**(values | changes))  # type: ignore[arg-type]

    def lying(self, *, lowered: bool = False) -> Pose:
        """Stage 1: on the back; ``lowered``: the loaded arm lies down too."""
        s = self.sizes
        hip = np.array([0.0, 0.0, self.seat_z])
        flat = orient(pitch=-90)
        reach = 0.97 * s.arm * np.sqrt(0.5)
        arm = self._prop(
            x=float(self.free * (s.shoulder_x + reach)),
            y=float(s.trunk - reach),
            yaw=self.free * 45,
        )
        pose = self._pose(
            hip,
            flat,
            pelvis=flat,
            head=orient(pitch=-84),
            foot=self._long(hip),
            arm=arm,
            rests=("trunk",),
        )
        if lowered:
            down = Arm(
                upper=(SIGN[self.loaded] * 0.30, -0.05, -1.0),
                bend=14.0,
                pole=(SIGN[self.loaded] * 1.0, 0.3, 0.0),
            )
            return pose.but(arms=pose.arms | {self.loaded: down})
        return pose

    def elbow(self) -> Pose:
        """Stage 2: propped on the elbow."""
        hip = np.array([0.0, 0.0, self.seat_z])
        chest = ELBOW.matrix(self.free)
        return self._pose(
            hip,
            chest,
            pelvis=between(orient(pitch=-88), chest, 0.45),
            head=chest @ orient(pitch=12),
            foot=self._long(hip),
            arm=self._prop(prop=True, pole=(self.free * 0.3, 1.0, -0.3)),
            rests=("trunk",),
        )

    def sitting(self) -> Pose:
        """Stage 3: sitting tall on the straight free hand."""
        hip = np.array([0.0, 0.0, self.seat_z])
        chest = HAND.matrix(self.free)
        return self._pose(
            hip,
            chest,
            pelvis=between(orient(pitch=-60), chest, 0.6),
            head=chest @ orient(pitch=4),
            foot=self._long(hip),
            arm=self._prop(),
            rests=("trunk",),
        )

    def drawn(self) -> Pose:
        """Between stages 3 and 5 with the bridge left out: the free foot drawn in, sitting."""
        pose = self.sitting()
        foot = Foot(
            x=self.free * 1.5 * self.sizes.hip_x,
            y=self.foot_y + 0.03 * self.sizes.stature,
            knee=(self.free * 0.25, -0.6, 1.0),
        )
        return pose.but(feet=pose.feet | {self.free_side: foot})

    def bridge(self) -> Pose:
        """Stage 4: hips all the way up on the free hand and the loaded side's foot."""
        # So high that the loaded side is nearly straight from shoulder to knee.
        chest, hip = self._over_hand(BRIDGE, 0.275 * self.sizes.stature)
        return self._pose(
            hip,
            chest,
            pelvis=between(orient(pitch=-75), chest, 0.6),
            head=chest @ orient(pitch=2),
            foot=self._long(hip, knee=10.0),
            arm=self._prop(),
        )

    def sweeping(self, *, bend: float = 4.0) -> Pose:
        """Between stages 4 and 5: the free leg passes under the hips."""
        first, second = self.bridge(), self.kneeling(bend=bend)
        high = 0.5 * (first.hip[2] + second.hip[2]) + 0.02
        chest, hip = self._over_hand(PASSING, high)
        foot = Foot(
            x=float(hip[0] + self.free * 1.2 * self.sizes.hip_x),
            y=float(hip[1] - 0.04),
            pitch=12.0,
            lift=0.03,
            knee=(self.free * 0.2, -1.0, -0.35),
        )
        return self._pose(
            hip,
            chest,
            pelvis=between(first.pelvis, second.pelvis, 0.5),
            head=chest @ orient(twist=-self.free * 8),
            foot=foot,
            arm=self._prop(),
            bend=bend,
        )

    def _kneeling(self) -> tuple[Array, Array, Foot]:
        """Return chest, hips and rear foot of the kneel on three points."""
        s = self.sizes
        chest, hip = self._over_hand(KNEEL, s.knee_r + 0.985 * s.thigh)
        ankle_back, ankle_z = s.ankle_over_ball(TOES_TUCKED_DEG)
        shin = float(np.sqrt(s.shank**2 - (ankle_z - s.knee_r) ** 2))
        foot = Foot(
            x=float(hip[0] + self.free * 1.1 * s.hip_x),
            y=float(hip[1] + 0.02 + shin - ankle_back),
            pitch=TOES_TUCKED_DEG,
            knee=(0.0, -0.3, -1.0),
        )
        return chest, hip, foot

    def kneeling(self, *, bend: float = 4.0) -> Pose:
        """Stage 5: on the knee, the foot and the free hand, the trunk leaning sideways."""
        chest, hip, foot = self._kneeling()
        return self._pose(
            hip,
            chest,
            pelvis=between(np.eye(3), chest, 0.3),
            head=chest @ orient(twist=-self.free * 15),
            foot=foot,
            arm=self._prop(),
            rests=(f"{self.free_side}_knee",),
            bend=bend,
        )

    def upright(self, *, bend: float = 4.0) -> Pose:
        """Stage 6: half-kneeling, upright."""
        _, hip, foot = self._kneeling()
        hip = np.array([foot.x - self.free * self.sizes.hip_x, hip[1] - 0.07, hip[2]])
        return self._pose(
            hip,
            orient(pitch=2),
            pelvis=orient(pitch=-1),
            head=orient(pitch=-12),
            foot=foot,
            arm=hanging(self.free_side, out=22),
            rests=(f"{self.free_side}_knee",),
            bend=bend,
        )

    def standing(self) -> Pose:
        """Stage 7: standing with the feet together."""
        s = self.sizes
        back, _ = s.ankle_over_ball(0.0)
        planted = self._planted()
        middle = planted.x + self.free * 1.0 * s.hip_x
        foot = Foot(x=middle + self.free * 1.0 * s.hip_x, y=self.foot_y, yaw=self.free * 5.0)
        pose = self._pose(
            np.array([middle, self.foot_y + back, TALL * s.hip_z]),
            orient(pitch=1.5),
            pelvis=orient(),
            head=orient(pitch=-8),
            foot=foot,
            arm=hanging(self.free_side, out=12),
        )
        ahead = replace(planted, knee=(0.0, -1.0, 0.2))
        return pose.but(feet=pose.feet | {self.loaded: ahead})


def loaded_arm(side: str, bend: float) -> Arm:
    """Return an arm straight up in the room; a bent elbow points out and forward."""
    tilt = np.radians(0.5 * bend)
    out = unit(np.array([SIGN[side] * 0.4, *FORWARD[1:]]))
    upper = np.sin(tilt) * out + [0, 0, np.cos(tilt)]
    x, y, z = (float(v) for v in upper)
    return Arm(upper=(x, y, z), bend=bend, pole=(float(out[0]), float(out[1]), 0.0), world=True)


def between(first: Array, second: Array, share: float) -> Array:
    """Return a rotation part of the way from one to another."""
    a = Rotation.from_matrix(first)
    way = (a.inv() * Rotation.from_matrix(second)).as_rotvec()
    out: Array = (a * Rotation.from_rotvec(share * way)).as_matrix()
    return out
