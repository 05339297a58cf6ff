"""Made-up bouts and plans for the tests of plans and of the session sheet; nobody real."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from motioncheck.plans import Plan, parse_plan
from motioncheck.plans.session import SessionFacts, build_session
from motioncheck.plans.slots import stages_of
from motioncheck.records import Event, Finding, Value
from motioncheck.records.session import Bout, ClipLink, SessionSheet

MOVEMENTS = {
    "air-squat": "Air squat",
    "high-knees": "High knees",
    "jumping-jacks": "Jumping jacks",
    "wide-stance-twist": "Wide-stance twist",
    "front-plank": "Front plank",
    "sun-ladder": "Floor-to-stand ladder",
}
HEAD = 'format = "motioncheck/plan/1"\ntitle = "Land training"\n'


def plan_of(text: str) -> Plan:
    """Return a plan from the TOML of its blocks."""
    return parse_plan((HEAD + text).encode(), name="plan.toml", movements=MOVEMENTS)


def finding(verdict: str = "meets", value: float | None = 90.0, **more) -> Finding:
    """Return a finding of a check called depth."""
    fields = {
        "check": "depth", "title": "Thighs level at the bottom", "measure": "thigh_inclination",
        "side": "both", "threshold": 5.0, "comparison": "at most", "unit": "deg",
        "uncertainty": 5.0, "cue": "Sit until the thighs are level." if verdict == "misses" else "",
    } | more  # fmt: skip
    return Finding(verdict=verdict, value=value, **fields)


def rep(start_s: float, length_s: float = 2.0, side: str = "both", **more) -> Event:
    """Return one rep that turns half-way."""
    fields = {"kind": "rep", "number": 1, "findings": (finding(),)} | more
    turn_s, end_s = start_s + length_s / 2, start_s + length_s
    return Event(side=side, start_s=start_s, turn_s=turn_s, end_s=end_s, **fields)


def reps(
    count: int, start_s: float, length_s: float = 2.0, sides: Sequence[str] = ("both",), **more
) -> tuple[Event, ...]:
    """Return reps one right after the other."""
    return tuple(
        rep(start_s + i * length_s, length_s, sides[i % len(sides)], number=i + 1, **more)
        for i in range(count)
    )


def hold(start_s: float, length_s: float, side: str = "both", **more) -> Event:
    """Return one hold."""
    return rep(start_s, length_s, side, kind="hold", **more)


def stages(visits: Sequence[int | None], start_s: float, group: int | None = None, each_s=2.0):
    """Return visits to stages of a ladder, each two seconds long."""
    return tuple(
        rep(start_s + i * each_s, each_s, kind="stage", number=i + 1, stage=stage, group=group)
        for i, stage in enumerate(visits)
    )


def bout(movement: str, events: Sequence[Event], clip: str = "session.mp4", **more) -> Bout:
    """Return a bout that spans its events."""
    start = min((e.start_s for e in events), default=0.0)
    end = max((e.end_s for e in events), default=0.0)
    return Bout(clip, movement, start, end, tuple(events), **more)


def value(number: float, uncertainty: float = 5.0) -> Value:
    """Return an angle."""
    return Value(number, "deg", uncertainty)


FULL_PLAN = """
notes = "Seat 3, week 3 of the winter. Indoors, shoes on."

[[block]]
kind = "sets"
title = "Warm-up"
movement = "jumping-jacks"
sets = 2
reps = 20
rest_s = 30

[[block]]
kind = "sets"
title = "Squats for the drive"
movement = "air-squat"
sets = 3
reps = 10
rest_s = 60
load_kg = 12.5
load = "sandbag at the chest"
notes = "Chest up as at the catch."

[[block]]
kind = "sets"
title = "Trunk"
movement = "front-plank"
sets = 2
hold_s = 30
each_side = true
rest_s = 45

[[block]]
kind = "ladder"
title = "Get-up ladder"
movement = "sun-ladder"
rungs = 5

[[block]]
kind = "superset"
title = "Legs and turn"
rounds = 2
rest_s = 90
item = [
  {movement = "air-squat", reps = 12},
  {movement = "wide-stance-twist", reps = 8, each_side = true},
]

