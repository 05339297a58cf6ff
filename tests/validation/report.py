"""Validation report: ``docs/validation.md`` with its tables and pictures, from a folder of clips.

Usage: ``python tests/validation/report.py --data DIR [--split NAME] [--keep DIR] [--out DIR]``

Without ``--split`` the clips of the split ``fresh`` are taken where there are some, else those
that the calibration was learned from, and the page says which.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from outcomes import Outcome, add_arguments, evaluate_all
from report_clips import list_clips
from report_numbers import Quantity, pool, ratio_to_world
from report_plots import draw_all
from report_tables import (
    list_all_measures,
    list_camera,
    list_confusion,
    list_coverage,
    list_details,
    list_errors,
    list_published,
    list_targets_table,
    list_verdicts,
    list_worst,
    name_bin,
    percent,
    tell_scatter,
)
from report_targets import list_targets

from motioncheck.measures import load_calibration

DOCS = Path(__file__).resolve().parents[2] / "docs"
WRITTEN = "<!-- Written by `python tests/validation/report.py`. Do not edit: run it again. -->"
LEARNED_FROM = (
    "**These are the clips that the corrections and intervals were learned from. The figures are "
    "better than they would be on other clips and only serve development.**"
)


def write_page(outcomes: Sequence[Outcome], split: str) -> str:
    """Return the content of ``docs/validation.md``."""
    targets = list(list_targets(outcomes))
    met = sum(t.met is True for t in targets)
    asked = sum(t.met is not None for t in targets)
    parts = [
        "# Validation: measured angles against the truth",
        "",
        WRITTEN,
        "",
        "**Calibrated and validated on rendered bodies, not on people.** Bodies, clothes, rooms "
        "and most of the motion are made by a program; the pose model sees the rendered clips "
        "exactly as it would see a phone clip. What is shown here is whether the geometry, the "
        "corrections and the stated intervals hold. It is not the error to expect on a real clip: "
        "loose clothes, bad light and bodies unlike these may make it larger.",
        "",
        *([] if split == "fresh" else [LEARNED_FROM, ""]),
        f"{met} of {asked} targets are met; the table of targets names those that are missed.",
        "",
        *_describe(outcomes, split),
        "## Targets",
        "",
        "The limits are those that the work set out with. Errors of angles are those of what "
        "the program says, over all frames in which the true angle has a meaning and the program "
        "gives one.",
        "",
        *list_targets_table(targets),
        *_accuracy(outcomes),
        *_intervals(outcomes),
        *_verdicts(outcomes),
        *_rest(outcomes),
    ]
    return "\n".join(parts).rstrip() + "\n"


def _describe(outcomes: Sequence[Outcome], split: str) -> list[str]:
    bodies = sorted({str(o.about["body"]) for o in outcomes})
    motions = Counter(str(o.about["motion"]).replace("_", " ") for o in outcomes)
    listed = ", ".join(f"{name} {count}" for name, count in sorted(motions.items()))
    frames = sum(len(o.time_s) for o in outcomes)
    covered = sum(bool(o.about.get("cover")) for o in outcomes)
    held = sum(bool(o.about.get("handheld")) for o in outcomes)
    calibration = load_calibration()
    return [
        "## What was measured, on what, and how",
        "",
        f"- Clips: {len(outcomes)} of the split `{split}` ({frames} frames) of {len(bodies)} "
        f'bodies ({", ".join(bodies)}), by movement: {listed}. "recorded" is the motion of a '
        "real person put on the bodies. Cameras stand all around, 0.5 to 1.6 m high, 2.5 to 6 m "
        f"away; {covered} clips are partly covered, {held} hand-held. "
        "`tests/validation/README.md` describes how they are made.",
        "- Truth: the joints of the rendered body, points under the skin as in the sample clips, "
        "along the way the person faces while standing.",
        "- *raw 3-D landmarks*: the pose model's own 3-D output turned the same way, nothing else "
        "done but the program's smoothing. *picture*: the angle in the picture, where the camera "
        "shows its plane. *fitted body*: bones of constant length fitted to the landmarks. "
        "*program*: what the sheet is made from: of picture and fitted body the one that is known "
        f"better, corrected by calibration `{calibration.version}`. {calibration.about}",
        "- RMSE: root of the mean, over clips, of the mean square error over frames and both "
        "sides; each clip counts alike. In brackets the bias, positive where measured too large. "
        "Side, front and back views are within 20° of square; all others are oblique.",
        "- Azimuth: 0° in front of the person, 90° at their left.",
        "",
    ]


def _accuracy(outcomes: Sequence[Outcome]) -> list[str]:
    knee = Quantity("knee_flexion")
    said, world = (pool(outcomes, way, knee).rmse for way in ("said", "world"))
    return [
        "## Errors of angles",
        "",
        f"Knee flexion over all clips: {said:.1f}° as the program says it, {world:.1f}° read off "
        f"the raw 3-D landmarks; the fitted body alone has "
        f"{ratio_to_world(outcomes, 'body', knee):.2f} of the error of the raw landmarks.",
        "",
        *list_errors(outcomes),
        "![Error of each angle by the direction of the camera](validation/error_by_azimuth.svg)",
        "",
        "By 30° of azimuth, body, movement, and for invented against recorded motion: "
        "[further tables](validation/tables.md).",
        "",
    ]


def _intervals(outcomes: Sequence[Outcome]) -> list[str]:
    return [
        "## Stated uncertainty",
        "",
        "Per cent of the truth within the 90 % intervals that the program states, by the direction "
        "of the camera counted so that 90° faces the side that is measured; bold where not "
        f"between 85 and 95. {tell_scatter(outcomes)}",
        "",
        *list_coverage(outcomes),
        "![Share of the truth within the stated intervals](validation/coverage.svg)",
        "",
    ]


def _verdicts(outcomes: Sequence[Outcome]) -> list[str]:
    return [
        "## Verdicts",
        "",
        "Each invented drill is checked by its standard, and the true joints are checked at the "
        "same moments. A definite verdict is wrong when the true value lies on the other side of "
        "the limit. Rate and rhythm are compared with those of the true joints; clips in which the "
        "program finds no repetition give no findings.",
        "",
        *list_verdicts(outcomes),
        "![Verdicts by movement](validation/verdicts.svg)",
        "",
        "By check, the verdict of the program and whether the truth agrees:",
        "",
        *list_confusion(outcomes),
    ]


def _rest(outcomes: Sequence[Outcome]) -> list[str]:
    shares = np.array([o.numbers["fit_share"] for o in outcomes])
    shares = shares[np.isfinite(shares)]
    cost = "The cost of the fit was not measured in this run."
    if len(shares):
        middle, slow = (percent(float(v)) for v in np.percentile(shares, (50, 90)))
        cost = (
            f"The fit takes {middle} of the processor time of the pose model (20 ms a frame) in "
            f"the middle clip, and {slow} or more in a tenth of the clips, measured while other "
            "work ran on the same machine."
        )
    return [
        "## Camera and cost",
        "",
        *list_camera(outcomes),
        cost,
        "",
        "## Beside published figures",
        "",
        "Cosoli, Arnesano and Scalise (2026) compared knee flexion in squats, read off the raw "
        "landmarks of the same family of pose models, with a sensor worn by the person: "
        "mean ± standard deviation of the difference. **Those are other data: real people, "
        "clothes and rooms, another reference, their cameras and their processing.** The same "
        "statistic for the squats here:",
        "",
        *list_published(outcomes),
        "## The worst clips",
        "",
        "By the root mean square of the errors of all angles of the first table, degrees. The "
        "reasons are found by rule: cover, landmarks far from the true joints in the picture, a "
        "camera fitted wrongly, a view along the limbs.",
        "",
        *list_worst(outcomes),
    ]


def write_tables(outcomes: Sequence[Outcome], split: str) -> str:
    """Return the content of ``docs/validation/tables.md``."""
    sections = {
        "By 30° of azimuth": ("Azimuth", name_bin),
        "By body": ("Body", lambda o: o.about["body"]),
        "By movement": ("Movement", lambda o: str(o.about["motion"]).replace("_", " ")),
        "Invented and recorded motion": ("Motion", lambda o: "recorded" if o.real else "invented"),
    }
    parts = [
        "# Validation: further tables",
        "",
        WRITTEN,
        "",
        f"Split `{split}`; RMSE and bias in degrees. Words and methods: "
        "[validation](../validation.md). Rendered bodies, not people.",
        "",
        *([] if split == "fresh" else [LEARNED_FROM, ""]),
        "## Every measure, from every side",
        "",
        *list_all_measures(outcomes),
    ]
    for title, (word, key) in sections.items():
        parts += [f"## {title}", "", *list_details(outcomes, word, key)]
    return "\n".join(parts).rstrip() + "\n"


def choose_split(folder: Path) -> str:
    """Return ``fresh`` where there are such clips, else ``calibration``."""
    for path in sorted(folder.glob("*.npz")):
        with np.load(path) as data:
            if json.loads(str(data["about"]))["split"] == "fresh":
                return "fresh"
    return "calibration"


def write_report(outcomes: Sequence[Outcome], split: str, docs: Path) -> None:
    """Write pages and pictures."""
    folder = docs / "validation"
    draw_all(outcomes, folder)
    (docs / "validation.md").write_text(write_page(outcomes, split), encoding="utf-8")
    (folder / "tables.md").write_text(write_tables(outcomes, split), encoding="utf-8")


def main() -> None:
    """Evaluate a folder of clips and write the report."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    add_arguments(parser, keep_required=False)
    parser.add_argument("--out", type=Path, default=DOCS, help="folder of the pages")
    options = parser.parse_args()
    split = options.split or choose_split(options.data)
    paths = list(list_clips(options.data, split, options.only))
    if not paths:
        sys.exit(f"no clip of the split {split!r} in {options.data}")
    with tempfile.TemporaryDirectory() as scratch:
        outcomes = evaluate_all(paths, options.keep or Path(scratch), tell=print)
    write_report(outcomes, split, options.out)


if __name__ == "__main__":
    main()
