"""Jumps within repetitions: flight and landing become phases of the rep."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from motioncheck.records import Event, MeasureTable, Phase, Value
from motioncheck.splitting.flight import Flight, FlightRule, find_flights

# A jump that ends a rep may begin up to this long after the body stands again.
AFTER_S = 1.0
# The stretch after touch-down in which the landing is judged (common practice, no source).
LANDING_S = 0.15
# A rep that ends with a jump is over when the body has caught itself (common practice, no source).
CAUGHT_S = 0.4
# "No jump" is said when a foot was seen in this share of the time in which one could be.
SEEN_SHARE = 0.8
# Feet that hop to a plank and back are off the floor as well, but not under the body: in a jump
# the hips are at least this high above the feet, in leg lengths (common practice, no source).
HIPS_UP = 0.7
# The pose model smooths what it sees, so that feet in flight seem to fall more slowly and longer:
# nine rendered jumps of 0.27 s were read as 2.2 to 4.9 statures/s² and as 0.29 to 0.43 s.
MIN_FALL = 2.0
SMOOTHED_S = 0.1


def add_flights(
    events: Sequence[Event], table: MeasureTable, rule: FlightRule | None = None
) -> tuple[Event, ...]:
    """Give each rep its longest flight.

    Parameters
    ----------
    events : sequence of Event
        Reps in time order.
    table : MeasureTable
        With the height of both feet (``foot_rise_ratio``), and that of the hips above them
        (``hip_height_ratio``) where it is known. A foot that is hidden behind the other one goes
        with it.
    rule : FlightRule, optional

    Returns
    -------
    tuple of Event
        With the phases ``flight`` and ``landing`` after the others, and ``flight_time_s`` among
        the measures; a rep that ends with a jump ends with its landing. Without a jump the time is
        0 where a foot was seen, and missing where none was.
    """
    if not events:
        return ()
    left, right = (table.values[f"foot_rise_ratio_{side}"] for side in ("left", "right"))
    feet = np.where(np.isnan(left), right, left), np.where(np.isnan(right), left, right)
    flights = find_flights(table.time_s, *feet, rule or FlightRule(min_fall=MIN_FALL))
    flights = [f for f in flights if _is_upright(f, table)]
    limits = [e.start_s for e in events[1:]] + [math.inf]
    return tuple(
        _add(event, _own(flights, event, until_s), table, until_s)
        for event, until_s in zip(events, limits, strict=True)
    )


def _own(flights: Sequence[Flight], event: Event, until_s: float) -> Flight | None:
    last_s = min(event.end_s + AFTER_S, until_s)
    inside = [f for f in flights if event.start_s <= f.takeoff_s <= last_s]
    return max(inside, key=lambda f: f.flight_time_s, default=None)


def _is_upright(flight: Flight, table: MeasureTable) -> bool:
    """Tell whether the hips are high above the feet during a flight; not known counts as such."""
    hips = table.values.get("hip_height_ratio")
    if hips is None:
        return True
    during = hips[(table.time_s >= flight.takeoff_s) & (table.time_s <= flight.landing_s)]
    known = during[np.isfinite(during)]
    return len(known) == 0 or float(np.median(known)) >= HIPS_UP


def _add(event: Event, flight: Flight | None, table: MeasureTable, until_s: float) -> Event:
    if flight is None:
        none = Value(0.0, "s", FlightRule().min_time_s, "image")
        seen = _feet_seen(event, table)
        return replace(event, measures={**event.measures, "flight_time_s": none}) if seen else event
    landed_s = flight.landing_s + LANDING_S
    doubt_s = math.hypot(flight.uncertainty_s, SMOOTHED_S)
    time = Value(round(flight.flight_time_s, 3), "s", round(doubt_s, 3), "image")
    return replace(
        event,
        end_s=max(event.end_s, min(flight.landing_s + CAUGHT_S, until_s)),
        phases=(
            *event.phases,
            Phase("flight", flight.takeoff_s, flight.landing_s),
            Phase("landing", flight.landing_s, landed_s),
        ),
        measures={**event.measures, "flight_time_s": time},
    )


def _feet_seen(event: Event, table: MeasureTable) -> bool:
    """Whether a foot is known in most of the rep's last part, where a jump would be."""
    inside = (table.time_s >= event.turn_s) & (table.time_s <= event.end_s + AFTER_S / 2.0)
    known = [
        np.isfinite(table.values[f"foot_rise_ratio_{side}"][inside]) for side in ("left", "right")
    ]
    return bool(inside.any()) and float((known[0] | known[1]).mean()) > SEEN_SHARE
