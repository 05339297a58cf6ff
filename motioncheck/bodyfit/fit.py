"""Fitting a body of constant bones to the landmarks of one camera."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motioncheck.bodyfit.banded import Factor, Normal, draw_samples, factorise, solve
from motioncheck.bodyfit.evidence import Evidence
from motioncheck.bodyfit.model import JOINT, SIZE
from motioncheck.bodyfit.terms import (
    FOCAL,
    SHARED,
    State,
    add_bones,
    add_contact,
    add_depth_prior,
    add_floor,
    add_hinge_walls,
    add_length_prior,
    add_projection,
    add_smoothness,
)
from motioncheck.records.arrays import FloatArray

FLOOR_PAIRS = [
    (JOINT["left_heel"], JOINT["right_heel"]),
    (JOINT["left_toe"], JOINT["right_toe"]),
    (JOINT["left_ankle"], JOINT["right_ankle"]),
]
KNEES = [tuple(JOINT[f"{s}_{p}"] for p in ("hip", "knee", "ankle")) for s in ("left", "right")]
# Small movement that a planted foot's landmark still shows, metres between nodes.
CONTACT_SD_M = 0.004
FLOOR_SD_M = 0.015
WALL_SD = 0.02
MAX_STEPS = 14
ENOUGH = 1e-3


@dataclass(frozen=True, slots=True)
class FitResult:
    """Solution of one fit in camera axes, with the factor that holds its uncertainty."""

    state: State
    factor: Factor
    cost: float
    steps: int

    def samples(self, count: int, seed: int = 0) -> FloatArray:
        """Draw bodies from the uncertainty, shape (count, T, K, 3), metres."""
        frames, _ = draw_samples(self.factor, count, seed)
        return self.state.joints + frames.reshape(count, *self.state.joints.shape)


def build_equations(evidence: Evidence, state: State) -> Normal:
    """Collect all terms at a state."""
    normal = Normal.empty(len(state.joints), SIZE, SHARED)
    add_projection(normal, state, evidence.picture, evidence.picture_sd)
    add_bones(normal, state)
    add_length_prior(normal, state, focal_prior=evidence.focal_prior)
    add_depth_prior(normal, state, evidence.depth, evidence.depth_sd)
    add_smoothness(normal, state, evidence.bend_sd)
    add_contact(normal, state, evidence.planted, CONTACT_SD_M)
    add_floor(normal, state, FLOOR_PAIRS, evidence.level, evidence.up, FLOOR_SD_M)
    add_hinge_walls(normal, state, KNEES, find_right(state.joints), WALL_SD)
    return normal


def find_right(joints: FloatArray) -> FloatArray:
    """Return the person's right as a unit vector a frame, from hips and shoulders, (T, 3)."""
    line = (
        joints[:, JOINT["right_hip"]]
        - joints[:, JOINT["left_hip"]]
        + 0.5 * (joints[:, JOINT["right_shoulder"]] - joints[:, JOINT["left_shoulder"]])
    )
    return np.asarray(line / np.maximum(np.linalg.norm(line, axis=-1), 1e-9)[:, None])


def fit_body(evidence: Evidence, start: State, *, max_steps: int = MAX_STEPS) -> FitResult:
    """Find the most plausible body by damped Gauss-Newton steps.

    Parameters
    ----------
    evidence : Evidence
        What is known of each frame.
    start : State
        First guess.
    """
    state, damping = start, 1e-3
    normal = build_equations(evidence, state)
    done = 0
    for done in range(1, max_steps + 1):  # noqa: B007
        factor = factorise(normal, damping)
        trial = state.moved(*solve(normal, factor))
        trial_normal = build_equations(evidence, trial)
        if trial_normal.cost < normal.cost:
            gain = (normal.cost - trial_normal.cost) / max(normal.cost, 1e-9)
            state, normal, damping = trial, trial_normal, damping * 0.2
            if gain < ENOUGH:
                break
        else:
            damping *= 10.0
            if damping > 1e3:
                break
    return FitResult(state, factorise(normal, 1e-9), normal.cost, done)


__all__ = ["FOCAL", "FitResult", "build_equations", "find_right", "fit_body"]
