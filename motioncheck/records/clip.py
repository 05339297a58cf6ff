"""What is known about a clip before and after decoding."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class ClipInfo:
    """One video file as its container describes it.

    Sizes are those of the upright picture (rotation applied). ``frames_expected`` is None where
    the container does not say. ``frame_rate_hz`` is the average rate.
    """

    name: str
    sha256: str
    duration_s: float
    frame_rate_hz: float
    width_px: int
    height_px: int
    rotation_deg: int
    codec: str = ""
    frames_expected: int | None = None
    start_s: float = 0.0


@dataclass(frozen=True, slots=True)
class DecodeReport:
    """What decoding met: frames read, packets that could not be decoded, an early end.

    ``notes`` are plain sentences for the sheet. ``variable_rate`` is True when intervals between
    frames differ by more than 20 % of their median.
    """

    frames_read: int
    packets_damaged: int = 0
    ended_early: bool = False
    variable_rate: bool = False
    notes: tuple[str, ...] = field(default=())
