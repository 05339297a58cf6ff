"""What the picture of one camera can show: which planes, and how far off square.

This decides only whether the formula of the picture means anything. Whether a check can be judged
follows from the uncertainty of its measure, whatever its source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from motioncheck.measures.registry import Plane
from motioncheck.records import CameraView

# Out-of-plane error of a sagittal angle stays below about 7 degrees up to 30 degrees of turn and
# grows fast beyond (geometry of projected segments; Stevens et al. 2006 find it negligible below
# 20 degrees). A few degrees are added for the uncertainty of the view itself.
SAGITTAL_LIMIT_DEG = 35.0
FRONTAL_LIMIT_DEG = 35.0
# Flexion leaks into the frontal-plane knee angle: 10 degrees of false valgus at 90 degrees of
# flexion for every 5 degrees of turn. Beyond this limit no verdict can survive.
STRICT_LIMIT_DEG = 12.0


@dataclass(frozen=True, slots=True)
class Visibility:
    """Whether a plane can be seen in the picture; if not, why."""

    ok: bool
    reason: str = ""


def judge_plane(plane: Plane, view: CameraView) -> Visibility:
    """Tell whether the picture of this camera can show a plane.

    Parameters
    ----------
    plane : str
        Required plane.
    view : CameraView
        Where the camera stood.

    Returns
    -------
    Visibility
        Not ok, with the reason, when the body is turned too far out of the plane or the direction
        of the body could not be told.
    """
    if plane in ("any", "transverse"):
        return Visibility(ok=True)
    if not math.isfinite(view.azimuth_deg):
        return Visibility(False, "which way the body faces could not be told")
    off, limit = _off_and_limit(plane, view)
    if off <= limit:
        return Visibility(ok=True)
    wanted = "side" if plane == "sagittal" else "front"
    return Visibility(False, f"filmed from the {view.view}, {off:.0f}° off a square {wanted} view")


def turn_out_of_plane_deg(plane: Plane, view: CameraView) -> float:
    """Return the likely turn out of a plane, with the uncertainty of the view folded in.

    0 for planes that any camera can show; NaN when the view is unknown.
    """
    if plane in ("any", "transverse"):
        return 0.0
    off, _ = _off_and_limit(plane, view)
    return math.hypot(off, view.azimuth_uncertainty_deg)


def _off_and_limit(plane: Plane, view: CameraView) -> tuple[float, float]:
    if plane == "sagittal":
        return view.off_sagittal_deg, SAGITTAL_LIMIT_DEG
    limit = STRICT_LIMIT_DEG if plane == "frontal strict" else FRONTAL_LIMIT_DEG
    return view.off_frontal_deg, limit
