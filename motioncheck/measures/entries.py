"""How an entry of the measure registry is written: angles, ratios and times.

Guard bands marked "working default" come from published errors of video-based angles (side-view
squat knee flexion of the same landmark model: -2.3 +/- 6.4 degrees, Cosoli, Arnesano & Scalise
2026; frontal-plane projection angle SEM 2.7 to 3.0 degrees, Munro, Herrington & Carolan 2012) and
from common practice, no source. They are half-widths in a square view of the limb's plane.
"""

from __future__ import annotations

from motioncheck.measures import image, image_load
from motioncheck.measures.registry import Compute, MeasureSpec, Plane

GONIOMETRY = "goniometry: anatomical position is 0, flexion positive (ISB, Wu et al. 2002, 2005)"
PRACTICE = "common practice, no source"
VIDEO_ERROR = "working default from published video errors and common practice"
# Error per (1 - cos turn), from the projection of two segments that turn out of the picture:
# at 20 and 30 degrees it gives 3.0 and 6.7 degrees for a joint angle (exact cases: 2.9 and 6.7).
JOINT_TURN = 50.0
LINE_TURN = 28.6


def _formula(name: str) -> Compute:
    """Return the formula of that name."""
    found: Compute = getattr(image, name, None) or getattr(image_load, name)
    return found


def angle(
    name: str,
    title: str,
    plane: Plane,
    guard: float,
    points: tuple[str, ...],
    *,
    formula: str,
    sign: str,
    sided: bool = True,
    per_turn: float = JOINT_TURN,
    source: str = GONIOMETRY,
    span: tuple[float, float] = (-180.0, 180.0),
    words: str = "",
    picture_only: bool = False,
) -> MeasureSpec:
    """Return an entry in degrees; the formula of the same name is in `image`.

    ``words`` say where the angle counts from, such as ``above level``.
    """
    return MeasureSpec(
        name,
        title,
        sided,
        plane,
        "deg",
        sign,
        formula,
        guard,
        per_turn,
        points,
        source,
        VIDEO_ERROR,
        span,
        _formula(name),
        words,
        picture_only,
    )


def ratio(
    name: str,
    title: str,
    plane: Plane,
    guard: float,
    points: tuple[str, ...],
    *,
    formula: str,
    sign: str,
    of: str,
    sided: bool = False,
    per_turn: float = 1.0,
    source: str = PRACTICE,
    span: tuple[float, float] = (-5.0, 5.0),
    picture_only: bool = False,
) -> MeasureSpec:
    """Return an entry that compares two lengths; ``of`` says what one unit is."""
    return MeasureSpec(
        name,
        title,
        sided,
        plane,
        "ratio",
        sign,
        formula,
        guard,
        per_turn,
        points,
        source,
        PRACTICE,
        span,
        _formula(name),
        of,
        picture_only,
    )


def timing(name: str, title: str, unit: str, guard: float, *, formula: str) -> MeasureSpec:
    """Return an entry that comes from the events instead of the picture."""
    return MeasureSpec(
        name,
        title,
        False,
        "any",
        unit,
        "longer or more is larger",
        formula,
        guard,
        0.0,
        (),
        PRACTICE,
        "two frames at 30 frames a second, " + PRACTICE,
        (0.0, 1000.0),
        None,
    )
