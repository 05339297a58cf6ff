"""What the measurement is meant to reach, and whether it does."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from report_clips import find_standard
from report_numbers import (
    REGIONS,
    Quantity,
    compute_coverage,
    is_front,
    is_front_or_back,
    is_side,
    pool,
    ratio_to_world,
)
from report_verdicts import count_verdicts, share

if TYPE_CHECKING:
    from outcomes import Outcome

FLEXIONS = tuple(
    Quantity(m) for m in ("knee_flexion", "hip_flexion", "ankle_flexion", "elbow_flexion")
)
# What every table and the score of a clip are about.
CORE = (
    *(Quantity(m) for m in ("knee_flexion", "hip_flexion", "ankle_flexion")),
    *(Quantity(m) for m in ("thigh_inclination", "shank_inclination", "trunk_inclination")),
    *(Quantity(m) for m in ("trunk_lateral_inclination", "shoulder_elevation", "elbow_flexion")),
    Quantity("frontal_plane_knee_angle"),
)
AT_TURN = tuple(
    Quantity(m, at_turn=True)
    for m in ("thigh_inclination", "shank_inclination", "frontal_plane_knee_angle")
)
# Measure, groups with the largest root mean square error each, degrees.
ERROR_LIMITS: tuple[tuple[Quantity, dict[str, float]], ...] = (
    (Quantity("knee_flexion"), {"all": 6.0, "side": 4.0}),
    (Quantity("hip_flexion"), {"all": 6.0, "side": 4.0}),
    (Quantity("trunk_inclination"), {"all": 4.0, "side": 2.5}),
    (Quantity("thigh_inclination", at_turn=True), {"all": 5.0}),
    (Quantity("shank_inclination", at_turn=True), {"all": 5.0}),
    (Quantity("shoulder_elevation"), {"all": 7.0}),
    (Quantity("elbow_flexion"), {"all": 7.0}),
    (Quantity("frontal_plane_knee_angle", at_turn=True), {"front": 3.5}),
)
SHARE_OF_WORLD = 0.5
COVERED = (0.85, 0.95)
WRONG_LIMIT, DEFINITE_LIMIT = 0.05, 0.75
REAL_LIMIT_DEG = 1.5
COST_LIMIT = 0.20
GROUPS: dict[str, Callable[[Outcome], bool]] = {**REGIONS, "front": is_front}
GROUP_WORDS = {
    "all": "from every side",
    "side": "side views",
    "oblique": "oblique views",
    "front or back": "front and back views",
    "front": "front views",
}


# From how many clips on it is worth telling what is left without the worst.
MIN_CLIPS_WITHOUT = 5
CAMERA_LIMITS = (
    ("Direction", "view_azimuth_error_deg", 8.0),
    ("Tilt", "tilt_error_deg", 2.0),
)


@dataclass(frozen=True)
class Target:
    """One line of the table.

    ``found`` is what the program says, ``body`` the same of the fitted body alone (NaN where there
    is no such thing). ``unit`` is ``deg``, ``share`` or ``times``.
    """

    what: str
    limit: float
    found: float
    body: float = math.nan
    unit: str = "deg"
    at_least: bool = False
    note: str = ""

    @property
    def met(self) -> bool | None:
        """Whether the target is met; None where nothing was measured."""
        if math.isnan(self.found):
            return None
        return self.found >= self.limit if self.at_least else self.found <= self.limit


def list_targets(outcomes: Sequence[Outcome]) -> Iterator[Target]:
    """Yield every target with what was found."""
    yield from _errors(outcomes)
    yield from _ratios(outcomes)
    yield from _camera(outcomes)
    yield _coverage(outcomes)
    yield from _verdicts(outcomes)
    yield from _real_motion(outcomes)
    yield Target(
        "cost of the fit, share of the pose model's processor time, median clip",
        COST_LIMIT,
        _median([o.numbers["fit_share"] for o in outcomes]),
        unit="share",
    )


def _median(values: list[float]) -> float:
    known = [v for v in values if math.isfinite(v)]
    return float(np.median(known)) if known else math.nan


def _errors(outcomes: Sequence[Outcome]) -> Iterator[Target]:
    for quantity, limits in ERROR_LIMITS:
        for group, limit in limits.items():
            members = [o for o in outcomes if GROUPS[group](o)]
            said, body = (pool(members, way, quantity) for way in ("said", "body"))
            yield Target(
                f"{quantity.title}, {GROUP_WORDS[group]}: root mean square error",
                limit,
                said.rmse,
                body.rmse,
                note=_describe_clips(members, quantity, said.clips, said.median),
            )


def _describe_clips(
    members: Sequence[Outcome], quantity: Quantity, clips: int, middle: float
) -> str:
    """Say how many clips there are, and how much a single one weighs."""
    single = np.array([pool([o], "said", quantity).rmse for o in members])
    single = np.sort(single[np.isfinite(single)])
    if len(single) < MIN_CLIPS_WITHOUT:
        return f"{clips} clips; middle clip {middle:.1f}°" if clips else ""
    rest = float(np.sqrt(np.mean(single[:-1] ** 2)))
    return f"{clips} clips; middle clip {middle:.1f}°, all but the worst {rest:.1f}°"


def _camera(outcomes: Sequence[Outcome]) -> Iterator[Target]:
    for what, name, limit in CAMERA_LIMITS:
        errors = np.array([o.numbers[name] for o in outcomes], dtype=float)
        errors = errors[np.isfinite(errors)]
        rmse = float(np.sqrt(np.mean(errors**2))) if len(errors) else math.nan
        yield Target(f"{what} of the camera: root mean square error", limit, rmse)


def _ratios(outcomes: Sequence[Outcome]) -> Iterator[Target]:
    for group in ("oblique", "front or back"):
        members = [o for o in outcomes if GROUPS[group](o)]
        for quantity in FLEXIONS:
            said, body = (ratio_to_world(members, way, quantity) for way in ("said", "body"))
            yield Target(
                f"{quantity.title}, {GROUP_WORDS[group]}: error as a share of that of the pose "
                "model's own 3-D landmarks",
                SHARE_OF_WORLD,
                said,
                body,
                unit="times",
            )


def is_covered(share_inside: float) -> bool:
    """Tell whether a share of 90 % intervals is as it should be."""
    return COVERED[0] <= share_inside <= COVERED[1]


def _coverage(outcomes: Sequence[Outcome]) -> Target:
    met = cells = 0
    for quantity in CORE:
        for key, cell in compute_coverage(outcomes, "said", quantity).items():
            if key is not None and cell.clips:
                cells += 1
                met += is_covered(cell.covered)
    return Target(
        "cells of measure and 30° of azimuth in which 90 % intervals hold 85 to 95 % of the truth",
        1.0,
        share(met, cells),
        unit="share",
        at_least=True,
        note=f"{met} of {cells} cells",
    )


def is_advised(outcome: Outcome) -> bool:
    """Tell whether a clip was filmed as its standard asks for, within 20 degrees."""
    standard, checked = find_standard(outcome.about)
    wanted = is_side if standard.camera.best_view == "side" else is_front_or_back
    return checked and wanted(outcome)


def _verdicts(outcomes: Sequence[Outcome]) -> Iterator[Target]:
    count = count_verdicts(row for o in outcomes for row in o.findings)
    advised = count_verdicts(row for o in outcomes if is_advised(o) for row in o.findings)
    yield Target(
        "wrong ones among definite verdicts",
        WRONG_LIMIT,
        share(count["wrong"], count["known"]),
        unit="share",
        note=f"{count['wrong']} of {count['known']}",
    )
    yield Target(
        "definite verdicts in the view that the movement asks for",
        DEFINITE_LIMIT,
        share(advised["definite"], advised["all"]),
        unit="share",
        at_least=True,
        note=f"{advised['definite']} of {advised['all']}",
    )


def _real_motion(outcomes: Sequence[Outcome]) -> Iterator[Target]:
    real = [o for o in outcomes if o.real]
    invented = [o for o in outcomes if not o.real]
    for quantity in CORE:
        said, body = (
            pool(real, way, quantity).rmse - pool(invented, way, quantity).rmse
            for way in ("said", "body")
        )
        yield Target(
            f"{quantity.title}: error of recorded motion beyond that of invented motion",
            REAL_LIMIT_DEG,
            said,
            body,
        )
