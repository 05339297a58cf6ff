"""Which movement a clip shows, when nobody said so."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from motioncheck.errors import NoPersonError, UsageError
from motioncheck.naming import (
    NAMING_CUTOFF_HZ,
    OTHER,
    Decision,
    Stretch,
    decide,
    name_movements,
)
from motioncheck.pipeline.analyse import (
    NOBODY_HINT,
    find_present,
    measure_picture,
    require_length,
)
from motioncheck.records import LandmarkTrack
from motioncheck.splitting import compute_motion
from motioncheck.standards import Standard, load_standards
from motioncheck.wording import join_words


@dataclass(frozen=True, slots=True)
class Naming:
    """The stretches of a clip, and which movement it is as a whole.

    ``titles`` maps the ids of the movements that were looked for to their titles.
    """

    stretches: tuple[Stretch, ...]
    decision: Decision
    titles: dict[str, str]


OnNamed = Callable[[Naming], None]


def ignore_name(naming: Naming) -> None:
    """Ignore what was named."""


def list_standards(folder: Path | None, allowed: Iterable[str] | None = None) -> list[Standard]:
    """Return the standards to choose from, all or those with the given ids.

    Raises
    ------
    StandardError
        As `motioncheck.standards.load_standards`.
    """
    wanted = None if allowed is None else set(allowed)
    standards = [loaded.standard for loaded in load_standards(folder).values()]
    return [s for s in standards if wanted is None or s.id in wanted]


def name_track(track: LandmarkTrack, standards: Sequence[Standard]) -> Naming:
    """Tell which movements a track shows.

    Parameters
    ----------
    track : LandmarkTrack
    standards : sequence of Standard
        The movements to choose from; fewer make it surer.

    Raises
    ------
    NoPersonError
        When nobody was found.
    """
    if track.seen_ratio == 0.0:
        raise NoPersonError(
            f"Expected a person in the clip, found nobody who can be measured in "
            f"{len(track.time_s)} frames.",
            hint=" ".join(track.notes) or NOBODY_HINT,
        )
    require_length(float(track.time_s[-1] - track.time_s[0]))
    body, table = measure_picture(track, cutoff_hz=NAMING_CUTOFF_HZ)
    stretches = name_movements(table, compute_motion(body), find_present(body), standards)
    return Naming(stretches, decide(stretches), {s.id: s.title for s in standards})


def score_exercise(track: LandmarkTrack, standards: Sequence[Standard]) -> float:
    """Tell how long somebody does any of the movements, seconds; to choose the athlete."""
    if track.seen_ratio == 0.0 or len(track.time_s) < 2:
        return 0.0
    named = name_track(track, standards).stretches
    return sum(s.end_s - s.start_s for s in named if s.movement != OTHER)


def require_one(naming: Naming) -> str:
    """Return the movement of a clip.

    Raises
    ------
    UsageError
        When there are several, or none that is sure enough; the sentence names the likeliest.
    """
    decision = naming.decision
    if decision.movement:
        return decision.movement
    options = " or ".join(f"--movement {name}" for name in decision.likeliest)
    if decision.several:
        found = join_words(sorted({s.movement for s in naming.stretches if s.movement != OTHER}))
        raise UsageError(
            f"Expected one movement in the clip, found {found}.",
            hint=f"Say which of them to check: {options}.",
        )
    advice = (
        f"Say which it is, most likely {options}."
        if options
        else "Say which it is with --movement; `motioncheck movements` lists them."
    )
    raise UsageError("Expected to tell the movement by itself, found none for sure.", hint=advice)
