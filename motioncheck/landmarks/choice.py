"""Which of the people in the clip is the athlete."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from motioncheck.errors import UsageError
from motioncheck.landmarks.linking import Person, join_stretches, link_sightings
from motioncheck.landmarks.sightings import FloatArray, Sighting, compute_box, compute_extent
from motioncheck.records import LandmarkTrack
from motioncheck.skeleton import INDEX

MotionScore = Callable[[LandmarkTrack], float]
Point = tuple[float, float]

# A body that never spans this part of the picture's height is too small to be measured; most of
# what the model finds at that size is furniture. Project judgement on real office video.
SMALLEST_EXTENT: Final = 0.2
# Shorter appearances are flickers of the model, if anybody was there for longer.
SHORTEST_S: Final = 0.3
# How far beside the body, in body extents, a point given for the athlete may lie.
POINT_REACH: Final = 0.25
# People who are there within this time of the first one count as there at the start.
START_S: Final = 1.0
# A person who stands still all the time still counts a little: holds are exercises too.
STILLNESS_M: Final = 0.3

_MOVING: Final = tuple(
    INDEX[f"{side}_{part}"]
    for part in ("shoulder", "elbow", "wrist", "knee", "ankle")
    for side in ("left", "right")
)
_HIPS: Final = (INDEX["left_hip"], INDEX["right_hip"])


def find_persons(frames: Sequence[Sequence[Sighting]]) -> list[Person]:
    """Find out who was in the clip, flickers left out.

    Parameters
    ----------
    frames : sequence of sequence of Sighting
        Who was seen in each frame.

    Returns
    -------
    persons : list of Person
        In order of their first sighting.
    """
    persons = join_stretches(link_sightings(frames))
    lasting = [person for person in persons if person.seconds >= SHORTEST_S]
    return lasting or persons


def compute_extent_px(person: Person) -> float:
    """Compute how far the body spans, upright or lying: the 90th percentile over time."""
    return float(np.percentile([compute_extent(s.pose) for s in person.sightings], 90))


def keep_measurable(persons: Sequence[Person], *, height_px: int) -> list[Person]:
    """Leave out persons too small in the picture to be measured."""
    return [p for p in persons if compute_extent_px(p) >= SMALLEST_EXTENT * height_px]


def choose_nearest(persons: Sequence[Person], point_px: Point) -> Person:
    """Choose the person at a point given by the user.

    Parameters
    ----------
    persons : sequence of Person
    point_px : (float, float)
        Where the athlete is at the start of the clip, pixels of the full-size picture.

    Raises
    ------
    UsageError
        If nobody is there; it says where people are.
    """
    start_s = min((person.first.time_s for person in persons), default=0.0)
    there = [person for person in persons if person.first.time_s <= start_s + START_S]
    check_reach([person.first for person in there], point_px)
    return min(there, key=lambda person: compute_distance(person.first, point_px))


def check_reach(sightings: Sequence[Sighting], point_px: Point) -> None:
    """Raise `UsageError` unless one of the bodies is at the point given for the athlete."""
    x, y = point_px
    if any(compute_distance(sighting, point_px)[0] <= POINT_REACH for sighting in sightings):
        return
    raise UsageError(
        f"Nobody was found at {x:.0f}, {y:.0f} px at the start of the clip; "
        + _say_where(sightings),
        hint="Give a point on the athlete's body in the first picture, in pixels from the top "
        "left corner.",
    )


def compute_distance(sighting: Sighting, point_px: Point) -> tuple[float, float]:
    """Compute how far a point is from a body: beside its box, and from its centre.

    Returns
    -------
    beside, from_centre : float
        In parts of the extent of the body; ``beside`` is 0 inside the box.
    """
    point = np.array(point_px)
    box = compute_box(sighting.pose)
    extent = max(compute_extent(sighting.pose), 1.0)
    beside = np.maximum(np.maximum(box[:2] - point, point - box[2:]), 0.0)
    return (
        float(np.linalg.norm(beside)) / extent,
        float(np.linalg.norm(sighting.centre_px - point)) / extent,
    )


def _say_where(sightings: Sequence[Sighting]) -> str:
    places: dict[int, FloatArray] = {}
    for sighting in sightings:
        places.setdefault(sighting.eye, sighting.centre_px)
    if not places:
        return "nobody was found anywhere."
    where = " and ".join(f"{x:.0f}, {y:.0f} px" for x, y in places.values())
    return f"{'people were' if len(places) > 1 else 'one person was'} found at {where}."


def choose_best(
    persons: Sequence[Person],
    make_track: Callable[[Person], LandmarkTrack],
    motion_score: MotionScore | None = None,
) -> Person:
    """Choose the person who stays largest and moves most in the way of the drill.

    Parameters
    ----------
    persons : sequence of Person
        At least one.
    make_track : callable
        Gives the track of a person.
    motion_score : callable, optional
        Says how well a track fits to the drill, 0 or more; by default how much the body moves.
        Where it is 0 for everybody the default decides.

    Returns
    -------
    person : Person
        The one with the largest product of apparent size, time in the picture, and score.
    """
    if len(persons) == 1:
        return persons[0]
    tracks = [make_track(person) for person in persons]
    fit = [max(motion_score(track), 0.0) for track in tracks] if motion_score else []
    if not any(fit):
        fit = [STILLNESS_M + compute_movement_m(track) for track in tracks]
    scores = [
        person.px_per_m * track.seen_ratio * value
        for person, track, value in zip(persons, tracks, fit, strict=True)
    ]
    return persons[int(np.argmax(scores))]


def compute_movement_m(track: LandmarkTrack) -> float:
    """Compute how much a body moves at one place: limbs against the hips, hips up and down.

    Walking through the picture counts only by the swing of the limbs.

    Parameters
    ----------
    track : LandmarkTrack

    Returns
    -------
    movement_m : float
        Mean range (5th to 95th percentile) in metres on the body; 0 where nobody was found.
    """
    seen = np.isfinite(track.image_px[:, _HIPS[0], 0])
    if not seen.any():
        return 0.0
    image, world = track.image_px[seen], track.world_m[seen]
    hips = image[:, _HIPS].mean(axis=1)
    spread_px = np.linalg.norm(image - image.mean(axis=1, keepdims=True), axis=(1, 2))
    flat = world[:, :, :2]
    spread_m = np.linalg.norm(flat - flat.mean(axis=1, keepdims=True), axis=(1, 2))
    px_per_m = np.maximum(np.median(spread_px) / max(float(np.median(spread_m)), 1e-6), 1e-6)
    limbs = np.ptp(np.percentile(image[:, _MOVING] - hips[:, None], (5, 95), axis=0), axis=0)
    rise = np.ptp(np.percentile(hips[:, 1], (5, 95)))
    return float((np.linalg.norm(limbs, axis=1).mean() + rise) / px_per_m)


def find_jumps(sightings: Sequence[Sighting], athlete: Person) -> list[list[Sighting]]:
    """Find where a model that followed the athlete was on something or somebody else.

    Parameters
    ----------
    sightings : sequence of Sighting
        Everything seen in the clip, in time order.
    athlete : Person

    Returns
    -------
    jumps : list of list of Sighting
        Each an unbroken run of one model. What a model saw that never followed the athlete is not
        in it: it followed somebody else from start to end.
    """
    own = {(sighting.eye, sighting.frame) for sighting in athlete.sightings}
    jumps: list[list[Sighting]] = []
    for eye in sorted({eye for eye, _ in own}):
        run: list[Sighting] = []
        for sighting in (s for s in sightings if s.eye == eye):
            if (eye, sighting.frame) in own:
                run = []
                continue
            if not run:
                jumps.append(run)
            run.append(sighting)
    return jumps


def count_together(persons: Sequence[Person]) -> int:
    """Count the most persons seen in one frame."""
    frames = np.array([s.frame for person in persons for s in person.sightings], dtype=np.intp)
    return int(np.bincount(frames).max()) if frames.size else 0
