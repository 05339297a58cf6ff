"""How well movements are told apart on the mixed clips, as the table in ``docs/naming.md``.

Usage: ``python tests/validation/naming_report.py [--split report] [--write]``
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]

from mix_files import OTHER, STEP_S, MixClip, load_mix  # noqa: E402

from motioncheck.naming import Stretch  # noqa: E402
from motioncheck.pipeline import name_track  # noqa: E402
from motioncheck.pipeline.naming import list_standards  # noqa: E402
from motioncheck.standards import Standard  # noqa: E402

FOLDER = Path(__file__).parent / "data" / "mixes"
PAGE = ROOT / "docs" / "naming.md"
BEGIN, END = "<!-- measured -->", "<!-- /measured -->"
KINDS = {"rendered": "movements joined to one another", "recorded": "one person, recorded"}


@dataclass
class Score:
    """Tenths of a second by what was said of them; ``mixed_up`` counts (true, said) pairs.

    ``sure`` holds for every named stretch its confidence and whether it was right.
    """

    right: int = 0
    unsure: int = 0
    wrong: int = 0
    mixed_up: Counter[tuple[str, str]] = field(default_factory=Counter)
    sure: list[tuple[float, bool]] = field(default_factory=list)

    @property
    def total(self) -> int:
        """All tenths of a second."""
        return self.right + self.unsure + self.wrong

    def share(self, count: int) -> str:
        """Return a count as a percentage."""
        return f"{100 * count / max(1, self.total):.1f}"


def score_clip(clip: MixClip, standards: Sequence[Standard]) -> Score:
    """Name the movements of a clip and compare with its labels.

    "Other" where a movement is done counts as unsure: nothing false was said.
    """
    stretches = name_track(clip.track, standards).stretches
    score = Score()
    start_s = float(clip.track.time_s[0])
    for i, label in enumerate(clip.labels):
        said = find_name(stretches, start_s + (i + 0.5) * STEP_S)
        if said == label:
            score.right += 1
            continue
        score.mixed_up[label, said] += 1
        if said == OTHER:
            score.unsure += 1
        else:
            score.wrong += 1
    for stretch in stretches:
        if stretch.movement != OTHER:
            score.sure.append((stretch.confidence, _is_right(stretch, clip, start_s)))
    return score


def find_name(stretches: Iterable[Stretch], time_s: float) -> str:
    """Return what is said of an instant."""
    return next((s.movement for s in stretches if s.start_s <= time_s < s.end_s), OTHER)


def _is_right(stretch: Stretch, clip: MixClip, start_s: float) -> bool:
    first, last = (round((t - start_s) / STEP_S) for t in (stretch.start_s, stretch.end_s))
    inside = clip.labels[first : max(last, first + 1)]
    return sum(label == stretch.movement for label in inside) > len(inside) / 2


def add_up(scores: Iterable[Score]) -> Score:
    """Return the sum of scores."""
    total = Score()
    for score in scores:
        total.right += score.right
        total.unsure += score.unsure
        total.wrong += score.wrong
        total.mixed_up += score.mixed_up
        total.sure += score.sure
    return total


def measure(split: str) -> dict[str, Score]:
    """Return the score of every clip of a split, by name."""
    standards = list_standards(None)
    clips = [load_mix(path) for path in sorted(FOLDER.glob("*.npz"))]
    return {c.name: score_clip(c, standards) for c in clips if c.about["split"] == split}


def render(scores: dict[str, Score]) -> str:
    """Return the table of the page."""
    kinds = {
        "rendered": {n: s for n, s in scores.items() if n.startswith("m")},
        "recorded": {n: s for n, s in scores.items() if n.startswith("r")},
    }
    lines = [
        "| Clips | Seconds | Right % | Not named % | Wrong % |",
        "| --- | --- | --- | --- | --- |",
    ]
    for kind, rows in kinds.items():
        for name, score in rows.items():
            lines.append(_row(name, score))
        if rows:
            lines.append(_row(f"**{kind}: {KINDS[kind]}**", add_up(rows.values())))
    whole = add_up(scores.values())
    lines += ["", "Most often mixed up (seconds):", ""]
    lines += [
        f"- {true} named {said}: {count * STEP_S:.1f}"
        for (true, said), count in whole.mixed_up.most_common(8)
    ]
    lines += ["", _say_sure(whole.sure)]
    return "\n".join(lines)


def _row(name: str, score: Score) -> str:
    shares = " | ".join(score.share(n) for n in (score.right, score.unsure, score.wrong))
    return f"| {name} | {score.total * STEP_S:.0f} | {shares} |"


def _say_sure(sure: Sequence[tuple[float, bool]]) -> str:
    parts = []
    for low, high in ((0.0, 0.7), (0.7, 0.9), (0.9, 1.01)):
        inside = [right for confidence, right in sure if low <= confidence < high]
        if inside:
            limit = "over 90" if high > 1 else f"{100 * low:.0f} to {100 * high:.0f}"
            parts.append(f"{sum(inside)} of {len(inside)} named with {limit} % certainty")
    return f"Stretches that were right: {', '.join(parts)}."


def main(arguments: list[str] | None = None) -> int:
    """Print the table, or write it into the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--split", default="report", choices=("report", "tune"))
    parser.add_argument("--write", action="store_true", help="write it into docs/naming.md")
    options = parser.parse_args(arguments)
    text = render(measure(options.split))
    if not options.write:
        print(text)
        return 0
    page = PAGE.read_text(encoding="utf-8")
    before, rest = page.split(BEGIN)
    after = rest.split(END)[1]
    PAGE.write_text(f"{before}{BEGIN}\n{text}\n{END}{after}", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
