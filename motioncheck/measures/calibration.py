"""Calibration: systematic errors that are taken out, and how far a value may still be off.

The table is made from rendered bodies, whose true angles are known; it is an asset like the pose
model. Each measure has one entry for the picture and one for the fitted body.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from types import MappingProxyType
from typing import Annotated, Final, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError, model_validator

from motioncheck.assets import read_asset
from motioncheck.errors import MissingPartError
from motioncheck.records.arrays import FloatArray
from motioncheck.units import FULL_TURN_DEG, wrap_deg

ASSET: Final = "calibration.json"
FORMAT: Final = "motioncheck/calibration/1"
TURN_STEP_DEG: Final = 30.0
TURNS: Final = 12
# Half-width of the 90 % interval of a normal error, in standard errors.
Z90: Final = 1.645
Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
PerTurn = Annotated[tuple[Positive, ...], Field(min_length=TURNS, max_length=TURNS)]


class Correction(BaseModel):
    """What is known about the errors of one measure from one source.

    Attributes
    ----------
    bias_at, bias : tuple of float
        Systematic error at measured values, unit of the measure; between the values it is
        interpolated, outside the end value holds. Empty: none.
    floor : float
        Smallest half-width of the 90 % interval, unit of the measure.
    factor : tuple of float, 12
        What a half-width that was stated has to be multiplied with, by the direction of the
        camera, from -180 degrees in steps of 30; see `relative_azimuth_deg`.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    bias_at: tuple[Finite, ...] = ()
    bias: tuple[Finite, ...] = ()
    floor: NotNegative = 0.0
    factor: PerTurn = (1.0,) * TURNS

    @model_validator(mode="after")
    def _bias_is_a_curve(self) -> Correction:
        if len(self.bias) != len(self.bias_at):
            raise ValueError("bias and bias_at must be equally long")
        if any(b <= a for a, b in zip(self.bias_at, self.bias_at[1:], strict=False)):
            raise ValueError("bias_at must rise")
        return self


class BodyCorrection(Correction):
    """The same for the fitted body.

    ``typical`` is the half-width usually reached from each direction; None = never calibrated.
    """

    typical: Annotated[tuple[Positive | None, ...], Field(min_length=TURNS, max_length=TURNS)] = (
        None,
    ) * TURNS


class MeasureCalibration(BaseModel):
    """The entry of one measure."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    picture: Correction = Correction()
    body: BodyCorrection = BodyCorrection()


NO_CALIBRATION: Final = MeasureCalibration()


@dataclass(frozen=True, slots=True)
class Calibration:
    """The whole table: where it comes from, and an entry a measure.

    A measure without an entry is taken as it is: no bias, factor 1, floor 0.
    """

    version: str = ""
    model: str = ""
    about: str = ""
    measures: Mapping[str, MeasureCalibration] = field(default_factory=dict)

    def of(self, measure: str) -> MeasureCalibration:
        """Return the entry of a measure (id without side)."""
        return self.measures.get(measure, NO_CALIBRATION)


NEUTRAL: Final = Calibration()


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    format: Literal["motioncheck/calibration/1"]
    version: Annotated[str, Field(min_length=1, max_length=40)]
    model: Annotated[str, Field(min_length=1, max_length=40)]
    made_by: Annotated[str, Field(min_length=1, max_length=200)]
    about: Annotated[str, Field(min_length=1, max_length=400)]
    measures: dict[str, MeasureCalibration]


def parse_calibration(content: bytes) -> Calibration:
    """Read a calibration table from JSON text.

    Raises
    ------
    MissingPartError
        If it is not such a table; the message names the first fault.
    """
    try:
        file = TypeAdapter(_File).validate_json(content)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or "file"
        raise MissingPartError(
            f"Expected a calibration of the format {FORMAT} in {ASSET}, found a fault at {where}: "
            f"{first['msg']}."
        ) from error
    return Calibration(file.version, file.model, file.about, MappingProxyType(file.measures))


@lru_cache(maxsize=1)
def load_calibration() -> Calibration:
    """Return the calibration that comes with the program.

    Raises
    ------
    MissingPartError
        If it is missing or damaged.
    """
    try:
        content = read_asset(ASSET)
    except OSError as error:
        raise MissingPartError(
            f"Expected the calibration {ASSET} in the package, found none that can be read."
        ) from error
    return parse_calibration(content)


def relative_azimuth_deg(azimuth_deg: float, side: str) -> float:
    """Return the direction of the camera relative to a side, in (-180, 180].

    For a left measure the azimuth itself, for a right one its negative, so that +90 always means
    that this side is nearest to the lens. For measures without sides the azimuth.
    """
    return wrap_deg(-azimuth_deg if side == "right" else azimuth_deg)


def at_turn(values: tuple[float, ...], azimuth_deg: float) -> float:
    """Interpolate a row of twelve values, from -180 in steps of 30 degrees, around the circle.

    An unknown direction (NaN) takes the largest value.
    """
    if np.isnan(azimuth_deg):
        return max(values)
    place = ((azimuth_deg + 180.0) % FULL_TURN_DEG) / TURN_STEP_DEG
    first = int(place) % TURNS
    share = place - int(place)
    if share == 0.0:
        return values[first]
    return (1.0 - share) * values[first] + share * values[(first + 1) % TURNS]


def compute_bias(values: FloatArray, correction: Correction) -> FloatArray:
    """Return the systematic error at measured values, same shape and unit; NaN where they are."""
    if not correction.bias_at:
        return np.where(np.isfinite(values), 0.0, np.nan)
    bias = np.interp(values, correction.bias_at, correction.bias)
    return np.where(np.isfinite(values), bias, np.nan)


def correct(values: FloatArray, correction: Correction) -> FloatArray:
    """Return values with their systematic error taken out, same shape and unit; NaN stays NaN."""
    return values - compute_bias(values, correction)


def compute_half_width(
    stated: FloatArray, correction: Correction, azimuth_deg: float
) -> FloatArray:
    """Return the half-width of the 90 % interval.

    Parameters
    ----------
    stated : ndarray, shape (T,)
        What the source itself states, unit of the measure: the guard band of the picture, 1.645
        standard errors of the body. NaN where there is no value.
    correction : Correction
    azimuth_deg : float
        As `relative_azimuth_deg` gives it.

    Returns
    -------
    ndarray, shape (T,)
        Root of the sum of squares of the floor and of the stated width times its factor.
    """
    return np.hypot(correction.floor, at_turn(correction.factor, azimuth_deg) * stated)


def expected_with_body(correction: BodyCorrection, azimuth_deg: float) -> float:
    """Return the half-width usually reached with the fitted body from a direction.

    Infinite where it was never calibrated, or the direction is unknown (NaN).
    """
    row = tuple(float("inf") if value is None else value for value in correction.typical)
    return float("inf") if np.isnan(azimuth_deg) else float(at_turn(row, azimuth_deg))
