"""How a measure would be known from another direction, and how to film it from there."""

from __future__ import annotations

import math
from collections.abc import Callable

from motioncheck.measures.calibration import (
    Calibration,
    at_turn,
    expected_with_body,
    relative_azimuth_deg,
)
from motioncheck.measures.registry import MeasureSpec, Plane
from motioncheck.measures.table import wanted_plane
from motioncheck.measures.visible import judge_plane, turn_out_of_plane_deg
from motioncheck.records import CameraView
from motioncheck.units import wrap_deg

STEP_DEG = 10
# A direction is recommended when what it reaches is this much better than what is needed at all.
MARGIN = 0.8
# So near to it a view counts as square in words.
SQUARE_DEG = 12.5
# Of a move, this share has to lead towards a side of the athlete for that side to be named.
TOWARD_SHARE = 0.7
SIDES_OF_ATHLETE = {0.0: "front", 90.0: "left", 180.0: "back", -90.0: "right"}
MORE_FROM = {"front": "the front", "back": "behind", "left": "the side", "right": "the side"}
WidthAt = Callable[[float], float]


def expect_half_width(
    spec: MeasureSpec,
    side: str,
    azimuth_deg: float,
    calibration: Calibration,
    *,
    plane: Plane,
    azimuth_uncertainty_deg: float,
    harder: float = 1.0,
) -> float:
    """Return the half-width of the 90 % interval to expect of a measure from a direction.

    Parameters
    ----------
    spec : MeasureSpec
    side : str
        ``left``, ``right``, or anything else for a measure without sides.
    azimuth_deg : float
        Where the camera stands.
    plane : str
        In which the measure is wanted; counts where the measure itself has no plane.
    azimuth_uncertainty_deg : float
        How well the direction will be known.
    harder : float
        How many times as wide as usual the fitted body is expected to be: a folded body is known
        worse from everywhere.

    Returns
    -------
    float
        The smaller one of picture and fitted body, every landmark well seen; infinite where
        neither can show it.
    """
    entry, turn = calibration.of(spec.id), relative_azimuth_deg(azimuth_deg, side)
    with_body = harder * expect_with_body(spec.id, side, azimuth_deg, calibration)
    view = CameraView("", azimuth_deg, azimuth_uncertainty_deg, math.nan, math.nan)
    # A time has no formula of its own, so the plane it is asked in is that of its movement.
    needed = plane if spec.compute is None else wanted_plane(spec, {spec.id: plane})
    if not judge_plane(needed, view).ok:
        return with_body
    off = math.radians(turn_out_of_plane_deg(needed, view))
    stated = math.hypot(spec.guard, spec.per_turn * (1.0 - math.cos(off)))
    factor = at_turn(entry.picture.factor, turn)
    return min(with_body, math.hypot(entry.picture.floor, factor * stated))


def expect_with_body(
    measure: str, side: str, azimuth_deg: float, calibration: Calibration
) -> float:
    """Return the half-width usually reached with the fitted body; infinite if never calibrated."""
    turn = relative_azimuth_deg(azimuth_deg, side)
    return expected_with_body(calibration.of(measure).body, turn)


def find_move(width_at: WidthAt, azimuth_deg: float, largest: float) -> int | None:
    """Return by how much the camera should move around the athlete, in steps of 10 degrees.

    Parameters
    ----------
    width_at : callable
        Expected half-width at a direction of the camera, degrees.
    azimuth_deg : float
        Where it stood.
    largest : float
        Half-width that can be borne; the move ends where 0.8 of it is expected.

    Returns
    -------
    int or None
        Positive moves go from the front over the person's left to the back. Of two equal ones the
        one that ends where more is seen. None where no direction will do.
    """
    for size in range(0, 181, STEP_DEG):
        moves = sorted({size, -size}, key=lambda d: (width_at(wrap_deg(azimuth_deg + d)), -d))
        if width_at(wrap_deg(azimuth_deg + moves[0])) <= MARGIN * largest:
            return moves[0]
    return None


def describe_move(azimuth_deg: float, move_deg: int | None) -> str:
    """Return advice in one sentence for a move that `find_move` gave."""
    if move_deg is None:
        return "No direction of the camera is known to show this well enough."
    if move_deg == 0:
        return (
            "The direction is right: keep the whole body in the picture, in good light, with "
            "nothing in front of it."
        )
    size = "a quarter turn" if abs(move_deg) == 90 else f"about {abs(move_deg)}°"
    side = name_side(azimuth_deg, move_deg)
    place = name_square(azimuth_deg + move_deg) or f"more from {MORE_FROM[side]}"
    return f"Film it {place}: move the phone {size} around the athlete, toward their {side}."


def describe_plane(plane: Plane) -> str:
    """Return advice in one sentence where it is not known from where a clip was filmed."""
    return f"Film it {name_square(90.0 if plane == 'sagittal' else 0.0)}."


def name_square(azimuth_deg: float) -> str:
    """Return from where to film in words, empty for a direction between the square ones."""
    off_front = abs(wrap_deg(azimuth_deg))
    if off_front <= SQUARE_DEG:
        return "from straight in front"
    if off_front >= 180.0 - SQUARE_DEG:
        return "from straight behind"
    if abs(off_front - 90.0) <= SQUARE_DEG:
        return "square from the side, lens at hip height"
    return ""


def name_side(azimuth_deg: float, move_deg: float) -> str:
    """Return the side of the athlete that a move of the camera leads to.

    Of the sides that most of the move leads towards, the one nearest to where it ends.
    """

    def away(azimuth: float, place: float) -> float:
        return abs(wrap_deg(azimuth - place))

    target = azimuth_deg + move_deg
    enough = TOWARD_SHARE * abs(move_deg)
    toward = [
        place
        for place in SIDES_OF_ATHLETE
        if away(azimuth_deg, place) - away(target, place) >= enough - 1e-9
    ]
    nearest = min(toward or SIDES_OF_ATHLETE, key=lambda place: away(target, place))
    return SIDES_OF_ATHLETE[nearest]
