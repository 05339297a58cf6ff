"""Helpers that make arrays inside frozen records read-only and of a known shape."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from motioncheck.errors import ShapeError

FloatArray = npt.NDArray[np.float64]


def frozen_floats(values: npt.ArrayLike, shape: tuple[int | None, ...], *, name: str) -> FloatArray:
    """Return a read-only float64 copy after checking its shape.

    Parameters
    ----------
    values : array_like
        Numbers; missing ones are NaN.
    shape : tuple of int or None
        Expected shape; None where any length is allowed.
    name : str
        What the array is called in the error message.

    Raises
    ------
    ShapeError
        If the number of axes or a fixed length differs.
    """
    array = np.array(values, dtype=np.float64, order="C")
    wrong = array.ndim != len(shape) or any(
        want is not None and want != have for want, have in zip(shape, array.shape, strict=False)
    )
    if wrong:
        raise ShapeError(f"{name}: expected shape {shape}, found {array.shape}.")
    array.setflags(write=False)
    return array


def set_frozen(
    record: Any, name: str, values: npt.ArrayLike, shape: tuple[int | None, ...]
) -> None:
    """Replace a field of a frozen dataclass, inside its ``__post_init__``, by a read-only copy."""
    object.__setattr__(record, name, frozen_floats(values, shape, name=name))


def check_time(record: Any, time_s: FloatArray) -> None:
    """Raise `ShapeError` unless the time axis is finite and strictly increasing."""
    if not np.all(np.isfinite(time_s)) or np.any(np.diff(time_s) <= 0):
        raise ShapeError(f"{type(record).__name__}: time stamps must be strictly increasing.")
