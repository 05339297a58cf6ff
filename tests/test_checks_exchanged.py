"""Analytic: a stage in which left and right arm are exchanged says nothing about the arms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from standard_examples import make_standard
from synthetic import make_view

from motioncheck.checks import check_events
from motioncheck.checks.exchanged import REASON
from motioncheck.records import Event, MeasureTable
from motioncheck.standards import get_standard

TIME_S = np.arange(0.0, 10.0, 0.05)
COLUMNS = {
    "arm_inclination_left": 165.0,
    "arm_inclination_right": 3.0,
    "elbow_flexion_left": 30.0,
    "elbow_flexion_right": 2.0,
    "hip_flexion_left": 20.0,
    "hip_flexion_right": 60.0,
    "trunk_inclination": 4.0,
    "trunk_lateral_inclination": 1.0,
}


def table(**columns):
    found = {name: np.full(TIME_S.shape, v) for name, v in (COLUMNS | columns).items()}
    bands = {name: np.where(np.isfinite(v), 1.0, np.nan) for name, v in found.items()}
    return MeasureTable(TIME_S, found, bands)


def stage(side="right"):
    return Event("stage", 1, side, 2.0, 3.0, 4.0, stage=6, group=1, name="half kneeling")


def check(measures, side="right"):
    (event,) = check_events(
        [stage(side)], get_standard("get-up").standard, measures, make_view(-90.0)
    )
    return event, {f.check: f for f in event.findings}


def test_the_working_arm_is_judged_where_it_is_the_one_that_points_up():
    event, findings = check(table())
    assert (findings["arm_vertical"].verdict, findings["arm_vertical"].value) == ("meets", 3.0)
    assert event.measures["arm_inclination_right"].value == 3.0


@pytest.mark.parametrize("side", ["left", "right"])
def test_exchanged_arms_are_not_visible_and_never_a_miss(side):
    # The rung was begun with one arm up; in this stage the other one is read as up.
    swapped = {
        "right": {"arm_inclination_left": 3.0, "arm_inclination_right": 160.0},
        "left": {"arm_inclination_left": 160.0, "arm_inclination_right": 3.0},
    }[side]
    event, findings = check(table(**swapped), side)
    for name in ("arm_vertical", "elbow_locked"):
        assert (findings[name].verdict, findings[name].reason) == ("not visible", REASON)
        assert (findings[name].value, findings[name].uncertainty, findings[name].cue) == (
            None, None, "",
        )  # fmt: skip
    assert not any(m.startswith(("arm_inclination", "elbow_flexion")) for m in event.measures)
    # What is not read off an arm stays.
    assert findings["kneeling_tall"].verdict == "meets"
    assert event.measures["hip_flexion_right"].value == 60.0


@pytest.mark.parametrize(
    "columns",
    [
        {"arm_inclination_right": 160.0},
        {"arm_inclination_right": 160.0, "arm_inclination_left": np.nan},
        {"arm_inclination_left": 3.0},
    ],
)
def test_an_arm_that_hangs_is_a_miss_where_the_other_one_is_not_up_either(columns):
    _, findings = check(table(**columns))
    wanted = "misses" if "arm_inclination_right" in columns else "meets"
    assert findings["arm_vertical"].verdict == wanted


def test_other_movements_are_left_alone():
    event = replace(stage(), kind="rep", stage=None, group=None, name="")
    measures = table(
        arm_inclination_right=160.0,
        arm_inclination_left=3.0,
        thigh_inclination_left=-20.0,
        thigh_inclination_right=-20.0,
    )
    (checked,) = check_events([event], make_standard(), measures, make_view(-90.0))
    assert checked.measures["arm_inclination_right"].value == 160.0
