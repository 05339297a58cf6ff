"""Acceptance: clips of lifts, floor work, hanging and range of motion are found as made."""

from __future__ import annotations

import pytest
from movements_acceptance import (
    KNOWN_LIMITS,
    NOT_MEASURED,
    Made,
    check_movement,
    compare,
    judge,
    list_checks,
    list_movement_clips,
    load_movement_truth,
    shorten_holds,
)

from motioncheck.records import Finding
from motioncheck.standards import load_standard_file, load_standards

CLIPS = list_movement_clips()


def with_limits(name):
    """Return a clip, marked where it is known that it is not found as it was made."""
    limit = KNOWN_LIMITS.get(name)
    return pytest.param(name, marks=[pytest.mark.xfail(reason=limit)] if limit else [])


@pytest.mark.slow
@pytest.mark.model
@pytest.mark.parametrize("name", [with_limits(name) for name in CLIPS])
def test_the_clip_is_counted_sided_timed_and_judged_as_it_was_made(name, shared_cache):
    assert compare(load_movement_truth(name), check_movement(name, shared_cache)) == []


@pytest.mark.parametrize("name", CLIPS)
def test_every_planted_fault_has_a_check_in_the_standard_of_its_movement(name):
    truth = load_movement_truth(name)
    ids = {c.id for c in load_standards()[truth.movement].standard.check if c.enabled}
    for fault in truth.planted - NOT_MEASURED:
        checks = list_checks(truth.movement, fault)
        assert checks, fault
        assert set(checks) & ids, fault


def finding(check, verdict):
    return Finding(
        check=check, title=check, measure="knee_flexion", side="left", verdict=verdict,
        value=20.0, threshold=10.0, comparison="at most", unit="deg", uncertainty=2.0,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("planted", "findings", "said"),
    [
        (("shallow",), [finding("depth", "misses")], []),
        (("shallow",), [finding("depth", "not visible")], []),
        (("shallow",), [finding("depth", "meets")], ["shallow not noticed: depth"]),
        (("shallow",), [finding("depth", "too close to call")], ["shallow not noticed: depth"]),
        (("shallow",), [], ["shallow not noticed: no check"]),
        ((), [finding("depth", "misses")], ["false miss: depth"]),
        ((), [finding("depth", "meets")], []),
    ],
)
def test_the_comparison_itself_notices_what_was_overlooked_or_made_up(planted, findings, said):
    """Analytic: a comparison that never complains would be no test."""
    sentences = list(judge("front-squat", findings, Made(1, "both", 0.0, 1.0, 2.0, planted)))
    assert len(sentences) == len(said)
    assert all(s.startswith(start) for s, start in zip(sentences, said, strict=True))


def test_a_miss_of_a_side_that_is_truly_short_is_no_false_one():
    short = Made(1, "left", 0.0, 1.0, 2.0, (), None, {"knee_flexion_left": 12.0})
    straight = Made(1, "left", 0.0, 1.0, 2.0, (), None, {"knee_flexion_left": 8.0})
    missed = [finding("reach", "misses")]
    assert list(judge("knee-flexion", missed, short)) == []
    assert len(list(judge("knee-flexion", missed, straight))) == 1
    # Outside of range of motion a clean rep has to meet what the coach asks.
    assert len(list(judge("burpee", missed, short))) == 1


def test_a_copy_with_a_shorter_hold_changes_nothing_else(tmp_path):
    folder = shorten_holds("half-kneeling-hamstring", tmp_path)
    short = load_standard_file(folder / "half-kneeling-hamstring.toml").standard
    usual = load_standards()["half-kneeling-hamstring"].standard
    times = {c.id: c.threshold for c in short.check if c.id == "hold_time"}
    assert times == {"hold_time": 5.0}
    others = [c for c in short.check if c.id != "hold_time"]
    assert others == [c for c in usual.check if c.id != "hold_time"]
    assert short.split == usual.split
