"""Options of a check and what it returns."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from motioncheck.pipeline.analyse import Analysis
from motioncheck.records import ClipInfo, LandmarkTrack, Sheet, Still
from motioncheck.standards import ANYONE, Person

# stage, done, total (0 when unknown); called often, must be quick.
OnProgress = Callable[[str, int, int], None]


def no_progress(stage: str, done: int, total: int) -> None:
    """Ignore progress."""


def default_cache() -> Path:
    """Return the folder in which tracks are kept between checks."""
    from platformdirs import user_cache_path

    chosen = os.environ.get("MOTIONCHECK_CACHE")
    return Path(chosen) if chosen else user_cache_path("motioncheck", appauthor=False)


@dataclass(frozen=True, slots=True)
class CheckOptions:
    """How to check a clip.

    Attributes
    ----------
    model : str
        ``full``, the default and the only one whose ± was measured.
    athlete_px : tuple of float, optional
        Where the athlete is in the first frame, pixels of the upright picture.
    standards_folder : Path, optional
        The user's own standards.
    cache_folder : Path, optional
        Where tracks and fitted bodies are kept between checks; None keeps nothing.
    show_face : bool
        Leave faces uncovered in pictures.
    person : Person
        Age and sex, as far as they are known; they choose the usual values that are shown.
    """

    model: str = "full"
    athlete_px: tuple[float, float] | None = None
    standards_folder: Path | None = None
    cache_folder: Path | None = None
    show_face: bool = False
    person: Person = ANYONE


@dataclass(frozen=True, slots=True, eq=False)
class CheckResult:
    """What a check found, ready to be written.

    ``stills`` maps the index of an event to its picture.
    """

    clip: ClipInfo
    track: LandmarkTrack
    analysis: Analysis
    sheet: Sheet
    stills: Mapping[int, Still] = field(default_factory=dict)
