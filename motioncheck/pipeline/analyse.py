"""From a track to findings: pure computation, no files."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from motioncheck.camera import estimate_view
from motioncheck.checks import (
    Choices,
    check_events,
    check_set,
    choose_judgements,
    compute_ranges,
    find_blind_spots,
    note_hidden_leg,
    summarise,
)
from motioncheck.cleaning import clean_track, leave_out_impossible, leave_out_walking
from motioncheck.errors import InputError, LowVisibilityError, NoPersonError, NoRepsError
from motioncheck.measures import (
    REGISTRY,
    BodyPicture,
    Calibration,
    build_body,
    compute_picture_table,
    load_calibration,
)
from motioncheck.pipeline.direction import require_direction
from motioncheck.pipeline.fitting import Fit, FittedBody, fit_body
from motioncheck.pipeline.sources import Sources, combine_sources, hide_outside
from motioncheck.records import (
    BlindSpot,
    CameraView,
    CleanTrack,
    Event,
    LandmarkTrack,
    MeasureTable,
    Summary,
)
from motioncheck.rules import split_measures, split_table
from motioncheck.skeleton import INDEX
from motioncheck.splitting import BoolArray, Timeline, compute_motion
from motioncheck.standards import ANYONE, Person, Standard

# Below this leg length in the picture, landmark noise of a few pixels is larger than any verdict.
MIN_LEG_PX = 60.0
# The signal that splits the reps must be seen in at least this share of the frames with a body.
MIN_SIGNAL_SHARE = 0.3
# One set, or a clocked circuit: what is longer is a whole session, and would be kept in memory.
MAX_CLIP_S = 3600.0
NOBODY_HINT = (
    "Film one person, whole body, from close enough to fill most of the picture, in good light, "
    "with the phone held still."
)


@dataclass(frozen=True, slots=True)
class Analysis:
    """Everything computed from one track with one standard.

    ``body`` is what the picture alone shows, by which the reps are split.
    ``view`` and ``table`` are from whichever of picture and fitted body knows better; ``fitted``
    is None when nothing was fitted, and ``notes`` say why.
    """

    clean: CleanTrack
    view: CameraView
    body: BodyPicture
    table: MeasureTable
    events: tuple[Event, ...]
    partial: tuple[Event, ...]
    summary: Summary
    blind: tuple[BlindSpot, ...]
    choices: Choices
    calibration: Calibration
    fitted: FittedBody | None = None
    notes: tuple[str, ...] = ()

    @property
    def direction_from_body(self) -> bool:
        """Whether the direction of the camera is that of the fitted body."""
        seen, used = self.body.view, self.view
        told = (used.azimuth_deg, used.azimuth_uncertainty_deg)
        return told != (seen.azimuth_deg, seen.azimuth_uncertainty_deg) and math.isfinite(told[0])

    @property
    def tilt_from_body(self) -> bool:
        """Whether the tilt of the phone is that of the fitted body."""
        seen, used = self.body.view, self.view
        told = (used.tilt_deg, used.tilt_uncertainty_deg)
        return told != (seen.tilt_deg, seen.tilt_uncertainty_deg) and math.isfinite(told[0])


def analyse_track(
    track: LandmarkTrack,
    standard: Standard,
    *,
    fit: Fit | None = fit_body,
    calibration: Calibration | None = None,
    person: Person = ANYONE,
) -> Analysis:
    """Clean a track, measure it, split it into reps and check them.

    Parameters
    ----------
    track : LandmarkTrack
    standard : Standard
    fit : callable, optional
        Fits a body to the cleaned track; None measures from the picture alone.
    calibration : Calibration, optional
        By default that of the program.
    person : Person, optional
        Chooses the usual values that are shown.

    Raises
    ------
    NoPersonError, LowVisibilityError, NoRepsError, WrongViewError
        When nothing can be measured; the message says what was found and how to film it.
    InputError
        When the track is longer than an hour.
    """
    require_length(_span_s(track))
    if track.seen_ratio == 0.0:
        raise NoPersonError(
            f"Expected a person in the clip, found nobody who can be measured in "
            f"{len(track.time_s)} frames.",
            hint=" ".join(track.notes) or NOBODY_HINT,
        )
    body, picture = _measure(track, standard)
    # First, because from the wrong side other things are missing as well; the fit knows better.
    require_direction(body.view, standard)
    _require_signal(body, picture, standard)
    timeline = split_table(picture, compute_motion(body), standard, find_present(body))
    if not timeline.events:
        raise NoRepsError(_no_reps_message(standard, timeline))
    calibration = load_calibration() if calibration is None else calibration
    sources = combine_sources(track, body, standard, fit, calibration)
    require_direction(sources.view, standard)
    return _check(timeline, standard, body, sources, calibration, person)


def _check(
    timeline: Timeline,
    standard: Standard,
    body: BodyPicture,
    sources: Sources,
    calibration: Calibration,
    person: Person,
) -> Analysis:
    table, view = sources.table, sources.view
    choices = choose_judgements(standard, timeline.events, table, view)
    events = check_events(timeline.events, standard, table, view, choices=choices)
    partial = check_events(timeline.partial, standard, table, view, choices=choices)
    set_findings = check_set(
        events, standard, table, view, choices=choices, person=person, cut_off=partial
    )
    summary = summarise(
        events,
        set_findings,
        standard,
        partial=len(partial),
        frame_s=_frame_s(table),
        ranges=compute_ranges(events, standard, table, person=person),
    )
    hidden = note_hidden_leg(standard, table.picture or table, view)
    return Analysis(
        clean=body.track,
        view=view,
        body=body,
        table=table,
        events=events,
        partial=partial,
        summary=replace(summary, notes=(*summary.notes, hidden)) if hidden else summary,
        blind=find_blind_spots(standard, choices, view, calibration),
        choices=choices,
        calibration=calibration,
        fitted=sources.fitted,
        notes=sources.notes,
    )


def _frame_s(table: MeasureTable) -> float:
    steps = np.diff(table.time_s)
    return float(np.median(steps)) if len(steps) else math.nan


def score_motion(track: LandmarkTrack, standard: Standard) -> float:
    """Tell how much a candidate moves in the way of the drill: the summed size of its reps.

    Used to choose the athlete when several people are in the picture; 0 when nothing fits. Works
    on the picture alone: a body is fitted to the chosen one only.
    """
    if track.seen_ratio == 0.0 or _span_s(track) > MAX_CLIP_S:
        return 0.0
    body, table = _measure(track, standard)
    return float(len(split_table(table, compute_motion(body), standard, find_present(body)).events))


def require_length(seconds: float) -> None:
    """Raise `InputError` for a clip of more than an hour; an unknown length (NaN) passes."""
    if seconds > MAX_CLIP_S:
        raise InputError(
            f"Expected a clip of one set, at most {MAX_CLIP_S / 60:.0f} minutes long, found "
            f"{seconds / 60:.0f} minutes.",
            hint="Cut the clip to the set that is to be checked.",
        )


def _span_s(track: LandmarkTrack) -> float:
    return float(np.ptp(track.time_s)) if len(track.time_s) else 0.0


def _measure(track: LandmarkTrack, standard: Standard) -> tuple[BodyPicture, MeasureTable]:
    return measure_picture(track, cutoff_hz=standard.cutoff_hz)


def measure_picture(track: LandmarkTrack, *, cutoff_hz: float) -> tuple[BodyPicture, MeasureTable]:
    """Return the body in the picture and what the picture alone says about it."""
    clean = clean_track(hide_outside(track), cutoff_hz=cutoff_hz)
    clean = leave_out_impossible(leave_out_walking(clean))
    body = build_body(clean, estimate_view(clean))
    return body, compute_picture_table(body)


def find_present(body: BodyPicture) -> BoolArray:
    """Where somebody was found at all, whether or not the landmarks can be used."""
    hips = [INDEX["left_hip"], INDEX["right_hip"]]
    return np.asarray(body.track.visibility[:, hips].max(axis=1) > 0.05, dtype=np.bool_)


def _require_signal(body: BodyPicture, table: MeasureTable, standard: Standard) -> None:
    measures = split_measures(standard)
    columns = [c for m in measures for c in REGISTRY[m].ids()]
    seen = max(float(np.isfinite(table.values[c]).mean()) for c in columns)
    body_seen = float(np.isfinite(body.mid("hip")[:, 0]).mean())
    if seen < MIN_SIGNAL_SHARE * max(body_seen, 1e-9):
        hidden = _least_seen(body, REGISTRY[measures[0]].points)
        raise LowVisibilityError(
            f"Expected to see the body parts that {standard.title.lower()} is told by, found the "
            f"{hidden} hidden or outside the picture in most frames.",
            hint="Move the phone back until the whole body has room around it, and film again.",
        )
    if body.leg_px < MIN_LEG_PX:
        raise LowVisibilityError(
            f"Expected a person at least a third of the picture tall, found legs of only "
            f"{body.leg_px:.0f} pixels.",
            hint="Move the phone closer or zoom in, so that the body fills most of the picture.",
        )


def _least_seen(body: BodyPicture, points: tuple[str, ...]) -> str:
    names = {p.replace("*", s) for p in points for s in ("left", "right")}
    share = {n: float(np.isfinite(body.at(n)[:, 0]).mean()) for n in names}
    worst = min(share, key=lambda n: share[n])
    return worst.replace("_", " ")


def _no_reps_message(standard: Standard, timeline: Timeline) -> str:
    found = "none"
    if timeline.partial:
        found = f"only {len(timeline.partial)} cut off by the start or end of the clip"
    word = {"rep": "repetition"}.get(standard.event_word, standard.event_word)
    return f"Expected at least one finished {word} of {standard.title.lower()}, found {found}."
