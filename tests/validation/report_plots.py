"""Pictures of the validation report, as small SVG files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from report_numbers import BINS_DEG, compute_coverage, group_by, nearest_bin, pool
from report_targets import CORE, COVERED
from report_verdicts import count_verdicts

if TYPE_CHECKING:
    from outcomes import Outcome

WAYS = {
    "world": ("pose model's own 3-D landmarks", "#b3452c", ":"),
    "picture": ("angle in the picture", "#7a7a7a", "--"),
    "body": ("fitted body", "#2f6fa7", "-."),
    "said": ("what the program says", "#14213d", "-"),
}
VERDICTS = {
    "right": "#2f6fa7",
    "wrong": "#b3452c",
    "undecided": "#c9c9c9",
    "not visible": "#eeeeee",
}
# The measures drawn over the azimuth; the others are in the tables.
DRAWN = CORE[:2] + CORE[3:6] + CORE[7:9]
BIN_WORDS = {0: "front", 90: "left", 180: "back", 270: "right"}
SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "motioncheck",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
}


def draw_all(outcomes: Sequence[Outcome], folder: Path) -> list[Path]:
    """Draw every picture; return the files."""
    import matplotlib as mpl

    mpl.use("Agg")
    folder.mkdir(parents=True, exist_ok=True)
    drawn = []
    with mpl.rc_context(SETTINGS):
        for name, draw in (
            ("error_by_azimuth", draw_errors),
            ("coverage", draw_coverage),
            ("verdicts", draw_verdicts),
        ):
            path = folder / f"{name}.svg"
            figure = draw(outcomes)
            figure.savefig(path, format="svg", metadata={"Date": None, "Creator": None})
            figure.clear()
            drawn.append(path)
    return drawn


def _figure(width: float, height: float) -> Any:
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), layout="constrained", facecolor="white")


def draw_errors(outcomes: Sequence[Outcome]) -> Any:
    """Draw the error of each measure over the azimuth of the camera."""
    from matplotlib.ticker import MaxNLocator

    rows = (len(DRAWN) + 1) // 2
    figure = _figure(8.0, 1.9 * rows)
    axes = figure.subplots(rows, 2, squeeze=False).ravel()
    groups = group_by(outcomes, lambda o: nearest_bin(o.numbers["azimuth_deg"]))
    for axis, quantity in zip(axes, DRAWN, strict=False):
        top = 0.0
        for way, (label, colour, style) in WAYS.items():
            values = [pool(groups.get(str(b), []), way, quantity).rmse for b in BINS_DEG]
            closed = [*values, values[0]]
            axis.plot([*BINS_DEG, 360], closed, style, color=colour, label=label)
            if way != "world" and np.isfinite(values).any():
                top = max(top, float(np.nanmax(values)))
        axis.set_title(quantity.title, loc="left", fontsize=9)
        axis.set_ylim(0, 1.6 * top or 1)
        axis.set_xticks([0, 90, 180, 270, 360], ["front", "left", "back", "right", "front"])
        axis.yaxis.set_major_locator(MaxNLocator(4))
        axis.set_ylabel("RMSE, °")
    for axis in axes[len(DRAWN) :]:
        axis.set_axis_off()
    handles, labels = axes[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper center", ncols=2, frameon=False)
    return figure


def draw_coverage(outcomes: Sequence[Outcome]) -> Any:
    """Draw how often the truth lies within the 90 % intervals, a row a measure."""
    figure = _figure(8.0, 0.36 * len(CORE) + 1.3)
    axis = figure.subplots()
    cells = np.full((len(CORE), len(BINS_DEG)), np.nan)
    for row, quantity in enumerate(CORE):
        found = compute_coverage(outcomes, "said", quantity)
        for column, at in enumerate(BINS_DEG):
            if at in found:
                cells[row, column] = 100.0 * found[at].covered
    axis.imshow(cells, cmap="RdYlBu", vmin=70, vmax=110, aspect="auto")
    low, high = (100.0 * c for c in COVERED)
    for row, column in np.argwhere(np.isfinite(cells)):
        value = cells[row, column]
        outside = not low <= value <= high
        axis.text(
            column,
            row,
            f"{value:.0f}",
            ha="center",
            va="center",
            fontsize=8,
            weight="bold" if outside else "normal",
        )
    words = {**BIN_WORDS, 90: "this side", 270: "other side"}
    axis.set_xticks(range(len(BINS_DEG)), [f"{b}°\n{words.get(b, '')}" for b in BINS_DEG])
    axis.set_yticks(range(len(CORE)), [q.title for q in CORE])
    axis.tick_params(length=0)
    axis.set_title("per cent of the truth within 90 % intervals; bold: not 85 to 95", fontsize=9)
    return figure


def draw_verdicts(outcomes: Sequence[Outcome]) -> Any:
    """Draw the verdicts of each movement as shares."""
    groups = group_by((o for o in outcomes if o.findings), lambda o: o.about["motion"])
    figure = _figure(8.0, 0.4 * len(groups) + 1.0)
    axis = figure.subplots()
    for row, members in enumerate(groups.values()):
        count = count_verdicts(r for o in members for r in o.findings)
        parts = {
            "right": count["definite"] - count["wrong"],
            "wrong": count["wrong"],
            "undecided": count["undecided"],
            "not visible": count["not visible"],
        }
        left = 0.0
        for name, part in parts.items():
            width = 100.0 * part / count["all"]
            axis.barh(row, width, left=left, color=VERDICTS[name], label="" if row else name)
            left += width
    axis.set_yticks(range(len(groups)), [g.replace("_", " ") for g in groups])
    axis.set_xlabel("per cent of findings")
    axis.invert_yaxis()
    figure.legend(loc="outside upper center", ncols=4, frameon=False)
    return figure
