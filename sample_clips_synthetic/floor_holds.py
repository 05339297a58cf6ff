"""Held floor poses: three low lunges and the half-kneeling hamstring stretch, side after side.

Each starts from standing: a foot steps back, the body sinks, the pose is taken, kept and left.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from keyed import Foot, Keyed, Pose, Wobble, hanging, orient, stand
from keyed_arms import WRIST_M, Arm, Reach
from keyed_plan import Script, make_keys
from pose import SIGN
from schedule import Hold, Movement, Schedule
from sizes import Sizes

if TYPE_CHECKING:
    from bodies import Array, Body
    from numpy.random import Generator
    from pose import Motion
    from scenario import Clip

OTHER = {"left": "right", "right": "left"}
TOES_TUCKED_DEG = 72.0
# The knee's keypoint moves up the thigh's back as the knee bends; the thigh then looks extended.
KNEE_SHIFT_DEG = 5.0
HOLD_S, SHORT_S = 7.0, 3.0
UNSTEADY_SHARE = 0.03
# How high the hips are in a long lunge over stature; how straight the arms are on the floor.
LUNGE_HIP, ARM_SHARE = 0.245, 0.95
# Where the ball of a standing foot is; its ankle is then about under the hip.
BALL_Y = -0.14


def split(
    sizes: Sizes, front: str, *, back_y: float, rear_pitch: float, wide: float = 1.15
) -> dict[str, Foot]:
    """Return the feet of a lunge: the front one where it stood, the rear one on its toes."""
    rear = OTHER[front]
    return {
        front: Foot(
            x=SIGN[front] * wide * sizes.hip_x,
            y=BALL_Y,
            yaw=SIGN[front] * 3.0,
            knee=(SIGN[front] * 0.06, -1.0, 0.25),
        ),
        rear: Foot(
            x=SIGN[rear] * 1.0 * sizes.hip_x,
            y=back_y,
            pitch=rear_pitch,
            knee=(0.0, -0.6, -0.8),
        ),
    }


def _front_knee(sizes: Sizes, shin_deg: float) -> tuple[float, float]:
    """Return y and z of the front knee over its planted foot, the shin leaning forward."""
    back, up = sizes.ankle_over_ball(0.0)
    lean = np.radians(shin_deg)
    return (
        BALL_Y + back - sizes.shank * float(np.sin(lean)),
        up + sizes.shank * float(np.cos(lean)),
    )


def _hip_behind(sizes: Sizes, knee: tuple[float, float], hip_z: float) -> float:
    """Return y of the hip whose thigh reaches a knee in front of it."""
    rise = knee[1] - hip_z
    return knee[0] + float(np.sqrt(max(sizes.thigh**2 - rise**2, 0.01)))


def bent_leg(sizes: Sizes, knee_deg: float) -> float:
    """Return the distance from hip to ankle of a leg bent at the knee."""
    a, b = sizes.thigh, sizes.shank
    return float(np.sqrt(a**2 + b**2 + 2 * a * b * np.cos(np.radians(knee_deg))))


def kneeling(
    sizes: Sizes,
    *,
    front: str,
    extension: float = 15.0,
    shin: float = 8.0,
    trunk: float = 0.0,
    reach: bool = False,
    reach_bend: float = 5.0,
    base: float | None = None,
    lean: float = 0.0,
) -> Pose:
    """Return half-kneeling on the rear knee, that hip extended by some degrees.

    ``base``: the extension for which knee and foot are placed, where the hips have moved since.
    """
    rear = OTHER[front]
    trunk += 0.5 * lean
    placed = np.radians((extension if base is None else base) - KNEE_SHIFT_DEG)
    hip_z = sizes.knee_r + sizes.thigh * float(np.cos(placed))
    hip_y = _hip_behind(sizes, _front_knee(sizes, shin), hip_z)
    knee_y = hip_y + sizes.thigh * float(np.sin(placed))
    ankle_back, ankle_z = sizes.ankle_over_ball(TOES_TUCKED_DEG)
    shin_m = np.sqrt(sizes.shank**2 - (ankle_z - sizes.knee_r) ** 2)
    feet = split(
        sizes,
        front,
        back_y=knee_y + float(shin_m) - ankle_back,
        rear_pitch=TOES_TUCKED_DEG,
    )
    now = np.radians(extension - KNEE_SHIFT_DEG)
    if base is not None:
        hip_y = knee_y - sizes.thigh * float(np.sin(now))
        hip_z = sizes.knee_r + sizes.thigh * float(np.cos(now))
    arms = {side: hanging(side, out=12) for side in (front, rear)}
    if reach:
        arms[rear] = overhead(rear, bend=reach_bend)
    return Pose(
        hip=(0.0, hip_y, hip_z),
        pelvis=orient(pitch=trunk - 2),
        chest=orient(pitch=trunk),
        head=orient(pitch=trunk * 0.5),
        feet=feet,
        arms=arms,
        rests=frozenset({f"{rear}_knee"}),
    )


def overhead(side: str, *, bend: float = 5.0) -> Arm:
    """Return an arm straight up beside the head; a bent elbow points forward."""
    tilt = np.radians(0.5 * bend)
    upper = (SIGN[side] * 0.03, -float(np.sin(tilt)), float(np.cos(tilt)))
    return Arm(upper=upper, bend=bend, pole=(SIGN[side] * 0.5, -1.0, 0.0))


def sinking(sizes: Sizes, *, front: str, like: str = "kneeling", **wishes: object) -> Pose:
    """Return the moment after the step: rear toes down, the knee not yet on the floor."""
    there = POSES[like](sizes, front=front, **wishes)
    y, z = there.hip[1:]
    return there.but(
        hip=(0.0, 0.62 * y, z + 0.42 * (sizes.hip_z - z)),
        pelvis=orient(pitch=4),
        chest=orient(pitch=8),
        head=orient(pitch=6),
        arms={side: hanging(side, forward=8, out=14) for side in OTHER},
        rests=frozenset(),
    )


def trunk_over_hand(sizes: Sizes, hip_z: float, turned: float) -> float:
    """Return the lean of a turned trunk whose lower shoulder is an arm's length over the floor."""
    angles = np.arange(30.0, 88.0, 0.25)
    lean = np.radians(angles)
    drop = sizes.shoulder_x * np.sin(np.radians(turned)) * np.sin(lean)
    shoulder_z = hip_z + sizes.trunk * np.cos(lean) - drop
    wanted = WRIST_M + ARM_SHARE * sizes.arm + 0.05 * sizes.arm * (turned > 0)
    return float(angles[np.argmin(np.abs(shoulder_z - wanted))])


