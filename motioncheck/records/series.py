"""Measures over time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from motioncheck.records.arrays import FloatArray, check_time, frozen_floats, set_frozen


@dataclass(frozen=True, slots=True, eq=False)
class MeasureTable:
    """Every measure of the body on one time axis.

    Attributes
    ----------
    time_s : ndarray, shape (T,)
    values : mapping of measure id to ndarray, shape (T,)
        Units are those of the registry; NaN = not measurable at this instant.
    uncertainty : mapping of measure id to ndarray, shape (T,)
        Guard band of each value, same unit as the value; NaN where the value is.
    """

    time_s: FloatArray
    values: Mapping[str, FloatArray]
    uncertainty: Mapping[str, FloatArray]

    def __post_init__(self) -> None:
        set_frozen(self, "time_s", self.time_s, (None,))
        check_time(self, self.time_s)
        for name in ("values", "uncertainty"):
            columns = {
                key: frozen_floats(column, (len(self.time_s),), name=key)
                for key, column in getattr(self, name).items()
            }
            object.__setattr__(self, name, MappingProxyType(columns))
