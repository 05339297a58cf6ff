"""Acceptance: every sample clip is counted, sided, timed and judged as it was made."""

from __future__ import annotations

import pytest
from acceptance import (
    CHECKS_OF_FAULT,
    TURN_TOLERANCE_S,
    WIDER_TURN_S,
    check_sample,
    false_misses,
    list_clips,
    load_truth,
    noticed,
)

from motioncheck.pipeline.crowd import CROWD_NOTE
from motioncheck.standards import load_standards

# These three show reps of both kinds, side and front, planted faults, and a variable rate.
FAST = {"squat_side_faults", "jacks_front", "squat_variable_rate"}
CLIPS = [
    pytest.param(name, marks=[pytest.mark.model, *([] if name in FAST else [pytest.mark.slow])])
    for name in list_clips()
]


@pytest.fixture(params=CLIPS)
def checked(request, shared_cache):
    """A sample clip: its truth and what the program found."""
    name = request.param
    return load_truth(name), check_sample(name, shared_cache).sheet


def test_the_clip_is_counted_sided_timed_and_judged_as_it_was_made(checked):
    truth, sheet = checked
    limit_s = WIDER_TURN_S.get(truth.movement, TURN_TOLERANCE_S)
    assert len(sheet.events) == len(truth.reps)
    assert [e.side for e in sheet.events] == [rep["side"] for rep in truth.reps]
    for event, rep in zip(sheet.events, truth.reps, strict=True):
        where = f"rep {rep['number']}"
        assert event.turn_s == pytest.approx(rep["turn_s"], abs=limit_s), where
        for fault in rep["planted"]:
            finding = noticed(event, fault)
            assert finding.verdict in {"misses", "not visible"}, f"{where}, {fault}: {finding}"
            assert finding.reason or finding.verdict == "misses", f"{where}, {fault}"
            assert finding.cue or finding.verdict == "not visible", f"{where}, {fault}"
        assert false_misses(event, rep["planted"]) == [], where


def test_every_planted_fault_has_a_check_in_the_standard_of_its_movement():
    standards = load_standards()
    planted = {
        (load_truth(name).movement, fault)
        for name in list_clips()
        for rep in load_truth(name).reps
        for fault in rep["planted"]
    }
    assert {fault for _, fault in planted} == set(CHECKS_OF_FAULT)
    for movement, fault in planted:
        ids = {check.id for check in standards[movement].standard.check}
        assert set(CHECKS_OF_FAULT[fault]) <= ids


@pytest.mark.model
def test_planted_faults_that_this_camera_can_show_are_called_misses(shared_cache):
    """Not visible would be an easy way out: in a side view these have to be seen."""
    sheet = check_sample("squat_side_faults", shared_cache).sheet
    for event, rep in zip(sheet.events, load_truth("squat_side_faults").reps, strict=True):
        for fault in rep["planted"]:
            assert noticed(event, fault).verdict == "misses", fault


@pytest.mark.slow
@pytest.mark.model
def test_the_sheet_says_how_other_people_in_the_picture_are_shown(shared_cache):
    assert CROWD_NOTE in check_sample("two_people", shared_cache).sheet.how_measured
    assert CROWD_NOTE not in check_sample("squat_side_clean", shared_cache).sheet.how_measured
