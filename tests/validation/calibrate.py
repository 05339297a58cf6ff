"""What the values of a measure are wrong by, learned from the calibration clips.

Usage: ``python tests/validation/calibrate.py --keep DIR [--data DIR] [--out FILE]``

For every measure and source (picture, body) it learns a bias over the value, and how wide the
90 % interval has to be: ``half-width = hypot(floor, factor(azimuth) * raw)``, where raw is the
guard band of the picture or 1.645 standard errors of the body. The azimuth is that of the camera,
as the program estimates it, counted so that +90 faces the side that is measured. Prints how often
the truth of a body lies within intervals learned from the other bodies.

The rules are in ``calibrate_rules.py``.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from calibrate_rules import BINS_DEG, Array, Learned, Samples, calibrate
from outcomes import COLUMNS, Outcome, add_arguments, evaluate_all
from report_clips import list_clips, wrap

from motioncheck.measures import REGISTRY
from motioncheck.measures.registry import MeasureSpec

FORMAT = "motioncheck/calibration/1"
OUT = Path(__file__).resolve().parents[2] / "motioncheck" / "assets" / "calibration.json"
SOURCES = ("picture", "body")
# Neighbouring frames say the same; this many a clip and side are enough.
FRAMES_KEPT = 48
SMALLEST_FACTOR = 0.001


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
    measures = {
        name: {source: _entry(name, source, found) for source, found in sources.items()}
        for name, sources in learned.items()
    }
    version = hashlib.sha256(json.dumps(measures).encode()).hexdigest()[:8]
    return {
        "format": FORMAT,
        "version": version,
        "model": "full",
        "made_by": "tests/validation/calibrate.py",
        "about": about,
        "measures": measures,
    }


def _entry(name: str, source: str, found: Learned) -> dict[str, Any]:
    digits = 2 if REGISTRY[name].unit == "deg" else 4
    known = found.rule.bias.any()
    entry = {
        "bias_at": _round(found.rule.bias_at, 2) if known else [],
        "bias": _round(found.rule.bias, digits) if known else [],
        "floor": round(found.rule.floor, digits),
        "factor": _round(np.maximum(found.rule.factor, SMALLEST_FACTOR), 3),
    }
    return entry | ({"typical": _round(found.typical, digits)} if source == "body" else {})


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
    """Print one measure: clips and sides, bias, widths, and coverage of bodies left out by bin."""
    bias = " ".join(f"{b:+.3g}" for b in found.rule.bias)
    bins = " ".join("  ." if np.isnan(c) else f"{100 * c:3.0f}" for c in found.covered)
    print(
        f"{name:28s} {source:7s} {found.sides:3d}  {100 * found.overall:3.0f} | {bins} | "
        f"x{found.widened:.2f} bias {bias} ({100 * found.gain:.0f} %)"
    )


def learn_all(outcomes: Sequence[Outcome]) -> dict[str, dict[str, Learned]]:
    """Learn every measure and source that was seen; print each."""
    head = " ".join(f"{b:+4.0f}" for b in BINS_DEG)
    print(f"per cent within 90 % intervals learned from other bodies, by azimuth: {head}")
    learned: dict[str, dict[str, Learned]] = {}
    for spec in REGISTRY:
        for source in SOURCES if spec.compute is not None else ():
            samples = collect(outcomes, spec, source)
            if samples is not None:
                found = calibrate(samples, spec)
                learned.setdefault(spec.id, {})[source] = found
                print_line(spec.id, source, found)
    return learned


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
    learned = learn_all(outcomes)
    bodies = len({o.about["body"] for o in outcomes})
    about = (
        f"Bias and width of 90 % intervals learned from {len(outcomes)} rendered clips of "
        f"{bodies} bodies, not from people."
    )
    write_file(render(learned, about), options.out)
    print(f"{options.out}: {options.out.stat().st_size} bytes")


if __name__ == "__main__":
    main()
