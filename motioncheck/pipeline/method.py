"""How a clip was measured, in words and as a table: for the sheet."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

import numpy as np

from motioncheck.measures import REGISTRY, Calibration, MeasureSpec
from motioncheck.measures.calibration import Z90, Correction
from motioncheck.measures.choice import picture_correction
from motioncheck.pipeline.analyse import Analysis
from motioncheck.pipeline.crowd import CROWD_NOTE, is_crowded
from motioncheck.records import (
    ClipInfo,
    DecodeReport,
    Event,
    LandmarkTrack,
    MeasureInfo,
    MeasureTable,
)
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.standards import Standard
from motioncheck.wording import with_unit

# Smaller corrections are not worth a word.
WORTH_TELLING = {"deg": 1.0, "ratio": 0.02}
# A source that gave less than this share of the values is not told of.
WORTH_SHARE = 0.05
FITTED = (
    "A body with bones of constant length was fitted to the landmarks. Each measure is taken from "
    "the picture or from this body, whichever knows it better at that moment."
)
SEEN_ANGLES = (
    "Angles taken from the picture are seen angles, not joint angles from a laboratory. A verdict "
    "inside the uncertainty of its value is too close to call."
)


def describe_method(
    clip: ClipInfo, report: DecodeReport | None, track: LandmarkTrack, analysis: Analysis
) -> tuple[str, ...]:
    """Return plain sentences on how a clip was measured."""
    return (
        f"{len(track.time_s)} frames over {clip.duration_s:.1f} s were followed with a "
        f"33-landmark body model ({track.model}); somebody was seen in "
        f"{100 * track.seen_ratio:.0f} % of them.",
        *(report.notes if report else ()),
        *track.notes,
        *((CROWD_NOTE,) if is_crowded(track) else ()),
        *(step.text for step in analysis.clean.steps),
        *((FITTED,) if analysis.fitted else ()),
        *analysis.notes,
        _view_line(analysis),
        _tilt_line(analysis),
        _interval_line(track, analysis.calibration),
        SEEN_ANGLES,
    )


def _view_line(analysis: Analysis) -> str:
    view = analysis.view
    if not math.isfinite(view.azimuth_deg):
        return "Which way the body faces the lens could not be told."
    return (
        f"Seen from: {view.view}, camera {with_unit(view.azimuth_deg, 'deg')} ± "
        f"{with_unit(Z90 * view.azimuth_uncertainty_deg, 'deg')} around the body (0° in front, "
        f"+90° on the person's left), told from the {_teller(analysis.direction_from_body)}."
    )


def _tilt_line(analysis: Analysis) -> str:
    view = analysis.view
    if not math.isfinite(view.tilt_deg):
        return "The tilt of the phone could not be told: too little quiet standing was seen."
    state = "corrected" if view.tilt_corrected else "within what cannot be told, not corrected"
    return (
        f"Tilt of the phone: {with_unit(view.tilt_deg, 'deg', digits=1)} ± "
        f"{with_unit(Z90 * view.tilt_uncertainty_deg, 'deg', digits=1)}, told from "
        f"{'the fitted body' if analysis.tilt_from_body else 'a standing body'}, {state}."
    )


def _teller(from_body: bool) -> str:
    return "fitted body" if from_body else "landmarks"


def _interval_line(track: LandmarkTrack, calibration: Calibration) -> str:
    text = (
        "The number after ± is how far a value may be off in nine of ten cases. It was calibrated "
        f"on rendered bodies, not on people (calibration {calibration.version or 'none'})."
    )
    if calibration.model and calibration.model != track.model:
        text += (
            f" The calibration is that of the body model {calibration.model}; this clip was "
            f"followed with {track.model}, which may be off by more."
        )
    return text


def describe_measures(
    standard: Standard, analysis: Analysis, calibration: Calibration
) -> tuple[MeasureInfo, ...]:
    """Return for each measure that was judged where it came from and how well it is known."""
    chosen = [analysis.choices[c.id] for c in standard.check if c.enabled]
    used = dict.fromkeys(c.judgement.measure for c in chosen if not c.blind)
    rows = _inside(analysis.table.time_s, analysis.events)
    return tuple(
        describe_measure(REGISTRY[m], analysis.table, rows, calibration, planar=standard.planar)
        for m in used
    )


def describe_measure(
    spec: MeasureSpec,
    table: MeasureTable,
    rows: BoolArray,
    calibration: Calibration,
    *,
    planar: Collection[str] = (),
) -> MeasureInfo:
    """Describe one measure over the frames ``rows``, shape (T,), both sides together."""
    columns = [c for c in spec.ids() if c in table.values]
    values, from_body = (
        np.concatenate([mapping[c][rows] for c in columns] or [np.empty(0)])
        for mapping in (table.values, table.from_body)
    )
    known = np.isfinite(values)
    share = float(np.mean(from_body[known])) if known.any() else None
    return MeasureInfo(
        measure=spec.id,
        title=spec.title,
        unit=spec.unit,
        unit_words=spec.unit_words if spec.unit == "ratio" else "",
        formula=spec.formula,
        sign=spec.sign,
        body_share=None if share is None else round(share, 3),
        half_width=_best_known(table, columns, rows, spec),
        corrections=_corrections(spec, values[known], share, calibration, planar),
    )


def _inside(time_s: FloatArray, events: Sequence[Event]) -> BoolArray:
    inside = np.zeros(len(time_s), dtype=np.bool_)
    for event in events:
        inside |= (time_s >= event.start_s) & (time_s <= event.end_s)
    return inside


def _best_known(
    table: MeasureTable, columns: Sequence[str], rows: BoolArray, spec: MeasureSpec
) -> float | None:
    """Median half-width of the side that is known better; a time has its guard band."""
    if not columns:
        return spec.guard
    widths = [table.uncertainty[c][rows] for c in columns]
    medians = [float(np.median(w[np.isfinite(w)])) for w in widths if np.isfinite(w).any()]
    return round(min(medians), 3) if medians else None


def _corrections(
    spec: MeasureSpec,
    values: FloatArray,
    body_share: float | None,
    calibration: Calibration,
    planar: Collection[str],
) -> tuple[str, ...]:
    if body_share is None:
        return ()
    sources = (
        ("picture", picture_correction(spec, calibration, planar), 1.0 - body_share),
        ("body", calibration.of(spec.id).body, body_share),
    )
    texts = [
        (name, _largest_correction(spec, correction, values))
        for name, correction, share in sources
        if share >= WORTH_SHARE
    ]
    return tuple(f"{name}: {text}" for name, text in texts if text)


def _largest_correction(spec: MeasureSpec, correction: Correction, values: FloatArray) -> str:
    """Say the largest correction among the values that were met, empty where none is worth it."""
    low, high = float(values.min()), float(values.max())
    knots = list(zip(correction.bias_at, correction.bias, strict=True))
    if not knots:
        return ""
    met = [(at, bias) for at, bias in knots if low <= at <= high]
    met += [(x, float(np.interp(x, correction.bias_at, correction.bias))) for x in (low, high)]
    at, bias = max(met, key=lambda knot: abs(knot[1]))
    if abs(bias) < WORTH_TELLING.get(spec.unit, math.inf):
        return ""
    done = "added" if bias < 0 else "taken off"
    return f"{with_unit(abs(bias), spec.unit)} {done} at {with_unit(at, spec.unit)}"
