"""Tempo of a set: time under tension, phases, rests, and how much slower the reps become."""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace

from motioncheck.records import Event


@dataclass(frozen=True, slots=True)
class PhaseTimes:
    """How long one phase took in each rep, the mean, and the spread (None for a single rep).

    ``each_s`` is in the order of the reps; None where a rep has no phase of this name.
    """

    name: str
    each_s: tuple[float | None, ...]
    mean_s: float
    sd_s: float | None


@dataclass(frozen=True, slots=True)
class SetTempo:
    """Times of a set as a whole. Uncertainties are half-widths.

    ``under_tension_s`` is the time during which a rep was going on, pauses at the turn included;
    reps of alternating sides that overlap count once. ``rests_s`` are the times from the end of a
    rep to the start of the next, 0 where they overlap; one fewer than reps. ``rep_cv_ratio`` is
    the spread of the time of a rep over its mean. ``speeds`` are the mean speeds of the rising
    phase in each rep, ``fastest`` the number of the rep that was fastest, and
    ``speed_loss_percent`` how much slower the last rep with a speed rose; None where fewer than
    two reps have one.
    """

    reps: int
    under_tension_s: float
    under_tension_uncertainty_s: float
    phases: tuple[PhaseTimes, ...]
    rests_s: tuple[float, ...]
    mean_rest_s: float | None
    rep_cv_ratio: float | None
    speeds: tuple[float | None, ...] = ()
    fastest: int | None = None
    speed_loss_percent: float | None = None
    speed_loss_uncertainty_percent: float | None = None


def compute_set_tempo(
    events: Sequence[Event],
    *,
    frame_s: float,
    rising: str | None = None,
    travel: Sequence[float | None] | None = None,
) -> SetTempo | None:
    """Compute the tempo of a set.

    Parameters
    ----------
    events : sequence of Event
        The finished reps in time order.
    frame_s : float
        Time from one frame to the next: every start and every end is taken to be good to one.
    rising : str, optional
        Name of the phase in which the load goes up; without it there are no speeds.
    travel : sequence of float or None, optional
        How far each rep goes, any unit, above 0; None where not known. Without it every rep is
        taken to go equally far.

    Returns
    -------
    SetTempo or None
        None for a set without reps.

    Raises
    ------
    ValueError
        If there is not one travel for each rep.

    Notes
    -----
    Speed loss = 100 (fastest - last) / fastest, of the mean speeds of the rising phase, as in
    velocity-based training (Sánchez-Medina and González-Badillo 2011, Med. Sci. Sports Exerc. 43,
    from memory). It is between 0 and 100. Its uncertainty is that of the two times, by the law of
    propagation; the fastest of many reps is more likely one whose time was read too short, so
    small losses read too high.
    """
    if not events:
        return None
    if travel is not None and len(travel) != len(events):
        raise ValueError(f"travel: expected {len(events)} values, got {len(travel)}.")
    lasts = [e.end_s - e.start_s for e in events]
    rests = tuple(max(b.start_s - a.end_s, 0.0) for a, b in itertools.pairwise(events))
    mean, sd = statistics.fmean(lasts), _spread(lasts)
    tempo = SetTempo(
        reps=len(events),
        under_tension_s=_count_union(events),
        under_tension_uncertainty_s=frame_s * math.sqrt(2.0 * len(events)),
        phases=_list_phases(events),
        rests_s=rests,
        mean_rest_s=statistics.fmean(rests) if rests else None,
        rep_cv_ratio=None if sd is None or mean <= 0.0 else sd / mean,
    )
    if rising is None:
        return tempo
    times = [_last(event, rising) for event in events]
    ways = [1.0] * len(events) if travel is None else list(travel)
    return _add_speeds(tempo, events, times, ways, frame_s)


def _count_union(events: Sequence[Event]) -> float:
    """Seconds covered by at least one rep."""
    total, reached = 0.0, -math.inf
    for event in sorted(events, key=lambda e: e.start_s):
        total += max(event.end_s - max(event.start_s, reached), 0.0)
        reached = max(reached, event.end_s)
    return total


def _list_phases(events: Sequence[Event]) -> tuple[PhaseTimes, ...]:
    names = dict.fromkeys(phase.name for event in events for phase in event.phases)
    listed = []
    for name in names:
        each = tuple(_last(event, name) for event in events)
        known = [seconds for seconds in each if seconds is not None]
        listed.append(PhaseTimes(name, each, statistics.fmean(known), _spread(known)))
    return tuple(listed)


def _last(event: Event, name: str) -> float | None:
    """Return how long the phases of this name take together, None without one."""
    found = [p.end_s - p.start_s for p in event.phases if p.name == name]
    return sum(found) if found else None


def _spread(values: Sequence[float]) -> float | None:
    return statistics.stdev(values) if len(values) > 1 else None


def _add_speeds(
    tempo: SetTempo,
    events: Sequence[Event],
    times: Sequence[float | None],
    ways: Sequence[float | None],
    frame_s: float,
) -> SetTempo:
    speeds = tuple(
        None if t is None or way is None or t <= 0.0 or way <= 0.0 else way / t
        for t, way in zip(times, ways, strict=True)
    )
    known = [
        (speed, seconds, event.number)
        for speed, seconds, event in zip(speeds, times, events, strict=True)
        if speed is not None and seconds is not None
    ]
    if len(known) < 2:
        return replace(tempo, speeds=speeds)
    fastest, shortest_s, number = max(known, key=lambda k: k[0])
    last, last_s, _ = known[-1]
    # Both ends of both times are good to a frame each.
    doubt = math.hypot(frame_s / last_s, frame_s / shortest_s) * math.sqrt(2.0)
    return replace(
        tempo,
        speeds=speeds,
        fastest=number,
        speed_loss_percent=100.0 * (1.0 - last / fastest),
        speed_loss_uncertainty_percent=100.0 * last / fastest * doubt,
    )
