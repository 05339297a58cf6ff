"""Programs that write at once lose and double nothing; a killed one leaves the old state."""

from __future__ import annotations

import json
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest
from history_examples import dump, make_sheet

from motioncheck.history import open_history

WORKER = Path(__file__).with_name("history_worker.py")
WRITERS = ("red", "blue")


def start(*arguments):
    return subprocess.Popen(
        [sys.executable, "-W", "error", WORKER, *map(str, arguments)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, cwd=WORKER.parent,
    )  # fmt: skip


def finish(program, timeout_s):
    out, err = program.communicate(timeout=timeout_s)
    assert (err, program.returncode) == ("", 0)
    return out


def check_two_writers(place, seconds):
    programs = [start("record", place, name, seconds) for name in WRITERS]
    assert [p.stdout.readline() for p in programs] == ["ready\n"] * len(programs)
    for program in programs:
        program.stdin.write("go\n")
        program.stdin.flush()
    told = [json.loads(finish(p, seconds + 120)) for p in programs]
    rounds = [one["rounds"] for one in told]
    own = {f"{name}{n}" for name, count in zip(WRITERS, rounds, strict=True) for n in range(count)}
    wanted = own | {f"shared{n}" for n in range(max(rounds))}
    with open_history(place) as history:
        checks = history.checks(current_only=False)
        # Nothing lost, nothing doubled.
        assert sorted(c.clip for c in checks) == sorted(f"{name}.mp4" for name in wanted)
        assert len(history.corrections()) == sum(rounds)
        people = [p.code for p in history.list_people()]
        assert people == sorted(set(people))
        names = [(s.person, s.name) for code in people for s in history.list_sessions(code)]
        assert len(names) == len(set(names))
        # Every check has all of its rows.
        rows = dump(history)
        sheet = make_sheet()
        assert Counter(row[1] for row in rows["event"]) == {c.id: len(sheet.events) for c in checks}
        measures = {t.measure for t in history.trials(checks[0].person)}
        assert len(rows["measure"]) == len(checks) * len(measures)
    # What each was told is so: a shared clip was new to exactly one of them, under one number.
    ids = {c.clip.removesuffix(".mp4"): c.id for c in checks}
    answers = [answer for one in told for answer in one["answers"]]
    assert all(ids[clip] == number for clip, number, _ in answers)
    statuses = Counter((clip, status) for clip, _, status in answers)
    assert all(statuses[clip, "new"] == 1 for clip in wanted)
    assert {status for _, _, status in answers} == {"new", "known"}


def test_two_programs_that_record_at_once_lose_and_double_nothing(history_place):
    check_two_writers(history_place, 2.5)


@pytest.mark.slow
def test_two_programs_that_record_for_a_minute_lose_and_double_nothing(history_place):
    check_two_writers(history_place, 60.0)


@pytest.mark.skipif(sys.platform == "win32", reason="kills by a signal and forks")
def test_a_program_killed_before_any_statement_leaves_the_old_state(history_place, tmp_path):
    clip = tmp_path / "a.mp4"
    clip.write_bytes(b"a")
    with open_history(history_place) as history:
        history.record(make_sheet("a"), person="seat3", day="2026-03-02")
        history.record(make_sheet("b"), person="seat4", day="2026-03-02")
    told = finish(start("crash", history_place, clip), 200)
    steps = [json.loads(line) for line in told.splitlines()]
    assert all(step["killed"] and step["old"] for step in steps[:-1])
    assert steps[-1] == {"killed": False, "status": 0, "old": False}
    # From taking the lock to the commit: person, session, clip, check, four kinds of parts, plan.
    assert len(steps) > 12
    with open_history(history_place) as history:
        (check,) = history.checks("seat3")
        assert (check.program_version, check.clip_kept) == ("2", True)
        assert Path(check.clip_path).read_bytes() == b"a"
        assert history.checks("seat4")
