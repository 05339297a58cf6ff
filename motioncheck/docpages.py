"""Write the pages of ``docs/`` that repeat what the program itself knows.

``python -m motioncheck.docpages`` writes them, ``--check`` only tells whether they are stale. It
works in a checkout of the project; an installed copy has no ``docs`` folder to write to.
"""

from __future__ import annotations

import argparse
import inspect
import math
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Final

from motioncheck import errors
from motioncheck.docstandards import (
    describe_standard,
    make_limit,
    make_signed,
    make_table,
)
from motioncheck.measures import REGISTRY, MeasureSpec
from motioncheck.measures.registry import BEARABLE_GUARDS
from motioncheck.measures.visible import (
    FRONTAL_LIMIT_DEG,
    SAGITTAL_LIMIT_DEG,
    STRICT_LIMIT_DEG,
)
from motioncheck.standards import (
    load_standards,
)
from motioncheck.wording import with_unit

DOCS: Final = Path(__file__).resolve().parent.parent / "docs"
NOTE: Final = (
    "<!-- Written by `python -m motioncheck.docpages`. Do not edit: change the program and run it "
    "again. -->"
)
# The plane is turned this far in the example of how an uncertainty widens.
EXAMPLE_TURN_DEG: Final = 20.0
PLANES: Final = {
    "sagittal": "side view",
    "frontal": "front or back view",
    "frontal strict": "square front or back view",
    "transverse": "any view, from the model's own depth",
    "any": "any view",
}
# Codes that do not come from an error class.
OTHER_CODES: Final = {
    0: "The clip was checked and the sheet is written, whatever the verdicts.",
    9: "With `--strict`: checked and written, and at least one rep misses the standard.",
    130: "Stopped by the user (Ctrl-C); nothing was written.",
}


def render_measures() -> str:
    """Return the page that lists every measure of the registry."""
    parts = [
        "# Measures",
        NOTE,
        "Every number on a sheet is one of these measures. They are taken **from the picture**, as "
        "seen angles and distances, or **from the fitted body**, in space, whichever is known "
        "better at that moment; they are not joint angles from a laboratory. Angles are in "
        "degrees. Left and right are the person's own; a measure with sides exists as `<id>_left` "
        "and `<id>_right`. What cannot be measured is left empty; it is never 0.",
        "The number after ± on a sheet is the half-width of a 90 % interval, calibrated on "
        "rendered bodies, not on people (`motioncheck/assets/calibration.json`). The uncertainty "
        "given here is where that of the picture starts from, for a camera that stands square. It "
        "widens in two ways, combined as the root of the sum of squares:",
        "- By up to half where a landmark it needs is half hidden (visibility from 0.8 down to "
        "the gate of 0.5).\n"
        "- By the turn of the body out of the plane: *widening* × (1 − cos turn). The turn "
        "includes the uncertainty of the view itself.",
        "The picture shows a plane up to "
        f"{SAGITTAL_LIMIT_DEG:.0f}° off a square side view (sagittal), {FRONTAL_LIMIT_DEG:.0f}° "
        f"off a square front or back view (frontal), and {STRICT_LIMIT_DEG:.0f}° off it for the "
        "knee line (frontal strict). Beyond that the measure comes from the fitted body. "
        f"A check can bear {BEARABLE_GUARDS:g} times this uncertainty unless it says otherwise; "
        "known worse, it is not visible. `docs/how-it-works.md` gives the reasons.",
        "## At a glance",
        make_table(
            ("Measure", "Id", "In the picture", "Uncertainty"),
            (
                (
                    f"[{s.title}](#{make_anchor(s.title)})",
                    f"`{s.id}`" + (" (left, right)" if s.sided else ""),
                    PLANES[s.plane],
                    _uncertainty(s),
                )
                for s in REGISTRY
            ),
        ),
        *(_describe_measure(spec) for spec in REGISTRY),
    ]
    return _page(parts)


def _describe_measure(spec: MeasureSpec) -> str:
    rows = [
        ("Id", ", ".join(f"`{i}`" for i in spec.ids())),
        ("Unit", _unit_word(spec.unit)),
        ("Plane", f"{spec.plane}: {PLANES[spec.plane]}"),
        ("Formula", spec.formula),
        ("Sign", spec.sign),
        ("Uncertainty, square view", f"{_uncertainty(spec)} ({spec.guard_source})"),
        ("Widening", _widening(spec)),
        ("A check can bear", f"± {make_limit(spec.bears, spec.unit)}"),
        ("Landmarks", ", ".join(f"`{p}`" for p in spec.points) or "none: it comes from the reps"),
        ("Allowed threshold", f"{make_signed(spec.span[0])} to {make_signed(spec.span[1])}"),
        ("Source", spec.source),
    ]
    return f"## {spec.title}\n\n" + make_table(("", ""), rows)


def _uncertainty(spec: MeasureSpec) -> str:
    return f"± {with_unit(spec.guard, spec.unit)}"


def _widening(spec: MeasureSpec) -> str:
    if spec.id == "frontal_plane_knee_angle":
        return (
            "by the false valgus that flexion and the likely turn produce together, worked out "
            "frame by frame from the foreshortening of thigh and shank; it can exceed any verdict"
        )
    if spec.per_turn == 0.0:
        return "none by the turn of the body"
    at_turn = math.hypot(
        spec.guard, spec.per_turn * (1.0 - math.cos(math.radians(EXAMPLE_TURN_DEG)))
    )
    if spec.unit == "deg":
        return f"{spec.per_turn:g}; ± {at_turn:.1f}° at {EXAMPLE_TURN_DEG:.0f}° of turn"
    return f"{spec.per_turn:g}; ± {at_turn:.3f} at {EXAMPLE_TURN_DEG:.0f}° of turn"