def lunge(sizes: Sizes, *, front: str, rear_knee: float = 4.0, lean: float = 0.0) -> Pose:
    """Return a long lunge with the rear knee off the floor and both hands inside the foot."""
    rear = OTHER[front]
    hip_z = LUNGE_HIP * sizes.stature
    trunk = trunk_over_hand(sizes, hip_z, 0.0) + lean
    hip_y = _hip_behind(sizes, _front_knee(sizes, 14.0), hip_z)
    pitch = 58.0
    ankle_back, ankle_z = sizes.ankle_over_ball(pitch)
    far = 1.008 * bent_leg(sizes, rear_knee)
    ankle_y = hip_y + float(np.sqrt(far**2 - (hip_z - ankle_z) ** 2))
    back_y = ankle_y - ankle_back
    feet = split(sizes, front, back_y=back_y, rear_pitch=pitch, wide=1.5)
    sign = SIGN[front]
    return Pose(
        hip=(0.0, hip_y, hip_z),
        pelvis=orient(pitch=0.75 * trunk),
        # The shoulder over the inner hand has further to go.
        chest=orient(pitch=trunk, twist=-sign * 4),
        head=orient(pitch=0.55 * trunk),
        feet=feet,
        arms={
            front: Reach(x=sign * 0.045, y=BALL_Y - 0.02, yaw=0.0, pole=(sign * 0.2, 1.0, 0.3)),
            rear: Reach(x=-sign * 0.15, y=BALL_Y - 0.02, yaw=0.0, pole=(-sign * 0.6, 1.0, 0.3)),
        },
    )


