"""A made-up recovery of nobody real, as trials; written as a trend page for the README.

``python tests/trend_figures.py FOLDER`` writes the page. The numbers are drawn from a random
generator with a fixed seed; no clip and no person is behind them.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from trend_trials import make_trial

from motioncheck.records.history import PersonRecord, Trial
from motioncheck.standards import load_standards
from motioncheck.trends import compute_trends

WEEKS = 12
# Between clips of one day, degrees; about what own repeats of rendered clips show.
SPREAD_DEG = 2.0
OBLIQUE_WEEK = 7


def recovery_trials(seed: int = 5) -> tuple[Trial, ...]:
    """Return two clips a week: the left knee gains, the right one does not."""
    rng = np.random.default_rng(seed)
    trials: list[Trial] = []
    for week in range(WEEKS):
        for clip in range(2):
            left = 97.0 + 26.0 * (1.0 - np.exp(-week / 4.5)) + rng.normal(0.0, SPREAD_DEG)
            right = 127.0 + rng.normal(0.0, SPREAD_DEG)
            for number, (side, mean) in enumerate((("left", left), ("right", right))):
                trial = make_trial(week, float(mean), clip=2 * clip + number)
                trial = replace(trial, side=side, clip=f"{side}-{week + 1}-{clip + 1}.mp4")
                trials.append(_oblique(trial) if week == OBLIQUE_WEEK else trial)
    return tuple(trials)


def _oblique(trial: Trial) -> Trial:
    """Return the trial as filmed from the front, which shows the bend of a knee badly."""
    return replace(trial, view="front", azimuth_deg=0.0)


def recovery_report():
    """Return the trends of the made-up recovery."""
    standards = {name: loaded.standard for name, loaded in load_standards().items()}
    person = PersonRecord("seat3", birth_year=1985, sex="female")
    return compute_trends(recovery_trials(), person, standards=standards, today="2026-05-20")


if __name__ == "__main__":
    from motioncheck.sheet.trend_write import write_trend

    write_trend(Path(sys.argv[1]), recovery_report(), note=True)
