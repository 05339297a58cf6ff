"""Tables of the validation report as Markdown; every number comes from the outcomes."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np
from report_numbers import (
    BINS_DEG,
    REGIONS,
    Cell,
    Pooled,
    Quantity,
    compute_coverage,
    group_by,
    nearest_bin,
    off_front_deg,
    pool,
    ratio_to_world,
    score_clip,
)
from report_targets import AT_TURN, CORE, GROUP_WORDS, Target, is_advised, is_covered
from report_verdicts import DEFINITE, count_verdicts, share

from motioncheck.measures import REGISTRY

if TYPE_CHECKING:
    from outcomes import Outcome

WAY_TITLES = {
    "world": "raw 3-D landmarks",
    "picture": "picture",
    "body": "fitted body",
    "said": "program",
}
WORST = 10
# From here on an error of the pose model or of the fitted camera is named as a reason.
LANDMARKS_PERCENT, LANDMARKS_WORST_PERCENT = 3.0, 6.0
DIRECTION_DEG, PITCH_DEG, TILT_DEG, NOBODY_SHARE = 12.0, 6.0, 4.0, 0.05
END_ON_DEG = 20.0
COVER_WORDS = {
    "bench": "a bench hides feet and shins",
    "feet_out": "the feet are below the picture",
    "side_out": "one side of the body is at or beyond the edge",
}
# Side-view squats and all of 45 to 90 degrees, as published; mean and standard deviation, degrees.
PUBLISHED = (
    ("square side view", "-2.3 ± 6.4"),
    ("all of 45° to 90° from the front", "-13.9 ± 15.1"),
)


def table(head: Sequence[str], rows: Iterable[Sequence[str]], *, words: int = 1) -> list[str]:
    """Return a table; the first columns hold words, the others numbers."""
    lines = ["| " + " | ".join(head) + " |"]
    lines.append("| " + " | ".join(["---"] * words + ["---:"] * (len(head) - words)) + " |")
    lines += ["| " + " | ".join(row) + " |" for row in rows]
    return [*lines, ""]


def number(value: float, digits: int = 1, *, sign: bool = False) -> str:
    """Return a number, a dash where there is none."""
    if not math.isfinite(value):
        return "–"
    return f"{value:+.{digits}f}" if sign else f"{value:.{digits}f}"


def percent(value: float) -> str:
    """Return a share in per cent."""
    return f"{100 * value:.0f} %" if math.isfinite(value) else "–"


def error_and_bias(found: Pooled, digits: int = 1) -> str:
    """Return root mean square error, and bias in brackets."""
    if not found.clips:
        return "–"
    return f"{number(found.rmse, digits)} ({number(found.bias, digits, sign=True)})"


def list_errors(outcomes: Sequence[Outcome]) -> list[str]:
    """Return errors and biases by measure and region."""
    rows = []
    for quantity in (*CORE, *AT_TURN):
        for group, belongs in REGIONS.items():
            members = [o for o in outcomes if belongs(o)]
            found = {way: pool(members, way, quantity) for way in WAY_TITLES}
            if not found["world"].clips:
                continue
            rows.append(
                [
                    quantity.title if group == "all" else "",
                    GROUP_WORDS[group],
                    str(found["world"].clips),
                    *(error_and_bias(found[way]) for way in WAY_TITLES),
                    number(found["said"].median),
                    percent(found["picture"].seen),
                    percent(found["said"].seen),
                    number(ratio_to_world(members, "body", quantity), 2),
                ]
            )
    head = ["Angle", "Camera", "Clips", *WAY_TITLES.values(), "program, middle clip"]
    head += ["frames: picture", "frames: program", "fitted body ÷ raw"]
    return table(head, rows, words=2)


def list_all_measures(outcomes: Sequence[Outcome]) -> list[str]:
    """Return errors and biases of every registered measure, from every side."""
    rows = []
    for spec in REGISTRY:
        if spec.compute is None:
            continue
        quantity, digits = Quantity(spec.id), 1 if spec.unit == "deg" else 3
        found = [error_and_bias(pool(outcomes, way, quantity), digits) for way in WAY_TITLES]
        said = pool(outcomes, "said", quantity)
        everywhere = compute_coverage(outcomes, "said", quantity).get(None)
        held = percent(everywhere.covered) if everywhere else "–"
        unit = "°" if spec.unit == "deg" else "ratio"
        rows.append([spec.title, unit, *found, percent(said.seen), held])
    head = ["Measure", "Unit", *WAY_TITLES.values(), "frames: program", "within 90 % intervals"]
    return table(head, rows, words=2)


def list_details(
    outcomes: Sequence[Outcome], title: str, key: Callable[[Outcome], object]
) -> list[str]:
    """Return errors and biases by measure and group."""
    rows = []
    groups = group_by(outcomes, key)
    for quantity in CORE:
        for number_of, (name, members) in enumerate(groups.items()):
            found = [error_and_bias(pool(members, way, quantity)) for way in WAY_TITLES]
            ratio = number(ratio_to_world(members, "body", quantity), 2)
            first = "" if number_of else quantity.title
            rows.append([first, name, str(len(members)), *found, ratio])
    return table(
        ["Angle", title, "Clips", *WAY_TITLES.values(), "fitted body ÷ raw"], rows, words=2
    )


def name_bin(outcome: Outcome) -> str:
    """Return the bin of the camera for a table, so that names sort by angle."""
    return f"{nearest_bin(outcome.numbers['azimuth_deg']):3d}°"


def list_targets_table(targets: Iterable[Target]) -> list[str]:
    """Return the table of targets."""
    rows = []
    words = {True: "met", False: "**missed**", None: "not measured"}
    for target in targets:
        limit = f"{'≥' if target.at_least else '≤'} {_amount(target.limit, target.unit)}"
        found = _amount(target.found, target.unit)
        found += f" ({target.note})" if target.note else ""
        body = _amount(target.body, target.unit)
        rows.append([target.what, limit, found, body, words[target.met]])
    head = ["Target", "Limit", "Program", "Fitted body alone", ""]
    return table(head, rows)


def _amount(value: float, unit: str) -> str:
    if not math.isfinite(value):
        return "–"
    return {"deg": f"{value:.1f}°", "times": f"{value:.2f}", "share": percent(value)}[unit]


def list_coverage(outcomes: Sequence[Outcome]) -> list[str]:
    """Return how often the truth lies within the intervals, by measure and bin."""
    rows = []
    for quantity in CORE:
        found = compute_coverage(outcomes, "said", quantity)
        total = found.get(None)
        overall = percent(total.covered) if total else "–"
        rows.append([quantity.title, overall, *(_cell(found.get(b)) for b in BINS_DEG)])
    return table(["Angle", "All", *(f"{b}°" for b in BINS_DEG)], rows)


def _cell(cell: Cell | None) -> str:
    if cell is None or not cell.clips:
        return "–"
    text = f"{100 * cell.covered:.0f}"
    return text if is_covered(cell.covered) else f"**{text}**"


def tell_scatter(outcomes: Sequence[Outcome]) -> str:
    """Return a sentence about how far chance alone moves a cell of the table."""
    cells = [
        cell
        for quantity in CORE
        for key, cell in compute_coverage(outcomes, "said", quantity).items()
        if key is not None and math.isfinite(cell.error)
    ]
    if not cells:
        return "No interval could be compared."
    typical = float(np.median([c.error for c in cells]))
    near = sum(abs(c.covered - 0.9) <= 2 * c.error or is_covered(c.covered) for c in cells)
    return (
        f"A cell rests on {np.median([c.clips for c in cells]):.0f} clips (median) and moves by "
        f"±{100 * typical:.0f} points by chance alone (standard error over clips, median), so not "
        f"every cell can be between 85 and 95. {near} of {len(cells)} are, or are within two of "
        "their standard errors of 90."
    )


def list_verdicts(outcomes: Sequence[Outcome]) -> list[str]:
    """Return the verdicts of each movement, of all, and of the views that are asked for."""
    checked = [o for o in outcomes if o.reps]
    groups = {
        **{m.replace("_", " "): g for m, g in group_by(checked, _motion).items()},
        "all": checked,
        "all, filmed as asked": [o for o in checked if is_advised(o)],
    }
    rows = []
    for name, members in groups.items():
        count = count_verdicts(r for o in members for r in o.findings)
        reps = [sum(o.reps[k] for o in members) for k in ("found", "true")]
        rows.append(
            [
                name,
                str(len(members)),
                f"{reps[0]} of {reps[1]}",
                *(str(count[k]) for k in ("all", "meets", "misses", "undecided", "not visible")),
                percent(share(count["definite"], count["all"])),
                f"{count['wrong']} of {count['known']}",
                percent(share(count["wrong"], count["known"])),
            ]
        )
    head = ["Movement", "Clips", "Reps found", "Findings", "meets", "misses"]
    head += ["too close to call", "not visible", "definite", "wrong", "wrong share"]
    return table(head, rows)


def _motion(outcome: Outcome) -> str:
    return str(outcome.about["motion"])


def list_confusion(outcomes: Sequence[Outcome]) -> list[str]:
    """Return verdicts of the program against those of the truth, by check."""
    rows = []
    for motion, members in group_by((o for o in outcomes if o.findings), _motion).items():
        findings = [r for o in members for r in o.findings]
        for check in dict.fromkeys(r["check"] for r in findings):
            mine = [r for r in findings if r["check"] == check]
            count = count_verdicts(mine)
            pairs = [
                sum(r["verdict"] == v and r["true_verdict"] == t for r in mine)
                for v in DEFINITE
                for t in DEFINITE
            ]
            rest = [count["undecided"], count["not visible"]]
            rows.append([motion.replace("_", " "), check, *(str(n) for n in (*pairs, *rest))])
    head = ["Movement", "Check", "meets, truly", "meets, wrongly", "misses, wrongly"]
    head += ["misses, truly", "too close to call", "not visible"]
    return table(head, rows, words=2)


def list_camera(outcomes: Sequence[Outcome]) -> list[str]:
    """Return errors of the camera."""
    keys = {
        "direction, as the program tells it": "view_azimuth_error_deg",
        "direction, fitted body": "azimuth_error_deg",
        "tilt, fitted body": "tilt_error_deg",
        "pitch, fitted body": "pitch_error_deg",
    }
    rows = []
    for name, key in keys.items():
        found = np.array([o.numbers[key] for o in outcomes])
        found = found[np.isfinite(found)]
        if len(found):
            size = np.abs(found)
            told = (np.sqrt(np.mean(found**2)), found.mean(), np.median(size), size.max())
            rows.append([name, *(number(float(v)) for v in told)])
    return table(["Error, degrees", "RMSE", "Bias", "Median size", "Largest"], rows)


def list_published(outcomes: Sequence[Outcome]) -> list[str]:
    """Return the knee of squats beside published figures for other data."""
    squats = [o for o in outcomes if "squat" in o.about["motion_id"]]
    groups = {
        PUBLISHED[0][0]: REGIONS["side"],
        PUBLISHED[1][0]: lambda o: 35.0 <= off_front_deg(o) <= 100.0,
        "every side": REGIONS["all"],
    }
    quoted = dict(PUBLISHED)
    rows = []
    for name, belongs in groups.items():
        members = [o for o in squats if belongs(o)]
        found = [pool(members, way, Quantity("knee_flexion")) for way in WAY_TITLES]
        cells = [f"{number(f.bias, sign=True)} ± {number(f.sd)}" if f.clips else "–" for f in found]
        rows.append([name, quoted.get(name, "–"), str(len(members)), *cells])
    head = ["Camera", "Published: people", "Clips here", *WAY_TITLES.values()]
    return table(head, rows)


def list_worst(outcomes: Sequence[Outcome]) -> list[str]:
    """Return the clips that went worst, and why where it is known."""
    scored = [(score_clip(o, "said", CORE), o) for o in outcomes]
    scored = sorted((s for s in scored if math.isfinite(s[0])), key=lambda s: (-s[0], s[1].name))
    rows = []
    for score, outcome in scored[:WORST]:
        errors = {q.title: pool([outcome], "said", q).rmse for q in CORE}
        largest = max(errors, key=lambda t: np.nan_to_num(errors[t]))
        body, world = (score_clip(outcome, way, CORE) for way in ("body", "world"))
        rows.append(
            [
                outcome.name,
                number(score),
                number(body),
                number(world),
                f"{largest.lower()} {errors[largest]:.0f}°",
                "; ".join(find_reasons(outcome)) or "not known",
            ]
        )
    head = ["Clip", "Program", "Fitted body", "Raw", "Largest error", "Why"]
    return table(head, rows)


def find_reasons(outcome: Outcome) -> Iterator[str]:
    """Yield what is known to be wrong with a clip."""
    numbers = outcome.numbers
    cover = outcome.about.get("cover", "")
    if cover:
        yield COVER_WORDS.get(cover, cover)
    typical, worst = (numbers[f"landmark_error_{kind}percent"] for kind in ("", "worst_"))
    if typical > LANDMARKS_PERCENT or worst > LANDMARKS_WORST_PERCENT:
        yield (
            f"the pose model's landmarks are {typical:.1f} % of the stature off in the picture, "
            f"in a tenth of the frames more than {worst:.1f} %"
        )
    if numbers["nobody_share"] > NOBODY_SHARE:
        yield f"nobody found in {percent(numbers['nobody_share'])} of the frames"
    for key, limit, words in (
        ("view_azimuth_error_deg", DIRECTION_DEG, "direction of the body told"),
        ("pitch_error_deg", PITCH_DEG, "pitch of the phone told"),
        ("tilt_error_deg", TILT_DEG, "tilt of the phone told"),
    ):
        if abs(numbers[key]) > limit:
            yield f"{words} {abs(numbers[key]):.0f}° wrong"
    away = off_front_deg(outcome)
    if min(away, 180.0 - away) <= END_ON_DEG:
        yield f"seen from {'the front' if away < 90 else 'behind'}: bends point at the lens"
