"""Errors of outcomes, pooled by group: arithmetic only.

An error is the measured value minus the true one, degrees the short way round. Clips count alike:
the root mean square error of a group is the root of the mean, over its clips, of the mean square
over frames and both sides.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from outcomes import COLUMNS, Outcome
from report_clips import wrap

from motioncheck.measures import REGISTRY

Array = NDArray[np.float64]
BINS_DEG = tuple(range(0, 360, 30))
SQUARE_DEG = 20.0
TURN_DEG = 10.0
DEPTH = ("thigh_inclination_left", "thigh_inclination_right")


@dataclass(frozen=True)
class Quantity:
    """A measure over a whole clip, or only at the turn of squats."""

    measure: str
    at_turn: bool = False

    @property
    def title(self) -> str:
        """Name for tables."""
        return REGISTRY[self.measure].title + (", at the turn of squats" if self.at_turn else "")

    @property
    def unit(self) -> str:
        """``deg`` or ``ratio``."""
        return REGISTRY[self.measure].unit


def off_front_deg(outcome: Outcome) -> float:
    """Return how far the camera stood from the front, 0 to 180."""
    return abs(float(wrap(outcome.numbers["azimuth_deg"])))


def off_side_deg(outcome: Outcome) -> float:
    """Return how far the camera stood from a square side view, 0 to 90."""
    return abs(90.0 - off_front_deg(outcome))


def is_side(outcome: Outcome) -> bool:
    """Tell a side view."""
    return off_side_deg(outcome) <= SQUARE_DEG


def is_front_or_back(outcome: Outcome) -> bool:
    """Tell a view from the front or from behind."""
    return off_side_deg(outcome) >= 90.0 - SQUARE_DEG


def is_front(outcome: Outcome) -> bool:
    """Tell a view from the front."""
    return off_front_deg(outcome) <= SQUARE_DEG


def is_oblique(outcome: Outcome) -> bool:
    """Tell any other view."""
    return not is_side(outcome) and not is_front_or_back(outcome)


REGIONS: dict[str, Callable[[Outcome], bool]] = {
    "all": lambda outcome: True,
    "side": is_side,
    "oblique": is_oblique,
    "front or back": is_front_or_back,
}


def nearest_bin(azimuth_deg: float) -> int:
    """Return the nearest of 0, 30 .. 330 degrees."""
    return int(round(float(azimuth_deg) / 30.0) * 30 % 360)


def group_by(
    outcomes: Iterable[Outcome], key: Callable[[Outcome], object]
) -> dict[str, list[Outcome]]:
    """Return outcomes by a key, in the order of the keys."""
    groups: dict[str, list[Outcome]] = {}
    for outcome in sorted(outcomes, key=lambda o: str(key(o))):
        groups.setdefault(str(key(outcome)), []).append(outcome)
    return groups


def at_turn(outcome: Outcome, truth: Array) -> NDArray[np.bool_]:
    """Return the frames within 10 degrees of the deepest thigh of a squat.

    Among the frames in which the true measure has a meaning: from the front, the angle of a knee
    whose thigh points at the lens has none. No frame at all in other movements.
    """
    if "squat" not in outcome.about["motion_id"]:
        return np.zeros(len(truth), dtype=np.bool_)
    depth = np.min(outcome.truth[:, [COLUMNS.index(c) for c in DEPTH]], axis=1)
    depth = np.where(np.isfinite(truth), depth, np.inf)
    return np.isfinite(truth) & (depth <= np.nanmin(depth) + TURN_DEG)


def read_errors(outcome: Outcome, way: str, quantity: Quantity) -> list[tuple[str, Array, Array]]:
    """Return side, error and half-width of each side, (T,) where the true measure has a meaning.

    NaN where this way has no value. Half-widths are NaN for ways that state none.
    """
    found = []
    for column in REGISTRY[quantity.measure].ids():
        at = COLUMNS.index(column)
        truth = outcome.truth[:, at]
        rows = at_turn(outcome, truth) if quantity.at_turn else np.isfinite(truth)
        error = outcome.values[way][rows, at] - truth[rows]
        if quantity.unit == "deg":
            error = wrap(error)
        half = outcome.raw[way][rows, at] if way in outcome.raw else np.full(len(error), np.nan)
        side = column.removeprefix(quantity.measure).strip("_")
        found.append((side, error, half))
    return found


@dataclass(frozen=True)
class Pooled:
    """Errors of a group of clips; NaN where nothing was measured.

    ``rmse`` is pooled over clips, ``median`` that of the middle clip, ``bias`` the mean over clips
    of their mean error, ``sd`` the scatter about it. ``seen`` is the share of frames with a value.
    """

    rmse: float
    median: float
    bias: float
    sd: float
    seen: float
    clips: int


NOTHING = Pooled(*(float("nan"),) * 4, 0.0, 0)


def pool(outcomes: Sequence[Outcome], way: str, quantity: Quantity) -> Pooled:
    """Pool the errors of some clips."""
    together = [np.concatenate([e for _, e, _ in read_errors(o, way, quantity)]) for o in outcomes]
    return pool_errors(together)


def pool_errors(clips: Sequence[Array]) -> Pooled:
    """Pool errors given by clip; NaN = not measured."""
    asked = [e for e in clips if len(e)]
    known = [e[np.isfinite(e)] for e in asked]
    seen = [len(k) / len(e) for k, e in zip(known, asked, strict=True)]
    known = [e for e in known if len(e)]
    if not known:
        return NOTHING
    squares = np.array([np.mean(e**2) for e in known])
    bias = float(np.mean([np.mean(e) for e in known]))
    return Pooled(
        rmse=float(np.sqrt(squares.mean())),
        median=float(np.median(np.sqrt(squares))),
        bias=bias,
        sd=float(np.sqrt(max(squares.mean() - bias**2, 0.0))),
        seen=float(np.mean(seen)),
        clips=len(known),
    )


def ratio_to_world(outcomes: Sequence[Outcome], way: str, quantity: Quantity) -> float:
    """Return the error of a way in errors of the model's own 3-D joints, on the same frames."""
    ours, world = [], []
    for outcome in outcomes:
        pairs = zip(
            read_errors(outcome, way, quantity),
            read_errors(outcome, "world", quantity),
            strict=True,
        )
        for (_, a, _), (_, b, _) in pairs:
            both = np.isfinite(a) & np.isfinite(b)
            ours.append(np.where(both, a, np.nan))
            world.append(np.where(both, b, np.nan))
    below = pool_errors(world).rmse
    return pool_errors(ours).rmse / below if below > 0 else float("nan")


