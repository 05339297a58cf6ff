"""Rules by which the calibration is learned from errors: arithmetic only.

Rules
-----
- Every clip and side weighs the same, however many frames it has.
- Bias: at up to four values, the median over clips of each clip's median error near that value.
  "Near" goes by the mean of measured and true: chance errors alone then make no bias, as they do
  when one looks only at values that came out large. A bias that rises by more than half of what
  the value does is told at one value only.
  Shrunk by n / (n + 3) for n clips and by (1 - (standard error / bias)²); dropped below 1° (a fifth
  of the guard band for ratios) or its standard error, and as a whole unless it makes the mean
  error of bodies it was not learned from at least 1 % smaller.
- Factor: in every bin of azimuth the value that makes the interval cover 90 %, then
  (n * own + 4 * overall) / (n + 4) for n clips in the bin. A clip between two bins counts for both.
- Floor: of ten, the ones with which small, middling and large raw widths are covered about
  equally; of those the one with the best interval score.
- Both are widened by one number, so that bodies left out are covered 90 % overall.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from motioncheck.measures.registry import MeasureSpec

Array = NDArray[np.float64]
BINS_DEG = np.arange(-180.0, 180.0, 30.0)
COVERAGE = 0.9
KNOT_SHARES = (0.05, 0.35, 0.65, 0.95)
BIAS_CLIPS, FACTOR_CLIPS = 3.0, 4.0
MIN_BIAS_DEG, MIN_BIAS_OF_GUARD = 1.0, 0.2
STEEPEST = 0.5
MIN_GAIN = 0.01
MIN_NEAR_SHARE = 0.05
FLOOR_SHARES = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)
EVEN_ENOUGH = 0.002
TINY = 1e-9


@dataclass(frozen=True, eq=False)
class Samples:
    """Frames of one measure: arrays of one length, every clip and side weighing 1.

    ``clip`` numbers a clip and side, ``body`` a person.
    """

    value: Array
    raw: Array
    error: Array
    azimuth: Array
    weight: Array
    clip: NDArray[np.int64]
    body: NDArray[np.int64]

    def take(self, chosen: NDArray[np.bool_]) -> Samples:
        """Return the chosen frames."""
        return Samples(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))


@dataclass(frozen=True, eq=False)
class Rule:
    """What was learned: bias at values, floor, factor of every bin."""

    bias_at: Array
    bias: Array
    floor: float
    factor: Array

    def correct(self, value: Array) -> Array:
        """Return what to take from values."""
        return np.asarray(np.interp(value, self.bias_at, self.bias))

    def half_width(self, raw: Array, azimuth: Array) -> Array:
        """Return half-widths of the 90 % interval."""
        return np.asarray(np.hypot(self.floor, hats(azimuth) @ self.factor * raw))


def hats(azimuth: Array) -> Array:
    """Return the share of every bin in azimuths, shape (N, 12): circular linear interpolation."""
    place = (np.asarray(azimuth) + 180.0) % 360.0 / 30.0
    low = np.floor(place).astype(int) % len(BINS_DEG)
    rest = place - np.floor(place)
    shares = np.zeros((len(place), len(BINS_DEG)))
    rows = np.arange(len(place))
    shares[rows, low] = 1.0 - rest
    shares[rows, (low + 1) % len(BINS_DEG)] += rest
    return shares


def weighted_quantile(values: Array, weights: Array, q: float) -> float:
    """Return the smallest value that at least the share q of the weight does not exceed."""
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    if len(total) == 0 or total[-1] <= 0:
        return float("nan")
    return float(values[order][np.searchsorted(total, q * total[-1] * (1 - 1e-12))])


def choose_knots(samples: Samples, spacing: float, digits: int) -> Array:
    """Return up to four values, apart by the spacing, at which the bias is told."""
    found = [
        round(weighted_quantile(samples.value, samples.weight, q), digits) for q in KNOT_SHARES
    ]
    first, last = found[0], found[-1]
    kept = [first] if last - first >= spacing else [round((first + last) / 2, digits)]
    for knot in found[1:-1]:
        if knot - kept[-1] >= spacing and last - knot >= spacing:
            kept.append(knot)
    if last - first >= spacing:
        kept.append(last)
    return np.array(kept)


def find_bias(samples: Samples, knots: Array, smallest: float) -> Array:
    """Return the bias at values; see the rules above."""
    middle = samples.value - samples.error / 2.0
    near = np.stack([np.interp(middle, knots, row) for row in np.eye(len(knots))], axis=1)
    bias = np.zeros(len(knots))
    for k in range(len(knots)):
        medians, sizes = [], []
        for clip in np.unique(samples.clip):
            mine = samples.clip == clip
            weight = near[mine, k] * samples.weight[mine]
            if weight.sum() < MIN_NEAR_SHARE:
                continue
            medians.append(weighted_quantile(samples.error[mine], weight, 0.5))
            sizes.append(weight.sum())
        bias[k] = shrink_bias(np.array(medians), np.array(sizes), smallest)
    return bias


def learn_bias(samples: Samples, spec: MeasureSpec) -> tuple[Array, Array]:
    """Return values and the bias at them."""
    in_degrees = spec.unit == "deg"
    smallest = MIN_BIAS_DEG if in_degrees else MIN_BIAS_OF_GUARD * spec.guard
    knots = choose_knots(samples, spec.guard, 0 if in_degrees else 2)
    bias = find_bias(samples, knots, smallest)
    if np.any(np.diff(bias) > STEEPEST * np.diff(knots)):
        knots = knots[len(knots) // 2 :][:1]
        bias = find_bias(samples, knots, smallest)
    return knots, bias


def shrink_bias(medians: Array, sizes: Array, smallest: float) -> float:
    """Return the median over clips, nearer to 0 the less is known of it."""
    if len(medians) < 2:
        return 0.0
    middle = weighted_quantile(medians, sizes, 0.5)
    scatter = 1.4826 * weighted_quantile(np.abs(medians - middle), sizes, 0.5)
    clips = float(sizes.sum() ** 2 / (sizes**2).sum())
    error = 1.2533 * scatter / np.sqrt(clips)
    if abs(middle) < max(error, TINY):
        return 0.0
    kept = middle * clips / (clips + BIAS_CLIPS) * (1.0 - (error / middle) ** 2)
    return float(kept) if abs(kept) >= smallest else 0.0


def count_clips(samples: Samples, shares: Array) -> Array:
    """Return how many clips and sides speak for every bin, a share of one counting as that."""
    _, place = np.unique(samples.clip, return_inverse=True)
    most = np.zeros((place.max() + 1, len(BINS_DEG)))
    np.maximum.at(most, place, shares)
    return np.asarray(most.sum(axis=0))


def find_factors(samples: Samples, floor: float, shares: Array, clips: Array) -> Array:
    """Return the factor of every bin for a floor.

    ``shares`` as from `hats`, ``clips`` as from `count_clips`.
    """
    needed = np.sqrt(np.maximum(samples.error**2 - floor**2, 0.0)) / np.maximum(samples.raw, TINY)
    overall = weighted_quantile(needed, samples.weight, COVERAGE)
    factors = np.full(len(BINS_DEG), overall)
    for i in range(len(BINS_DEG)):
        weight = shares[:, i] * samples.weight
        inside = weight > 0
        if inside.any():
            own = weighted_quantile(needed[inside], weight[inside], COVERAGE)
            factors[i] = (clips[i] * own + FACTOR_CLIPS * overall) / (clips[i] + FACTOR_CLIPS)
    return factors


def interval_score(error: Array, half: Array, weight: Array) -> float:
    """Return the mean interval score for 90 %: width, plus 20 times what lies beyond it."""
    beyond = np.maximum(np.abs(error) - half, 0.0)
    return float(np.average(2.0 * half + 2.0 / (1.0 - COVERAGE) * beyond, weights=weight))


def find_widths(samples: Samples) -> tuple[float, Array]:
    """Return floor and factors; see the rules above."""
    shares = hats(samples.azimuth)
    clips = count_clips(samples, shares)
    size = weighted_quantile(np.abs(samples.error), samples.weight, COVERAGE)
    edges = [weighted_quantile(samples.raw, samples.weight, q) for q in (1 / 3, 2 / 3)]
    third = np.searchsorted(edges, samples.raw)
    tried = []
    for floor in np.array(FLOOR_SHARES) * size:
        factors = find_factors(samples, floor, shares, clips)
        half = np.hypot(floor, shares @ factors * samples.raw)
        inside = np.abs(samples.error) <= half
        covered = [
            np.average(inside[third == t], weights=samples.weight[third == t])
            for t in np.unique(third)
        ]
        uneven = float(np.sum((np.array(covered) - COVERAGE) ** 2))
        tried.append((uneven, interval_score(samples.error, half, samples.weight), floor, factors))
    limit = min(t[0] for t in tried) + EVEN_ENOUGH
    _, _, floor, factors = min((t for t in tried if t[0] <= limit), key=lambda t: t[1])
    return float(floor), factors


def learn(samples: Samples, spec: MeasureSpec, *, with_bias: bool) -> Rule:
    """Learn a rule from samples."""
    knots, bias = learn_bias(samples, spec) if with_bias else (np.zeros(1), np.zeros(1))
    left = samples.error - np.interp(samples.value, knots, bias)
    return Rule(knots, bias, *find_widths(replace(samples, error=left)))


def leave_out(samples: Samples, spec: MeasureSpec, *, with_bias: bool) -> tuple[Array, Array]:
    """Return error left and half-width of every frame, learned from the other bodies."""
    left, half = np.array(samples.error), np.zeros(len(samples.error))
    for body in np.unique(samples.body):
        mine = samples.body == body
        rule = learn(samples.take(~mine), spec, with_bias=with_bias)
        left[mine] -= rule.correct(samples.value[mine])
        half[mine] = rule.half_width(samples.raw[mine], samples.azimuth[mine])
    return left, half


@dataclass(frozen=True, eq=False)
class Learned:
    """A rule, its widening already in it, and how it does on bodies left out.

    ``covered`` (12,) is NaN in bins without clips, and so is ``typical``. ``gain`` is by how much
    the bias makes the mean error of bodies left out smaller, as a share.
    """

    rule: Rule
    typical: Array
    covered: Array
    overall: float
    gain: float
    widened: float
    sides: int


def calibrate(samples: Samples, spec: MeasureSpec) -> Learned:
    """Learn a rule and test it on bodies left out."""
    plain, plain_half = leave_out(samples, spec, with_bias=False)
    left, half = leave_out(samples, spec, with_bias=True)
    size = [float(np.average(np.abs(e), weights=samples.weight)) for e in (plain, left)]
    gain = 1.0 - size[1] / max(size[0], TINY)
    with_bias = gain >= MIN_GAIN
    if not with_bias:
        left, half = plain, plain_half
    rule = learn(samples, spec, with_bias=with_bias)
    ratio = np.abs(left) / np.maximum(half, TINY)
    widened = max(1.0, weighted_quantile(ratio, samples.weight, COVERAGE))
    rule = Rule(rule.bias_at, rule.bias, widened * rule.floor, widened * rule.factor)
    inside = np.abs(left) <= widened * half
    widths = rule.half_width(samples.raw, samples.azimuth)
    shares = hats(samples.azimuth)
    typical, covered = (np.full(len(BINS_DEG), np.nan) for _ in range(2))
    for i in range(len(BINS_DEG)):
        weight = shares[:, i] * samples.weight
        if weight.sum() >= 0.5:
            typical[i] = weighted_quantile(widths, weight, 0.5)
            covered[i] = np.average(inside, weights=weight)
    overall = float(np.average(inside, weights=samples.weight))
    sides = len(np.unique(samples.clip))
    return Learned(rule, typical, covered, overall, gain if with_bias else 0.0, widened, sides)
