"""Analytic: the standards of lunges, get-up, lifts, pull-up and burpee on bodies of known pose."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from synthetic import SHARE, Pose, make_body

from motioncheck.measures import REGISTRY, compute_table
from motioncheck.records import MeasureTable
from motioncheck.rules import make_cycle_rule, make_windows
from motioncheck.skeleton import INDEX
from motioncheck.splitting import measure_pose, split_reps
from motioncheck.splitting.poses import find_side
from motioncheck.standards import get_standard

HOLDS = (
    "low-lunge-arm-reach", "low-lunge-hands-inside", "low-lunge-rotation",
    "half-kneeling-hamstring",
)  # fmt: skip
CYCLES = (
    "front-squat", "l-sit-pull-up", "dumbbell-snatch", "overhead-walking-lunge", "bent-over-row",
    "burpee",
)  # fmt: skip
LEG = SHARE["thigh"] + SHARE["shank"]


def standard_of(movement):
    return get_standard(movement).standard


# Left leg in front, right knee on the floor: right thigh down, shank level behind it.
KNEELING = {"thigh": (90.0, -10.0), "shank": (0.0, 90.0)}
# Left leg in front, right leg long behind.
LONG = {"thigh": (100.0, -70.0), "shank": (15.0, 70.0)}
POSES = {
    "standing": Pose(),
    "standing, arm up": Pose(arm=(0.0, 180.0)),
    "squatting": Pose(thigh=95.0, shank=30.0, trunk=40.0, arm=50.0),
    "low-lunge-arm-reach": Pose(**KNEELING, arm=(0.0, 175.0)),
    "low-lunge-hands-inside": Pose(**LONG, trunk=75.0, arm=35.0),
    "low-lunge-rotation": Pose(**LONG, trunk=75.0, arm=(180.0, 35.0)),
    "half-kneeling-hamstring": Pose(thigh=(59.0, 0.0), shank=(-59.0, 90.0), trunk=40.0, arm=20.0),
}


def measure(pose, azimuth):
    """Measure a body that stands first, so that its lengths are seen, and then takes a pose."""

    def after_standing(value):
        if isinstance(value, tuple):
            return tuple(np.array([0.0, v]) for v in value)
        return np.array([0.0, value])

    poses = {field.name: after_standing(getattr(pose, field.name)) for field in fields(pose)}
    return compute_table(make_body(Pose(**poses), azimuth, frames=2))


@pytest.mark.parametrize("azimuth", [-90.0, 90.0])
@pytest.mark.parametrize("movement", HOLDS)
def test_a_held_position_fits_its_own_pose_and_no_other(movement, azimuth):
    windows = make_windows(standard_of(movement).split.position)
    front = "right" if movement == "low-lunge-arm-reach" else "left"
    for name, pose in POSES.items():
        table = measure(pose, azimuth)
        worst, mean = (v[1] for v in measure_pose(table, windows, front))
        assert (worst <= 1.0) == (name == movement), name
        if name == movement:
            other = "left" if front == "right" else "right"
            assert mean < measure_pose(table, windows, other)[1][1]


# The right arm is loaded, so the right foot is flat on the floor and the left leg is the free one.
LYING = {"thigh": (90.0, 135.0), "shank": (-90.0, -35.0)}
STAGES = (
    Pose(**LYING, trunk=-90.0, arm=(90.0, 180.0)),
    Pose(**LYING, trunk=-62.0, arm=(-30.0, 180.0), elbow=(90.0, 0.0)),
    Pose(**LYING, trunk=-32.0, arm=(-20.0, 180.0)),
    Pose(thigh=(59.4, 80.0), shank=(-59.4, -32.5), trunk=-55.0, arm=(0.0, 180.0)),
    Pose(thigh=(0.0, 90.0), shank=(90.0, 0.0), trunk=50.0, arm=(0.0, 180.0)),
    Pose(thigh=(0.0, 90.0), shank=(90.0, 0.0), arm=(0.0, 180.0)),
    Pose(arm=(0.0, 180.0)),
)


@pytest.mark.parametrize("azimuth", [-90.0, 90.0, 0.0])
@pytest.mark.parametrize("number", range(1, 8))
def test_a_position_of_the_get_up_fits_its_own_stage_best(number, azimuth):
    stages = standard_of("get-up").split.stage
    assert len(stages) == len(STAGES)
    table = measure(STAGES[number - 1], azimuth)
    left, right = (table.values[f"hand_height_ratio_{side}"][1] for side in ("left", "right"))
    assert right > left
    worst = [measure_pose(table, make_windows(s.window), "right")[0][1] for s in stages]
    assert np.argmin(worst) == number - 1
    assert worst[number - 1] <= 1.5


@pytest.mark.parametrize("movement", [*HOLDS, *CYCLES, "get-up"])
def test_a_standard_can_be_named_and_filmed(movement):
    standard = standard_of(movement)
    assert len(standard.signature) >= 3
    assert standard.camera.best_view == "side"
    wanted = {"hold": HOLDS, "cycle": CYCLES, "stages": ("get-up",)}[standard.split.kind]
    assert movement in wanted


def test_arm_lengths_of_the_snatch_are_told_in_feet_as_they_are_seen():
    """0.30 and 0.45 arms of 0.332 statures; heel to ball of the foot is 0.118 of them."""
    close = next(c for c in standard_of("dumbbell-snatch").check if c.id == "close")
    assert close.threshold == pytest.approx(0.30 * 0.332 / 0.118, abs=0.03)
    assert close.clear_miss == pytest.approx(0.45 * 0.332 / 0.118, abs=0.03)


def test_the_raised_arm_is_that_of_the_higher_hand():
    table = compute_table(make_body(Pose(arm=(20.0, 180.0), elbow=(60.0, 0.0)), 90.0))
    values = {name: series[0] for name, series in table.values.items()}
    assert values["raised_arm_inclination"] == pytest.approx(values["arm_inclination_right"])
    assert values["raised_elbow_flexion"] == pytest.approx(0.0, abs=1e-6)
    assert values["raised_shoulder_elevation"] == pytest.approx(180.0)


@pytest.mark.parametrize(("lean", "rise"), [(0.0, 0.0), (30.0, 30.0), (60.0, 60.0)])
def test_shoulders_above_one_another_are_read_from_their_width(lean, rise):
    """Seen from the front, the shoulder line tilted by so much."""
    body = make_body(Pose(), 0.0)
    half = SHARE["half_shoulders"] / LEG * body.leg_px
    way = half * np.array([np.cos(np.radians(lean)), np.sin(np.radians(lean))])
    points = body.points.copy()
    points[:, INDEX["left_shoulder"]] = body.mid("shoulder") + way
    points[:, INDEX["right_shoulder"]] = body.mid("shoulder") - way
    tilted = replace(body, points=points, shoulder_width_px=2.0 * half)
    assert REGISTRY["shoulder_line_rise"].compute(tilted, "both")[0] == pytest.approx(rise)


def waves(count, *, low, high, period_s=3.0, hz=30.0):
    """Time and a signal that rests low, goes high and back, so many times; a second at each end."""
    time_s = np.arange(0.0, count * period_s + 2.0, 1.0 / hz)
    share = np.clip((time_s - 1.0) / period_s, 0.0, count) % 1.0
    return time_s, low + (high - low) * np.sin(np.pi * share) ** 2


def table_of(time_s, **columns):
    return MeasureTable(time_s, columns, {k: np.full(len(time_s), 0.1) for k in columns})


@pytest.mark.parametrize(("seen", "unseen"), [("left", "right"), ("right", "left")])
def test_reps_of_an_arm_that_is_never_seen_are_told_by_the_other_hand(seen, unseen):
    """Two snatches of the seen arm, then two of the other, filmed from the side."""
    time_s, shoulders = waves(4, low=1.0, high=1.6)
    _, hand = waves(4, low=0.3, high=2.2)
    hand = np.where(time_s < 7.0, hand, np.minimum(hand, 1.0))
    columns = {
        "shoulder_height_ratio": shoulders,
        f"hand_height_ratio_{seen}": hand,
        f"hand_height_ratio_{unseen}": np.full(len(time_s), np.nan),
    }
    rule = make_cycle_rule(standard_of("dumbbell-snatch").split)
    timeline = split_reps(table_of(time_s, **columns), rule)
    assert [e.side for e in timeline.events] == [seen, seen, unseen, unseen]


def test_without_a_level_an_unseen_side_leaves_it_open():
    time_s = np.arange(0.0, 1.0, 0.1)
    table = table_of(
        time_s,
        hand_height_ratio_left=np.full(10, 2.0),
        hand_height_ratio_right=np.full(10, np.nan),
    )
    inside = np.ones(10, dtype=bool)
    assert find_side(table, "hand_height_ratio", higher=True, inside=inside) == "both"
    told = find_side(table, "hand_height_ratio", higher=True, inside=inside, level=1.5)
    assert told == "left"


def test_standing_before_and_after_the_set_is_no_unfinished_snatch():
    time_s, low = waves(2, low=1.6, high=1.0, period_s=3.0)
    still = np.full(len(time_s), 1.0)
    columns = {
        "shoulder_height_ratio": low,
        "hand_height_ratio_left": still,
        "hand_height_ratio_right": still,
    }
    rule = make_cycle_rule(standard_of("dumbbell-snatch").split)
    assert split_reps(table_of(time_s, **columns), rule).partial == ()


@pytest.mark.parametrize("azimuth", [-90.0, 90.0])
def test_a_trunk_folded_past_the_thigh_is_no_thigh_behind_the_back(azimuth):
    """Trunk 100 degrees forward, thigh 95 degrees ahead of hanging: a bend of 195 degrees."""
    table = measure(Pose(trunk=100.0, thigh=(95.0, 0.0)), azimuth)
    assert table.values["hip_flexion_left"][1] == pytest.approx(195.0)


def test_shoulders_drop_in_a_plank_and_never_rise_above_standing():
    """Standing, then a squat: the shoulders sink by what hip and trunk give, in statures."""
    table = measure(Pose(thigh=90.0, shank=0.0, trunk=60.0), 90.0)
    sunk = SHARE["thigh"] + SHARE["trunk"] * (1.0 - np.cos(np.radians(60.0)))
    drop = table.values["shoulder_drop_ratio"]
    assert drop == pytest.approx([0.0, sunk])
    assert (measure(Pose(heel_up_m=0.1), 90.0).values["shoulder_drop_ratio"] == 0.0).all()
