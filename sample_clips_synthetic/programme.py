"""Several movements one after another by one person: mixes, supersets, circuits on the clock.

Each segment is planned and posed as a clip of its own; between two segments the person stands,
turns or is out of the picture while one pose goes over into the next.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from generate import MOVEMENTS
from pose import solve
from tempo import VIDEO_CLOCK_HZ, ease

if TYPE_CHECKING:
    from bodies import Array, Body, Posed
    from numpy.typing import NDArray
    from scenario import Clip
    from scene import Solid
    from schedule import Schedule

SHORTEST_GAP_S = 0.4
OTHER = "other"


@dataclass(frozen=True)
class Segment:
    """One movement, planned like a clip; ``clip.seed`` makes its small variations.

    ``at_s``: when its first event begins on the clock of the whole; the pause before is made to
    fit. Otherwise it follows after ``gap_s``. ``turn_deg``: by how much the person turns to their
    left in that pause. ``set_up``: the person goes to where the movement is set up in the room, as
    under a bar. ``away``: nobody is in view during the pause.
    """

    clip: Clip
    gap_s: float = 1.0
    at_s: float | None = None
    turn_deg: float = 0.0
    set_up: bool = False
    away: bool = False


@dataclass(frozen=True)
class Bout:
    """What one segment really was, on the clock of the whole clip."""

    movement: str
    schedule: Schedule

    @property
    def span_s(self) -> tuple[float, float]:
        """Start of the first and end of the last event."""
        s = self.schedule
        rows = [*s.reps, *s.holds, *s.stages]
        return min(r.start_s for r in rows), max(r.end_s for r in rows)

    def shifted(self, by_s: float) -> Bout:
        """Return the same on another clock."""
        return replace(self, schedule=_shift(self.schedule, by_s))


@dataclass(frozen=True)
class Part:
    """A stretch of frames: joints (T, 3) by name, and the skin (T, V, 3); None: nobody in view."""

    time_s: Array
    points: dict[str, Array]
    skin: NDArray[np.float32] | None
    bout: Bout | None


@dataclass(frozen=True)
class _Place:
    """Where a person stands and which way they face, about the vertical."""

    x: float = 0.0
    y: float = 0.0
    yaw_deg: float = 0.0

    @property
    def values(self) -> tuple[float, float, float]:
        """The three numbers."""
        return (self.x, self.y, self.yaw_deg)

    def put(self, points: Array) -> Array:
        """Carry points (..., 3) from the person's own axes to the room."""
        a = np.radians(self.yaw_deg)
        turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
        out = points @ turn.T.astype(points.dtype)
        out[..., 0] += self.x
        out[..., 1] += self.y
        return out


@dataclass
class _Pose:
    """One frame in the person's own axes, its mid-hip over the origin."""

    points: dict[str, Array]
    skin: NDArray[np.float32]


def _shift(schedule: Schedule, by_s: float) -> Schedule:
    def move(rows: Sequence[Any]) -> list[Any]:
        moved = []
        for row in rows:
            times = {
                n: getattr(row, n) + by_s for n in ("start_s", "turn_s", "end_s") if hasattr(row, n)
            }
            moved.append(replace(row, **times))
        return moved

    return replace(
        schedule,
        reps=move(schedule.reps),
        holds=move(schedule.holds),
        stages=move(schedule.stages),
        absent_s=[(a + by_s, b + by_s) for a, b in schedule.absent_s],
    )


def lay_out(segments: Sequence[Segment]) -> tuple[list[tuple[Segment, Schedule, float]], float]:
    """Plan every segment; return it with its own schedule and its beginning, and the total time.

    Raises
    ------
    ValueError
        If a segment is to begin before the one before it is over.
    """
    rows: list[tuple[Segment, Schedule, float]] = []
    clock = 0.0
    for segment in segments:
        rng = np.random.default_rng(segment.clip.seed)
        schedule = MOVEMENTS[segment.clip.movement].plan(segment.clip, rng)
        begin_s = clock + (segment.gap_s if rows else 0.0)
        if segment.at_s is not None:
            begin_s = segment.at_s - Bout(segment.clip.movement, schedule).span_s[0]
            if rows and begin_s < clock + SHORTEST_GAP_S:
                raise ValueError(
                    f"{segment.clip.movement} at {segment.at_s} s: the segment before ends at "
                    f"{clock:.1f} s, and this one begins at {begin_s:.1f} s"
                )
        rows.append((segment, schedule, begin_s))
        clock = begin_s + schedule.total_s
    return rows, clock


