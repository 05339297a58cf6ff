"""Realistic made-up sheets for the tests of the sheet room.

The numbers are those of a plausible set; the pictures show a drawn figure, nobody real.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from sheet_figures import HEIGHT, WIDTH, front_figure, photo, side_figure

from motioncheck.records import (
    BlindSpot,
    CameraInfo,
    CheckInfo,
    ClipInfo,
    Consistency,
    Cue,
    Event,
    Finding,
    MeasureTable,
    MovementInfo,
    Phase,
    Provenance,
    Sheet,
    SideDifference,
    Still,
    Summary,
    Tempo,
    TrackInfo,
    Value,
)
from motioncheck.sheet.drawing import draw_still
from motioncheck.sheet.lines import measured_lines
from motioncheck.sheet.words import value_text

RATE_HZ = 30.0
GENERAL_CAUTIONS = (
    "Stop at sharp or rising pain, chest pain, dizziness, numbness, or a joint that locks.",
    "Limits set by your doctor, physiotherapist or coach come before anything printed here. "
    "This measures; it does not diagnose.",
)
HOW = (
    "Angles are measured in the picture, in the plane of the camera; a body turned out of that "
    "plane looks less bent than it is.",
    "The track was smoothed forwards and backwards with a 5 Hz low-pass filter, so nothing is "
    "shifted in time.",
    "The number after ± is how far a value may be off; it decides what is too close to call.",
)


@dataclass(frozen=True)
class Example:
    """A sheet with what is rendered beside it."""

    sheet: Sheet
    table: MeasureTable
    stills: Mapping[int, Still]


def judge(
    check: CheckInfo,
    value: float | None,
    uncertainty: float,
    *,
    side: str = "both",
    cue: str = "",
    reason: str = "",
) -> Finding:
    """Return the finding that a value with this uncertainty earns."""
    if value is None:
        verdict = "not visible"
    else:
        beyond = value - check.threshold
        good = -beyond if check.comparison == "at most" else beyond
        verdict = "meets" if good >= uncertainty else "misses"
        if abs(good) < uncertainty:
            verdict = "too close to call"
            reason = "The distance to the limit is smaller than the uncertainty."
    return Finding(
        check.check, check.title, check.measure, side, verdict, value, check.threshold,
        check.comparison, check.unit, None if value is None else uncertainty,
        reason if verdict in {"too close to call", "not visible"} else "",
        cue if verdict == "misses" else "",
    )  # fmt: skip


def _check(
    check: str, title: str, measure: str, comparison: str, threshold: float, unit: str, plane: str,
    scope: str = "rep",
) -> CheckInfo:  # fmt: skip
    return CheckInfo(
        check, title, measure, "turn", comparison, float(threshold), unit, plane,
        "common practice, no source", scope,
    )  # fmt: skip


SQUAT_CHECKS = (
    _check("depth", "Thighs level at the bottom", "thigh_inclination", "at most", 5, "deg",
           "sagittal"),
    _check("parallel", "Chest and shins at the same slant", "trunk_shank_difference", "at most",
           12, "deg", "sagittal"),
    _check("trunk", "Chest up at the bottom", "trunk_inclination", "at most", 45, "deg",
           "sagittal"),
    _check("heels", "Heels down", "heel_lift_ratio", "at most", 0.1, "ratio", "sagittal"),
    _check("tall", "Standing tall between reps", "knee_flexion", "at most", 15, "deg", "sagittal"),
    _check("knees", "Knees over the feet", "knee_ankle_separation_ratio", "at least", 0.95,
           "ratio", "frontal"),
    _check("hips", "Hips in the middle", "pelvis_shift_ratio", "at most", 0.18, "ratio",
           "frontal"),
    _check("tempo", "Lowering time", "lowering_time_s", "at least", 1.0, "s", "any", "set"),
)  # fmt: skip
SQUAT_CUES = {
    "depth": "Sit until the thighs are level.",
    "parallel": "Chest and shins at the same slant.",
    "trunk": "Lift the chest; show what is printed on your shirt.",
    "heels": "Keep the whole foot on the floor.",
}
SIDE_ONLY = "This check needs a camera in front; this clip was filmed from the side."


def _clip(duration_s: float, name: str) -> ClipInfo:
    return ClipInfo(name, "5f" * 32, duration_s, RATE_HZ, 1080, 1920, 90, "h264", 700)


def _provenance() -> Provenance:
    return Provenance(
        "motioncheck", "0.1.0", "ab" * 32, "cd" * 32,
        {"model": "full", "show_face": False, "cutoff_hz": 5.0, "workers": 1, "plan": None},
        {"numpy": "2.3.1", "mediapipe": "0.10.31"},
    )  # fmt: skip


def _bumps(
    time_s: np.ndarray, spans: list[tuple[float, float]], heights: list[float]
) -> np.ndarray:
    """Return a curve that swings out and back once in each span."""
    curve = np.zeros(len(time_s))
    for (start, end), height in zip(spans, heights, strict=True):
        inside = (time_s >= start) & (time_s <= end)
        phase = (time_s[inside] - start) / (end - start)
        curve[inside] = height * np.sin(np.pi * phase) ** 1.4
    return curve


def _value(value: float, unit: str, uncertainty: float) -> Value:
    return Value(round(value, 2), unit, uncertainty, "image")


def squat_event(number: int, start: float, thigh: float, trunk: float, heel: float) -> Event:
    """Return one squat seen from the side, with its findings."""
    shank = 30.0
    values = {
        "depth": (thigh, 5.0), "parallel": (abs(trunk - shank), 5.0), "trunk": (trunk, 4.0),
        "heels": (heel, 0.05), "tall": (5.0 + number % 3, 5.0), "knees": (None, 0.08),
        "hips": (None, 0.05),
    }  # fmt: skip
    findings = tuple(
        judge(
            c, *values[c.check], cue=SQUAT_CUES.get(c.check, ""),
            side="right" if c.check in {"depth", "heels", "tall", "parallel"} else "both",
            reason=SIDE_ONLY if values[c.check][0] is None else "",
        )
        for c in SQUAT_CHECKS
        if c.scope == "rep"
    )  # fmt: skip
    measures = {
        "thigh_inclination_right": _value(thigh, "deg", 5.0),
        "trunk_inclination": _value(trunk, "deg", 4.0),
        "shank_inclination_right": _value(shank, "deg", 4.0),
        "heel_lift_ratio_right": _value(heel, "ratio", 0.05),
        "frontal_plane_knee_angle_right": Value(None, "deg", None),
    }
    phases = (
        Phase("lowering", start, start + 1.2),
        Phase("bottom", start + 1.2, start + 1.4),
        Phase("rising", start + 1.4, start + 2.4),
    )
    return Event("rep", number, "both", start, start + 1.3, start + 2.4, phases, measures, findings)


def _squat_pictures(events: tuple[Event, ...], *, show_face: bool = False) -> dict[int, Still]:
    stills = {}
    for index, event in enumerate(events):
        thigh = event.measures["thigh_inclination_right"].value or 0.0
        trunk = event.measures["trunk_inclination"].value or 0.0
        points = side_figure(thigh, trunk, 30.0)
        lines = [
            line
            for f in event.findings
            if f.check in {"depth", "trunk"}
            for line in measured_lines(
                f.measure, side="right", verdict=f.verdict, text=value_text(f.value, f.unit)
            )
        ]
        jpeg = draw_still(photo(points), points, lines=lines, show_face=show_face)
        stills[index] = Still(event.turn_s, jpeg, WIDTH, HEIGHT, 0.25)
    return stills


def _squat_table(events: tuple[Event, ...], duration_s: float) -> MeasureTable:
    rng = np.random.default_rng(3)
    time_s = np.arange(0.0, duration_s, 1 / RATE_HZ)
    spans = [(e.start_s, e.end_s) for e in events]
    depth = [84.0 - (e.measures["thigh_inclination_right"].value or 0.0) for e in events]
    lean = [(e.measures["trunk_inclination"].value or 0.0) - 4.0 for e in events]
    right = 84.0 - _bumps(time_s, spans, depth) + rng.normal(0, 0.5, len(time_s))
    left = right + 3.0 + rng.normal(0, 0.5, len(time_s))
    trunk = 4.0 + _bumps(time_s, spans, lean) + rng.normal(0, 0.4, len(time_s))
    left[(time_s > 4.4) & (time_s < 5.2)] = np.nan
    for curve in (left, right, trunk):
        curve[(time_s > 9.6) & (time_s < 10.1)] = np.nan
    values = {
        "thigh_inclination_left": left,
        "thigh_inclination_right": right,
        "trunk_inclination": trunk,
    }
    guards = {name: np.where(np.isfinite(v), 4.0, np.nan) for name, v in values.items()}
    return MeasureTable(time_s, values, guards)


def squat_sheet(
    reps: int = 7, *, pictures: bool = True, clip_name: str = "VID_20260412_0815.mp4"
) -> Example:
    """Return a squat from the side that gets shallower and leans more towards its end."""
    events = tuple(
        squat_event(
            n + 1, 1.2 + 2.9 * n,
            thigh=(-3.0 + n % 3) if n / reps < 0.4 else (3.0 if n / reps < 0.55 else 17.0 + n % 3),
            trunk=38.0 + n % 3 if n / reps < 0.4 else (43.0 if n / reps < 0.55 else 53.0 + n % 3),
            heel=0.22 if n == reps - 2 else 0.02,
        )
        for n in range(reps)
    )  # fmt: skip
    duration = events[-1].end_s + 1.5 if events else 6.0
    partial = (Event("rep", 1, "both", 0.0, 0.4, 0.8, notes=("It had begun before the clip.",)),)
    sheet = Sheet(
        clip=_clip(duration, clip_name),
        movement=MovementInfo(
            "air-squat", "Air squat", "9a" * 32, SQUAT_CHECKS, "thigh_inclination",
            "Square from the side with the lens at hip height shows depth, trunk and heels; a "
            "second clip from straight in front shows the knees.",
        ),
        camera=CameraInfo("right side", -84.0, 6.0, 1.2, 0.5, True,
                          ("The phone was tilted by 1°; this was corrected.",)),
        track=TrackInfo("full", int(duration * RATE_HZ), 0.97, 1, 0.2, 0, 1,
                        ("Left and right leg had been swapped once and were put back.",
                         "Gaps of up to 0.2 s were filled.")),
        events=events, partial_events=partial, summary=_squat_summary(events),
        blind_spots=_squat_blind_spots(),
        cautions=("Not with acute knee, hip or back pain, or soon after surgery: squat to a chair "
                  "instead.", *GENERAL_CAUTIONS),
        how_measured=HOW, provenance=_provenance(),
    )  # fmt: skip
    stills = _squat_pictures(events) if pictures else {}
    return Example(sheet, _squat_table(events, duration), stills)


def _squat_blind_spots() -> tuple[BlindSpot, ...]:
    advice = "from straight in front, phone level, whole body in the picture."
    return (
        BlindSpot("knees", "Knees over the feet", SIDE_ONLY, advice),
        BlindSpot("hips", "Hips in the middle", SIDE_ONLY, advice),
    )


def _counts(events: tuple[Event, ...]) -> dict[str, int]:
    counts = dict.fromkeys(("meets", "misses", "too close to call", "not visible"), 0)
    for event in events:
        for finding in event.findings:
            counts[finding.verdict] += 1
    return counts


def _missing(events: tuple[Event, ...], check: str) -> tuple[int, ...]:
    return tuple(
        e.number for e in events for f in e.findings if f.check == check and f.verdict == "misses"
    )


def _squat_summary(events: tuple[Event, ...]) -> Summary:
    to_fix = tuple(e.number for e in events if any(f.verdict == "misses" for f in e.findings))
    good = len(events) - len(to_fix)
    cues = tuple(
        Cue(check, text, _missing(events, check))
        for check, text in SQUAT_CUES.items()
        if _missing(events, check)
    )
    tempo_check = SQUAT_CHECKS[-1]
    return Summary(
        headline=f"{len(events)} squats: {good} with no miss, {len(to_fix)} to work on.",
        best="Standing tall between reps: every rep finishes with straight knees.",
        count=len(events), count_left=0, count_right=0, verdicts=_counts(events),
        reps_to_fix=to_fix, cues=cues,
        tempo=Tempo(1.2, 0.2, 1.0, 0.5, 2.9, 20.7),
        consistency=(
            Consistency("thigh_inclination", "Thigh inclination", "deg", 7.0, 9.1, 18.0, 5.0,
                        "Depth fades: the last reps stop 18° ± 5° higher than the first."),
            Consistency("rep_time_s", "Time of a rep", "s", 2.4, 0.05, 0.0, 0.07,
                        "The time of a rep stays within 0.1 s."),
        ),
        side_differences=(
            SideDifference("thigh_inclination", "Thigh inclination", "deg", 9.8, 6.8, 3.0, 7.1,
                           "No difference beyond the uncertainty."),
        ),
        set_findings=(judge(tempo_check, 1.2, 0.07),),
        notes=("Left and right differ by less than this camera can tell.",),
    )  # fmt: skip


JACK_CHECKS = (
    _check("arms", "Hands overhead", "shoulder_elevation", "at least", 155, "deg", "frontal"),
    _check("feet", "Feet wide", "stance_width_ratio", "at least", 1.3, "ratio", "frontal"),
    _check("together", "Hands and feet together", "arm_leg_lag_s", "at most", 0.15, "s", "any"),
    _check("elbows", "Long arms", "elbow_flexion", "at most", 30, "deg", "frontal"),
)


def jack_event(number: int, left: float, right: float, lag: float) -> Event:
    """Return one jumping jack seen from the front; arms have a finding for each side."""
    start = 0.8 + 1.05 * (number - 1)
    cue = "Hands meet overhead."
    findings = (
        judge(JACK_CHECKS[0], left, 6.0, side="left", cue=cue),
        judge(JACK_CHECKS[0], right, 6.0, side="right", cue=cue),
        judge(JACK_CHECKS[1], 1.62, 0.08),
        judge(JACK_CHECKS[2], lag, 0.07, cue="Hands and feet together."),
        judge(JACK_CHECKS[3], 11.0, 6.0),
    )
    measures = {
        "shoulder_elevation_left": _value(left, "deg", 6.0),
        "shoulder_elevation_right": _value(right, "deg", 6.0),
        "stance_width_ratio": _value(1.62, "ratio", 0.08),
    }
    return Event("rep", number, "both", start, start + 0.5, start + 1.0, (), measures, findings)


def jack_sheet() -> Example:
    """Return ten jumping jacks from the front, the right arm a little lower."""
    events = tuple(
        jack_event(n + 1, 168.0 - n % 4, 166.0 if n < 6 else 139.0, 0.05 if n != 3 else 0.28)
        for n in range(10)
    )
    time_s = np.arange(0.0, 12.0, 1 / 60.0)
    spans = [(e.start_s, e.end_s) for e in events]
    values = {
        f"shoulder_elevation_{side}": 12.0
        + _bumps(time_s, spans, [(e.measures[f"shoulder_elevation_{side}"].value or 0.0) - 12.0
                                 for e in events])
        for side in ("left", "right")
    }  # fmt: skip
    table = MeasureTable(time_s, values, {k: np.full(len(time_s), 6.0) for k in values})
    stills = {}
    for index, event in enumerate(events):
        left = event.measures["shoulder_elevation_left"].value or 0.0
        points = front_figure(left, 22.0)
        lines = [
            line
            for f in event.findings[:2]
            for line in measured_lines(
                f.measure, side=f.side, verdict=f.verdict, text=value_text(f.value, f.unit)
            )
        ]
        stills[index] = Still(
            event.turn_s, draw_still(photo(points), points, lines=lines), WIDTH, HEIGHT, 0.25
        )
    base = squat_sheet(1, pictures=False).sheet
    low = tuple(range(7, 11))
    summary = replace(
        base.summary, headline="10 jumping jacks: 5 with no miss, 5 to work on.",
        best="Feet wide: every rep opens well past the shoulders.", count=10,
        verdicts=_counts(events), reps_to_fix=(4, *low),
        cues=(Cue("arms", "Hands meet overhead.", low),
              Cue("together", "Hands and feet together.", (4,))),
        tempo=Tempo(None, None, None, 0.05, 1.05, 57.1), consistency=(),
        side_differences=(SideDifference(
            "shoulder_elevation", "Shoulder elevation", "deg", 166.5, 155.2, 11.3, 8.5,
            "The right arm goes less high than the left."),),
        set_findings=(), notes=(),
    )  # fmt: skip
    sheet = replace(
        base, clip=_clip(12.0, "jacks.mov"), events=events, partial_events=(), summary=summary,
        movement=MovementInfo("jumping-jacks", "Jumping jacks", "7b" * 32, JACK_CHECKS,
                              "shoulder_elevation", ""),
        camera=CameraInfo("front", 2.0, 4.0, None, None, False), blind_spots=(),
    )  # fmt: skip
    return Example(sheet, table, stills)


def alternating_sheet() -> Example:
    """Return eight reps that take the left and the right leg in turn."""
    base = squat_sheet(8, pictures=False)
    events = tuple(
        replace(e, side="left" if i % 2 == 0 else "right") for i, e in enumerate(base.sheet.events)
    )
    summary = replace(base.sheet.summary, count_left=4, count_right=4)
    movement = replace(base.sheet.movement, alternating=True)
    return Example(
        replace(base.sheet, events=events, summary=summary, movement=movement), base.table, {}
    )


def blind_sheet() -> Example:
    """Return a set of which this camera can show nothing."""
    base = squat_sheet(5, pictures=False)
    reason = "The lower legs are outside the picture."
    events = tuple(
        replace(
            e,
            measures={k: Value(None, v.unit, None) for k, v in e.measures.items()},
            findings=tuple(
                replace(f, verdict="not visible", value=None, uncertainty=None, reason=reason,
                        cue="")
                for f in e.findings
            ),
        )
        for e in base.sheet.events
    )  # fmt: skip
    spots = tuple(
        BlindSpot(c.check, c.title, reason, "Step back until head and feet are in the picture.")
        for c in SQUAT_CHECKS
        if c.scope == "rep"
    )
    summary = replace(
        base.sheet.summary, headline="5 squats counted; no check could be judged.", best="",
        verdicts=_counts(events), reps_to_fix=(), cues=(), consistency=(), side_differences=(),
        set_findings=(), tempo=Tempo(None, None, None, None, None, None),
    )  # fmt: skip
    nothing = {k: np.full(len(base.table.time_s), np.nan) for k in base.table.values}
    table = MeasureTable(base.table.time_s, nothing, nothing)
    return Example(
        replace(base.sheet, events=events, summary=summary, blind_spots=spots), table, {}
    )


HOSTILE = "<script>alert('x')</script>\"><img src=x onerror=alert(1)>&amp;{{ 7*7 }}"


def hostile_sheet() -> Example:
    """Return a sheet in which every text that comes from outside attacks the page."""
    base = squat_sheet(3)
    checks = tuple(
        replace(c, title=HOSTILE, check="=cmd|x" + c.check, source=HOSTILE, moment=HOSTILE)
        for c in SQUAT_CHECKS
    )
    events = tuple(
        replace(
            e,
            notes=(HOSTILE,),
            measures={"=1+1": Value(-3.0, HOSTILE, 1.0), "@sum": Value(float("nan"), "deg", None)},
            findings=tuple(
                replace(f, title=HOSTILE, check="=cmd|x" + f.check, reason=HOSTILE, cue=HOSTILE,
                        unit=HOSTILE)
                for f in e.findings
            ),
        )
        for e in base.sheet.events
    )  # fmt: skip
    summary = replace(
        base.sheet.summary, headline=HOSTILE, best=HOSTILE, notes=(HOSTILE,),
        cues=(Cue(HOSTILE, HOSTILE, (1, 2)),),
    )  # fmt: skip
    sheet = replace(
        base.sheet, clip=replace(base.sheet.clip, name=HOSTILE + ".mp4", sha256='"><b>'),
        movement=replace(base.sheet.movement, title=HOSTILE, checks=checks, camera_advice=HOSTILE),
        events=events, summary=summary, cautions=(HOSTILE,), how_measured=(HOSTILE,),
        blind_spots=(BlindSpot("a", HOSTILE, HOSTILE, HOSTILE),),
        provenance=replace(base.sheet.provenance, options={HOSTILE: HOSTILE}),
    )  # fmt: skip
    return Example(sheet, base.table, base.stills)
