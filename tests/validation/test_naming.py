"""Frozen tracks of mixed clips: the page on naming says what is measured now."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from mix_files import load_mix
from naming_report import BEGIN, END, FOLDER, PAGE, add_up, measure, render

RENDERED_RIGHT, RECORDED_RIGHT, MOST_WRONG = 0.95, 0.88, 0.01


def test_the_mixed_clips_are_there_and_small():
    paths = sorted(FOLDER.glob("*.npz"))
    splits = {load_mix(p).about["split"] for p in paths}
    assert splits == {"tune", "report"}
    assert all(p.stat().st_size < 450_000 for p in paths)


@pytest.mark.slow
def test_the_page_on_naming_says_what_is_measured_now():
    scores = measure("report")
    page = PAGE.read_text(encoding="utf-8")
    assert page.split(BEGIN)[1].split(END)[0].strip() == render(scores)
    for letter, least in (("m", RENDERED_RIGHT), ("r", RECORDED_RIGHT)):
        whole = add_up(s for name, s in scores.items() if name.startswith(letter))
        assert whole.right >= least * whole.total
        assert whole.wrong <= MOST_WRONG * whole.total
