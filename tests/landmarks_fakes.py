"""Stick people and pose models made up for tests; no video, no library."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from types import TracebackType
from typing import Any, Self

import numpy as np

from motioncheck.landmarks.model import Picture, Pose
from motioncheck.skeleton import COUNT, INDEX, LANDMARKS

WIDTH_PX, HEIGHT_PX = 1280, 720
# The pictures are small, as decoded ones are smaller than the clip.
SCALE = 0.1

# Where the landmarks of a standing body are: metres, x right and y down from the mid-hip.
_ROWS = {"eye": -0.72, "ear": -0.72, "shoulder": -0.5, "elbow": -0.22, "wrist": 0.05, "pinky": 0.12}
_ROWS |= {"index": 0.14, "thumb": 0.1, "hip": 0.0, "knee": 0.42, "ankle": 0.84, "heel": 0.88}
_ROWS |= {"toe": 0.9, "mouth": -0.65, "nose": -0.7}
_SIDES = {"shoulder": 0.2, "elbow": 0.28, "wrist": 0.3, "hip": 0.1, "knee": 0.1, "ankle": 0.1}


def stick_body(*, raised: float = 0.0) -> np.ndarray:
    """A standing body, shape (33, 3), metres; arms raised from 0 (hanging) to 1 (overhead)."""
    body = np.zeros((COUNT, 3))
    for name, i in INDEX.items():
        part = next(key for key in _ROWS if key in name)
        side = 1.0 if "left" in name else -1.0 if "right" in name else 0.0
        body[i, 0] = side * _SIDES.get(part, 0.3 if part in ("pinky", "index", "thumb") else 0.05)
        body[i, 1] = _ROWS[part]
        if part in ("elbow", "wrist", "pinky", "index", "thumb"):
            body[i, 1] -= 2.0 * raised * (_ROWS[part] - _ROWS["shoulder"])
    return body


def stick_pose(
    centre_px: Sequence[float], *, height_px: float, raised: float = 0.0, visibility: float = 0.95
) -> Pose:
    """A pose of a stick body whose mid-hip is at a place of the full-size picture."""
    body = stick_body(raised=raised)
    return Pose(
        image_px=np.asarray(centre_px, dtype=np.float64) + body[:, :2] * height_px / 1.7,
        visibility=np.full(COUNT, visibility),
        world_m=body,
    )


@dataclass(frozen=True)
class Actor:
    """Somebody in the picture.

    ``place`` gives the mid-hip in pixels at a time, None while out of the picture.
    """

    place: Callable[[float], tuple[float, float] | None]
    height_px: float = 400.0
    colour: tuple[int, int, int] = (200, 30, 30)
    raised: Callable[[float], float] = lambda _time_s: 0.0

    def pose(self, time_s: float) -> Pose | None:
        place = self.place(time_s)
        if place is None:
            return None
        return stick_pose(place, height_px=self.height_px, raised=self.raised(time_s))


@dataclass(frozen=True)
class FakeFrame:
    time_s: float
    rgb: Picture
    whole: bool = True


@dataclass
class Scene:
    """Actors, the frames that show them, and the models that see them in the frames."""

    actors: Sequence[Actor]
    seconds: float = 4.0
    rate_hz: float = 30.0
    tracker: Callable[..., FakeModel] | None = None
    opened: list[FakeModel] = field(default_factory=list)

    def frames(self) -> Iterator[FakeFrame]:
        for i in range(round(self.seconds * self.rate_hz)):
            yield FakeFrame(i / self.rate_hz, self.draw(i / self.rate_hz))

    def draw(self, time_s: float) -> Picture:
        rgb = np.full((round(HEIGHT_PX * SCALE), round(WIDTH_PX * SCALE), 3), 90, dtype=np.uint8)
        for actor in self.actors:
            pose = actor.pose(time_s)
            if pose is not None:
                low = np.clip(pose.image_px.min(axis=0) * SCALE, 0, None).astype(int)
                high = np.clip(pose.image_px.max(axis=0) * SCALE, 0, None).astype(int) + 1
                rgb[low[1] : high[1], low[0] : high[0]] = actor.colour
        return rgb

    def open_model(self, name: str, **options: Any) -> FakeModel:
        make = FakeModel if options.get("single_pictures") else self.tracker or FakeModel
        model = make(self, name=name, single_pictures=options.get("single_pictures", False))
        self.opened.append(model)
        return model


class FakeModel:
    """Sees one actor at a time and keeps to him while he is there, as the real model does.

    An actor can be seen if his colours show at his hips: painted over, he cannot.
    """

    def __init__(self, scene: Scene, *, name: str, single_pictures: bool = False) -> None:
        self.scene = scene
        self.name = name
        self.single_pictures = single_pictures
        self.entered = self.left = False
        self.looks = 0
        self._attention: Actor | None = None

    def __enter__(self) -> Self:
        self.entered = True
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
        /,
    ) -> None:
        self.left = True

    def detect(self, rgb: Picture, time_s: float) -> list[Pose]:
        self.looks += 1
        visible = [actor for actor in self.scene.actors if self.can_see(actor, rgb, time_s)]
        self._attention = self.attend(visible, time_s)
        pose = self._attention.pose(time_s) if self._attention else None
        return [] if pose is None else [pose]

    def can_see(self, actor: Actor, rgb: Picture, time_s: float) -> bool:
        place = actor.place(time_s)
        if place is None:
            return False
        x, y = (int(value * SCALE) for value in place)
        inside = 0 <= x < rgb.shape[1] and 0 <= y < rgb.shape[0]
        return inside and tuple(rgb[y, x]) == actor.colour

    def attend(self, visible: Sequence[Actor], time_s: float) -> Actor | None:
        """Choose whom to look at."""
        if self._attention in visible and not self.single_pictures:
            return self._attention
        return visible[0] if visible else None


class JumpsToSomeoneElse(FakeModel):
    """Having looked at the first actor, looks at the last one for a while if it sees him."""

    START_S, END_S = 1.5, 2.2
    _steady = False

    def attend(self, visible: Sequence[Actor], time_s: float) -> Actor | None:
        self._steady |= time_s < self.START_S
        if self._steady and self.START_S <= time_s < self.END_S and len(visible) > 1:
            return visible[-1]
        return visible[0] if visible else None


class SeesGhosts(FakeModel):
    """Finds nobody, except furniture now and then."""

    def detect(self, rgb: Picture, time_s: float) -> list[Pose]:
        return [stick_pose((900, 500), height_px=100)] if int(time_s * 10) % 3 else []


def standing(x: float, y: float = 350.0) -> Callable[[float], tuple[float, float]]:
    return lambda _time_s: (x, y)


def squatting(x: float, *, depth_px: float = 100.0) -> Callable[[float], tuple[float, float]]:
    """Hips go up and down, once in two seconds."""
    return lambda time_s: (x, 350.0 + depth_px * 0.5 * (1 - np.cos(np.pi * time_s)))


def present(
    place: Callable[[float], tuple[float, float] | None], *spans: tuple[float, float]
) -> Callable[[float], tuple[float, float] | None]:
    """The same, only within spans of time."""
    return lambda time_s: place(time_s) if any(a <= time_s < b for a, b in spans) else None


def damaged(frames: Iterable[FakeFrame], start_s: float, end_s: float) -> Iterator[FakeFrame]:
    """The same frames, some of them spoilt."""
    for frame in frames:
        yield replace(frame, whole=not start_s <= frame.time_s < end_s)


assert set(LANDMARKS) == set(INDEX)
