"""Where the open data lies that nobody on the project made; tests skip where it is missing."""

from __future__ import annotations

from pathlib import Path

import pytest

DATA = Path(__file__).parents[2].parent / "shared" / "data"


@pytest.fixture(scope="session")
def open_data():
    """Return a function that gives the path of a data file, or skips with the reason."""

    def find(name: str) -> Path:
        path = DATA / name
        if not path.exists():
            pytest.skip(f"open data file {name} is not beside the project (see tests/outside)")
        return path

    return find
