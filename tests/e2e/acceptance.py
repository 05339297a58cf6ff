"""The sample clips against what is known about them: helpers of the acceptance tests.

Every clip comes with ``NAME.truth.json``. Its times are those stored in the file; the program
counts from the start of the video stream, so `load_truth` takes that start off.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt
from e2e_support import SAMPLES

from motioncheck.pipeline import CheckOptions, CheckResult, check_clip
from motioncheck.records import Event, Finding

FloatArray = npt.NDArray[np.float64]

# Planted fault -> the checks that are about it. The first is the one that has to notice it.
CHECKS_OF_FAULT = {
    "shallow": ("depth",),
    "chest_down": ("trunk", "parallel"),
    "heels_up": ("heels",),
    "knees_in": ("knees_over_feet", "knee_line"),
    "low_knee": ("knee_height",),
    "short_kick": ("heel_to_seat",),
    "bent_elbows": ("elbows_straight",),
    "half_height_arms": ("arms_overhead",),
    "uneven_arms": ("arms_even", "arms_overhead"),
    "short_reach": ("reach",),
    "bent_knees": ("knees_long",),
}
DRILLS = (
    "air-squat", "heel-to-seat-kicks", "high-knees", "jumping-jacks", "wide-stance-twist",
)  # fmt: skip
TURN_TOLERANCE_S = 0.15
# In the twist the pose model loses the folded body for part of the reach, which lasts 0.6 s;
# the turn is then the middle of what is left. Measured: 0.26 s off in one rep of twelve, the
# others within 0.2 s.
WIDER_TURN_S = {"wide-stance-twist": 0.35}


@dataclass(frozen=True)
class Truth:
    """What is known about a sample clip; times as the program counts them."""

    name: str
    movement: str
    azimuth_deg: float
    time_s: FloatArray
    angles: dict[str, FloatArray]
    reps: list[dict[str, Any]]

    def at(self, measure: str, time_s: FloatArray) -> FloatArray:
        return np.interp(time_s, self.time_s, self.angles[measure], left=np.nan, right=np.nan)


def list_all_clips() -> list[tuple[str, str]]:
    """Return name and movement of every sample clip."""
    manifest = json.loads((SAMPLES / "manifest.json").read_text("utf-8"))
    return [(Path(clip["file"]).stem, clip["movement"]) for clip in manifest["clips"]]


def list_clips() -> list[str]:
    """Return the names of the clips of the five drills; the others have tests of their own."""
    return [name for name, movement in list_all_clips() if movement in DRILLS]


@cache
def find_start_s(name: str) -> float:
    """Return the first time stamp of a clip, from which the program counts."""
    with av.open(str(SAMPLES / f"{name}.mp4")) as container:
        stream = container.streams.video[0]
        return float((stream.start_time or 0) * stream.time_base)


@cache
def load_truth(name: str) -> Truth:
    record = json.loads((SAMPLES / f"{name}.truth.json").read_text("utf-8"))
    start_s = find_start_s(name)
    times = ("start_s", "turn_s", "end_s")
    return Truth(
        name=name,
        movement=record["movement"],
        azimuth_deg=record["camera"]["azimuth_deg"],
        time_s=np.array(record["time_s"]) - start_s,
        angles={k: np.array(v, dtype=np.float64) for k, v in record["angles"].items()},
        reps=[{**rep, **{key: rep[key] - start_s for key in times}} for rep in record["reps"]],
    )


def check_sample(name: str, cache_folder: Path) -> CheckResult:
    """Check a sample clip; it is followed once per cache folder."""
    options = CheckOptions(cache_folder=cache_folder)
    return check_clip(SAMPLES / f"{name}.mp4", load_truth(name).movement, options=options)


def noticed(event: Event, fault: str) -> Finding:
    """Return the finding that should tell about a planted fault."""
    return next(f for f in event.findings if f.check == CHECKS_OF_FAULT[fault][0])


def false_misses(event: Event, planted: list[str]) -> list[str]:
    """Return the checks a rep misses that none of its planted faults explains."""
    explained = {check for fault in planted for check in CHECKS_OF_FAULT[fault]}
    return [f.check for f in event.findings if f.verdict == "misses" and f.check not in explained]
