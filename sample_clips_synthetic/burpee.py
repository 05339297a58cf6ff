"""The burpee: hands to the floor, feet back to a plank and in again, a jump with the arms up.

A repetition goes from standing to standing and turns in the middle of the plank. The jump is a
real flight: from leaving the floor to landing the body rises and falls as a thrown thing does.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from floor_holds import BALL_Y
from keyed import Foot, Keyed, Pose, hanging, orient, stand
from keyed_arms import WRIST_M, Arm, Reach
from keyed_plan import Script, make_keys
from pose import SIGN
from schedule import Movement, Schedule
from tempo import Rep

if TYPE_CHECKING:
    from bodies import Array, Body
    from numpy.random import Generator
    from pose import Motion
    from scenario import Clip
    from sizes import Sizes

SIDES = ("left", "right")
GRAVITY = 9.81
JUMP_M = 0.09
# How far the legs have stretched, as a share of that move, when the feet leave the floor.
LEAVE_SHARE = 0.66
PLANK_TOES_DEG = 68.0
SAG_DEG = 30.0


def _feet(y: float, *, pitch: float = 0.0, wide: float = 1.1, hip_x: float) -> dict[str, Foot]:
    return {
        side: Foot(
            x=SIGN[side] * wide * hip_x,
            y=y,
            yaw=SIGN[side] * 6.0,
            pitch=pitch,
            knee=(SIGN[side] * 0.25, -1.0, 0.15),
        )
        for side in SIDES
    }


def _hands(sizes: Sizes) -> dict[str, Reach]:
    return {
        side: Reach(
            x=SIGN[side] * 1.02 * sizes.shoulder_x,
            y=_hands_y(sizes),
            yaw=0.0,
            pole=(SIGN[side] * 0.35, 1.0, 0.2),
        )
        for side in SIDES
    }


def _hands_y(sizes: Sizes) -> float:
    return BALL_Y - 0.16 * sizes.stature


def _shoulder_z(sizes: Sizes) -> float:
    return WRIST_M + 0.975 * sizes.arm


def _behind_hands(sizes: Sizes, hip_z: float) -> tuple[float, float]:
    """Return the trunk's lean and y of the hips that put the shoulders over the hands."""
    drop = np.clip((_shoulder_z(sizes) - hip_z) / sizes.trunk, -0.3, 0.9)
    hip_y = _hands_y(sizes) + sizes.trunk * float(np.sqrt(1 - drop**2))
    return float(np.degrees(np.arccos(drop))), hip_y


def squat(sizes: Sizes) -> Pose:
    """Return the deep squat with the hands on the floor."""
    hip_z = 0.27 * sizes.stature
    trunk, hip_y = _behind_hands(sizes, hip_z)
    return Pose(
        hip=(0.0, hip_y, hip_z),
        pelvis=orient(pitch=0.8 * trunk),
        chest=orient(pitch=trunk),
        head=orient(pitch=0.6 * trunk),
        feet=_feet(BALL_Y, pitch=22.0, hip_x=sizes.hip_x),
        arms=dict(_hands(sizes)),
    )


def plank(sizes: Sizes, *, sag: float = 0.0, lean: float = 0.0) -> Pose:
    """Return the plank on hands and toes; ``sag`` bends it at the hips, toward the floor."""
    shoulder = np.array([_hands_y(sizes) - 0.01, _shoulder_z(sizes)])
    ankle_back, ankle_z = sizes.ankle_over_ball(PLANK_TOES_DEG)
    a, b = sizes.trunk, sizes.thigh + sizes.shank
    span = float(np.sqrt(a**2 + b**2 + 2 * a * b * np.cos(np.radians(sag))))
    fall = float(np.arcsin((shoulder[1] - ankle_z) / span))
    # The trunk is steeper than the line from shoulder to ankle when the hips sag.
    off = float(np.arcsin(b * np.sin(np.radians(sag)) / span))
    slope = fall + off + np.radians(lean)
    hip = shoulder + a * np.array([np.cos(slope), -np.sin(slope)])
    ball_y = shoulder[0] + span * float(np.cos(fall)) - ankle_back
    pitch = 90.0 - float(np.degrees(slope))
    feet = {
        side: Foot(x=f.x, y=f.y, yaw=0.0, pitch=f.pitch, knee=(0.0, -0.2, -1.0))
        for side, f in _feet(ball_y, pitch=PLANK_TOES_DEG, hip_x=sizes.hip_x).items()
    }
    return Pose(
        hip=(0.0, float(hip[0]), float(hip[1])),
        pelvis=orient(pitch=pitch + 0.4 * sag),
        chest=orient(pitch=pitch),
        head=orient(pitch=pitch - 12),
        feet=feet,
        arms=dict(_hands(sizes)),
    )


def tucking(sizes: Sizes) -> Pose:
    """Return the middle of the jump from squat to plank or back: feet in the air."""
    first, last = squat(sizes), plank(sizes)
    y = 0.5 * (first.feet["left"].y + last.feet["left"].y)
    hip_z = 0.5 * (first.hip[2] + last.hip[2]) + 0.045 * sizes.stature
    trunk, hip_y = _behind_hands(sizes, hip_z)
    feet = {
        side: Foot(x=f.x, y=y, pitch=55.0, lift=0.05, knee=(SIGN[side] * 0.15, -1.0, -0.45))
        for side, f in first.feet.items()
    }
    return first.but(
        hip=(0.0, hip_y, hip_z),
        pelvis=orient(pitch=0.9 * trunk),
        chest=orient(pitch=trunk),
        head=orient(pitch=0.75 * trunk),
        feet=feet,
    )


