"""Landmarks over time, as the model gave them and after cleaning."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from motioncheck.records.arrays import FloatArray, check_time, set_frozen
from motioncheck.skeleton import COUNT, INDEX


@dataclass(frozen=True, slots=True, eq=False)
class LandmarkTrack:
    """Landmarks of one person over time, straight from the pose model.

    Attributes
    ----------
    time_s : ndarray, shape (T,)
        Presentation time of each frame, strictly increasing, from the container.
    image_px : ndarray, shape (T, 33, 2)
        x to the right and y down, in pixels of the upright full-size picture. NaN = nobody found.
    visibility : ndarray, shape (T, 33)
        Model's belief that the landmark can be seen, 0 to 1; NaN = nobody found.
    world_m : ndarray, shape (T, 33, 3)
        Model's own 3-D estimate in metres about the mid-hip: x right in the picture, y down,
        z away from the camera. NaN = nobody found.
    width_px, height_px : int
        Size of the upright picture.
    model : str
        Name of the model, such as ``full``.
    model_sha256 : str
        Checksum of the model bundle.
    notes : tuple of str
        Plain sentences for the sheet: other people in the picture, jumps that were cut.
    jumps_cut : int
        How often the track jumped to someone else and was cut there.
    people : int
        The most people seen at one time (1 when nobody else was noticed).
    """

    time_s: FloatArray
    image_px: FloatArray
    visibility: FloatArray
    world_m: FloatArray
    width_px: int
    height_px: int
    model: str
    model_sha256: str = ""
    notes: tuple[str, ...] = field(default=())
    jumps_cut: int = 0
    people: int = 1

    def __post_init__(self) -> None:
        set_frozen(self, "time_s", self.time_s, (None,))
        frames = len(self.time_s)
        set_frozen(self, "image_px", self.image_px, (frames, COUNT, 2))
        set_frozen(self, "visibility", self.visibility, (frames, COUNT))
        set_frozen(self, "world_m", self.world_m, (frames, COUNT, 3))
        check_time(self, self.time_s)

    @property
    def seen_ratio(self) -> float:
        """Share of frames in which somebody was found."""
        if len(self.time_s) == 0:
            return 0.0
        return float(np.mean(np.isfinite(self.image_px[:, INDEX["left_hip"], 0])))

    def point(self, name: str) -> FloatArray:
        """Return the picture position of one landmark, shape (T, 2), pixels."""
        return self.image_px[:, INDEX[name]]


@dataclass(frozen=True, slots=True)
class CleaningStep:
    """One step of cleaning: what was done in plain words, and how much it touched."""

    name: str
    text: str
    count: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class CleanTrack:
    """Landmarks on a uniform time axis after cleaning.

    Arrays are as in `LandmarkTrack`. Here NaN means "not measurable at this instant": nobody
    there, the landmark hidden, or a gap too long to fill. ``visibility`` is interpolated and
    never NaN (0 where nobody was found).
    """

    time_s: FloatArray
    image_px: FloatArray
    visibility: FloatArray
    world_m: FloatArray
    width_px: int
    height_px: int
    rate_hz: float
    cutoff_hz: float
    steps: tuple[CleaningStep, ...] = field(default=())
    swaps_repaired: int = 0
    gaps_filled_s: float = 0.0

    def __post_init__(self) -> None:
        set_frozen(self, "time_s", self.time_s, (None,))
        frames = len(self.time_s)
        set_frozen(self, "image_px", self.image_px, (frames, COUNT, 2))
        set_frozen(self, "visibility", self.visibility, (frames, COUNT))
        set_frozen(self, "world_m", self.world_m, (frames, COUNT, 3))
        check_time(self, self.time_s)

    def point(self, name: str) -> FloatArray:
        """Return the picture position of one landmark, shape (T, 2), pixels."""
        return self.image_px[:, INDEX[name]]

    def world(self, name: str) -> FloatArray:
        """Return the model's 3-D position of one landmark, shape (T, 3), metres."""
        return self.world_m[:, INDEX[name]]

    def seen(self, name: str) -> FloatArray:
        """Return the visibility of one landmark, shape (T,)."""
        return self.visibility[:, INDEX[name]]
