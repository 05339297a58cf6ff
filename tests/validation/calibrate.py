"""What the values of a measure are wrong by, learned from the calibration clips.

Usage: ``python tests/validation/calibrate.py --keep DIR [--data DIR] [--out FILE]``

For every measure and source (picture, body) it learns a bias over the value, and how wide the
90 % interval has to be: ``half-width = hypot(floor, factor(azimuth) * raw)``, where raw is the
guard band of the picture or 1.645 standard errors of the body. The azimuth is that of the camera,
as the program estimates it, counted so that +90 faces the side that is measured. Prints how often
the truth of a body lies within intervals learned from the other bodies.

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

import argparse
import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from outcomes import COLUMNS, Outcome, add_arguments, evaluate_all
from report_clips import list_clips, wrap

from motioncheck.measures import REGISTRY
from motioncheck.measures.registry import MeasureSpec

Array = NDArray[np.float64]
FORMAT = "motioncheck/calibration/1"
OUT = Path(__file__).resolve().parents[2] / "motioncheck" / "assets" / "calibration.json"
SOURCES = ("picture", "body")
BINS_DEG = np.arange(-180.0, 180.0, 30.0)
COVERAGE = 0.9
# Neighbouring frames say the same; this many a clip and side are enough.
FRAMES_KEPT = 48
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


def find_factors(samples: Samples, floor: float, shares: Array) -> Array:
    """Return the factor of every bin for a floor; ``shares`` as from `hats`."""
    needed = np.sqrt(np.maximum(samples.error**2 - floor**2, 0.0)) / np.maximum(samples.raw, TINY)
    overall = weighted_quantile(needed, samples.weight, COVERAGE)
    factors = np.full(len(BINS_DEG), overall)
    for i in range(len(BINS_DEG)):
        weight = shares[:, i] * samples.weight
        inside = weight > 0
        clips = float(weight.sum())
        if clips > 0:
            own = weighted_quantile(needed[inside], weight[inside], COVERAGE)
            factors[i] = (clips * own + FACTOR_CLIPS * overall) / (clips + FACTOR_CLIPS)
    return factors


def interval_score(error: Array, half: Array, weight: Array) -> float:
    """Return the mean interval score for 90 %: width, plus 20 times what lies beyond it."""
    beyond = np.maximum(np.abs(error) - half, 0.0)
    return float(np.average(2.0 * half + 2.0 / (1.0 - COVERAGE) * beyond, weights=weight))


def find_widths(samples: Samples) -> tuple[float, Array]:
    """Return floor and factors; see the rules above."""
    shares = hats(samples.azimuth)
    size = weighted_quantile(np.abs(samples.error), samples.weight, COVERAGE)
    edges = [weighted_quantile(samples.raw, samples.weight, q) for q in (1 / 3, 2 / 3)]
    third = np.searchsorted(edges, samples.raw)
    tried = []
    for floor in np.array(FLOOR_SHARES) * size:
        factors = find_factors(samples, floor, shares)
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
    clips: int


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
    clips = len(np.unique(samples.clip))
    return Learned(rule, typical, covered, overall, gain if with_bias else 0.0, widened, clips)


def collect(outcomes: Sequence[Outcome], spec: MeasureSpec, source: str) -> Samples | None:
    """Collect the frames of one measure; None where it was never seen.

    A measure without sides is the same seen from the left and from the right: each clip counts
    for both.
    """
    parts: list[tuple[Array, ...]] = []
    bodies = sorted({str(o.about["body"]) for o in outcomes})
    for number, outcome in enumerate(outcomes):
        azimuth = outcome.numbers["view_azimuth_deg"]
        for side, column in enumerate(spec.ids()):
            at = COLUMNS.index(column)
            value, truth = outcome.values[source][:, at], outcome.truth[:, at]
            raw = outcome.raw[source][:, at]
            known = np.isfinite(value) & np.isfinite(truth) & np.isfinite(raw)
            rows = np.flatnonzero(known)[:: max(1, round(known.sum() / FRAMES_KEPT))]
            if len(rows) == 0 or not np.isfinite(azimuth):
                continue
            error = value[rows] - truth[rows]
            error = wrap(error) if spec.unit == "deg" else error
            turns = (azimuth if side == 0 else -azimuth,) if spec.sided else (azimuth, -azimuth)
            full = np.ones(len(rows))
            for turn in turns:
                ids = full * (2 * number + side), full * bodies.index(str(outcome.about["body"]))
                weight = full / len(rows) / len(turns)
                parts.append((value[rows], raw[rows], error, full * turn, weight, *ids))
    if not parts:
        return None
    columns = [np.concatenate(c) for c in zip(*parts, strict=True)]
    return Samples(*columns[:5], *(c.astype(np.int64) for c in columns[5:]))


def render(learned: dict[str, dict[str, Learned]], about: str) -> dict[str, Any]:
    """Return the content of the file."""
    measures: dict[str, dict[str, Any]] = {}
    for name, sources in learned.items():
        digits = 2 if REGISTRY[name].unit == "deg" else 4
        measures[name] = {}
        for source, found in sources.items():
            entry: dict[str, Any] = {
                "bias_at": _round(found.rule.bias_at, 2),
                "bias": _round(found.rule.bias, digits),
                "floor": round(found.rule.floor, digits),
                "factor": _round(found.rule.factor, 3),
            }
            if source == "body":
                entry["typical"] = _round(found.typical, digits)
            measures[name][source] = entry
    version = hashlib.sha256(json.dumps(measures).encode()).hexdigest()[:8]
    return {
        "format": FORMAT,
        "version": version,
        "model": "full",
        "made_by": "tests/validation/calibrate.py",
        "about": about,
        "measures": measures,
    }


def _round(values: Iterable[float], digits: int) -> list[float | None]:
    return [round(float(v), digits) + 0.0 if np.isfinite(v) else None for v in values]


def write_file(content: dict[str, Any], path: Path) -> None:
    """Write the file at once or not at all, a line a source."""
    head = [f" {json.dumps(k)}: {json.dumps(v)}," for k, v in content.items() if k != "measures"]
    blocks = []
    for name, sources in content["measures"].items():
        inner = ",\n".join(f"   {json.dumps(s)}: {json.dumps(e)}" for s, e in sources.items())
        blocks.append(f"  {json.dumps(name)}: {{\n{inner}\n  }}")
    text = "\n".join(["{", *head, ' "measures": {', ",\n".join(blocks), " }", "}", ""])
    part = path.with_suffix(".part")
    part.write_text(text, encoding="utf-8")
    part.replace(path)


def print_line(name: str, source: str, found: Learned) -> None:
    """Print one measure: clips, bias, widths, and coverage of bodies left out by bin."""
    bias = " ".join(f"{b:+.3g}" for b in found.rule.bias)
    bins = " ".join("  ." if np.isnan(c) else f"{100 * c:3.0f}" for c in found.covered)
    print(
        f"{name:28s} {source:7s} {found.clips:3d}  {100 * found.overall:3.0f} | {bins} | "
        f"x{found.widened:.2f} bias {bias} ({100 * found.gain:.0f} %)"
    )


def main() -> None:
    """Learn the calibration and write it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    add_arguments(parser)
    parser.add_argument("--out", type=Path, default=OUT)
    options = parser.parse_args()
    paths = list(list_clips(options.data, "calibration", options.only))
    outcomes = evaluate_all(paths, options.keep, tell=print)
    head = " ".join(f"{b:+4.0f}" for b in BINS_DEG)
    print(f"per cent within 90 % intervals learned from other bodies, by azimuth: {head}")
    learned: dict[str, dict[str, Learned]] = {}
    for spec in REGISTRY:
        for source in SOURCES if spec.compute is not None else ():
            samples = collect(outcomes, spec, source)
            if samples is None:
                continue
            found = calibrate(samples, spec)
            learned.setdefault(spec.id, {})[source] = found
            print_line(spec.id, source, found)
    bodies = len({o.about["body"] for o in outcomes})
    about = (
        f"Bias and width of 90 % intervals learned from {len(outcomes)} rendered clips of "
        f"{bodies} bodies, not from people."
    )
    write_file(render(learned, about), options.out)
    print(f"{options.out}: {options.out.stat().st_size} bytes")


if __name__ == "__main__":
    main()
