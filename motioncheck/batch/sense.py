"""Whether what a batch is asked for fits together, before anything is made or checked."""

from __future__ import annotations

from collections.abc import Collection

from motioncheck.batch.find import CLIP_SUFFIXES
from motioncheck.batch.settings import BatchRequest
from motioncheck.errors import UsageError
from motioncheck.standards import require_movement


def require_sense(request: BatchRequest, movements: Collection[str]) -> None:
    """Check a request.

    Parameters
    ----------
    request : BatchRequest
    movements : collection of str
        Ids of the known standards.

    Raises
    ------
    StandardError
        If the movement given for all is none.
    UsageError
        If results would go among the clips.
    """
    if request.given.movement is not None:
        require_movement(request.given.movement, movements)
    _require_own_place(request)


def _require_own_place(request: BatchRequest) -> None:
    """Refuse to write results among the clips: that folder is not searched."""
    out = request.out.resolve()
    if any(place.is_dir() and place.resolve() == out for place in request.places):
        raise UsageError(
            f"Expected --out to be another folder than that of the clips, found {request.out} "
            "for both.",
            hint="Leave --out away, or give a folder inside or beside it.",
        )


def describe_search(request: BatchRequest) -> str:
    """Say what to do where no clip was found."""
    if not request.places:
        return "The manifest names no clip; give it a line for each, or a folder as well."
    return f"Files that end in {' '.join(CLIP_SUFFIXES)} are clips; others can be given themselves."
