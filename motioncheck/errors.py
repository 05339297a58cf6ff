"""Errors of the program: one root, an exit code and a next step on each class.

Exit codes are documented in ``docs/errors.md`` and never reused for something else.
"""

from __future__ import annotations

# Not an error: with --strict, at least one verdict is a miss.
STRICT_MISS_CODE = 9


class MotionCheckError(Exception):
    """Root of all errors that a user can meet.

    Parameters
    ----------
    message : str
        What was expected and what was found, one sentence.
    hint : str, optional
        What to do next; the class default when left out.
    """

    exit_code: int = 1
    default_hint: str = "Run the same command with -v and report what it prints."

    def __init__(self, message: str, *, hint: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.hint = self.default_hint if hint is None else hint

    def __str__(self) -> str:
        return f"{self.message} {self.hint}".strip()


class UsageError(MotionCheckError):
    """The command line asked for something that does not exist or does not fit together."""

    exit_code = 2
    default_hint = "Run `motioncheck --help` for what is possible."


class InputError(MotionCheckError):
    """The clip cannot be read."""

    exit_code = 3
    default_hint = "Check that the file plays in a video player, or export it again as MP4 (H.264)."


class VideoOpenError(InputError):
    """The file is missing, empty, or not a video."""


class NoFramesError(InputError):
    """The file opens as a video, yet no picture could be decoded from it."""


class TimestampError(InputError):
    """The time stamps of the frames cannot be used as a time axis."""


class TrackFileError(InputError):
    """A saved track is damaged, or was not written by this program."""

    default_hint = "Delete the saved track and check the clip itself again."


class StandardError(MotionCheckError):
    """A standard (movement file) or a plan is unknown or invalid."""

    exit_code = 4
    default_hint = "Run `motioncheck movements validate FILE` to see every problem at once."


class MissingPartError(MotionCheckError):
    """A part the program needs is not installed or damaged."""

    exit_code = 5
    default_hint = "Install the program again with `pip install --force-reinstall .`."


class NotMeasurableError(MotionCheckError):
    """Nothing in the clip could be measured."""

    exit_code = 6
    default_hint = (
        "Film one person, whole body in the picture, in good light, with the phone held still."
    )


class NoPersonError(NotMeasurableError):
    """Nobody was found in the clip."""


class LowVisibilityError(NotMeasurableError):
    """Somebody was found, but too little of the body can be seen."""


class WrongViewError(NotMeasurableError):
    """The body can be seen, but from where this movement cannot be judged."""


class NoRepsError(NotMeasurableError):
    """The body can be seen, but no repetition of the movement was found."""


class StoreError(MotionCheckError):
    """The history cannot be read or written."""

    exit_code = 7
    default_hint = "Restore the last backup, or point to another history."


class OutputError(MotionCheckError):
    """Results cannot be written."""

    exit_code = 8
    default_hint = "Choose another folder with --out, or free some space, and run it again."


class ShapeError(MotionCheckError, ValueError):
    """A computing function was called with arrays whose shapes do not fit."""

    default_hint = ""
