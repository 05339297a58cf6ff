"""The body in the picture: cleaned points, facing direction, and its own lengths in pixels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motioncheck.measures.geometry import compute_distance, rotate_points
from motioncheck.records import CameraView, CleanTrack
from motioncheck.records.arrays import FloatArray
from motioncheck.skeleton import INDEX
from motioncheck.units import wrap_deg

# A segment seen at an angle looks shorter, never longer, so a high percentile over the clip is
# its length; the very top is left out because noise lives there.
LENGTH_PERCENTILE = 90.0
# "Standing" = within 4 % of the highest that hips and shoulders usually get above the foot.
STANDING_SHARE = 0.96
# Hip to ankle as a share of stature: thigh 0.245 and shank 0.246 (Drillis and Contini 1966, as
# drawn by Winter; from memory).
LEG_SHARE = 0.491


@dataclass(frozen=True, slots=True, eq=False)
class BodyPicture:
    """Cleaned landmarks of one clip with the lengths and baselines that measures share.

    Lengths are in pixels. ``forward`` is +1 when the person faces the right edge of the picture,
    -1 the left edge. ``standing`` marks frames of upright standing, shape (T,).
    """

    track: CleanTrack
    view: CameraView
    points: FloatArray
    forward: int
    thigh_px: float
    shank_px: float
    foot_px: float
    shoulder_width_px: float
    hip_width_px: float
    upper_arm_px: float
    forearm_px: float
    trunk_px: float
    standing: np.ndarray[tuple[int], np.dtype[np.bool_]]

    @property
    def leg_px(self) -> float:
        """Length of the leg from hip to ankle."""
        return self.thigh_px + self.shank_px

    @property
    def stature_px(self) -> float:
        """Stature, from the length of the leg (0.491 of it: Drillis and Contini, from memory)."""
        return self.leg_px / LEG_SHARE

    def at(self, name: str) -> FloatArray:
        """Return one landmark in the picture, tilt corrected, shape (T, 2), pixels."""
        return self.points[:, INDEX[name]]

    def mid(self, part: str) -> FloatArray:
        """Return the middle of a left-right pair; one side alone where the other is hidden."""
        return mean_seen(self.at(f"left_{part}"), self.at(f"right_{part}"))

    def standing_median(self, values: FloatArray) -> float:
        """Return the median of a series over standing frames; NaN where there are none."""
        return median_seen(values[self.standing])


def mean_seen(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the mean of two arrays, or the one that is not NaN."""
    both = (a + b) / 2.0
    return np.where(np.isfinite(both), both, np.where(np.isfinite(a), a, b))


def median_seen(values: FloatArray) -> float:
    """Return the median of finite values, NaN if there are none."""
    finite = values[np.isfinite(values)]
    return float(np.median(finite)) if len(finite) else float("nan")


def percentile_seen(values: FloatArray, percent: float) -> float:
    """Return a percentile of finite values, NaN if there are none."""
    finite = values[np.isfinite(values)]
    return float(np.percentile(finite, percent)) if len(finite) else float("nan")


def build_body(track: CleanTrack, view: CameraView) -> BodyPicture:
    """Collect what all measures need from a cleaned track and its view.

    The phone's tilt is taken out here when the view says that it is sure of it.
    """
    points = track.image_px
    if view.tilt_corrected:
        centre = (track.width_px / 2.0, track.height_px / 2.0)
        points = rotate_points(points, view.tilt_deg, centre)

    def length(a: str, b: str) -> float:
        sides = [
            compute_distance(points[:, INDEX[f"{s}_{a}"]], points[:, INDEX[f"{s}_{b}"]])
            for s in ("left", "right")
        ]
        found = [percentile_seen(d, LENGTH_PERCENTILE) for d in sides]
        return _mean_finite(found)

    def width(part: str) -> float:
        pair = (points[:, INDEX[f"left_{part}"]], points[:, INDEX[f"right_{part}"]])
        return percentile_seen(compute_distance(*pair), LENGTH_PERCENTILE)

    azimuth = wrap_deg(view.azimuth_deg)
    return BodyPicture(
        track=track,
        view=view,
        points=points,
        forward=-1 if azimuth > 0 else 1,
        thigh_px=length("hip", "knee"),
        shank_px=length("knee", "ankle"),
        foot_px=length("heel", "toe"),
        shoulder_width_px=width("shoulder"),
        hip_width_px=width("hip"),
        upper_arm_px=length("shoulder", "elbow"),
        forearm_px=length("elbow", "wrist"),
        trunk_px=length("shoulder", "hip"),
        standing=find_standing(points),
    )


def _mean_finite(values: list[float]) -> float:
    finite = [v for v in values if np.isfinite(v)]
    return float(np.mean(finite)) if finite else float("nan")


def compute_hip_height_px(points: FloatArray) -> FloatArray:
    """Compute the height of the mid-hip above the lower (supporting) ankle, shape (T,), pixels."""
    hip = mean_seen(points[:, INDEX["left_hip"], 1], points[:, INDEX["right_hip"], 1])
    return np.asarray(lower_ankle_y(points) - hip)


def lower_ankle_y(points: FloatArray) -> FloatArray:
    """Return the picture height of the lower ankle seen (y down), shape (T,); NaN if neither is."""
    return np.fmax(points[:, INDEX["left_ankle"], 1], points[:, INDEX["right_ankle"], 1])


def find_standing(points: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Find frames in which hips and shoulders are about as high above the foot as they get.

    Hips alone would count a deep fold over straight legs; where no shoulder is seen they decide.
    """
    foot = lower_ankle_y(points)
    left, right = (points[:, INDEX[f"{side}_shoulder"], 1] for side in ("left", "right"))
    shoulders = mean_seen(left, right)
    hips_up = _near_top(compute_hip_height_px(points), unseen=False)
    return np.asarray(hips_up & _near_top(foot - shoulders, unseen=True))


def _near_top(height: FloatArray, *, unseen: bool) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    top = percentile_seen(height, 95.0)
    near = np.nan_to_num(height, nan=-1.0) >= STANDING_SHARE * top
    return np.asarray(np.where(np.isfinite(height), near, unseen), dtype=np.bool_)
