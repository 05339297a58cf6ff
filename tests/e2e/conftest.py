"""Runs of the real command line with a cache that all end-to-end tests share."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from e2e_support import SQUAT, Cli, edit_clip


@pytest.fixture(scope="session")
def shared_cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Tracks of clips that were followed once in this session, by any of its processes."""
    if "PYTEST_XDIST_WORKER" in os.environ:
        # A worker has a folder of its own inside that of the session.
        cache = tmp_path_factory.getbasetemp().parent / "shared-cache"
        cache.mkdir(exist_ok=True)
        return cache
    return tmp_path_factory.mktemp("cache")


@pytest.fixture(scope="session")
def made_clips(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("clips")


@pytest.fixture(scope="session")
def squat(made_clips: Path) -> Path:
    """The first five seconds of the clean squats: two reps."""
    return edit_clip(SQUAT, made_clips / "squat.mp4", until_s=5.0)


@pytest.fixture
def cli(
    shared_cache: Path,
    tmp_path_factory: pytest.TempPathFactory,
    capfd: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> Cli:
    """The command line; its results go where the test says, what it keeps to the shared cache."""
    return Cli(shared_cache, tmp_path_factory.mktemp("scratch"), capfd, monkeypatch)
