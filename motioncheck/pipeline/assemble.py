"""The sheet record from an analysis: everything in words and plain numbers."""

from __future__ import annotations

import importlib.metadata
import math
from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np

from motioncheck import __version__
from motioncheck.measures import REGISTRY
from motioncheck.measures.calibration import Z90, Calibration
from motioncheck.pipeline.analyse import Analysis
from motioncheck.pipeline.method import describe_measures, describe_method
from motioncheck.records import (
    CameraInfo,
    CheckInfo,
    ClipInfo,
    DecodeReport,
    EventKind,
    LandmarkTrack,
    MeasureTable,
    MovementInfo,
    Provenance,
    Sheet,
    Summary,
    TrackInfo,
)
from motioncheck.standards import Check, LoadedStandard, Standard

# A measure is drawn over time when it is known well in at least this share of the frames.
MIN_CHARTED_SHARE = 0.3
EVENT_KINDS: dict[str, EventKind] = {"cycle": "rep", "hold": "hold", "stages": "stage"}
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
        summary=_warn_of_model(analysis.summary, track, analysis.calibration),
        blind_spots=analysis.blind,
        cautions=standard.cautions,
        how_measured=describe_method(clip, report, track, analysis),
        measured=describe_measures(standard, analysis, analysis.calibration),
        provenance=Provenance(
            program="motioncheck",
            version=__version__,
            model_sha256=track.model_sha256,
            standard_hash=loaded.source_hash,
            options=dict(options),
            libraries=dict(_read_versions()),
            calibration=analysis.calibration.version,
        ),
    )


def _warn_of_model(summary: Summary, track: LandmarkTrack, calibration: Calibration) -> Summary:
    """Say first of all when the half-widths are those of another body model.

    On the sample clips the lite model reads heels on the floor as lifted by 0.15 of a foot, twice
    what the calibration of the full one allows for: whole sets without a fault were misses.
    """
    if track.model in ("", calibration.model) or not calibration.model:
        return summary
    note = (
        f"Followed with the body model {track.model}, for which the ± was never measured: verdicts "
        "may be wrong, those about the heels most of all. Check the clip itself again, without "
        "saved landmarks, before you act on them."
    )
    return replace(summary, notes=(note, *summary.notes))


@cache
def _read_versions() -> Mapping[str, str]:
    return {name: importlib.metadata.version(name) for name in LIBRARIES}


def _movement(standard: Standard, source_hash: str, analysis: Analysis) -> MovementInfo:
    return MovementInfo(
        id=standard.id,
        title=standard.title,
        source_hash=source_hash,
        checks=tuple(_check_info(c, analysis) for c in standard.check if c.enabled),
        chart_measure=_chart_measure(standard, analysis),
        camera_advice=standard.camera.advice,
        alternating=standard.by_sides,
        event_kind=EVENT_KINDS[standard.split.kind],
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
    view, fitted = analysis.view, analysis.fitted
    return CameraInfo(
        view=view.view,
        azimuth_deg=_number(view.azimuth_deg),
        azimuth_uncertainty_deg=_number(Z90 * view.azimuth_uncertainty_deg),
        tilt_deg=_number(view.tilt_deg),
        tilt_uncertainty_deg=_number(Z90 * view.tilt_uncertainty_deg),
        tilt_corrected=view.tilt_corrected,
        notes=view.notes,
        direction_source="body" if analysis.direction_from_body else "image",
        tilt_source="body" if analysis.tilt_from_body else "image",
        pitch_deg=None if fitted is None else _number(fitted.pitch_deg),
        pitch_uncertainty_deg=None if fitted is None else _number(Z90 * fitted.pitch_sd_deg),
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