def dip(sizes: Sizes, *, depth: float = 0.14, trunk: float = 28.0, arms: float = -18.0) -> Pose:
    """Return a half-bent stance: before the jump and after it; ``arms`` forward of the trunk."""
    z = sizes.hip_z - depth * sizes.stature
    return stand(sizes).but(
        hip=(0.0, 0.035 * sizes.stature * depth / 0.14, z),
        pelvis=orient(pitch=0.8 * trunk),
        chest=orient(pitch=trunk),
        head=orient(pitch=0.4 * trunk),
        feet=_feet(BALL_Y, hip_x=sizes.hip_x),
        arms={side: hanging(side, forward=arms, out=14, bend=25) for side in SIDES},
    )


def tall(sizes: Sizes, *, toes: float = 30.0, arms: bool = True) -> Pose:
    """Return the body stretched on the toes, the arms up: the pose of the flight."""
    up = {
        side: Arm(
            upper=(SIGN[side] * 0.16, -0.10, 1.0),
            bend=10.0,
            pole=(SIGN[side] * 0.6, -1.0, 0.0),
        )
        for side in SIDES
    }
    pose = stand(sizes)
    rise = sizes.ankle_over_ball(toes)[1] - sizes.ankle_over_ball(0.0)[1]
    ahead = sizes.ankle_over_ball(toes)[0] - sizes.ankle_over_ball(0.0)[0]
    return pose.but(
        hip=(0.0, ahead, 1.01 * sizes.hip_z + rise),
        head=orient(pitch=-4),
        feet=_feet(BALL_Y, pitch=toes, hip_x=sizes.hip_x),
        arms=up if arms else pose.arms,
    )


POSES = {
    "stand": stand,
    "squat": squat,
    "plank": plank,
    "tucking": tucking,
    "dip": dip,
    "tall": tall,
}


def plan_burpees(clip: Clip, rng: Generator) -> Schedule:
    """Plan the repetitions of a clip; the script also holds when each flight begins."""
    script = Script(rng, jitter=clip.timing.jitter)
    script.go("stand", 0.0, clip.timing.lead_s)
    reps: list[Rep] = []
    leaves: list[float] = []
    for number in range(1, clip.count + 1):
        planted = clip.faults.get(number, ())
        start_s = script.clock
        script.go("dip", 0.42, depth=0.17, trunk=48.0, arms=40.0)
        script.go("squat", 0.48, 0.08)
        script.go("tucking", 0.22)
        wishes: dict[str, Any] = {"lean": float(rng.uniform(-0.8, 0.8))}
        if "sagging_plank" in planted:
            wishes["sag"] = SAG_DEG
        middle = script.go("plank", 0.26, 0.42, **wishes)
        script.go("tucking", 0.24)
        script.go("squat", 0.24, 0.06)
        rest_s = clip.timing.rest_s if number < clip.count else clip.timing.tail_s
        end_s = _plan_jump(script, planted, leaves, rest_s)
        reps.append(
            Rep(
                number=number,
                side="both",
                start_s=start_s,
                turn_s=0.5 * (middle.reach_s + middle.leave_s),
                end_s=end_s,
                planted=planted,
            )
        )
    return Schedule(reps=reps, total_s=script.clock, script=(script.steps, leaves))


def _plan_jump(
    script: Script, planted: tuple[str, ...], leaves: list[float], rest_s: float
) -> float:
    """Add the way up, with or without the jump, and a rest; return when standing is reached."""
    if "no_jump" in planted:
        script.go("dip", 0.34)
        return script.go("stand", 0.5, rest_s).reach_s
    script.go("dip", 0.34, depth=0.12)
    begin = script.clock
    up = script.go("tall", 0.34)
    leave_s = begin + LEAVE_SHARE * (up.reach_s - begin)
    leaves.append(leave_s)
    # Stretched in the air until the feet come down; then the knees begin to give.
    script.clock = leave_s + flight_time() - 0.06
    script.steps[-1] = replace(up, leave_s=script.clock)
    if "stiff_landing" in planted:
        # Slightly higher than the legs reach, so that they stay long.
        script.go("dip", 0.22, depth=-0.008, trunk=5.0, arms=60.0)
    else:
        script.go("dip", 0.30, depth=0.085, trunk=20.0, arms=50.0)
    return script.go("stand", 0.5, rest_s).reach_s


def flight_time() -> float:
    """Return the seconds from leaving the floor to landing."""
    return float(2 * np.sqrt(2 * JUMP_M / GRAVITY))


def build_burpees(
    clip: Clip, body: Body, time_s: Array, schedule: Schedule, rng: Generator
) -> Motion:
    """Return the motion of a set of burpees."""
    steps, leaves = schedule.script
    flight = np.zeros(len(time_s))
    for leave_s in leaves:
        t = np.clip(time_s - leave_s, 0, flight_time())
        flight += 0.5 * GRAVITY * t * (flight_time() - t)
    return Keyed(body, time_s, make_keys(steps, body, POSES), rng, flight=flight)


BURPEE = Movement(plan=plan_burpees, build=build_burpees)