[[block]]
kind = "circuit"
title = "Start sequence on the clock"
rounds = 2
every_minute = {movement = "jumping-jacks", reps = 5}
item = [
  {movement = "air-squat", reps = 15},
  {movement = "high-knees", reps = 20},
]
"""


def judged(count: int, start_s: float, verdicts: str, length_s: float = 2.0, **more):
    """Return reps with a verdict each, by letter: m(eets), x (misses), c(lose), n(ot visible)."""
    words = {"m": "meets", "x": "misses", "c": "too close to call", "n": "not visible"}
    made = reps(count, start_s, length_s, **more)
    out = []
    for i, event in enumerate(made):
        verdict = words[verdicts[i % len(verdicts)]]
        number = None if verdict == "not visible" else 2.0 + 1.1 * i
        heels = finding(check="heels", title="Heels down")
        found = (finding(verdict, number, uncertainty=3.0), heels)
        out.append(replace(event, findings=found))
    return tuple(out)


def circuit_bouts(clip: str, **more) -> list[Bout]:
    """Return a circuit with a late minute, one in two parts, and one that is short."""
    jacks = [*reps(5, 10.0, 1.2), *reps(5, 84.0, 1.2), *reps(3, 131.0, 1.2), *reps(2, 158.0, 1.2)]
    jacks += reps(4, 190.6, 1.2)
    squats = [*judged(15, 18.0, "mmmmmmmmcm", 2.6), *judged(15, 139.0, "mmmmxmxxxx", 2.6)]
    squats = [e for e in squats if not 157 < e.end_s < 163]
    squats += judged(2, 181.0, "m", 2.6)
    knees = [*reps(20, 92.0, 0.9), *reps(20, 198.0, 1.0)]
    return [
        bout("jumping-jacks", jacks, clip, **more),
        bout("air-squat", squats, clip, **more),
        bout("high-knees", knees, clip, **more),
    ]


def full_bouts() -> list[Bout]:
    """Return the bouts of a full session in six clips, with planted departures from the plan."""

    def at(number: int, name: str) -> dict:
        return {"clip": name, "sheet": f"{name[:-4]}.check/sheet.html", "clip_sha256": name * 2}

    warm = reps(20, 5, 1.1) + reps(20, 62, 1.1)
    squats = judged(10, 4, "m") + judged(6, 90, "mmmmmc") + judged(4, 110, "mx")
    squats += judged(8, 180, "mmmxnxxx")
    planks = [hold(3, 30.6, "left"), hold(40, 29.8, "right"), hold(118, 31.0, "left")]
    planks.append(hold(160, 22.0, "right"))
    ladder = [e for k in (1, 2, 4) for e in stages(stages_of(k), 30 * k, k)]
    ladder += stages((1, 2, 3, 4, 4, 3, 2, 1), 180, 5)
    turns = reps(16, 32, 1.5, ("left", "right")) + reps(13, 180, 1.5, ("left", "right"))
    pairs = judged(12, 3, "m") + judged(12, 150, "mmmmmmxmxxxx")
    return [
        bout("jumping-jacks", warm, **at(1, "1 warm-up.mp4")),
        bout("air-squat", squats, **at(2, "2 squats.mp4")),
        bout("front-plank", planks, **at(3, "3 trunk.mp4")),
        bout("sun-ladder", ladder, **at(4, "4 ladder.mp4")),
        bout("air-squat", pairs, **at(5, "5 pairs.mp4")),
        bout("wide-stance-twist", turns, **at(5, "5 pairs.mp4")),
        bout("other", reps(3, 215), **at(5, "5 pairs.mp4")),
        *circuit_bouts(**at(6, "6 circuit.mp4")),
    ]


def full_session(**facts) -> SessionSheet:
    """Return the sheet of the full session."""
    bouts = full_bouts()
    links: dict[str, ClipLink] = {}
    for one in bouts:
        old = links.get(one.clip)
        names = (*(old.movements if old else ()), MOVEMENTS.get(one.movement, one.movement))
        links[one.clip] = ClipLink(one.clip, one.clip_sha256, names, one.sheet)
    given = {
        "titles": MOVEMENTS,
        "clips": tuple(links.values()),
        "cautions": ("Stop at sharp or rising pain, chest pain, dizziness or numbness.",),
        "plan_file": "week 3.toml",
        "plan_sha256": "0" * 64,
        "version": "0.1.0",
        "options": {"model": "full"},
    } | facts
    plan = plan_of(FULL_PLAN)
    return build_session(plan, bouts, SessionFacts(**given))
