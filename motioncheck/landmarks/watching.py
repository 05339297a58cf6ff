"""Following everybody in a clip, with one pose model a person.

The pose model follows one person well and steadily; asked for several it is less exact, slower
even where nobody else is, and overlooks people. So each person gets a model of its own. The first
one is there from the start, and in the usual clip it stays the only one; more are added when a
quick look finds somebody else, and taken away when they have nobody to follow.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import Final, Protocol

from motioncheck.landmarks.linking import compute_step_cost, compute_way_m
from motioncheck.landmarks.model import Picture, PoseFinder
from motioncheck.landmarks.scout import Scout, cover_bodies
from motioncheck.landmarks.sightings import Sighting, see

MOST_PEOPLE: Final = 3
"""Most people followed at once; more would cost more time than choosing among them is worth."""

# A model other than the only one that has nobody to follow for so long is taken away.
_PATIENCE_S: Final = 0.7
# Two models closer together than this look at the same body.
_SAME_BODY_M: Final = 0.15

Progress = Callable[[str, int, int], None]
"""Called with the stage, the frames done, and the frames expected (0 if unknown)."""


class FrameLike(Protocol):
    """What is used of a decoded frame; `motioncheck.video` makes the real ones."""

    @property
    def time_s(self) -> float:
        """Presentation time, strictly increasing."""
        ...

    @property
    def rgb(self) -> Picture:
        """Upright picture, uint8, shape (H, W, 3), of any size."""
        ...

    @property
    def whole(self) -> bool:
        """False where damage left older or smeared content in the picture."""
        ...


class OpenModel(Protocol):
    """Makes a pose model; `motioncheck.landmarks.model.PoseModel` is the real one."""

    def __call__(
        self, name: str, *, width_px: int, height_px: int, single_pictures: bool = False
    ) -> PoseFinder:
        """Make the model."""
        ...


@dataclass(slots=True)
class Seen:
    """Who was seen when.

    Attributes
    ----------
    time_s : list of float
        Time of each frame.
    frames : list of list of Sighting
        The people in each frame.
    """

    time_s: list[float] = field(default_factory=list)
    frames: list[list[Sighting]] = field(default_factory=list)

    @property
    def sightings(self) -> list[Sighting]:
        """All sightings, in time order."""
        return [sighting for frame in self.frames for sighting in frame]


@dataclass(slots=True)
class _Eye:
    """A pose model and the person it follows.

    ``recent`` holds the last sightings, empty while it searches (since ``search_s``).
    """

    number: int
    model: PoseFinder
    closing: ExitStack
    search_s: float
    recent: list[Sighting] = field(default_factory=list)

    @property
    def body(self) -> Sighting | None:
        """The last sighting, None while it searches."""
        return self.recent[-1] if self.recent else None


class Watcher:
    """Follows everybody; a context manager that frees the models.

    Parameters
    ----------
    open_model : callable
        Makes a model.
    model : str
        Name of the model to follow people with.
    width_px, height_px : int
        Size of the upright full-size picture.
    look_for_others : bool
        False: follow one person and never look around.
    thorough_s : float
        How long from the start to look around closely.
    """

    def __init__(
        self,
        open_model: OpenModel,
        *,
        model: str,
        width_px: int,
        height_px: int,
        look_for_others: bool = True,
        thorough_s: float = 0.5,
    ) -> None:
        self._open_model = open_model
        self._model = model
        self._size = (width_px, height_px)
        self._look_for_others = look_for_others
        self._thorough_s = thorough_s
        self._closing = ExitStack()
        self._scout: Scout | None = None
        self._eyes: list[_Eye] = []
        self._eyes_made = 0
        self.seen = Seen()

    def __enter__(self) -> Watcher:
        return self

    def __exit__(self, *_: object) -> None:
        for eye in self._eyes:
            eye.closing.close()
        self._closing.close()

    def watch(self, frames: Iterable[FrameLike]) -> Iterable[int]:
        """Follow everybody through the frames; gives the number of frames done after each one."""
        for index, frame in enumerate(frames):
            self.seen.time_s.append(frame.time_s)
            # A smeared picture still gives a pose, only not that of this instant.
            self.seen.frames.append(self._watch_frame(index, frame) if frame.whole else [])
            yield index + 1

    def _watch_frame(self, index: int, frame: FrameLike) -> list[Sighting]:
        if not self._eyes:
            self._add_eye(frame.time_s)
        for eye in self._eyes:
            self._use(eye, index, frame)
        self._part_doubles(frame.time_s)
        self._drop_idle(frame.time_s)
        self._look_around(index, frame)
        return [eye.recent[-1] for eye in self._eyes if eye.recent]

    def _use(self, eye: _Eye, index: int, frame: FrameLike) -> None:
        """Let one model look at a frame."""
        picture = frame.rgb
        others = [other.body.pose for other in self._eyes if other is not eye and other.body]
        if others and not eye.recent:
            # It searches: bodies that are followed already must not attract it.
            picture = cover_bodies(picture, others, scale=self._scale(frame))
        poses = eye.model.detect(picture, frame.time_s)
        if not poses:
            self._release(eye, frame.time_s)
            return
        body = see(index, frame.time_s, poses[0], frame.rgb, width_px=self._size[0], eye=eye.number)
        if eye.recent and compute_step_cost(eye.recent, body) == float("inf"):
            # It has gone over to somebody else; whoever it left may still be there.
            eye.recent.clear()
            if self._scout is not None:
                self._scout.hurry()
        eye.recent = [*eye.recent[-14:], body]

    def _part_doubles(self, now_s: float) -> None:
        """Send the newer of two models that look at the same body searching."""
        for eye in self._eyes[::-1]:
            for other in self._eyes[: self._eyes.index(eye)]:
                if eye.body and other.body and compute_way_m(eye.body, other.body) < _SAME_BODY_M:
                    newcomer = eye if len(eye.recent) <= len(other.recent) else other
                    self._release(newcomer, now_s)

    def _release(self, eye: _Eye, now_s: float) -> None:
        if eye.recent:
            eye.search_s = now_s
        eye.recent = []

    def _drop_idle(self, now_s: float) -> None:
        """Take away models that have found nobody for a while, except the last one."""
        for eye in list(self._eyes):
            idle = not eye.recent and now_s - eye.search_s > _PATIENCE_S
            if idle and len(self._eyes) > 1:
                eye.closing.close()
                self._eyes.remove(eye)

    def _look_around(self, index: int, frame: FrameLike) -> None:
        """Look for somebody who is not followed yet, and follow him from this frame on."""
        searching = any(not eye.recent for eye in self._eyes)
        if not self._look_for_others or searching or len(self._eyes) >= MOST_PEOPLE:
            return
        if self._scout is None:
            self._scout = self._make_scout()
        known = [eye.body.pose for eye in self._eyes if eye.body]
        if self._scout.look(frame.rgb, frame.time_s, known, scale=self._scale(frame)):
            self._use(self._add_eye(frame.time_s), index, frame)
            self._part_doubles(frame.time_s)

    def _scale(self, frame: FrameLike) -> float:
        return float(frame.rgb.shape[1] / self._size[0])

    def _make_scout(self) -> Scout:
        width_px, height_px = self._size
        model = self._open_model(
            Scout.MODEL, width_px=width_px, height_px=height_px, single_pictures=True
        )
        self._closing.enter_context(model)
        return Scout(model, height_px=height_px, thorough_s=self._thorough_s)

    def _add_eye(self, now_s: float) -> _Eye:
        width_px, height_px = self._size
        closing = ExitStack()
        model = closing.enter_context(
            self._open_model(self._model, width_px=width_px, height_px=height_px)
        )
        eye = _Eye(self._eyes_made, model, closing, search_s=now_s)
        self._eyes_made += 1
        self._eyes.append(eye)
        return eye
