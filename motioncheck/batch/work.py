"""Checking one clip in a worker, on this machine or another: a task in, a small answer out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Final

from motioncheck import __version__
from motioncheck.errors import (
    InputError,
    MotionCheckError,
    NotMeasurableError,
    StandardError,
    UsageError,
)
from motioncheck.pipeline.options import CheckOptions

# These say something about the clip or its standard; whatever else failed is tried again.
SETTLED: Final = (UsageError, InputError, StandardError, NotMeasurableError)
MAX_REASON: Final = 1000


@dataclass(frozen=True, slots=True)
class Task:
    """A clip to check: where it is, what it must contain, and how to check it."""

    number: int
    clip: Path
    sha256: str
    movement: str | None
    options: CheckOptions


@dataclass(frozen=True, slots=True)
class Answer:
    """What a worker says about a clip.

    Attributes
    ----------
    files : mapping of str to bytes
        The rendered results; empty when they were put into ``staged``, or when there are none.
    staged : str
        A folder of this machine that holds them instead.
    error : str
        Why there are none, for people; empty when the clip was checked.
    settled : bool
        Whether the same clip would fail in the same way again.
    sha256, version : str
        Checksum of the clip as the worker read it, and the version of its program.
    """

    files: Mapping[str, bytes] = field(default_factory=dict)
    staged: str = ""
    error: str = ""
    settled: bool = False
    sha256: str = ""
    version: str = __version__


Work = Callable[[Task], Answer]


def check_one(task: Task) -> Answer:
    """Check a clip and render its results; raises as `motioncheck.pipeline.check_clip`."""
    from motioncheck.pipeline import check_clip, render_results

    _limit_threads()
    result = check_clip(task.clip, task.movement, options=task.options)
    files = {name: text.encode("utf-8") for name, text in render_results(result).items()}
    return Answer(files, sha256=result.clip.sha256)


def answer_task(work: Work, task: Task) -> Answer:
    """Do the work; whatever goes wrong with this clip becomes an answer."""
    try:
        return work(task)
    except MotionCheckError as error:
        return Answer(error=str(error)[:MAX_REASON], settled=isinstance(error, SETTLED))
    except Exception as error:  # one bad clip never stops the others
        what = f"{type(error).__name__}: {error}".rstrip(": ")
        return Answer(error=f"Something unexpected went wrong ({what[:MAX_REASON]}).")


@cache
def _limit_threads() -> None:
    """Leave the cores to the other workers; the sums of one frame are too small to share."""
    import cv2
    from threadpoolctl import threadpool_limits

    cv2.setNumThreads(1)
    threadpool_limits(1)