def render_thresholds() -> str:
    """Return the page that lists every check of every standard of the program."""
    standards = [loaded.standard for loaded in load_standards().values()]
    parts = [
        "# Thresholds",
        NOTE,
        "Every check of every movement that comes with the program, and where its number comes "
        "from. Research gives norms, measuring errors and differences between groups; it hardly "
        "ever gives an angle to pass or fail in a coaching drill. So most of these numbers are "
        "common practice. They are kept in one file a movement, for you to change: see "
        "[standards.md](standards.md).",
        "`threshold` is the value to reach. `clear miss` is the value beyond which it is a miss. "
        "Between them, and wherever the distance to the threshold is within the uncertainty of "
        "the value, the verdict is *too close to call*. `bears` is the largest half-width of the "
        "90 % interval with which the check is still judged; known worse, it is *not visible*.",
        "The source says one of three things: *published* (the number rests on a publication), "
        "*from memory* (a publication is named and was not checked against its text), *common "
        "practice, no source*.",
        "\n".join(f"- [{s.title}](#{make_anchor(s.title)})" for s in standards),
        *(describe_standard(s) for s in standards),
    ]
    return _page(parts)


def list_error_classes() -> list[type[errors.MotionCheckError]]:
    """Return the error classes of the program, by exit code, families first."""
    found = [
        value
        for value in vars(errors).values()
        if inspect.isclass(value) and issubclass(value, errors.MotionCheckError)
    ]
    return sorted(found, key=lambda c: (c.exit_code, len(c.__mro__)))


def list_families() -> list[type[errors.MotionCheckError]]:
    """Return the classes that give their own exit code; all others inherit one."""
    return [c for c in list_error_classes() if "exit_code" in vars(c)]


def render_errors() -> str:
    """Return the page of exit codes, error classes and what to do next."""
    rows: list[tuple[str, str, str]] = [
        (str(c.exit_code), f"`{c.__name__}`", _code_meaning(c))
        for c in sorted(list_families(), key=lambda c: c.exit_code)
    ]
    rows += [(str(code), "", text) for code, text in OTHER_CODES.items()]
    rows.sort(key=lambda row: int(row[0]))
    parts = [
        "# Errors and exit codes",
        NOTE,
        "A verdict is never an error: a clip full of misses ends with code 0. So is a check that "
        "the camera could not show; code 6 is for clips in which *nothing* could be measured. "
        "With `--strict` a miss ends with code 9, after the sheet is written.",
        "Every error says in one sentence what was expected, what was found, and what to do next. "
        "`-v` adds the details. Codes keep their meaning and are never used for something else.",
        "## Exit codes",
        make_table(("Code", "Family", "Meaning"), rows),
        "## Error classes",
        "All are in `motioncheck.errors`. An error raised by the program may carry a hint that "
        "fits better than the usual one of its class.",
        make_table(
            ("Class", "Code", "Meaning", "Usual hint"),
            (
                (
                    f"`{c.__name__}`",
                    str(c.exit_code),
                    _first_sentence(c),
                    c.default_hint or "none",
                )
                for c in list_error_classes()
            ),
        ),
    ]
    return _page(parts)


def _code_meaning(family: type[errors.MotionCheckError]) -> str:
    if family is errors.MotionCheckError:
        return "A fault of the program itself; please report it."
    return _first_sentence(family)


def _first_sentence(thing: type) -> str:
    return (inspect.getdoc(thing) or "").split("\n\n")[0].replace("\n", " ")


def _unit_word(unit: str) -> str:
    return {"deg": "degrees", "1/min": "a minute", "%": "per cent", "s": "seconds"}.get(unit, unit)


def make_anchor(title: str) -> str:
    """Return the anchor that a page gives to a heading."""
    kept = "".join(ch for ch in title.lower() if ch.isalnum() or ch in " -")
    return kept.replace(" ", "-")


def _page(parts: Sequence[str]) -> str:
    return "\n\n".join(parts) + "\n"


PAGES: Final[Mapping[str, Callable[[], str]]] = {
    "measures.md": render_measures,
    "thresholds.md": render_thresholds,
    "errors.md": render_errors,
}


def find_stale(folder: Path) -> list[str]:
    """Return the names of the pages that are missing or differ from what would be written."""
    stale = []
    for name, render in PAGES.items():
        path = folder / name
        if not path.is_file() or path.read_text(encoding="utf-8") != render():
            stale.append(name)
    return stale


def write_pages(folder: Path) -> None:
    """Write all pages into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, render in PAGES.items():
        (folder / name).write_text(render(), encoding="utf-8", newline="\n")


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the pages, or with ``--check`` name those that are stale; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m motioncheck.docpages", description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing; fail when stale")
    parser.add_argument("--folder", type=Path, default=DOCS, help="default: docs/ of the project")
    options = parser.parse_args(arguments)
    if not options.check:
        write_pages(options.folder)
        return 0
    stale = find_stale(options.folder)
    for name in stale:
        print(f"{name} is stale; run `python -m motioncheck.docpages`.", file=sys.stderr)
    return 1 if stale else 0


if __name__ == "__main__":
    raise SystemExit(main())
