"""The sheet record from an analysis: everything in words and plain numbers."""

from __future__ import annotations

import importlib.metadata
import math
from collections.abc import Mapping

import numpy as np

from motioncheck import __version__
from motioncheck.measures import REGISTRY
from motioncheck.pipeline.analyse import Analysis
from motioncheck.pipeline.crowd import CROWD_NOTE, is_crowded
from motioncheck.records import (
    CameraInfo,
    CheckInfo,
    ClipInfo,
    DecodeReport,
    LandmarkTrack,
    MeasureTable,
    MovementInfo,
    Provenance,
    Sheet,
    TrackInfo,
)
from motioncheck.standards import Check, LoadedStandard, Standard
from motioncheck.wording import with_unit

# A measure is drawn over time when it is known well in at least this share of the frames.
MIN_CHARTED_SHARE = 0.3
LIBRARIES = ("mediapipe", "av", "opencv-python-headless", "numpy", "scipy")
OptionMap = Mapping[str, str | float | int | bool | None]


def assemble_sheet(
    clip: ClipInfo,
    report: DecodeReport | None,
    track: LandmarkTrack,
    analysis: Analysis,
    loaded: LoadedStandard,
    *,
    options: OptionMap,
) -> Sheet:
    """Put together what the sheet says.

    Parameters
    ----------
    report : DecodeReport or None
        None when the clip was not decoded again because its track was kept.
    """
    standard = loaded.standard
    return Sheet(
        clip=clip,
        movement=_movement(standard, loaded.source_hash, analysis),
        camera=_camera(analysis),
        track=_track(track, analysis),
        events=analysis.events,
        partial_events=analysis.partial,
        summary=analysis.summary,
        blind_spots=analysis.blind,
        cautions=standard.cautions,
        how_measured=_how_measured(clip, report, track, analysis, standard),
        provenance=Provenance(
            program="motioncheck",
            version=__version__,
            model_sha256=track.model_sha256,
            standard_hash=loaded.source_hash,
            options=dict(options),
            libraries={name: importlib.metadata.version(name) for name in LIBRARIES},
        ),
    )


def _movement(standard: Standard, source_hash: str, analysis: Analysis) -> MovementInfo:
    return MovementInfo(
        id=standard.id,
        title=standard.title,
        source_hash=source_hash,
        checks=tuple(_check_info(c, analysis) for c in standard.check if c.enabled),
        chart_measure=_chart_measure(standard, analysis),
        camera_advice=standard.camera.advice,
        alternating=standard.split.sides == "alternating",
    )


def _check_info(check: Check, analysis: Analysis) -> CheckInfo:
    """Describe a check in the form that was judged."""
    used = analysis.choices[check.id].judgement
    tagged = check.source_tag != check.source
    return CheckInfo(
        check=check.id,
        title=check.title,
        measure=used.measure,
        moment=used.moment,
        comparison=used.comparison,
        threshold=used.threshold,
        unit=used.unit,
        plane=used.plane,
        source=f"{check.source_tag}: {check.source}" if tagged else check.source,
        scope="rep" if check.scope == "rep" else "set",
        unit_words=REGISTRY[used.measure].unit_words,
        side=used.side,
    )


def _chart_measure(standard: Standard, analysis: Analysis) -> str:
    first, other = standard.chart_measure, standard.chart_measure_front
    return other if other and not is_known_well(first, analysis.table) else first


def is_known_well(measure: str, table: MeasureTable) -> bool:
    """Tell whether one side of a measure is known well enough for a check in many frames."""
    spec = REGISTRY[measure]
    shares = [float(np.mean(table.uncertainty[c] <= spec.bears)) for c in spec.ids()]
    return max(shares) >= MIN_CHARTED_SHARE


def _number(value: float, digits: int = 1) -> float | None:
    return round(value, digits) if math.isfinite(value) else None


def _camera(analysis: Analysis) -> CameraInfo:
    view = analysis.view
    return CameraInfo(
        view=view.view,
        azimuth_deg=_number(view.azimuth_deg),
        azimuth_uncertainty_deg=_number(view.azimuth_uncertainty_deg),
        tilt_deg=_number(view.tilt_deg),
        tilt_uncertainty_deg=_number(view.tilt_uncertainty_deg),
        tilt_corrected=view.tilt_corrected,
        notes=view.notes,
    )


def _track(track: LandmarkTrack, analysis: Analysis) -> TrackInfo:
    clean = analysis.clean
    return TrackInfo(
        model=track.model,
        frames=len(track.time_s),
        seen_ratio=round(track.seen_ratio, 4),
        swaps_repaired=clean.swaps_repaired,
        gaps_filled_s=round(clean.gaps_filled_s, 3),
        jumps_cut=track.jumps_cut,
        people=track.people,
        steps=tuple(step.text for step in clean.steps),
        notes=track.notes,
    )


def _how_measured(
    clip: ClipInfo,
    report: DecodeReport | None,
    track: LandmarkTrack,
    analysis: Analysis,
    standard: Standard,
) -> tuple[str, ...]:
    lines = [
        f"{len(track.time_s)} frames over {clip.duration_s:.1f} s were followed with a "
        f"33-landmark body model ({track.model}); somebody was seen in "
        f"{100 * track.seen_ratio:.0f} % of them.",
        *(report.notes if report else ()),
        *track.notes,
        *((CROWD_NOTE,) if is_crowded(track) else ()),
        *(step.text for step in analysis.clean.steps),
        _view_line(analysis),
        _tilt_line(analysis),
        "Angles are seen angles in the plane of the picture, not joint angles from a laboratory. "
        "A verdict inside the uncertainty of its value is too close to call.",
    ]
    chosen = [analysis.choices[c.id] for c in standard.check if c.enabled]
    used = dict.fromkeys(c.judgement.measure for c in chosen if not c.blind)
    for measure in used:
        spec = REGISTRY[measure]
        words = f" {spec.unit_words}" if spec.unit == "ratio" else ""
        lines.append(
            f"{spec.title}: {spec.formula} ({spec.sign}); "
            f"±{with_unit(spec.guard, spec.unit)}{words} in a square view."
        )
    return tuple(lines)


def _view_line(analysis: Analysis) -> str:
    view = analysis.view
    if not math.isfinite(view.azimuth_deg):
        return "Which way the body faces the lens could not be told."
    return (
        f"Seen from: {view.view}, camera {with_unit(view.azimuth_deg, 'deg')} ± "
        f"{with_unit(view.azimuth_uncertainty_deg, 'deg')} around the body (0° in front, "
        "+90° on the person's left)."
    )


def _tilt_line(analysis: Analysis) -> str:
    view = analysis.view
    if not math.isfinite(view.tilt_deg):
        return "The tilt of the phone could not be told: too little quiet standing was seen."
    state = "corrected" if view.tilt_corrected else "within what cannot be told, not corrected"
    return (
        f"Tilt of the phone from a standing body: {with_unit(view.tilt_deg, 'deg', digits=1)} ± "
        f"{with_unit(view.tilt_uncertainty_deg, 'deg', digits=1)}, {state}."
    )
