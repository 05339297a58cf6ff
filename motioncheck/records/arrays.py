"""Helpers that make arrays inside frozen records read-only and of a known shape."""

from __future__ import annotations

from typing import Any, TypeGuard

import numpy as np
import numpy.typing as npt

from motioncheck.errors import ShapeError

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


def frozen_floats(values: npt.ArrayLike, shape: tuple[int | None, ...], *, name: str) -> FloatArray:
    """Return a read-only float64 copy after checking its shape; `sealed` arrays as they are.

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
    array = values if _is_sealed(values) else np.array(values, dtype=np.float64, order="C")
    wrong = array.ndim != len(shape) or any(
        want is not None and want != have for want, have in zip(shape, array.shape, strict=False)
    )
    if wrong:
        raise ShapeError(f"{name}: expected shape {shape}, found {array.shape}.")
    array.setflags(write=False)
    return array


def frozen_bools(values: npt.ArrayLike, length: int, *, name: str) -> BoolArray:
    """Return a read-only array of truth values, shape (T,); read-only ones as they are.

    Raises
    ------
    ShapeError
        If it is not a single row of ``length``.
    """
    array = np.asarray(values, dtype=np.bool_)
    if array.shape != (length,):
        raise ShapeError(f"{name}: expected shape {(length,)}, found {array.shape}.")
    if array.flags.writeable:
        array = array.copy()
        array.setflags(write=False)
    return array


def sealed(array: FloatArray) -> FloatArray:
    """Make an array read-only, for who hands over the only reference to it.

    A record then keeps it without a copy, which would double the memory for a long clip.
    """
    array.setflags(write=False)
    return array


def _is_sealed(values: npt.ArrayLike) -> TypeGuard[FloatArray]:
    """Tell whether this is a read-only array of its own, such as one taken from a record."""
    return (
        type(values) is np.ndarray
        and values.dtype == np.float64
        and values.flags.owndata
        and values.flags.c_contiguous
        and not values.flags.writeable
    )


def shorten(values: FloatArray) -> npt.NDArray[Any]:
    """Return single precision where that loses nothing: the pose model computes in it."""
    with np.errstate(over="ignore"):
        short = values.astype(np.float32)
    return short if np.array_equal(short.astype(np.float64), values, equal_nan=True) else values


def set_frozen(
    record: Any, name: str, values: npt.ArrayLike, shape: tuple[int | None, ...]
) -> None:
    """Replace a field of a frozen dataclass, inside its ``__post_init__``, by a read-only copy."""
    object.__setattr__(record, name, frozen_floats(values, shape, name=name))


def check_time(record: Any, time_s: FloatArray) -> None:
    """Raise `ShapeError` unless the time axis is finite and strictly increasing."""
    if not np.all(np.isfinite(time_s)) or np.any(np.diff(time_s) <= 0):
        raise ShapeError(f"{type(record).__name__}: time stamps must be strictly increasing.")
