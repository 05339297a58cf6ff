"""When things happen: frame times, repetitions, eased moves and small natural sway."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from bodies import Array
    from numpy.random import Generator

VIDEO_CLOCK_HZ = 90_000


@dataclass(frozen=True)
class Rep:
    """One repetition as it was planned; these are the true events."""

    number: int
    side: str
    start_s: float
    turn_s: float
    end_s: float
    planted: tuple[str, ...] = ()
    hold_s: float = 0.0


@dataclass(frozen=True)
class Timing:
    """How a set is paced; all in seconds, ``jitter`` as a share of each duration."""

    lead_s: float = 0.8
    out_s: float = 0.8
    hold_s: float = 0.1
    back_s: float = 0.75
    rest_s: float = 0.25
    tail_s: float = 0.8
    jitter: float = 0.10
    pause_after: dict[int, float] = field(default_factory=dict)


def ease(x: Array) -> Array:
    """Return the minimum-jerk step from 0 to 1; flat outside that range."""
    x = np.clip(x, 0.0, 1.0)
    return x**3 * (10 - 15 * x + 6 * x**2)


def bump(x: Array) -> Array:
    """Return a smooth hill over 0 to 1 that peaks with 1 in the middle."""
    inside = (x > 0) & (x < 1)
    return np.where(inside, np.sin(np.pi * np.clip(x, 0, 1)) ** 2, 0.0)


def plan_reps(
    timing: Timing,
    *,
    count: int,
    sides: tuple[str, ...],
    faults: dict[int, tuple[str, ...]],
    rng: Generator,
) -> tuple[list[Rep], float]:
    """Lay out ``count`` repetitions one after another.

    Returns
    -------
    reps, total_s
        The repetitions and the length of the whole clip.
    """
    clock = timing.lead_s
    reps = []
    for i in range(count):
        pace = 1 + rng.uniform(-timing.jitter, timing.jitter, size=4)
        out, hold = timing.out_s * pace[0], timing.hold_s * pace[1]
        back, rest = timing.back_s * pace[2], timing.rest_s * pace[3]
        number = i + 1
        reps.append(
            Rep(
                number=number,
                side=sides[i % len(sides)],
                start_s=clock,
                turn_s=clock + out + hold / 2,
                end_s=clock + out + hold + back,
                planted=faults.get(number, ()),
                hold_s=hold,
            )
        )
        clock += out + hold + back + rest + timing.pause_after.get(number, 0.0)
    return reps, clock + timing.tail_s


def progress(time_s: Array, rep: Rep) -> Array:
    """Return how far one repetition has got: 0 at rest, 1 at the turn."""
    top, leave = rep.turn_s - rep.hold_s / 2, rep.turn_s + rep.hold_s / 2
    rising = ease((time_s - rep.start_s) / (top - rep.start_s))
    falling = ease((rep.end_s - time_s) / (rep.end_s - leave))
    return np.minimum(rising, falling)


def per_rep(time_s: Array, reps: list[Rep], values: list[float]) -> Array:
    """Hold each repetition's own value until the middle of the rest that follows it."""
    out = np.full(len(time_s), values[-1], dtype=float)
    for rep, following, value in zip(
        reversed(reps[:-1]), reversed(reps[1:]), reversed(values[:-1]), strict=True
    ):
        out[time_s < 0.5 * (rep.end_s + following.start_s)] = value
    return out


def sway(time_s: Array, rng: Generator, *, size: float, slow_hz: float = 0.35) -> Array:
    """Return a small wander made of a few slow waves; its spread is about ``size``."""
    total = np.zeros(len(time_s))
    for factor in (0.6, 1.0, 1.9):
        rate = slow_hz * factor * rng.uniform(0.85, 1.15)
        total += np.sin(2 * np.pi * (rate * time_s + rng.uniform())) / factor**0.5
    return size * total / 1.3


def even_times(total_s: float, rate_hz: float) -> Array:
    """Return the frame times of a constant-rate clip that starts at zero."""
    return np.arange(round(total_s * rate_hz)) / rate_hz


def uneven_times(total_s: float, start_s: float, rng: Generator) -> Array:
    """Return frame times whose gaps wander between 1/60 and 1/24 s, on the video clock.

    Phones lower their rate in poor light and raise it again; the rate here wanders slowly and
    now and then a single frame comes late.
    """
    ticks = [round(start_s * VIDEO_CLOCK_HZ)]
    last = ticks[0] + round(total_s * VIDEO_CLOCK_HZ)
    phase = rng.uniform(0, 2 * np.pi)
    while ticks[-1] < last:
        seconds = (ticks[-1] - ticks[0]) / VIDEO_CLOCK_HZ
        rate = 40 + 13 * np.sin(2 * np.pi * 0.23 * seconds + phase) + rng.uniform(-7, 7)
        if rng.uniform() < 0.04:
            rate = 24.0
        ticks.append(ticks[-1] + round(VIDEO_CLOCK_HZ / float(np.clip(rate, 24, 60))))
    return np.array(ticks) / VIDEO_CLOCK_HZ
