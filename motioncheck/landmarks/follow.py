"""From pictures to the track of one athlete.

The usual clip shows one person: the model then looks for one (the cheapest and steadiest way), and
a quick look now and then makes sure that nobody else is there. Where somebody is, the clip is gone
through once more, everybody is followed, and one is chosen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from motioncheck.errors import UsageError
from motioncheck.landmarks.choice import (
    SHORTEST_S,
    START_S,
    MotionScore,
    Point,
    check_reach,
    choose_best,
    choose_nearest,
    count_together,
    find_foreign,
    find_persons,
    keep_measurable,
)
from motioncheck.landmarks.linking import Person, Stretch, compute_length_s
from motioncheck.landmarks.model import PoseModel, bundle_sha256
from motioncheck.landmarks.watching import OpenFrames, OpenModel, Progress, Seen, Watcher
from motioncheck.records import LandmarkTrack
from motioncheck.skeleton import COUNT

# A jump is believed to hide the athlete only if the model came or went this quickly.
_JUMP_S: Final = 0.2
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
        False saves the quick looks (3 % of the time) where it is known that nobody else is there.
    """

    model: str = "full"
    athlete_px: Point | None = None
    motion_score: MotionScore | None = None
    frames_expected: int | None = None
    look_for_others: bool = True


def extract_track(
    open_frames: OpenFrames,
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
    open_frames : callable
        Opens the clip from its start: gives a context manager around an iterable of frames. Called
        once, and once more only if other people are in the picture or the track jumped.
    width_px, height_px : int
        Size of the upright full-size picture; the landmarks are given in its pixels.
    options : FollowOptions, optional
    on_progress : callable, optional
        Called with the stage (``landmarks``, then perhaps ``people``), the frames done, and the
        frames expected (0 if unknown).
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
    With several people the landmarks come without the smoothing over time that the library applies
    to a single person, and take about 1.7 times as long a frame.
    """
    options = options or FollowOptions()
    _check_point(options.athlete_px, width_px, height_px)
    watcher = Watcher(
        open_frames=open_frames,
        open_model=open_model,
        model=options.model,
        width_px=width_px,
        height_px=height_px,
        frames_expected=options.frames_expected or 0,
        on_progress=on_progress,
    )
    empty = _EmptyTrack(width_px, height_px, options.model)
    if options.athlete_px is None:
        seen = watcher.watch_one(look_for_others=options.look_for_others)
        if not seen.others:
            choice = _choose(seen, options, empty)
            if not _jumped_while_there(choice):
                return _describe_alone(seen, choice, empty)
    seen = watcher.watch_everybody(on_frame=_StartCheck(options.athlete_px))
    return _describe_chosen(seen, _choose(seen, options, empty), options, empty)


@dataclass(frozen=True, slots=True)
class _Choice:
    """Who was there, who of them is the athlete (None: nobody can be measured)."""

    persons: list[Person]
    athlete: Person | None

    @property
    def foreign(self) -> list[Stretch]:
        """Stretches that are not the athlete's."""
        return find_foreign(self.persons, self.athlete) if self.athlete else []


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
            image_px=image_px,
            visibility=visibility,
            world_m=world_m,
            width_px=self.width_px,
            height_px=self.height_px,
            model=self.model,
            model_sha256=bundle_sha256(self.model),
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
            check_reach([s for frame in seen.frames for s in frame], self._point_px)
            self._point_px = None


def _choose(seen: Seen, options: FollowOptions, empty: _EmptyTrack) -> _Choice:
    found = find_persons(seen.frames)
    if options.athlete_px is not None and found:
        return _Choice(found, choose_nearest(found, options.athlete_px))
    persons = keep_measurable(found, height_px=empty.height_px)
    if not persons:
        return _Choice(found, None)
    return _Choice(
        persons, choose_best(persons, lambda p: empty.fill(seen, p), options.motion_score)
    )


def _jumped_while_there(choice: _Choice) -> bool:
    """Say whether the model went over to somebody else while the athlete may have gone on.

    That is so where a lasting stretch of somebody else begins or ends close to one of the
    athlete's; if it stands alone, the athlete had left or not yet come.
    """
    return any(
        abs(other[0].time_s - own[-1].time_s) <= _JUMP_S
        or abs(own[0].time_s - other[-1].time_s) <= _JUMP_S
        for other in choice.foreign
        if compute_length_s(other) >= SHORTEST_S
        for own in (choice.athlete.stretches if choice.athlete else ())
    )


def _describe_alone(seen: Seen, choice: _Choice, empty: _EmptyTrack) -> LandmarkTrack:
    """Make the track where one person was looked for: what is not the athlete's is a jump."""
    if choice.athlete is None:
        return empty.fill(seen, None, notes=[TOO_SMALL] if choice.persons else [])
    jumps = len(choice.foreign)
    notes = [_say_jumps(choice.foreign)] if jumps else []
    return empty.fill(seen, choice.athlete, notes=notes, jumps_cut=jumps)


def _describe_chosen(
    seen: Seen, choice: _Choice, options: FollowOptions, empty: _EmptyTrack
) -> LandmarkTrack:
    """Make the track where one of several people was chosen."""
    if choice.athlete is None:
        return empty.fill(seen, None, notes=[TOO_SMALL] if choice.persons else [])
    people = max(count_together(choice.persons), 1)
    notes = [_say_choice(choice.athlete, people, options)] if len(choice.persons) > 1 else []
    return empty.fill(seen, choice.athlete, notes=notes, people=people)


def _say_choice(athlete: Person, people: int, options: FollowOptions) -> str:
    """Say who was followed, and why."""
    x, y = athlete.first.centre_px
    if options.athlete_px is not None:
        reason = "the one at the given point"
    elif options.motion_score is not None:
        reason = "the one who moves like the drill and stays largest"
    else:
        reason = "the one who moves most and stays largest"
    who = f"{people} people were" if people > 1 else "Different people were"
    return f"{who} in the picture; {reason} was followed (start position {x:.0f}, {y:.0f} px)."


def _say_jumps(foreign: Sequence[Stretch]) -> str:
    """Say how often and for how long the model was not on the athlete."""
    frames = sum(len(stretch) for stretch in foreign)
    times = "Once" if len(foreign) == 1 else f"{len(foreign)} times"
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
