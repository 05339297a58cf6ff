"""Made-up squads for the tests of the group sheet; athletes are seat numbers, nobody real."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
from sheet_examples import blind_sheet, jack_event, jack_sheet, squat_event, squat_sheet

from motioncheck.batch.group import GroupEntry
from motioncheck.records import Cue, Event, Sheet

MADE_AT = "2026-04-12T08:15:00+00:00"
NO_PERSON = "no person could be found in the picture"
CUT_SHORT = "the file ends before its first picture; copy it from the phone again"


@lru_cache
def _base(kind: str) -> Sheet:
    return squat_sheet(1, pictures=False).sheet if kind == "squat" else jack_sheet().sheet


def with_events(sheet: Sheet, events: Sequence[Event]) -> Sheet:
    """Return a sheet with other events, and the cues and counts these call for."""
    missing: dict[str, list[int]] = {}
    texts: dict[str, str] = {}
    for event in events:
        for f in event.findings:
            if f.verdict == "misses":
                missing.setdefault(f.check, []).append(event.number)
                texts[f.check] = f.cue
    cues = tuple(Cue(c, texts[c], tuple(reps)) for c, reps in list(missing.items())[:3])
    to_fix = tuple(sorted({n for reps in missing.values() for n in reps}))
    summary = replace(
        sheet.summary, count=len(events), cues=cues, reps_to_fix=to_fix, side_differences=()
    )
    return replace(sheet, events=tuple(events), partial_events=(), summary=summary)


def squats(shallow: int = 0, leaning: int = 0, lifted: int = 0, *, reps: int = 8) -> Sheet:
    """Return squats from the side of which the last ones miss depth, the first ones the rest."""
    events = [
        squat_event(
            n + 1, 1.0 + 3.0 * n,
            thigh=17.0 if n >= reps - shallow else -6.0 - n % 3,
            trunk=53.0 if n < leaning else 37.0 + n % 3,
            heel=0.22 if n < lifted else 0.02,
        )
        for n in range(reps)
    ]  # fmt: skip
    return with_events(_base("squat"), events)


def jacks(low: int = 0, *, reps: int = 10) -> Sheet:
    """Return jumping jacks from the front of which the last ones leave the right arm low."""
    events = [
        jack_event(n + 1, 168.0 - n % 4, 139.0 if n >= reps - low else 166.0, 0.05)
        for n in range(reps)
    ]
    return with_events(_base("jack"), events)


def entry(person: str, sheet: Sheet, clip: str = "", **fields: str) -> GroupEntry:
    """Return a checked clip with its link."""
    name = clip or f"{person}.mp4"
    return GroupEntry(person, name, sheet=f"{name}.check/sheet.html", result=sheet, **fields)


def crew() -> list[GroupEntry]:
    """Return eight seats: five squat, two of them shallow and leaning, one without a result."""
    return [
        entry("seat1", squats()),
        entry("seat2", squats(shallow=6, leaning=2)),
        entry("seat3", squats(shallow=1)),
        entry("seat4", squats(shallow=3)),
        entry("seat5", blind_sheet().sheet),
        entry("seat6", jacks(low=4)),
        entry("seat7", jacks()),
        GroupEntry("seat8", "seat8.mp4", "failed", reason=NO_PERSON),
        GroupEntry("seat2", "seat2 again.mp4", "failed", reason=CUT_SHORT),
    ]


def squad(count: int, *, seed: int = 5) -> list[GroupEntry]:
    """Return many clips: two of three squat, one of three jumps, one of twelve has no result."""
    rng = np.random.default_rng(seed)
    entries = []
    for n in range(1, count + 1):
        person, clip = f"seat{n}", f"VID_20260412_{n:04d}.mp4"
        kind = rng.integers(12)
        if kind == 0:
            reason = NO_PERSON if rng.integers(2) else CUT_SHORT
            entries.append(GroupEntry(person, clip, "failed", reason=reason))
        elif kind <= 4:
            low = int(rng.integers(11)) if rng.integers(3) == 0 else 0
            entries.append(entry(person, jacks(low), clip))
        else:
            faults = [int(rng.integers(9)) if rng.integers(k) == 0 else 0 for k in (3, 5, 12)]
            entries.append(entry(person, squats(*faults), clip))
    return entries
