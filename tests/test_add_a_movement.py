"""The page that adds a movement: its file is valid, its test passes, and it holds on clips."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from motioncheck.pipeline import CheckOptions, check_clip
from motioncheck.standards import load_standard_file, load_standards

ROOT = Path(__file__).resolve().parent.parent
PAGE = (ROOT / "docs" / "add-a-movement.md").read_text(encoding="utf-8")
CLIPS = ROOT / "sample_clips_synthetic"
STANDARD, TEST = "side-lunge.toml", "test_side_lunge.py"
# What each planted fault of the clips is called in the standard of the page, and which of them
# bend toward the lens, so that no picture from the front shows them.
FAULTS = {"trunk_side": "trunk_side", "bent_trail_knee": "other_leg_long"}
HIDDEN = {"bent_trail_knee"}


def block(name):
    """Return the fenced block that follows the mark of a file."""
    found = re.findall(rf"<!-- {re.escape(name)}:[^>]*-->\n```\w+\n(.*?)```", PAGE, re.DOTALL)
    assert len(found) == 1, name
    return found[0]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The two files of the page, as a reader would save them."""
    place = tmp_path_factory.mktemp("crew")
    for name in (STANDARD, TEST):
        (place / name).write_text(block(name), encoding="utf-8")
    return place


def test_the_movement_of_the_page_is_valid_and_not_one_that_the_program_has(folder):
    standard = load_standard_file(folder / STANDARD).standard
    assert standard.id == "side-lunge"
    assert standard.id not in load_standards()


def test_the_test_of_the_page_passes(folder):
    done = run_page_test(folder)
    assert done.returncode == 0, done.stdout[-3000:]
    assert "6 passed" in done.stdout


def test_the_test_of_the_page_fails_when_the_standard_is_spoilt(folder, tmp_path):
    """Otherwise it could not tell a good file from a bad one."""
    text = (folder / STANDARD).read_text(encoding="utf-8")
    spoilt = text.replace('side_is = "higher"', 'side_is = "lower"')
    assert spoilt != text
    (tmp_path / STANDARD).write_text(spoilt, encoding="utf-8")
    (tmp_path / TEST).write_text(block(TEST), encoding="utf-8")
    done = run_page_test(tmp_path)
    assert done.returncode == 1
    assert "6 passed" not in done.stdout


def run_page_test(place):
    environment = os.environ | {
        "MOTIONCHECK_STANDARDS": str(place),
        "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")]),
    }
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", str(place / TEST)]
    return subprocess.run(
        command, env=environment, cwd=place, capture_output=True, text=True, check=False
    )


def test_the_page_explains_every_section_of_its_file():
    sections = set(re.findall(r"^\[+([a-z_.]+)\]+", block(STANDARD), re.MULTILINE))
    text = PAGE.replace(block(STANDARD), "")
    for section in sections - {"camera"}:
        assert f"[{section}]" in text, section
    for word in ("best_view", "cautions", "--standards", "movements validate"):
        assert word in text


@pytest.mark.slow
@pytest.mark.model
@pytest.mark.parametrize("name", sorted(p.stem for p in CLIPS.glob("side_lunge_*.mp4")))
def test_rendered_side_lunges_are_counted_and_their_planted_faults_found(folder, name):
    truth = json.loads((CLIPS / f"{name}.truth.json").read_text(encoding="utf-8"))
    options = CheckOptions(standards_folder=folder)
    sheet = check_clip(CLIPS / f"{name}.mp4", "side-lunge", options=options).sheet
    reps = truth["reps"]
    assert [e.side for e in sheet.events] == [r["side"] for r in reps]
    assert len(reps) == 6
    for rep, event in zip(reps, sheet.events, strict=True):
        assert event.start_s <= rep["turn_s"] <= event.end_s
        verdicts = {f.check: f.verdict for f in event.findings}
        missed = {check for check, verdict in verdicts.items() if verdict == "misses"}
        assert missed == {FAULTS[fault] for fault in rep["planted"] if fault not in HIDDEN}
        for fault in HIDDEN & set(rep["planted"]):
            assert verdicts[FAULTS[fault]] == "not visible"
    assert {fault for rep in reps for fault in rep["planted"]} - HIDDEN, "nothing to be found"
