"""Running the pose model over the frames of a clip: for one person, or for everybody."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import Final, Protocol

from motioncheck.landmarks.model import Picture, PoseFinder
from motioncheck.landmarks.scout import Scout
from motioncheck.landmarks.sightings import Sighting, see

MOST_PEOPLE: Final = 4
"""Most people followed at once; with more in the picture the surest ones are taken."""

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


OpenFrames = Callable[[], AbstractContextManager[Iterable[FrameLike]]]


class OpenModel(Protocol):
    """Makes a pose model; `motioncheck.landmarks.model.PoseModel` is the real one."""

    def __call__(
        self,
        name: str,
        *,
        width_px: int,
        height_px: int,
        max_poses: int,
        single_pictures: bool = False,
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
    others : bool
        True if somebody else was there while one person was followed; the frames then end where
        this became sure.
    """

    time_s: list[float] = field(default_factory=list)
    frames: list[list[Sighting]] = field(default_factory=list)
    others: bool = False


@dataclass(frozen=True, slots=True)
class Watcher:
    """Runs the model over a clip.

    Attributes
    ----------
    open_frames : callable
        Opens the clip from its start.
    open_model : callable
        Makes the model.
    model : str
        Name of the model.
    width_px, height_px : int
        Size of the upright full-size picture.
    frames_expected : int
        0 if unknown.
    on_progress : callable or None
    """

    open_frames: OpenFrames
    open_model: OpenModel
    model: str
    width_px: int
    height_px: int
    frames_expected: int
    on_progress: Progress | None

    def watch_one(self, *, look_for_others: bool) -> Seen:
        """Follow one person; stop as soon as somebody else is sure to be there."""
        seen = Seen()
        with (
            self.open_frames() as frames,
            self._open(self.model, 1) as model,
            self._open(Scout.MODEL, MOST_PEOPLE, single_pictures=True) as looking,
        ):
            scout = Scout(looking, height_px=self.height_px)
            for frame in self._run("landmarks", frames, model, seen):
                if not look_for_others or not frame.whole:
                    continue
                followed = seen.frames[-1][0].pose if seen.frames[-1] else None
                seen.others = scout.look(frame.rgb, frame.time_s, followed)
                if seen.others:
                    break
        return seen

    def watch_everybody(self, *, on_frame: Callable[[Seen], None]) -> Seen:
        """Follow all people; ``on_frame`` is called after each frame and may raise to stop."""
        seen = Seen(others=True)
        with self.open_frames() as frames, self._open(self.model, MOST_PEOPLE) as model:
            for _ in self._run("people", frames, model, seen):
                on_frame(seen)
        return seen

    def _open(self, name: str, max_poses: int, *, single_pictures: bool = False) -> PoseFinder:
        return self.open_model(
            name,
            width_px=self.width_px,
            height_px=self.height_px,
            max_poses=max_poses,
            single_pictures=single_pictures,
        )

    def _run(
        self, stage: str, frames: Iterable[FrameLike], model: PoseFinder, seen: Seen
    ) -> Iterator[FrameLike]:
        """Run the model over the frames, note who is there, and hand each frame on."""
        for index, frame in enumerate(frames):
            # A smeared picture still gives a pose, only not that of this instant.
            poses = model.detect(frame.rgb, frame.time_s) if frame.whole else []
            seen.time_s.append(frame.time_s)
            seen.frames.append(
                [see(index, frame.time_s, p, frame.rgb, width_px=self.width_px) for p in poses]
            )
            yield frame
            if self.on_progress is not None:
                self.on_progress(stage, index + 1, self.frames_expected)