def compose(
    body: Body, segments: Sequence[Segment], rate_hz: float, *, begin_s: float | None = None
) -> Iterator[Part]:
    """Pose a programme part by part; only one part is in memory at a time.

    Parameters
    ----------
    begin_s : float, optional
        Where the clock of the first frame stands; by default where the first segment begins.
    """
    rows, total_s = lay_out(segments)
    first_s = rows[0][2] if begin_s is None else begin_s
    times = first_s + np.arange(0.0, total_s - first_s, 1.0 / rate_hz)
    times = np.round(times * VIDEO_CLOCK_HZ) / VIDEO_CLOCK_HZ
    place, last = _Place(), None
    done = 0
    for segment, schedule, start_s in rows:
        begin = int(np.searchsorted(times, start_s - 1e-9))
        end = int(np.searchsorted(times, start_s + schedule.total_s - 1e-9))
        posed = _pose(body, segment, schedule, times[begin:end] - start_s)
        start = _own_axes(posed, 0)
        hip = _mid_hip(posed.points)[0]
        turned = replace(place, yaw_deg=place.yaw_deg + segment.turn_deg)
        if segment.set_up:
            turned = _Place(float(hip[0]), float(hip[1]))
        if begin > done:
            yield _bridge(times[done:begin], last, start, place, turned, segment)
        place = turned
        base = place.put(np.array([-hip[0], -hip[1], 0.0]))
        here = _Place(float(base[0]), float(base[1]), place.yaw_deg)
        bout = Bout(segment.clip.movement, _shift(schedule, start_s))
        points = {name: here.put(p) for name, p in posed.points.items()}
        yield Part(times[begin:end], points, here.put(posed.skin), bout)
        end_hip = here.put(_mid_hip(posed.points)[-1])
        place = _Place(float(end_hip[0]), float(end_hip[1]), place.yaw_deg)
        last, done = _own_axes(posed, -1), end


def _pose(body: Body, segment: Segment, schedule: Schedule, local_s: Array) -> Posed:
    rng = np.random.default_rng(segment.clip.seed + 7000)
    motion = MOVEMENTS[segment.clip.movement].build(segment.clip, body, local_s, schedule, rng)
    return solve(body, motion, len(local_s))


def solids_of(body: Body, segments: Sequence[Segment]) -> list[Solid]:
    """Return what the movements hold on to or sit on, such as a bar; each kind once."""
    found: dict[str, list[Solid]] = {}
    for segment, schedule, _ in lay_out(segments)[0]:
        movement = segment.clip.movement
        if movement in found:
            continue
        rng = np.random.default_rng(segment.clip.seed + 7000)
        times = np.arange(3) / 30.0
        motion = MOVEMENTS[movement].build(segment.clip, body, times, schedule, rng)
        solve(body, motion, 3, passes=1)
        found[movement] = list(getattr(motion, "solids", ()))
    return [solid for solids in found.values() for solid in solids]


def _mid_hip(points: dict[str, Array]) -> Array:
    return 0.5 * (points["left_hip"] + points["right_hip"])


def _own_axes(posed: Posed, frame: int) -> _Pose:
    origin = _mid_hip(posed.points)[frame] * np.array([1.0, 1.0, 0.0])
    points = {name: p[frame] - origin for name, p in posed.points.items()}
    return _Pose(points, posed.skin[frame] - origin.astype(np.float32))


def _bridge(
    time_s: Array, last: _Pose | None, start: _Pose, place: _Place, turned: _Place, segment: Segment
) -> Part:
    """Go from one pose over into the next, turning on the spot if asked to."""
    before = last or start
    share = ease((time_s - time_s[0]) / max(time_s[-1] - time_s[0], 1e-6))
    places = [
        _Place(*((1 - s) * a + s * b for a, b in zip(place.values, turned.values, strict=True)))
        for s in share
    ]
    points = {
        name: np.stack(
            [
                p.put((1 - s) * before.points[name] + s * start.points[name])
                for s, p in zip(share, places, strict=True)
            ]
        )
        for name in start.points
    }
    if segment.away:
        return Part(time_s, points, None, None)
    skin = np.stack(
        [
            p.put(np.float32(1 - s) * before.skin + np.float32(s) * start.skin)
            for s, p in zip(share, places, strict=True)
        ]
    ).astype(np.float32)
    return Part(time_s, points, skin, None)


def describe_bouts(bouts: Sequence[Bout]) -> list[dict[str, Any]]:
    """Return the true events of every bout, ready for JSON."""
    rows = []
    for bout in bouts:
        start_s, end_s = bout.span_s
        row: dict[str, Any] = {
            "movement": bout.movement,
            "start_s": round(start_s, 3),
            "end_s": round(end_s, 3),
        }
        for kind in ("reps", "holds", "stages", "rungs"):
            events = getattr(bout.schedule, kind)
            if events:
                row[kind] = [_plain(event) for event in events]
        rows.append(row)
    return rows


def _plain(event: Any) -> dict[str, Any]:
    keys = ("number", "stage", "rung", "reached", "side", "start_s", "turn_s", "end_s", "planted")
    found = {key: getattr(event, key) for key in keys if hasattr(event, key)}
    return {k: round(v, 3) if isinstance(v, float) else v for k, v in found.items()}


def label_times(bouts: Sequence[Bout], times_s: Array) -> list[str]:
    """Return the movement at each time, ``other`` between the bouts."""
    labels = [OTHER] * len(times_s)
    for bout in bouts:
        start_s, end_s = bout.span_s
        for n in np.flatnonzero((times_s >= start_s) & (times_s <= end_s)):
            labels[n] = bout.movement
    return labels
