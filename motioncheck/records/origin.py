"""How a sheet came about: how measures were obtained, what was not seen, what produced it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BlindSpot:
    """A check this camera cannot show, why, and how to film it instead."""

    check: str
    title: str
    reason: str
    advice: str


@dataclass(frozen=True, slots=True)
class MeasureInfo:
    """How one measure was obtained, over all reps.

    ``body_share`` is the share of its values that are those of the fitted body, None where it has
    none; ``half_width`` its usual half-width of the 90 % interval, on the better known side.
    ``corrections`` says for each source the largest correction made.
    """

    measure: str
    title: str
    unit: str
    unit_words: str
    formula: str
    sign: str
    body_share: float | None
    half_width: float | None
    corrections: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TrackInfo:
    """How well the body was followed, and what cleaning did (plain sentences in ``steps``)."""

    model: str
    frames: int
    seen_ratio: float
    swaps_repaired: int
    gaps_filled_s: float
    jumps_cut: int
    people: int
    steps: tuple[str, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Provenance:
    """What produced the sheet, so that it can be repeated.

    ``calibration`` is the version of the calibration table.
    """

    program: str
    version: str
    model_sha256: str
    standard_hash: str
    options: Mapping[str, str | float | int | bool | None]
    libraries: Mapping[str, str]
    calibration: str = ""
