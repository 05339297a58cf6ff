"""Acceptance: whole pieces of a session in one rendered clip, laid against their plan.

Movements are told by the program itself. What was really done, when, is in the truth beside the
clips; see sample_clips_synthetic/scenario_sessions.py for how they were planned.
"""

from __future__ import annotations

import json
from itertools import pairwise

import pytest
from e2e_support import SAMPLES

from motioncheck.pipeline import CheckOptions
from motioncheck.pipeline.session import ClipInput, SessionRequest, run_session

pytestmark = [pytest.mark.slow, pytest.mark.model]

MINUTE_S = 60.0
TOLERANCE_S = 0.5
DUE = "burpee"
WORK = {"dumbbell-snatch": 12, "overhead-walking-lunge": 12, "bent-over-row": 12}


def truth_of(name):
    return json.loads((SAMPLES / f"{name}.truth.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def run(shared_cache, tmp_path_factory):
    """Return what the program says of a clip; each is run once."""
    kept = {}

    def get(name):
        if name not in kept:
            plan = truth_of(name)["plan"]
            request = SessionRequest(
                plan=SAMPLES / "plans" / f"{plan}.toml",
                clips=(ClipInput(SAMPLES / f"{name}.mp4"),),
                folder=tmp_path_factory.mktemp(name) / "session",
                options=CheckOptions(cache_folder=shared_cache),
            )
            kept[name] = run_session(request)
        return kept[name]

    return get


def true_reps(truth):
    """All reps of the clip on the clock of the circuit, in time order: movement, start, end."""
    zero = truth["clock_zero_s"]
    reps = [
        (bout["movement"], rep["start_s"] - zero, rep["end_s"] - zero)
        for bout in truth["bouts"]
        for rep in bout["reps"]
    ]
    return sorted(reps, key=lambda rep: rep[1])


def true_minutes(reps):
    """By minute: reps of the work that end in it, and start, end and count of the due ones."""
    last_s = max(end for _, _, end in reps)
    rows = []
    for minute in range(int(last_s // MINUTE_S) + 1):
        first = minute * MINUTE_S
        due = [r for r in reps if r[0] == DUE and first - 5.0 <= r[1] < first + MINUTE_S - 5.0]
        work = [r for r in reps if r[0] != DUE and first <= r[2] < first + MINUTE_S]
        rows.append(
            {
                "due": len(due),
                "started": due[0][1] - first,
                "completed": due[-1][2] - first,
                "work": {name: sum(r[0] == name for r in work) for name in WORK},
            }
        )
    return rows


@pytest.mark.parametrize("name", ["circuit_clean", "circuit_late"])
def test_the_circuit_is_right_to_the_rep_and_to_half_a_second(name, run):
    sheet, reps = run(name), true_reps(truth_of(name))
    (block,) = sheet.blocks
    circuit = block.circuit
    assert {c.movement: (c.prescribed, c.done, c.extra) for c in circuit.counts} == {
        movement: (count, count, 0) for movement, count in WORK.items()
    }
    assert (circuit.every_minute.prescribed, circuit.every_minute.done) == (9, 9)
    assert circuit.finished
    assert circuit.rounds_done == 3
    assert circuit.total_s == pytest.approx(max(r[2] for r in reps), abs=TOLERANCE_S)
    rows = true_minutes(reps)
    assert len(circuit.rows) == len(rows) == 3
    for said, true in zip(circuit.rows, rows, strict=True):
        assert (said.due, said.done, said.complete) == (3, true["due"], True)
        assert dict(said.work_reps) == {k: v for k, v in true["work"].items() if v}
        assert said.started_after_s == pytest.approx(true["started"], abs=TOLERANCE_S)
        assert said.completed_after_s == pytest.approx(true["completed"], abs=TOLERANCE_S)
        # Rest and work add up to the clock.
        parts = said.work_s + said.every_minute_s + said.rest_s
        assert parts == pytest.approx(said.clock_s, abs=0.01)
    assert sum(r.clock_s for r in circuit.rows) == pytest.approx(circuit.total_s, abs=0.01)


def test_the_late_clip_really_has_a_late_minute_a_split_one_and_a_split_set():
    """That the clip shows what the test above is about, from its truth alone."""
    rows = true_minutes(true_reps(truth_of("circuit_late")))
    assert rows[2]["started"] == pytest.approx(5.0, abs=0.01)
    burpees = [r for r in true_reps(truth_of("circuit_late")) if r[0] == DUE]
    minute_1 = [r for r in burpees if 60.0 <= r[1] < 120.0]
    assert max(b[1] - a[2] for a, b in pairwise(minute_1)) > 3.0
    names = [bout["movement"] for bout in truth_of("circuit_late")["bouts"]]
    assert [a for a, b in pairwise(names) if a == b] == ["bent-over-row", DUE]


def test_the_superset_is_read_round_by_round(run):
    sheet, truth = run("superset"), truth_of("superset")
    (block,) = sheet.blocks
    assert [(s.movement, s.done, s.status) for s in block.sets] == [
        (bout["movement"], len(bout["reps"]), "as planned") for bout in truth["bouts"]
    ]
    for said, bout in zip(block.sets, truth["bouts"], strict=True):
        (piece,) = said.pieces
        assert piece.start_s == pytest.approx(bout["start_s"], abs=TOLERANCE_S)
        assert piece.end_s == pytest.approx(bout["end_s"], abs=TOLERANCE_S)
