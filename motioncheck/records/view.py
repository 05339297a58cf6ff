"""Which way the body faces the lens, and how the phone is tilted."""

from __future__ import annotations

from dataclasses import dataclass

from motioncheck.units import wrap_deg

VIEW_NAMES = (
    (22.5, "front"),
    (67.5, "front-{side}"),
    (112.5, "{side} side"),
    (157.5, "back-{side}"),
    (180.1, "back"),
)


def name_view(azimuth_deg: float) -> str:
    """Return the view in words: ``front``, ``front-left``, ``left side``, ... ``back``."""
    side = "left" if wrap_deg(azimuth_deg) > 0 else "right"
    size = abs(wrap_deg(azimuth_deg))
    return next(name for limit, name in VIEW_NAMES if size <= limit).format(side=side)


@dataclass(frozen=True, slots=True)
class CameraView:
    """View of the body by the camera.

    ``azimuth_deg`` is the direction of the camera as seen from the body: 0 in front, +90 on the
    person's left, -90 on the right, 180 behind. ``tilt_deg`` is the roll of the phone: positive
    when the picture must be turned clockwise to stand upright. Uncertainties are one standard
    deviation. NaN means it could not be told.
    """

    view: str
    azimuth_deg: float
    azimuth_uncertainty_deg: float
    tilt_deg: float
    tilt_uncertainty_deg: float
    tilt_corrected: bool = False
    notes: tuple[str, ...] = ()

    @property
    def off_sagittal_deg(self) -> float:
        """Angle between the lens and a square side view, 0 to 90."""
        return 90.0 - self.off_frontal_deg

    @property
    def off_frontal_deg(self) -> float:
        """Angle between the lens and the nearer of a square front or back view, 0 to 90."""
        from_front = abs(wrap_deg(self.azimuth_deg))
        return min(from_front, 180.0 - from_front)

    @property
    def near_side(self) -> str:
        """The person's side that faces the lens: ``left``, ``right``, or ``both``."""
        if not self.off_frontal_deg > 20.0:
            return "both"
        return "left" if wrap_deg(self.azimuth_deg) > 0 else "right"
