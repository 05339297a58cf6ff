"""The steps of cleaning in their order, each with a plain sentence for the sheet."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from motioncheck.cleaning.crossings import find_crossings
from motioncheck.cleaning.filters import HIGHEST_CUTOFF_RATIO, SHORTEST_RUN, filter_zero_phase
from motioncheck.cleaning.gaps import compute_filled_s, fill_gaps
from motioncheck.cleaning.gate import RETURN_MARGIN, find_visible
from motioncheck.cleaning.outliers import find_outliers
from motioncheck.cleaning.resample import (
    HIGHEST_RATE_HZ,
    compute_rate,
    is_uniform,
    make_time_axis,
    resample,
)
from motioncheck.cleaning.runs import BoolArray, IntArray, find_runs
from motioncheck.cleaning.standing import find_wrong_standing
from motioncheck.cleaning.swaps import find_swaps
from motioncheck.records.arrays import FloatArray, sealed
from motioncheck.records.track import CleaningStep, CleanTrack, LandmarkTrack
from motioncheck.skeleton import COUNT, INDEX, LANDMARKS

MAIN_JOINTS: Final = tuple(
    INDEX[f"{side}_{joint}"]
    for joint in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
    for side in ("left", "right")
)
LEG: Final = ("knee", "ankle", "heel", "toe")
# Where among these the points are that stay on the floor under a leg that stands.
FOOT: Final = slice(1, None)
# Leaps below these are left to the filter; project judgement.
OUTLIER_FLOOR_LEG_RATIO: Final = 0.05
OUTLIER_FLOOR_WORLD_M: Final = 0.05
# The steps that need many times the memory of what they work on take some landmarks at a time: a
# long clip then needs little more than its landmarks do.
BLOCKS: Final = tuple(slice(first, first + 6) for first in range(0, COUNT, 6))
# Stands in for the length of a leg where none was ever found.
LEG_PER_PICTURE_HEIGHT: Final = 0.3


@dataclass(slots=True)
class _Work:
    """Arrays on their way through the steps, and what was done to them so far."""

    time_s: FloatArray
    image_px: FloatArray
    visibility: FloatArray
    world_m: FloatArray
    leg_px: float
    steps: list[CleaningStep] = field(default_factory=list)

    def note(self, name: str, text: str, count: int = 0) -> None:
        self.steps.append(CleaningStep(name=name, text=text, count=count))


def clean_track(
    track: LandmarkTrack,
    *,
    cutoff_hz: float,
    rate_hz: float | None = None,
    visibility_gate: float = 0.5,
    max_gap_s: float = 0.2,
) -> CleanTrack:
    """Turn the landmarks of the model into smooth ones on a uniform time axis.

    The steps, in this order: exchanged legs are put back; hidden landmarks are taken out; leaps of
    single landmarks are taken out; short gaps are bridged; the frames are placed on a uniform time
    axis; the coordinates are low-pass filtered without delay.

    Parameters
    ----------
    track : LandmarkTrack
        As the model gave it, with the time stamps of the clip.
    cutoff_hz : float
        -3 dB frequency of the low-pass, forward and backward together. Lowered to 0.45 of the
        rate where it is higher, and the step says so.
    rate_hz : float, optional
        Rate of the result. Default: that of the clip, 120 Hz at most.
    visibility_gate : float
        Landmarks with a lower visibility are hidden, 0 to 1.
    max_gap_s : float
        Longest gap to bridge, from the last known sample to the next one.

    Returns
    -------
    CleanTrack
        ``time_s`` starts at the first frame of the track. ``swaps_repaired`` counts frames.
        ``gaps_filled_s`` is the mean over shoulders, elbows, wrists, hips, knees and ankles of the
        seconds that were bridged in the picture. A track of fewer than 2 frames has no rate: it is
        gated, and otherwise returned as it is, with ``rate_hz`` NaN unless given.

    Raises
    ------
    ValueError
        If a setting is out of its range.

    Notes
    -----
    Missing data: NaN in, NaN out, except for bridged gaps. Stretches of fewer than 3 samples are
    dropped, as nothing about movement can be told from them. Exchanged legs come before the gate:
    which leg is which shows best while both are there, however unsure the model is of the far one.
    """
    _check_settings(cutoff_hz, rate_hz, visibility_gate, max_gap_s)
    work = _Work(
        np.array(track.time_s),
        np.array(track.image_px),
        np.array(track.visibility),
        np.array(track.world_m),
        _leg_length_px(track),
    )
    swaps_repaired = _put_legs_back(work)
    _take_out_hidden(work, visibility_gate)
    filled_s = 0.0
    rate = math.nan if rate_hz is None else rate_hz
    if len(track.time_s) >= 2:
        _take_out_leaps(work)
        filled_s = _bridge_gaps(work, max_gap_s)
        rate, factor = _make_uniform(work, rate_hz, max_gap_s)
        cutoff_hz = _smooth(work, cutoff_hz, rate, factor)
    return CleanTrack(
        time_s=work.time_s,
        image_px=sealed(work.image_px),
        visibility=sealed(np.nan_to_num(work.visibility)),
        world_m=sealed(work.world_m),
        width_px=track.width_px,
        height_px=track.height_px,
        rate_hz=rate,
        cutoff_hz=cutoff_hz,
        steps=tuple(work.steps),
        swaps_repaired=swaps_repaired,
        gaps_filled_s=filled_s,
    )


def _check_settings(cutoff_hz: float, rate_hz: float | None, gate: float, max_gap_s: float) -> None:
    if not 0.0 < cutoff_hz < math.inf:
        raise ValueError(f"cutoff_hz: expected a frequency above 0, got {cutoff_hz:g}.")
    if rate_hz is not None and not 0.0 < rate_hz < math.inf:
        raise ValueError(f"rate_hz: expected a rate above 0, got {rate_hz:g}.")
    if not 0.0 <= gate <= 1.0:
        raise ValueError(f"visibility_gate: expected 0 to 1, got {gate:g}.")
    if not 0.0 <= max_gap_s < math.inf:
        raise ValueError(f"max_gap_s: expected 0 or more seconds, got {max_gap_s:g}.")


def _leg_length_px(track: LandmarkTrack) -> float:
    """Length of a stretched leg in the picture: foreshortening only ever makes it look shorter."""
    lengths = []
    for side in ("left", "right"):
        hip, knee, ankle = (track.point(f"{side}_{joint}") for joint in ("hip", "knee", "ankle"))
        thigh, shank = (np.linalg.norm(a - b, axis=1) for a, b in ((hip, knee), (knee, ankle)))
        lengths.append(thigh + shank)
    known = np.concatenate(lengths)
    known = known[np.isfinite(known)]
    if len(known) == 0:
        return LEG_PER_PICTURE_HEIGHT * track.height_px
    return max(float(np.percentile(known, 90.0)), 1.0)


def _put_legs_back(work: _Work) -> int:
    """Exchange left and right leg where the model had them the wrong way round."""
    pairs = np.array([[INDEX[f"{side}_{joint}"] for joint in LEG] for side in ("left", "right")])
    standing = find_wrong_standing(
        work.image_px[:, pairs[:, FOOT]], work.time_s, leg_px=work.leg_px
    )
    _exchange_legs(work, pairs, standing.swapped)
    _blank_legs(work, pairs, standing.blended)
    crossed = find_crossings(
        work.image_px[:, [INDEX["left_ankle"], INDEX["right_ankle"]]],
        work.image_px[:, [INDEX["left_hip"], INDEX["right_hip"]]].mean(axis=1),
        work.time_s,
        leg_px=work.leg_px,
    )
    runs = find_runs(crossed[:, None])
    for first, stop in zip(runs.start, runs.stop, strict=True):
        # What is known already is not doubted again.
        crossed[first:stop] &= not standing.judged[first:stop].any()
    _exchange_legs(work, pairs, crossed)
    labels = find_swaps(
        work.image_px[:, pairs],
        work.visibility[:, pairs],
        work.time_s,
        leg_px=work.leg_px,
        settled=standing.judged,
    )
    _exchange_legs(work, pairs, labels.swapped)
    _blank_legs(work, pairs, labels.blended)
    blended = standing.blended | labels.blended
    exchanged = (standing.swapped & ~standing.blended) ^ crossed ^ labels.swapped
    count = int(exchanged.sum())
    text = "Left and right leg were not exchanged by the model."
    if count:
        text = (
            f"Left and right leg were exchanged by the model in {count} of {len(work.time_s)} "
            "frames and put back."
        )
    if blended.any():
        text += f" {int(blended.sum())} frames that showed a mixture of both legs were left out."
    work.note("swaps", text, count)
    return count


def _exchange_legs(work: _Work, pairs: IntArray, frames: BoolArray) -> None:
    """Exchange the legs in some frames.

    Only what is seen in the picture changes legs. Depth and visibility stay with the label: the
    model goes on believing that the far leg is the far one, wherever it draws it.
    """
    as_labelled, exchanged = pairs.ravel(), pairs[::-1].ravel()
    rows = np.nonzero(frames)[0][:, None]
    for values in (work.image_px, work.world_m):
        values[rows, as_labelled, :2] = values[rows, exchanged, :2]


def _blank_legs(work: _Work, pairs: IntArray, frames: BoolArray) -> None:
    """Take both legs out of some frames."""
    rows = np.nonzero(frames)[0][:, None]
    for values in (work.image_px, work.world_m):
        values[rows, pairs.ravel()] = np.nan


def _take_out_hidden(work: _Work, gate: float) -> None:
    """Remove landmarks that the model believes to be hidden, in the picture and in space."""
    visible = find_visible(work.visibility, gate=gate)
    found = np.isfinite(work.visibility)
    hidden = found & ~visible
    work.image_px[~visible] = np.nan
    work.world_m[~visible] = np.nan
    count = int(hidden.sum())
    text = f"No landmark was hidden (visibility below {gate:g})."
    if count:
        share = hidden.sum(axis=0) / np.maximum(found.sum(axis=0), 1)
        worst = int(np.argmax(share))
        text = (
            f"Landmarks that are hidden (visibility below {gate:g} and not above "
            f"{gate + RETURN_MARGIN:g} before) were left out: {count / found.sum():.1%} of all, "
            f"most often the {LANDMARKS[worst].replace('_', ' ')} ({share[worst]:.0%} of frames)."
        )
    work.note("visibility", text, count)


def _take_out_leaps(work: _Work) -> None:
    """Remove landmarks that leap away for a frame or two."""
    frames = len(work.time_s)
    floor_px = OUTLIER_FLOOR_LEG_RATIO * work.leg_px
    count = 0
    for block in BLOCKS:
        image, world = work.image_px[:, block], work.world_m[:, block]
        coordinates = find_outliers(image.reshape(frames, -1), floor=floor_px)
        in_image = np.any(coordinates.reshape(image.shape), axis=2)
        coordinates = find_outliers(world.reshape(frames, -1), floor=OUTLIER_FLOOR_WORLD_M)
        in_world = np.any(coordinates.reshape(world.shape), axis=2)
        image[in_image] = np.nan
        world[in_image | in_world] = np.nan
        count += int(in_image.sum())
    text = "No landmark leapt away from its path."
    if count:
        times = "Once" if count == 1 else f"{count} times"
        text = f"{times} a landmark leapt away from its path for a frame or two and was taken out."
    work.note("outliers", text, count)


def _bridge_gaps(work: _Work, max_gap_s: float) -> float:
    """Bridge short gaps; return the seconds bridged, on average over the main joints."""
    work.image_px, filled = fill_gaps(work.image_px, work.time_s, max_gap_s=max_gap_s)
    work.world_m, _ = fill_gaps(work.world_m, work.time_s, max_gap_s=max_gap_s)
    seconds = float(compute_filled_s(filled, work.time_s)[list(MAIN_JOINTS)].mean())
    count = int(filled[:, MAIN_JOINTS].sum())
    text = f"No gap of up to {max_gap_s:g} s had to be bridged."
    if count:
        text = (
            f"Gaps of up to {max_gap_s:g} s were bridged by a smooth curve, {seconds:.2f} s for "
            "each main joint on average; longer ones were left empty."
        )
    work.note("gaps", text, count)
    return seconds


def _make_uniform(work: _Work, rate_hz: float | None, max_gap_s: float) -> tuple[float, int]:
    """Place the frames on a uniform time axis; return the wanted rate and the excess over it.

    A fast clip is kept at a whole multiple of the wanted rate until it is filtered: thinning it
    out first would fold its jitter into the movement.
    """
    source_hz = compute_rate(work.time_s)
    rate = min(source_hz, HIGHEST_RATE_HZ) if rate_hz is None else rate_hz
    factor = max(1, round(source_hz / rate))
    axis = make_time_axis(work.time_s, rate * factor)
    if len(axis) == len(work.time_s) and is_uniform(work.time_s, rate * factor):
        text = f"The frames follow each other evenly at {rate * factor:.4g} a second."
    else:
        seen = np.nan_to_num(work.visibility)
        work.visibility = np.stack([np.interp(axis, work.time_s, v) for v in seen.T], axis=1)
        work.image_px = _resample(work.image_px, work.time_s, axis, max_gap_s)
        work.world_m = _resample(work.world_m, work.time_s, axis, max_gap_s)
        text = f"The frames were placed on an even time axis of {rate * factor:.4g} a second."
    work.time_s = axis
    work.note("resampling", text, len(axis))
    return rate, factor


def _resample(
    values: FloatArray, time_s: FloatArray, axis: FloatArray, max_gap_s: float
) -> FloatArray:
    out = np.empty((len(axis), *values.shape[1:]))
    for block in BLOCKS:
        out[:, block] = resample(values[:, block], time_s, axis, max_gap_s=max_gap_s)
    return out


def _smooth(work: _Work, cutoff_hz: float, rate_hz: float, factor: int) -> float:
    """Filter, drop what is too short to filter, thin out; return the cutoff used."""
    used_hz = min(cutoff_hz, HIGHEST_CUTOFF_RATIO * rate_hz)
    frames = len(work.time_s)
    dropped = 0
    for block in BLOCKS:
        image, world = work.image_px[:, block], work.world_m[:, block]
        table = np.concatenate([image, world], axis=2).reshape(frames, -1)
        dropped += _drop_short_runs(table)
        table = filter_zero_phase(table, cutoff_hz=used_hz, rate_hz=rate_hz * factor)
        both = table.reshape(frames, -1, 5)
        image[:], world[:] = both[:, :, :2], both[:, :, 2:]
    if factor > 1:
        work.image_px, work.world_m = work.image_px[::factor], work.world_m[::factor]
        work.visibility, work.time_s = work.visibility[::factor], work.time_s[::factor]
    text = (
        f"Jitter above {used_hz:.3g} Hz was smoothed away without delay (Butterworth low-pass, "
        "second order, forward and backward)."
    )
    if used_hz < cutoff_hz:
        text += (
            f" {cutoff_hz:.3g} Hz were asked for, which {rate_hz:.4g} frames a second do not allow."
        )
    if factor > 1:
        text += f" Then one frame in {factor} was kept, {rate_hz:.4g} a second."
    if dropped:
        text += f" Stretches of fewer than {SHORTEST_RUN} frames were dropped ({dropped})."
    work.note("filter", text)
    return used_hz


def _drop_short_runs(table: FloatArray) -> int:
    """Blank runs too short to filter, in place; return how many landmarks' runs these were.

    Tracks that are as short as that as a whole are left alone.
    """
    if len(table) < SHORTEST_RUN:
        return 0
    runs = find_runs(np.isfinite(table))
    short = runs.length < SHORTEST_RUN
    for column, start, stop in zip(
        runs.column[short], runs.start[short], runs.stop[short], strict=True
    ):
        table[start:stop, column] = np.nan
    # Columns of one landmark: two in the picture, then three in space; count the picture once.
    return int(np.count_nonzero(short & (runs.column % 5 == 0)))
