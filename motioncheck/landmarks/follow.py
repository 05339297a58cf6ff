"""From pictures to the track of one athlete.

Everybody in the picture is followed (in the usual clip that is one person), jumps of the model from
one body to another are cut out, and the athlete is chosen among the people who were there.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from motioncheck.errors import UsageError
from motioncheck.landmarks.choice import (
    START_S,
    MotionScore,
    Point,
    check_reach,
    choose_best,
    choose_nearest,
    count_together,
    find_jumps,
    find_persons,
    keep_measurable,
)
from motioncheck.landmarks.linking import Person
from motioncheck.landmarks.model import PoseModel, model_sha256
from motioncheck.landmarks.overlap import dim_overlapped
from motioncheck.landmarks.sightings import Sighting
from motioncheck.landmarks.watching import FrameLike, OpenModel, Progress, Seen, Watcher
from motioncheck.records import LandmarkTrack
from motioncheck.records.arrays import sealed
from motioncheck.skeleton import COUNT

_POINT_HINT: Final = (
    "Give a point on the athlete's body in the first picture, in pixels from the top left corner."
)
TOO_SMALL: Final = (
    "A body was seen, but it is less than a fifth of the picture high: film from closer."
)


@dataclass(frozen=True, slots=True)
class FollowOptions:
    """How to follow the athlete.

    Attributes
    ----------
    model : str
        ``full`` or ``lite``.
    athlete_px : (float, float), optional
        A point on the athlete at the start of the clip, pixels of the full-size picture.
    motion_score : callable, optional
        How well a candidate's track fits to the drill, 0 or more; asked only if there are several
        people. By default the amount of movement.
    frames_expected : int, optional
        Number of frames in the clip, for the display of progress.
    look_for_others : bool
        False saves the quick looks (4 % of the time) where it is known that nobody else is there.
    """

    model: str = "full"
    athlete_px: Point | None = None
    motion_score: MotionScore | None = None
    frames_expected: int | None = None
    look_for_others: bool = True


def extract_track(
    frames: Iterable[FrameLike],
    *,
    width_px: int,
    height_px: int,
    options: FollowOptions | None = None,
    on_progress: Progress | None = None,
    open_model: OpenModel = PoseModel,
) -> LandmarkTrack:
    """Follow the athlete through a clip.

    Parameters
    ----------
    frames : iterable of FrameLike
        The frames of the clip, in order; gone through once.
    width_px, height_px : int
        Size of the upright full-size picture; the landmarks are given in its pixels.
    options : FollowOptions, optional
    on_progress : callable, optional
        Called with the stage (``landmarks``), the frames done, and the frames expected (0 if
        unknown).
    open_model : callable, optional
        Makes the pose model; for tests.

    Returns
    -------
    track : LandmarkTrack
        One row a frame. NaN where the athlete was not found, where the model had jumped to
        somebody else, and where damage had spoilt the picture. All NaN if there is nobody to
        measure; the notes then say why, as far as that is known.

    Raises
    ------
    UsageError
        If ``athlete_px`` is outside the picture, or people are there but not at this point.
    MissingPartError
        If the pose library or the model is missing or damaged.

    Notes
    -----
    Each further person costs as much time as the first one. Somebody who walks in beside a person
    who is followed already is noticed at most a second later.
    """
    options = options or FollowOptions()
    _check_point(options.athlete_px, width_px, height_px)
    check_start = _StartCheck(options.athlete_px)
    with Watcher(
        open_model,
        model=options.model,
        width_px=width_px,
        height_px=height_px,
        look_for_others=options.look_for_others,
        thorough_s=0.5 if options.athlete_px is None else START_S,
    ) as watcher:
        for done in watcher.watch(frames):
            check_start(watcher.seen)
            if on_progress is not None:
                on_progress("landmarks", done, options.frames_expected or 0)
    return _conclude(watcher.seen, options, _EmptyTrack(width_px, height_px, options.model))


@dataclass(frozen=True, slots=True)
class _EmptyTrack:
    """What is the same for every track of a clip."""

    width_px: int
    height_px: int
    model: str

    def fill(
        self,
        seen: Seen,
        person: Person | None,
        *,
        notes: Sequence[str] = (),
        jumps_cut: int = 0,
        people: int = 1,
    ) -> LandmarkTrack:
        """Put the sightings of a person on the time axis of the clip."""
        count = len(seen.time_s)
        image_px = np.full((count, COUNT, 2), np.nan)
        visibility = np.full((count, COUNT), np.nan)
        world_m = np.full((count, COUNT, 3), np.nan)
        for sighting in person.sightings if person else ():
            image_px[sighting.frame] = sighting.pose.image_px
            visibility[sighting.frame] = sighting.pose.visibility
            world_m[sighting.frame] = sighting.pose.world_m
        return LandmarkTrack(
            time_s=np.array(seen.time_s, dtype=np.float64),
            image_px=sealed(image_px),
            visibility=sealed(visibility),
            world_m=sealed(world_m),
            width_px=self.width_px,
            height_px=self.height_px,
            model=self.model,
            model_sha256=model_sha256(self.model),
            notes=tuple(notes),
            jumps_cut=jumps_cut,
            people=people,
        )


class _StartCheck:
    """Tells of a wrong point for the athlete after a second of the clip, not after all of it."""

    def __init__(self, point_px: Point | None) -> None:
        self._point_px = point_px
        self._start_s: float | None = None

    def __call__(self, seen: Seen) -> None:
        """Raise `UsageError` if people have been seen for a second and none is at the point."""
        if self._point_px is None:
            return
        if self._start_s is None and seen.frames[-1]:
            self._start_s = seen.time_s[-1]
        if self._start_s is not None and seen.time_s[-1] > self._start_s + START_S:
            check_reach(seen.sightings, self._point_px)
            self._point_px = None


def _conclude(seen: Seen, options: FollowOptions, empty: _EmptyTrack) -> LandmarkTrack:
    """Choose the athlete among the people seen, and say in the notes what happened."""
    found = find_persons(seen.frames)
    if options.athlete_px is not None and found:
        persons = found
        athlete = choose_nearest(found, options.athlete_px)
    else:
        persons = keep_measurable(found, height_px=empty.height_px)
        if not persons:
            return empty.fill(seen, None, notes=[TOO_SMALL] if found else [])
        athlete = choose_best(persons, lambda p: empty.fill(seen, p), options.motion_score)
    jumps = find_jumps(seen.sightings, athlete)
    people = max(count_together(persons), 1)
    notes = [_say_choice(athlete, people, options)] if people > 1 else []
    notes += [_say_jumps(jumps)] if jumps else []
    track = empty.fill(seen, athlete, notes=notes, jumps_cut=len(jumps), people=people)
    return dim_overlapped(track, [person for person in found if person is not athlete])


def _say_choice(athlete: Person, people: int, options: FollowOptions) -> str:
    """Say who was followed, and why."""
    x, y = athlete.first.centre_px
    if options.athlete_px is not None:
        reason = "the one at the given point"
    elif options.motion_score is not None:
        reason = "the one who moves like the drill and stays largest"
    else:
        reason = "the one who moves most and stays largest"
    return (
        f"{people} people were in the picture; {reason} was followed "
        f"(start position {x:.0f}, {y:.0f} px)."
    )


def _say_jumps(jumps: Sequence[Sequence[Sighting]]) -> str:
    """Say how often and for how long the model was not on the athlete."""
    frames = sum(len(jump) for jump in jumps)
    times = "Once" if len(jumps) == 1 else f"{len(jumps)} times"
    left_out = "1 frame was" if frames == 1 else f"{frames} frames were"
    return f"{times} the body found was not the athlete's; {left_out} left out."


def _check_point(point_px: Point | None, width_px: int, height_px: int) -> None:
    if point_px is None:
        return
    x, y = point_px
    if not (0.0 <= x <= width_px and 0.0 <= y <= height_px):
        raise UsageError(
            f"The point {x:.0f}, {y:.0f} px given for the athlete is outside the picture, which is "
            f"{width_px} x {height_px} px.",
            hint=_POINT_HINT,
        )
