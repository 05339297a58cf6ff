"""Pose model bundles carried with the program, and their checksums. `NOTICE` says what they are."""

from __future__ import annotations

from importlib import resources
from typing import Final

PUBLISHED_SUFFIX: Final = ":published"
"""What follows the name of a bundle in `CHECKSUMS` where its networks are as published."""


def read_asset(name: str) -> bytes:
    """Return the content of a file of this folder.

    Raises
    ------
    OSError
        If it is missing or cannot be read.
    """
    return resources.files(__name__).joinpath(name).read_bytes()


def load_checksums() -> dict[str, str]:
    """Return what `CHECKSUMS` holds: file name to SHA-256 in hexadecimal.

    Raises
    ------
    OSError
        If the file is missing or cannot be read.
    ValueError
        If a line of it is not ``digest  name``.
    """
    sums: dict[str, str] = {}
    for line in read_asset("CHECKSUMS").decode("utf-8").splitlines():
        if line.strip() and not line.startswith("#"):
            digest, name = line.split()
            sums[name] = digest
    return sums
