"""Standing lifts: front squat, one-arm snatch and bent-over row, without drawing the weight."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from pose import SIGN, Limb, Measured, unit
from scipy.interpolate import CubicSpline
from stance import flexed_arm, sagittal
from tempo import ease, per_rep
from upright import (
    Upright,
    arm_reach,
    between,
    blend_arms,
    hanging_arm,
    offset_to,
    reach_arm,
    shoulder_at,
)

if TYPE_CHECKING:
    from bodies import Array
    from numpy.random import Generator


class FrontSquat(Upright):
    """Squat with a bar held on the front of the shoulders; elbows high, trunk upright."""

    def prepare(self, rng: Generator) -> None:
        """Set a deep, upright squat; the elbows of a faulty repetition sink with the depth."""
        self.shape["thigh"] = self.each(rng, -8.0, 2.0, shallow=25.0)
        self.shape["shank"] = self.each(rng, 33.0, 1.0, shallow=27.0)
        self.shape["knee_ratio"] = self.each(rng, 1.16, 0.01)
        self.fold_trunk(self.each(rng, 20.0, 1.0, shallow=15.0))
        self.elbow_drop = self.each(rng, 2.0, 1.5, elbows_drop=50.0) * self.depth
        # The bar is taken up before the set and put away after it.
        first, last = self.reps[0].start_s, self.reps[-1].end_s
        self.racked = between(self.time_s, first - 0.25, last + 0.25, rise_s=0.9, fall_s=0.9)

    def arm(self, measured: Measured, side: str, mid_hip: Array, chest: Array) -> Limb:
        """Hold the upper arm about level and fold the forearm back to the shoulder."""
        up = self.racked
        lifted = 90 - self.elbow_drop + 0.6 * self.sway_arm[side]
        upper = sagittal(4 + (lifted - 4) * up)
        upper[:, 0] = SIGN[side] * (0.15 - 0.1 * up)
        upper = unit(upper)
        # The forearm comes back beside the neck, not over it: its plane is tilted outward.
        tilt = np.radians(48.0) * up
        still = np.zeros(self.frames)
        hinge = np.stack([-np.cos(tilt), still, SIGN[side] * np.sin(tilt)], axis=-1)
        return flexed_arm(upper, hinge, 10 + 122 * up)

    def hand(self, side: str) -> Array:
        """Lay the hand back onto the shoulder."""
        return 42.0 * self.racked


SNATCH_KNOTS = (0.0, 0.26, 0.48, 0.66, 0.82, 1.0)


class Snatch(Upright):
    """A weight goes from between the feet to overhead in one pull of one hand."""

    stance_ratio = 1.75
    toe_out_deg = 18.0

    def prepare(self, rng: Generator) -> None:
        """Set the low position; hips and knees are straight half way up the pull."""
        first, last = self.reps[0].start_s, self.reps[-1].end_s
        self.ready = between(self.time_s, first - 0.2, last + 0.2, rise_s=1.1, fall_s=1.1)
        self.depth = self.ready * (1 - ease(self.done / 0.46))
        self.shape["thigh"] = self.each(rng, 20.0, 1.5)
        self.shape["shank"] = self.each(rng, 20.0, 1.0)
        self.shape["knee_ratio"] = self.each(rng, 1.12, 0.01)
        self.trunk = 1.0 + (self.each(rng, 68.0, 1.0) - 1.0) * self.depth
        self.catch = self.each(rng, 4.0, 1.5, bent_catch=45.0)
        self.ahead_ratio = self.each(rng, 0.0, 0.0, swing_away=0.74)
        self.works = {side: self._working(side) for side in SIGN}

    def _working(self, side: str) -> Array:
        """Return 1 while this hand has the weight; hands change at the bottom."""
        own = per_rep(self.time_s, self.reps, [float(rep.side == side) for rep in self.reps])
        for a, b in zip(self.reps, self.reps[1:], strict=False):
            if a.side != b.side:
                middle = 0.5 * (a.end_s + b.start_s)
                near = np.abs(self.time_s - middle) < 0.4
                share = ease((self.time_s - middle + 0.4) / 0.8)
                own = np.where(near, share if b.side == side else 1 - share, own)
        return own * self.ready

    def arm(self, measured: Measured, side: str, mid_hip: Array, chest: Array) -> Limb:
        """Lead the working hand up close to the body; hold the other one out for balance."""
        # Thrown a little outward and back, the free arm clears the thigh.
        out = 10 + 18 * self.ready + self.sway_arm[side]
        free = hanging_arm(side, out)
        back = np.array([0.0, 0.25, 0.0]) * self.depth[:, None]
        free = Limb(upper=unit(free.upper + back), lower=unit(free.lower + back), hinge=free.hinge)
        pole = offset_to(side, 1.0, -0.35 + 0.2 * self.done, 0.25 * self.done)
        wrist = self._path(measured, side, mid_hip)
        work = reach_arm(measured, side, mid_hip=mid_hip, wrist=wrist, pole=pole)
        return blend_arms(free, work, self.works[side])

    def _path(self, measured: Measured, side: str, mid_hip: Array) -> Array:
        """Return where the wrist is: a smooth line through five heights of the body."""
        shoulder = shoulder_at(measured, side, mid_hip)
        ankle = measured.points[f"{side}_ankle"]
        shank = measured.length(side, "knee", "ankle")
        arm_m = arm_reach(measured, side, 0.0)
        away = self.ahead_ratio * arm_m
        hip_z, shoulder_z = mid_hip[:, 2], shoulder[:, 2]
        swung = away > 0

        def spot(out_m: float, ahead_m: Array | float, up_m: Array) -> Array:
            return offset_to(side, out_m, ahead_m, up_m) + ankle * [0.0, 1.0, 0.0]

        top = shoulder + offset_to(side, 0.02, 0.0, arm_reach(measured, side, self.catch))
        knots = [
            spot(0.02, 0.17, ankle[:, 2] + 0.34 * shank),
            spot(0.03, 0.19, ankle[:, 2] + 1.05 * shank),
            # Swung out, the hand goes round the shoulder on a long arm.
            spot(0.07, np.where(swung, 0.7 * away, 0.155), hip_z + np.where(swung, 0.08, 0.0)),
            spot(0.13, np.where(swung, away, 0.2), shoulder_z - 0.2),
            spot(0.19, np.where(swung, 0.75 * away, 0.2), shoulder_z + 0.22),
            top,
        ]
        weights = CubicSpline(SNATCH_KNOTS, np.eye(len(knots)), bc_type="clamped")(self.done)
        return np.einsum("tk,ktd->td", weights, np.array(knots))

    def shoulder_lift(self, side: str) -> Array:
        """Let the shoulder rise under the raised arm."""
        return 20.0 * ease((self.done - 0.5) / 0.5) * self.works[side]


class Row(Upright):
    """Hinged at the hips, both elbows are pulled up past the trunk."""

    stance_ratio = 1.1
    toe_out_deg = 8.0

    def prepare(self, rng: Generator) -> None:
        """Set the hinge, held for the whole set, and how far each pull goes."""
        first, last = self.reps[0].start_s, self.reps[-1].end_s
        self.depth = between(self.time_s, first - 0.4, last + 0.3, rise_s=1.2, fall_s=1.1)
        self.shape["thigh"] = self.each(rng, 72.0, 0.0)
        self.shape["shank"] = self.each(rng, 4.0, 0.0)
        self.fold_trunk(np.full(self.frames, 60.0))
        rise = self.each(rng, 1.0, 0.8, heave=25.0)
        self.trunk = self.trunk - rise * self.done
        self.past = self.each(rng, 19.0, 2.0, half_row=-23.5, heave=14.0)

    def arm(self, measured: Measured, side: str, mid_hip: Array, chest: Array) -> Limb:
        """Pull the upper arm back past the line of the trunk, forearm hanging."""
        pull = self.done
        rest = 2 + 0.5 * self.sway_arm[side]
        back = -(self.trunk + self.past)
        upper = sagittal(rest + (back - rest) * pull)
        out = 0.16 - 0.06 * self.depth + 0.16 * pull
        upper[:, 0] = SIGN[side] * out
        lower = sagittal(rest + 9 * (1 - self.depth) + (6 - rest) * pull)
        lower[:, 0] = SIGN[side] * (0.1 - 0.05 * self.depth)
        hinge = np.broadcast_to(np.array([-1.0, 0.0, 0.0]), upper.shape)
        return Limb(upper=unit(upper), lower=unit(lower), hinge=hinge)
