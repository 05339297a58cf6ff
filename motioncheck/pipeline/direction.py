"""From where a movement has to be filmed so that anything of it can be judged."""

from __future__ import annotations

import math

from motioncheck.errors import WrongViewError
from motioncheck.measures.filming import describe_move, find_move
from motioncheck.records import CameraView
from motioncheck.standards import Standard
from motioncheck.units import wrap_deg


def require_direction(view: CameraView, standard: Standard) -> None:
    """Refuse a clip filmed from where nothing of the movement can be judged.

    Most movements need no limit: what a camera cannot show is "not visible", check by check. Of a
    body that kneels or lies along the line of sight the pose model takes one limb for another, so
    that even its holds and stages are wrong, and the errors of what is fitted to it are larger than
    they are known to be; then nothing that is said would be true.

    Parameters
    ----------
    view : CameraView
        From where it was filmed; an unknown direction passes.
    standard : Standard
        Its ``judged_within_deg`` is the limit, None for every direction.

    Raises
    ------
    WrongViewError
        If the camera stood farther off, by more than the uncertainty of its direction.
    """
    camera = standard.camera
    limit = camera.judged_within_deg
    if limit is None or math.isnan(view.azimuth_deg):
        return
    off_deg = compute_off_deg(view.azimuth_deg, camera.best_view)
    if off_deg - view.azimuth_uncertainty_deg <= limit:
        return
    move = find_move(
        lambda azimuth: compute_off_deg(azimuth, camera.best_view), view.azimuth_deg, limit
    )
    raise WrongViewError(
        f"Expected {standard.title.lower()} filmed from the {camera.best_view}, within {limit:g}°, "
        f"found the phone {off_deg:.0f}° ± {view.azimuth_uncertainty_deg:.0f}° off ({view.view}): "
        "from there it cannot be judged.",
        hint=describe_move(view.azimuth_deg, move),
    )


def compute_off_deg(azimuth_deg: float, best_view: str) -> float:
    """Return how far a direction is from the best one, 0 to 90 degrees.

    Either side is as good as the other, and the back as good as the front.
    """
    off_front = abs(wrap_deg(azimuth_deg))
    off_plane = min(off_front, 180.0 - off_front)
    return 90.0 - off_plane if best_view == "side" else off_plane