@dataclass(frozen=True)
class Cell:
    """Share of the truth within the stated 90 % intervals, every clip and side counting alike.

    ``error`` is the standard error of that share over clips.
    """

    covered: float
    error: float
    clips: int


def cover(shares: Sequence[float], clips: int) -> Cell:
    """Return a cell from the share of each clip and side."""
    if not shares:
        return Cell(float("nan"), float("nan"), 0)
    error = np.std(shares, ddof=1) / np.sqrt(clips) if len(shares) > 1 else np.nan
    return Cell(float(np.mean(shares)), float(error), clips)


def relative_bin(outcome: Outcome, side: str) -> int:
    """Return the bin of the camera counted so that 90 faces the side that is measured."""
    azimuth = outcome.numbers["azimuth_deg"]
    return nearest_bin(-azimuth if side == "right" else azimuth)


def compute_coverage(
    outcomes: Sequence[Outcome], way: str, quantity: Quantity
) -> dict[int | None, Cell]:
    """Return the coverage by bin, and under None that of all; bins as in `relative_bin`."""
    shares: dict[int | None, list[float]] = {}
    clips: dict[int | None, set[str]] = {}
    for outcome in outcomes:
        for side, error, half in read_errors(outcome, way, quantity):
            known = np.isfinite(error) & np.isfinite(half)
            if not known.any():
                continue
            inside = float(np.mean(np.abs(error[known]) <= half[known]))
            for key in (relative_bin(outcome, side), None):
                shares.setdefault(key, []).append(inside)
                clips.setdefault(key, set()).add(outcome.name)
    return {key: cover(values, len(clips[key])) for key, values in shares.items()}


def score_clip(outcome: Outcome, way: str, quantities: Sequence[Quantity]) -> float:
    """Return the root mean square of the errors of several measures in one clip."""
    squares = [pool([outcome], way, q).rmse ** 2 for q in quantities]
    known = [s for s in squares if np.isfinite(s)]
    return float(np.sqrt(np.mean(known))) if known else float("nan")
