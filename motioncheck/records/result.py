"""What a check of one clip found: the content of the sheet.

Everything here is plain data without arrays, so that it compares by value and turns into JSON as
it stands. Numbers that could not be measured are None, never 0.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from motioncheck.records.clip import ClipInfo
from motioncheck.records.origin import BlindSpot, MeasureInfo, Provenance, TrackInfo
from motioncheck.skeleton import Side

Verdict = Literal["meets", "misses", "too close to call", "not visible"]
VERDICTS: tuple[Verdict, ...] = ("meets", "misses", "too close to call", "not visible")
EventKind = Literal["rep", "hold", "stage", "bout"]
Comparison = Literal["at least", "at most"]
CorrectionKind = Literal["strike", "add", "verdict", "note"]
# Where a number was read: off the picture, from the fitted body, or (times) from neither.
Source = Literal["image", "body", ""]

SCHEMA_ID = "motioncheck/sheet/1"


@dataclass(frozen=True, slots=True)
class Value:
    """A measured number.

    ``uncertainty`` is the half-width of its 90 % interval, same unit. ``source`` is where most of
    the frames it was read from have it from; empty for times.
    """

    value: float | None
    unit: str
    uncertainty: float | None
    source: Source = "image"


@dataclass(frozen=True, slots=True)
class Finding:
    """Result of one check for one event (or for the whole set).

    ``check`` is the id in the standard; ``side`` says whose limb the value belongs to.
    ``reason`` says in one sentence why a verdict is not definite, empty otherwise. ``cue`` is
    given with a miss only. ``uncertainty`` and ``source`` are as in `Value`. ``norms`` are as in
    `RangeResult`, for findings of the set that have any. ``verdict`` is always the measured one;
    ``corrected`` is what a person who looked at the clip says instead, None without a correction.
    """

    check: str
    title: str
    measure: str
    side: Side
    verdict: Verdict
    value: float | None
    threshold: float
    comparison: Comparison
    unit: str
    uncertainty: float | None
    reason: str = ""
    cue: str = ""
    source: Source = ""
    norms: tuple[str, ...] = ()
    corrected: Verdict | None = None

    @property
    def holds(self) -> Verdict:
        """The verdict that counts: the corrected one, or else the measured one."""
        return self.verdict if self.corrected is None else self.corrected


@dataclass(frozen=True, slots=True)
class Phase:
    """A named part of an event."""

    name: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Event:
    """One rep, hold, stage or bout. ``number`` counts from 1 within its kind, in time order.

    ``stage`` and ``name`` tell which stage of an ordered sequence it is, from 1; ``group`` which
    way up and back (the rung of a ladder) it belongs to, from 1. None where that does not apply.

    ``struck``: somebody who looked at the clip says it is none; it is shown and counts nowhere.
    ``added``: the program did not find it, somebody added it. It has no measured values, and when
    no span was given its start and end are those of its turn. Correcting leaves the numbers as
    they are: a struck event keeps its own, an added one gets a number above all measured ones.
    """

    kind: EventKind
    number: int
    side: Side
    start_s: float
    turn_s: float
    end_s: float
    phases: tuple[Phase, ...] = ()
    measures: Mapping[str, Value] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()
    stage: int | None = None
    group: int | None = None
    name: str = ""
    struck: bool = False
    added: bool = False


@dataclass(frozen=True, slots=True)
class Tempo:
    """Mean seconds of lowering, pause, rising, pause between reps; None where not applicable.

    ``under_tension_s`` is the time of all reps together. ``speed_loss_percent`` is how much slower
    the rising phase of the last rep is than the fastest one, with its uncertainty.
    """

    lowering_s: float | None
    pause_s: float | None
    rising_s: float | None
    rest_s: float | None
    cycle_s: float | None
    reps_per_min: float | None
    under_tension_s: float | None = None
    speed_loss_percent: float | None = None
    speed_loss_uncertainty: float | None = None


@dataclass(frozen=True, slots=True)
class RangeResult:
    """Range of motion of one side: best, and mean of the first three trials.

    ``uncertainty`` is the half-width of the 90 % interval of one trial. ``norms`` are sentences
    that say what is usual, for whom, measured how, and the source. ``change`` says what change
    between sessions is more than the method's error; empty when no source gives one. ``values``
    are the single trials, ``events`` the numbers of the events they were read from, ``moment``
    where in these; ``best_is`` tells which value is the best.
    """

    measure: str
    title: str
    unit: str
    side: Side
    trials: int
    best: float | None
    mean_of_three: float | None
    uncertainty: float | None
    norms: tuple[str, ...] = ()
    change: str = ""
    moment: str = "turn"
    best_is: Literal["highest", "lowest"] = "highest"
    events: tuple[int, ...] = ()
    values: tuple[Value, ...] = ()


@dataclass(frozen=True, slots=True)
class Rung:
    """One way up an ordered sequence and back down: the stages it visited and left out.

    ``reached`` is the highest stage, of ``stages`` in all. ``rushed`` lists stages that were
    passed without a pause. ``complete`` is False when it did not come back to the first stage.
    """

    number: int
    side: Side
    start_s: float
    end_s: float
    reached: int
    stages: int
    visited: tuple[int, ...]
    skipped: tuple[int, ...]
    rushed: tuple[int, ...]
    complete: bool
    text: str


@dataclass(frozen=True, slots=True)
class Consistency:
    """Spread of one measure over the set, and its drift from the first to the last reps."""

    measure: str
    title: str
    unit: str
    mean: float
    sd: float | None
    drift: float | None
    drift_uncertainty: float | None
    text: str


@dataclass(frozen=True, slots=True)
class SideDifference:
    """Left minus right of one measure, with the uncertainty of the difference."""

    measure: str
    title: str
    unit: str
    left: float
    right: float
    difference: float
    uncertainty: float
    text: str


@dataclass(frozen=True, slots=True)
class Cue:
    """One coaching sentence worth giving, and the reps that call for it."""

    check: str
    text: str
    reps: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Summary:
    """The set at a glance. ``verdicts`` counts findings of all reps by verdict."""

    headline: str
    best: str
    count: int
    count_left: int
    count_right: int
    verdicts: Mapping[str, int]
    reps_to_fix: tuple[int, ...]
    cues: tuple[Cue, ...]
    tempo: Tempo
    consistency: tuple[Consistency, ...]
    side_differences: tuple[SideDifference, ...]
    set_findings: tuple[Finding, ...]
    notes: tuple[str, ...] = ()
    ranges: tuple[RangeResult, ...] = ()
    rungs: tuple[Rung, ...] = ()


@dataclass(frozen=True, slots=True)
class CheckInfo:
    """A column of the sheet: one check of the standard.

    ``unit_words`` says what one unit of a ratio is, such as ``foot lengths``. ``side`` is
    how the standard chooses the side: ``none``, ``working``, ``opposite``, ``near``, ``worst``, or
    ``difference`` for left against right.
    """

    check: str
    title: str
    measure: str
    moment: str
    comparison: Comparison
    threshold: float
    unit: str
    plane: str
    source: str
    scope: Literal["rep", "set"] = "rep"
    unit_words: str = ""
    side: str = "none"


@dataclass(frozen=True, slots=True)
class MovementInfo:
    """The standard used: its id, title, content hash, checks, and the measure to chart."""

    id: str
    title: str
    source_hash: str
    checks: tuple[CheckInfo, ...]
    chart_measure: str
    camera_advice: str
    alternating: bool = False
    event_kind: EventKind = "rep"


@dataclass(frozen=True, slots=True)
class CameraInfo:
    """View of the camera as printed; see `motioncheck.records.view.CameraView`.

    Uncertainties are half-widths of 90 % intervals. ``direction_source`` and ``tilt_source`` say
    from what they were told. ``pitch_deg`` is how far the lens looks up, from the fitted body.
    """

    view: str
    azimuth_deg: float | None
    azimuth_uncertainty_deg: float | None
    tilt_deg: float | None
    tilt_uncertainty_deg: float | None
    tilt_corrected: bool
    notes: tuple[str, ...] = ()
    direction_source: Source = "image"
    tilt_source: Source = "image"
    pitch_deg: float | None = None
    pitch_uncertainty_deg: float | None = None


@dataclass(frozen=True, slots=True)
class AppliedCorrection:
    """A correction as the sheet shows it: what was changed, by whom, when and why.

    ``number`` is that of the history, None when it is not stored. ``event`` is the number of the
    event it is about, None for the whole set or when it was not found; ``at_s`` its turn.
    ``measured`` and ``corrected`` are the two verdicts, for kind ``verdict``. ``applied`` is False
    when it could not be applied to this check, and ``remark`` says why.
    """

    number: int | None
    kind: CorrectionKind
    by: str
    made_at: str
    text: str
    event_kind: EventKind
    event: int | None
    at_s: float | None
    side: Side = "both"
    check: str = ""
    title: str = ""
    measured: Verdict | None = None
    corrected: Verdict | None = None
    applied: bool = True
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything the feedback sheet of one clip says.

    With ``corrections``, the summary is that of what holds; events and findings keep what was
    measured, with the correction beside it.
    """

    clip: ClipInfo
    movement: MovementInfo
    camera: CameraInfo
    track: TrackInfo
    events: tuple[Event, ...]
    partial_events: tuple[Event, ...]
    summary: Summary
    blind_spots: tuple[BlindSpot, ...]
    cautions: tuple[str, ...]
    how_measured: tuple[str, ...]
    provenance: Provenance
    measured: tuple[MeasureInfo, ...] = ()
    schema: str = SCHEMA_ID
    corrections: tuple[AppliedCorrection, ...] = ()

    @property
    def held_events(self) -> tuple[Event, ...]:
        """The events that count: without the struck ones, each verdict the one that holds."""
        return tuple(_as_held(e) for e in self.events if not e.struck)


def _as_held(event: Event) -> Event:
    if all(f.corrected is None for f in event.findings):
        return event
    return replace(event, findings=tuple(replace(f, verdict=f.holds) for f in event.findings))


@dataclass(frozen=True, slots=True, eq=False)
class Still:
    """A picture of one instant as JPEG, faces already covered unless asked otherwise.

    ``scale`` turns pixels of the upright clip into pixels of this picture.
    """

    time_s: float
    jpeg: bytes
    width_px: int
    height_px: int
    scale: float
