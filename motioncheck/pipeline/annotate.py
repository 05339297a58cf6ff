"""The annotated clip: stick figure, current rep and phase, and the running measure."""

from __future__ import annotations

import bisect
from pathlib import Path

import numpy as np

from motioncheck.measures import REGISTRY
from motioncheck.pipeline.crowd import hide_others, is_crowded
from motioncheck.pipeline.options import CheckResult, OnProgress, no_progress
from motioncheck.pipeline.pictures import landmarks_at
from motioncheck.records import Event
from motioncheck.sheet import annotate_frame
from motioncheck.video import ClipReader, ClipWriter, Frame, read_ahead
from motioncheck.wording import with_unit

# Large enough to read on a phone, small enough to send.
MAX_HEIGHT_PX = 960


def write_annotated(
    clip: Path,
    result: CheckResult,
    target: Path,
    *,
    show_face: bool = False,
    on_progress: OnProgress = no_progress,
) -> None:
    """Decode the clip once more and write it with the measurement drawn in.

    Raises
    ------
    OutputError
        When the file cannot be written; nothing half-written is left.
    """
    reader = ClipReader(clip, max_height_px=MAX_HEIGHT_PX, info=result.clip)
    total = result.clip.frames_expected or 0
    writer: ClipWriter | None = None
    with read_ahead(reader) as frames:
        try:
            for done, frame in enumerate(frames, start=1):
                if writer is None:
                    height, width = frame.rgb.shape[:2]
                    writer = ClipWriter(target, width_px=width, height_px=height)
                writer.write(_annotate(frame, result, show_face=show_face), frame.time_s)
                on_progress("annotating", done, total)
        except BaseException:
            if writer is not None:
                writer.abort()
            raise
    if writer is not None:
        writer.close()


def _annotate(
    frame: Frame, result: CheckResult, *, show_face: bool
) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    event = find_event(result.sheet.held_events, frame.time_s)
    phase = ""
    if event is not None:
        phase = next((p.name for p in event.phases if p.start_s <= frame.time_s < p.end_s), "")
    points = landmarks_at(result.track, frame.time_s, frame.scale)
    others = is_crowded(result.track) and not show_face
    return annotate_frame(
        hide_others(frame.rgb, points) if others else frame.rgb,
        points,
        rep_text=_rep_text(event, result),
        phase_text=phase,
        measure_text=_measure_text(event, result, frame.time_s),
        show_face=show_face,
    )


def find_event(events: tuple[Event, ...], time_s: float) -> Event | None:
    """Return the event under way at a time, the latest started if two overlap."""
    index = bisect.bisect_right([e.start_s for e in events], time_s) - 1
    for event in reversed(events[max(0, index - 1) : index + 1]):
        if event.start_s <= time_s <= event.end_s:
            return event
    return None


def _rep_text(event: Event | None, result: CheckResult) -> str:
    if event is None:
        return ""
    side = "" if event.side == "both" else f" {event.side}"
    # Corrections leave the numbers as they are, so there the last number is not how many.
    total = "" if result.sheet.corrections else f" of {len(result.sheet.events)}"
    return f"{event.kind.capitalize()} {event.number}{total}{side}"


def _measure_text(event: Event | None, result: CheckResult, time_s: float) -> str:
    measure = result.sheet.movement.chart_measure
    spec = REGISTRY[measure]
    side = event.side if event and event.side != "both" else result.analysis.view.near_side
    column = measure if not spec.sided else f"{measure}_{side if side != 'both' else 'left'}"
    table = result.analysis.table
    index = int(np.argmin(np.abs(table.time_s - time_s)))
    value = table.values[column][index]
    if not np.isfinite(value):
        return ""
    return f"{spec.title} {with_unit(float(value), spec.unit)}"
