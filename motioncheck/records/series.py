"""Measures over time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from motioncheck.records.arrays import (
    BoolArray,
    FloatArray,
    check_time,
    frozen_bools,
    frozen_floats,
    set_frozen,
)


@dataclass(frozen=True, slots=True, eq=False)
class MeasureTable:
    """Every measure of the body on one time axis.

    Attributes
    ----------
    time_s : ndarray, shape (T,)
    values : mapping of measure id to ndarray, shape (T,)
        Units are those of the registry; NaN = not measurable at this instant.
    uncertainty : mapping of measure id to ndarray, shape (T,)
        Half-width of the 90 % interval of each value, same unit as the value; NaN where the value
        is.
    from_body : mapping of measure id to ndarray of bool, shape (T,)
        Where the value is that of the fitted body; elsewhere it was read off the picture. All
        False for columns that are not given.
    picture : MeasureTable, optional
        The same measures from the picture alone, as they were seen. Times are read from it, like
        the reps themselves.
    """

    time_s: FloatArray
    values: Mapping[str, FloatArray]
    uncertainty: Mapping[str, FloatArray]
    from_body: Mapping[str, BoolArray] = field(default_factory=dict)
    picture: MeasureTable | None = None

    def __post_init__(self) -> None:
        set_frozen(self, "time_s", self.time_s, (None,))
        check_time(self, self.time_s)
        frames = len(self.time_s)
        for name in ("values", "uncertainty"):
            columns = {
                key: frozen_floats(column, (frames,), name=key)
                for key, column in getattr(self, name).items()
            }
            object.__setattr__(self, name, MappingProxyType(columns))
        nowhere = frozen_bools(np.zeros(frames, dtype=np.bool_), frames, name="from_body")
        sources = {
            key: frozen_bools(self.from_body.get(key, nowhere), frames, name=key)
            for key in self.values
        }
        object.__setattr__(self, "from_body", MappingProxyType(sources))