def hands_on_shin(sizes: Sizes, *, front: str, trunk: float = 52.0, lean: float = 0.0) -> Pose:
    """Return the long lunge with the hands only on the front shin."""
    pose = lunge(sizes, front=front)
    trunk += lean
    sign = SIGN[front]
    x = sign * 1.5 * sizes.hip_x
    y, z = BALL_Y + 0.02, 0.2 * sizes.stature
    return pose.but(
        pelvis=orient(pitch=0.75 * trunk),
        chest=orient(pitch=trunk),
        head=orient(pitch=0.55 * trunk),
        arms={
            front: Reach(x=x + sign * 0.06, y=y, z=z, pole=(sign, 0.6, 0.3)),
            OTHER[front]: Reach(x=x - sign * 0.1, y=y, z=z, pole=(-sign, 0.6, 0.3)),
        },
    )


def opened(
    sizes: Sizes,
    *,
    front: str,
    turned: float = 68.0,
    arm_tilt: float = 0.0,
    lean: float = 0.0,
) -> Pose:
    """Return the long lunge opened to the front leg's side, that arm up, tilted forward."""
    pose = lunge(sizes, front=front)
    trunk = trunk_over_hand(sizes, pose.hip[2], turned) + lean
    sign = SIGN[front]
    tilt = np.radians(arm_tilt)
    up = Arm(
        upper=(sign * 0.02, -float(np.sin(tilt)), float(np.cos(tilt))),
        bend=5.0,
        pole=(0.0, 1.0, -0.2),
        world=True,
    )
    return pose.but(
        pelvis=orient(pitch=0.75 * trunk, twist=sign * 0.25 * turned),
        chest=orient(pitch=trunk, twist=sign * turned),
        head=orient(pitch=45, twist=sign * 0.7 * turned),
        arms={front: up, OTHER[front]: pose.arms[OTHER[front]]},
    )


def hamstring(
    sizes: Sizes,
    *,
    front: str,
    trunk: float = 42.0,
    knee: float = 4.0,
    toes: float = -66.0,
    lean: float = 0.0,
) -> Pose:
    """Return kneeling with the front leg straight ahead on its heel, hinged at the hips."""
    trunk += lean
    pose = kneeling(sizes, front=front, extension=0.0, shin=0.0)
    sign = SIGN[front]
    hip_y = pose.hip[1] + 0.03
    hip_z = pose.hip[2]
    # Bent at the hip the leg measures a little longer than in the rest pose.
    far = 1.03 * bent_leg(sizes, knee)
    back, up = sizes.ankle_over_ball(toes)
    ankle_y = hip_y - float(np.sqrt(far**2 - (hip_z - up) ** 2))
    foot = Foot(
        x=sign * 1.15 * sizes.hip_x,
        y=ankle_y - back,
        yaw=sign * 3.0,
        pitch=toes,
        knee=(0.0, -0.3, 1.0),
    )
    x, y, z = foot.x, hip_y - 0.98 * sizes.thigh, 0.2 * sizes.stature
    return pose.but(
        hip=(0.0, hip_y, hip_z),
        pelvis=orient(pitch=0.85 * trunk),
        chest=orient(pitch=trunk),
        head=orient(pitch=0.8 * trunk),
        feet=pose.feet | {front: foot},
        arms={
            front: Reach(x=x + sign * 0.12, y=y, z=z, pole=(sign * 0.5, 1.0, 0.2)),
            OTHER[front]: Reach(x=x - sign * 0.13, y=y, z=z, pole=(-sign * 0.5, 1.0, 0.2)),
        },
    )


POSES = {
    "stand": stand,
    "kneeling": kneeling,
    "sinking": sinking,
    "lunge": lunge,
    "hands_on_shin": hands_on_shin,
    "opened": opened,
    "hamstring": hamstring,
}


