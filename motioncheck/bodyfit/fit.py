"""Fitting a body of constant bones to the landmarks of one camera."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from motioncheck.bodyfit.axes import find_ahead, find_right, landmark_offsets
from motioncheck.bodyfit.banded import Factor, Normal, draw_samples, factorise, solve
from motioncheck.bodyfit.evidence import (
    CAMERA_HEIGHT_M,
    FLOOR_PAIRS,
    FLOOR_RISE_M,
    FLOOR_SD_M,
    Evidence,
)
from motioncheck.bodyfit.grounding import (
    add_back_walls,
    add_balance,
    add_camera_height,
    add_contact,
    add_floor,
    add_hinge_walls,
    add_reach,
)
from motioncheck.bodyfit.mirror import BACK_REACH_M, BACK_SD_M, WALL_SD, choose_mirrors
from motioncheck.bodyfit.model import CENTRE_OF_MASS, COUNT, GROUPS, JOINT, SIZE
from motioncheck.bodyfit.terms import (
    SHARED,
    State,
    add_bones,
    add_camera_prior,
    add_depth_prior,
    add_direction,
    add_length_prior,
    add_projection,
    add_shared_prior,
    add_smoothness,
)
from motioncheck.records.arrays import FloatArray

SIDES: Final = ("left", "right")
_GROUP: Final = {g.name: i for i, g in enumerate(GROUPS)}
KNEES: Final = [(JOINT[f"{s}_hip"], JOINT[f"{s}_knee"], JOINT[f"{s}_ankle"]) for s in SIDES]
LEGS: Final = tuple((h, a, _GROUP["thigh"], _GROUP["shank"]) for h, _, a in KNEES)
BACKS: Final = tuple((h, k) for h, k, _ in KNEES) + tuple(
    (JOINT[f"{s}_shoulder"], JOINT[f"{s}_elbow"]) for s in SIDES
)
# A leg that looks stretched is bent by some 6 degrees: its ends are this share of its length apart.
REACH_SHARE: Final = 0.9985
# Small movement that a planted foot's landmark still shows, metres between nodes.
CONTACT_SD_M: Final = 0.004
# The centre of mass stands this far ahead of the middle of the feet, metres.
BALANCE_AHEAD_M: Final = -0.04
MAX_STEPS: Final = 12
ENOUGH: Final = 1e-3


def _middle_of_feet() -> FloatArray:
    weights = np.zeros(COUNT)
    weights[[JOINT[f"{s}_{p}"] for s in SIDES for p in ("ankle", "toe")]] = 0.25
    return weights


FEET_WEIGHTS: Final = _middle_of_feet()
BALANCE: Final = CENTRE_OF_MASS - FEET_WEIGHTS


@dataclass(frozen=True, slots=True)
class SharedPrior:
    """What earlier windows of a clip found about lengths and camera."""

    mean: FloatArray
    information: FloatArray


@dataclass(frozen=True, slots=True)
class FitResult:
    """Solution of one fit in camera axes, with the factor that holds its uncertainty."""

    state: State
    factor: Factor
    cost: float
    steps: int

    def samples(self, count: int, seed: int = 0) -> tuple[FloatArray, FloatArray]:
        """Draw bodies and shared unknowns from the uncertainty.

        Returns
        -------
        joints : ndarray, shape (count, T, K, 3)
        shared : ndarray, shape (count, S)
            As differences from the state.
        """
        frames, shared = draw_samples(self.factor, count, seed)
        return self.state.joints + frames.reshape(count, -1, COUNT, 3), shared


def build_equations(evidence: Evidence, state: State, earlier: SharedPrior | None = None) -> Normal:
    """Collect all terms at a state."""
    normal = Normal.empty(len(state.joints), SIZE, SHARED)
    up = state.up()
    right, ahead = find_right(state.joints), find_ahead(state.joints, up, evidence.on_feet)
    offset = None if evidence.marks_joints else landmark_offsets(state.joints)
    add_projection(normal, state, evidence.picture, evidence.picture_sd, offset)
    add_bones(normal, state)
    if earlier is None:
        add_length_prior(normal, state)
        add_camera_prior(normal, state, evidence.camera_mean, evidence.camera_sd)
    else:
        add_shared_prior(normal, state, earlier.mean, earlier.information)
    add_depth_prior(normal, state, evidence.depth, evidence.depth_sd)
    add_direction(normal, state, evidence.direction, evidence.direction_sd)
    add_smoothness(normal, state, evidence.bend_sd)
    add_contact(normal, state, evidence.planted, CONTACT_SD_M)
    add_floor(normal, state, FLOOR_PAIRS, evidence.level, FLOOR_RISE_M, FLOOR_SD_M)
    add_balance(normal, state, BALANCE, evidence.balance_sd, BALANCE_AHEAD_M * ahead)
    add_camera_height(normal, state, FEET_WEIGHTS, CAMERA_HEIGHT_M, evidence.height_sd)
    add_reach(normal, state, LEGS, REACH_SHARE, evidence.reach_sd)
    add_hinge_walls(normal, state, KNEES, right, WALL_SD)
    add_back_walls(normal, state, BACKS, ahead, BACK_REACH_M, BACK_SD_M)
    return normal


def descend(
    evidence: Evidence,
    start: State,
    *,
    earlier: SharedPrior | None = None,
    max_steps: int = MAX_STEPS,
) -> FitResult:
    """Go downhill from one start by damped Gauss-Newton steps.

    Parameters
    ----------
    evidence : Evidence
        What is known of each frame.
    start : State
        First guess.
    earlier : SharedPrior, optional
        Replaces the prior of lengths and camera.
    max_steps : int
        At most this many steps; fewer when the cost falls by less than 0.1 %.
    """
    state, damping = start, 1e-3
    normal = build_equations(evidence, state, earlier)
    done = 0
    for done in range(1, max_steps + 1):  # noqa: B007
        # No name for the factor: it would stay in memory beside the next one.
        trial = state.moved(*solve(normal, factorise(normal, damping)))
        trial_normal = build_equations(evidence, trial, earlier)
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


def fit_body(evidence: Evidence, start: State, *, earlier: SharedPrior | None = None) -> FitResult:
    """Find the most plausible body: descend, mirror limbs where that is cheaper, descend again.

    Where the lifting network told directions, it has settled the mirrors already.
    """
    if evidence.marks_joints:
        return descend(evidence, start, earlier=earlier)
    first = descend(evidence, choose_mirrors(evidence, start), earlier=earlier)
    second = descend(evidence, choose_mirrors(evidence, first.state), earlier=earlier)
    return second if second.cost < first.cost else first
