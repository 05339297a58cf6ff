"""Giving memory back to the system between the stages of a check."""

from __future__ import annotations

import ctypes


def give_back_memory() -> None:
    """Hand freed memory back to the system, where that can be asked.

    Each stage frees what the next one cannot use again, because it lies in pieces that the C
    library keeps: the pose models 80 MB, the sightings of a long clip, what cleaning worked with.
    Without this the peak is their sum. Only the C library of GNU systems can be asked; elsewhere
    nothing happens. Takes about 10 ms.
    """
    try:
        ctypes.CDLL(None).malloc_trim(0)
    except (AttributeError, OSError, TypeError):
        return