@dataclass(frozen=True)
class HoldStyle:
    """One held pose: the poses on the way to it, and what each fault makes of it."""

    pose: str
    way: tuple[str, ...] = ()
    wishes: dict[str, Any] = field(default_factory=dict)
    faults: dict[str, dict[str, Any]] = field(default_factory=dict)
    rear_side: bool = False
    like: str = "kneeling"
    vary: str = "trunk"


ARM_REACH = HoldStyle(
    pose="kneeling",
    wishes={"reach": True},
    faults={
        "bent_reach_arm": {"reach_bend": 50.0},
        "no_hip_extension": {"extension": -15.0, "base": 15.0},
    },
    rear_side=True,
)
HANDS_INSIDE = HoldStyle(
    pose="lunge",
    faults={"rear_knee_bent": {"rear_knee": 40.0}, "hands_high": {"pose": "hands_on_shin"}},
    like="lunge",
)
ROTATION = HoldStyle(
    pose="opened",
    way=("lunge",),
    faults={"arms_not_stacked": {"turned": 35.0, "arm_tilt": 105.0}},
    like="lunge",
)
HAMSTRING = HoldStyle(
    pose="hamstring",
    way=("kneeling",),
    faults={"front_knee_bent": {"knee": 35.0}, "toes_down": {"toes": -38.0}},
)
STYLES = {
    "low-lunge-arm-reach": ARM_REACH,
    "low-lunge-hands-inside": HANDS_INSIDE,
    "low-lunge-rotation": ROTATION,
    "half-kneeling-hamstring": HAMSTRING,
}
STEP_BACK = {"hip": (0.15, 1.0), "pelvis": (0.15, 1.0), "chest": (0.15, 1.0)}


def plan_holds(clip: Clip, rng: Generator) -> Schedule:
    """Plan the holds of a clip, left first, with standing before, between and after."""
    style = STYLES[clip.movement]
    script = Script(rng)
    script.go("stand", 0.0, 0.9)
    holds = []
    for number in range(1, clip.count + 1):
        side = "left" if number % 2 else "right"
        holds.append(_plan_hold(script, style, side, number, clip.faults.get(number, ()), rng))
        script.go("stand", 1.2, 0.8)
    script.clock += 0.2
    return Schedule(reps=[], total_s=script.clock, holds=holds, script=script.steps)


def _plan_hold(
    script: Script,
    style: HoldStyle,
    side: str,
    number: int,
    planted: tuple[str, ...],
    rng: Generator,
) -> Hold:
    front = OTHER[side] if style.rear_side else side
    wishes: dict[str, Any] = dict(style.wishes)
    for fault in planted:
        wishes |= style.faults.get(fault, {})
    pose = wishes.pop("pose", style.pose)
    # The feet are set down where the pose will need them.
    feet = {k: v for k, v in wishes.items() if k in ("rear_knee", "base")}
    script.go("sinking", 1.3, front=front, like=style.like, parts=STEP_BACK, **feet)
    for name in style.way:
        script.go(name, 0.9, 0.15, front=front, **feet)
    vary = {"lean": float(rng.uniform(-1.5, 1.5))}
    hold_s = SHORT_S if "short_hold" in planted else HOLD_S
    step = script.go(pose, 1.1, hold_s, exact=True, front=front, **wishes, **vary)
    for name in reversed(style.way):
        script.go(name, 0.9, front=front, **feet)
    script.go("sinking", 1.0, front=front, like=style.like, **feet)
    return Hold(number=number, side=side, start_s=step.reach_s, end_s=step.leave_s, planted=planted)


def build_holds(
    clip: Clip, body: Body, time_s: Array, schedule: Schedule, rng: Generator
) -> Motion:
    """Return the motion of a clip of holds."""
    wobbles = tuple(
        Wobble(hold.start_s, hold.end_s, UNSTEADY_SHARE * Sizes.of(body).stature)
        for hold in schedule.holds
        if "unsteady" in hold.planted
    )
    keys = make_keys(schedule.script, body, POSES)
    return Keyed(body, time_s, keys, rng, wobbles=wobbles)


HOLDS = Movement(plan=plan_holds, build=build_holds)
