"""Angles over time against the truth of the sample clips: the table of ``docs/accuracy.md``.

``python tests/e2e/accuracy.py`` follows every sample clip and writes the page anew.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from acceptance import check_sample, list_clips, load_truth
from e2e_support import ROOT

from motioncheck.measures import REGISTRY

PAGE = ROOT / "docs" / "accuracy.md"
SIDE_VIEW = ("knee_flexion", "trunk_inclination", "shank_inclination")
FRONT_VIEW = ("frontal_plane_knee_angle",)
ARMS_IN_FRONT_VIEW = ("shoulder_elevation",)

# Largest root mean square error over the frames of a clip, degrees.
TARGET_DEG = {
    "knee_flexion": 5.0,
    "trunk_inclination": 3.5,
    "shank_inclination": 4.0,
    "frontal_plane_knee_angle": 4.0,
    "shoulder_elevation": 6.0,
}
# Where the target is missed: what is reached instead, and why.
_DEEP_KICK = (
    "Beyond 90° of knee bend the body model draws the foot behind the body 8° to 15° short, "
    "in every frame and whatever the filter; up to 60° the error is 2° to 6°. The limit of the "
    "check is set for what is measured."
)
_FOLDED = (
    "Bent over and turned, the body is foreshortened in every limb and the model loses it for "
    "moments, which the fitted body bridges as well as it can. No check of this movement uses the "
    "angle."
)
FALLS_SHORT = {
    ("heel_kicks_side", "knee_flexion"): (8.0, _DEEP_KICK),
    ("heel_kicks_side", "shank_inclination"): (7.0, _DEEP_KICK),
    ("twist_front", "frontal_plane_knee_angle"): (10.0, _FOLDED),
}


@dataclass(frozen=True)
class Row:
    """How well one angle was measured in one clip.

    ``side`` is near or far for side views, both for what is seen from the front. The errors are
    NaN where the angle was never measured.
    """

    clip: str
    measure: str
    side: str
    seen_ratio: float
    bias_deg: float
    rmse_deg: float
    p95_deg: float

    @property
    def target_deg(self) -> float:
        return TARGET_DEG[self.measure]

    @property
    def met(self) -> bool:
        """False as well where nothing was measured."""
        return self.rmse_deg <= self.target_deg

    @property
    def counts(self) -> bool:
        """The far limbs of a side view are hidden by the near ones: reported, not aimed at."""
        return self.side != "far"


def measure_clip(name: str, cache_folder: Path) -> list[Row]:
    """Return the rows of one clip; none for a view in which no angle can be compared."""
    truth = load_truth(name)
    table = check_sample(name, cache_folder).analysis.table
    azimuth = abs(truth.azimuth_deg)
    if azimuth == 90:
        near = "left" if truth.azimuth_deg > 0 else "right"
        far = "right" if near == "left" else "left"
        wanted = [
            (m, where, [f"{m}_{side}"] if REGISTRY[m].sided else [m])
            for m in SIDE_VIEW
            for where, side in (("near", near), ("far", far))
            if REGISTRY[m].sided or where == "near"
        ]
    elif azimuth in (0, 180):
        arms = ARMS_IN_FRONT_VIEW if truth.movement == "jumping-jacks" else ()
        wanted = [(m, "both", [f"{m}_left", f"{m}_right"]) for m in (*FRONT_VIEW, *arms)]
    else:
        wanted = []
    rows = []
    for measure, where, columns in wanted:
        ours = np.concatenate([table.values[c] for c in columns])
        real = np.concatenate([truth.at(c, table.time_s) for c in columns])
        there = np.isfinite(real)
        error = (ours - real)[there & np.isfinite(ours)]
        seen_ratio = len(error) / max(int(there.sum()), 1)
        rows.append(make_row(name, measure, where, seen_ratio, error))
    return rows


def make_row(
    clip: str, measure: str, side: str, seen_ratio: float, error: npt.NDArray[np.float64]
) -> Row:
    if len(error) == 0:
        return Row(clip, measure, side, 0.0, np.nan, np.nan, np.nan)
    return Row(
        clip=clip,
        measure=measure,
        side=side,
        seen_ratio=seen_ratio,
        bias_deg=float(error.mean()),
        rmse_deg=float(np.sqrt(np.mean(error**2))),
        p95_deg=float(np.percentile(np.abs(error), 95)),
    )


def write_table(rows: list[Row]) -> str:
    """Return the rows as a Markdown table."""
    lines = [
        "| Clip | Angle | Limb | Frames measured | Bias | RMSE | 95 % within | Target | |",
        "| --- | --- | --- | ---: | ---: | ---: | ---: | ---: | --- |",
    ]
    for row in rows:
        target = f"{row.target_deg:g}" if row.counts else ""
        met = ("met" if row.met else "missed") if row.counts else ""
        numbers = f"{row.bias_deg:+.1f} | {row.rmse_deg:.1f} | {row.p95_deg:.1f}"
        if np.isnan(row.rmse_deg):
            numbers = "— | — | —"
        lines.append(
            f"| {row.clip} | {REGISTRY[row.measure].title} | {row.side} | {row.seen_ratio:.0%} "
            f"| {numbers} | {target} | {met} |"
        )
    return "\n".join(lines)


def write_page(rows: list[Row]) -> str:
    """Return the content of ``docs/accuracy.md``."""
    counted = [row for row in rows if row.counts]
    met = sum(row.met for row in counted)
    short = [
        f"- {clip}, {REGISTRY[measure].title.lower()}: {reason}"
        for (clip, measure), (_, reason) in FALLS_SHORT.items()
    ]
    return "\n".join(
        [
            "# How exact the angles are",
            "",
            "<!-- Written by `python tests/e2e/accuracy.py`. Do not edit: run it again. -->",
            "",
            "The sample clips show a rendered body whose joints are known, so every angle can be",
            "compared with the true one in every frame. RMSE is the root mean square error over",
            "the frames of a clip in which the angle was measured, in degrees; bias is the mean",
            "error (positive: measured too large); the last percentage says within how many",
            "degrees 95 of 100 frames are. The near limb of a side view is the one towards the",
            "lens; the far one is hidden by it much of the time, and is reported without a target.",
            "Angles are those of the sheet: read off the picture or off the fitted body, whichever",
            "the program believes at that moment. Frames in which an angle has no meaning, such as",
            "the knee line while the thigh points forward, are left empty by the program and are",
            "missing from *frames measured*.",
            "",
            "What this does not tell: real people wear loose clothes, rooms are darker, and bodies",
            "differ from the rendered ones. The body model was trained on photos of real people",
            "and may do better or worse on them. Figures differ by some hundredths of a degree",
            "from processor to processor.",
            "",
            f"{met} of {len(counted)} targets are met.",
            "",
            write_table(rows),
            "",
            *(["## Where the target is missed", "", *short, ""] if short else []),
        ]
    )


def main() -> None:
    """Print the table and write the page."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(scratch)
        rows = [row for name in list_clips() for row in measure_clip(name, folder)]
    print(write_table(rows))
    PAGE.write_text(write_page(rows), encoding="utf-8")


if __name__ == "__main__":
    main()
