"""Finding holds: the body keeps still in a pose for a while."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motioncheck.errors import ShapeError
from motioncheck.records.arrays import BoolArray, FloatArray
from motioncheck.splitting.stillness import (
    AXIS_HZ,
    LINE_S,
    Stretch,
    find_rest,
    find_stretches,
    fit_lines,
    list_runs,
)

# The pose that a frame is compared with is the median over this time; it follows a slow sag.
POSE_S = 2.0
# It is worked out anew this often.
RENEW_S = 0.1
# Two poses are the same within this many tolerances; a wobble may leave the pose by some more.
SAME_POSE = 2.0
NEAR_POSE = 3.0
# Smoothing makes a break in the stillness look longer by this much.
SMEAR_S = LINE_S
# A hold that reaches to within this of the edge of what is seen was cut off by it.
EDGE_S = 0.1


@dataclass(frozen=True, slots=True)
class HoldRule:
    """What a hold must be. All defaults: common practice, no source.

    Attributes
    ----------
    angle_tolerance_deg : float
        Every angle stays this near to its running median.
    speed_limit : float
        The middle of the hips is slower than this, in statures a second.
    begin_s : float
        For at least this long both must be so for a hold to begin.
    end_s : float
        Being otherwise for this long ends it; less is unsteadiness.
    merge_s : float
        Pieces with the same pose less than this apart are one hold.
    unsteady_merge_s : float
        The same for pieces between which the pose was kept, though not steadily.
    bridge_s : float
        Gaps up to this length are bridged; longer ones cut a hold in two.
    min_time_s : float
        Shorter holds are left out.
    min_position_share : float
        So much of the hold, of what is known of it, must be in position.
    """

    angle_tolerance_deg: float = 6.0
    speed_limit: float = 0.03
    begin_s: float = 0.7
    end_s: float = 0.5
    merge_s: float = 1.0
    unsteady_merge_s: float = 5.0
    bridge_s: float = 0.5
    min_time_s: float = 2.0
    min_position_share: float = 0.5


@dataclass(frozen=True, slots=True)
class Hold:
    """A stretch of stillness in position.

    ``start_s`` is when the body came to rest, ``end_s`` when it began to move. ``in_position_s``
    are the seconds of it known to be in position, ``unsteady_s`` those in which an angle or the
    hips were outside of their limit. ``complete`` is False when the clip, or a stretch in which
    the body is seen, begins or ends within it.
    """

    start_s: float
    end_s: float
    in_position_s: float
    complete: bool
    unsteady_s: float


def find_holds(
    time_s: FloatArray,
    angles: FloatArray,
    speed: FloatArray,
    in_position: FloatArray,
    rule: HoldRule,
) -> list[Hold]:
    """Find the holds of a clip.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Strictly increasing.
    angles : ndarray, shape (T, K)
        The angles that make the pose, in degrees. A missing one (NaN) says nothing; a frame with
        none of them is a gap.
    speed : ndarray, shape (T,)
        Speed of the middle of the hips in statures a second, as `compute_speed` gives it; a frame
        where it is NaN is a gap.
    in_position : ndarray, shape (T,)
        1 where the pose is the wanted one, 0 where it is not, NaN where that is not known.
    rule : HoldRule
        What counts as a hold.

    Returns
    -------
    list of Hold
        In time order; they do not overlap. A hold of which nothing is known to be in or out of
        position is left out.

    Raises
    ------
    ShapeError
        If the lengths differ.

    Notes
    -----
    A slow sag does not end a hold: the pose is the running median of the last two seconds. A
    wobble does not cut it: see ``merge_s`` and ``unsteady_merge_s`` of the rule. Limits: hips that
    jitter by more than 0.4 % of stature after the low-pass seem to move (simulated clips).
    """
    if in_position.shape != time_s.shape:
        raise ShapeError(f"in_position: expected {time_s.shape}, found {in_position.shape}.")
    holds = []
    for stretch in find_stretches(time_s, angles, speed, bridge_s=rule.bridge_s):
        body = _Body.of(stretch)
        pieces = _merge(body, _find_pieces(body, rule), rule)
        for first, last in pieces:
            hold = _measure(body, first, last, rule)
            held_s, known_s = _count_position(time_s, in_position, hold, rule.bridge_s)
            if hold.end_s - hold.start_s < rule.min_time_s or known_s <= 0.0:
                continue
            if held_s >= rule.min_position_share * known_s:
                holds.append(Hold(hold.start_s, hold.end_s, held_s, hold.complete, hold.unsteady_s))
    return holds


@dataclass(frozen=True, slots=True, eq=False)
class _Body:
    """A stretch with smoothed angles and speed; ``last`` is its last index."""

    time_s: FloatArray
    raw: FloatArray
    angles: FloatArray
    speed: FloatArray

    @classmethod
    def of(cls, stretch: Stretch) -> _Body:
        angles, _ = fit_lines(stretch.values)
        speed, _ = fit_lines(stretch.speed[:, None])
        return cls(stretch.time_s, stretch.values, angles, speed[:, 0])

    def backwards(self) -> _Body:
        return _Body(-self.time_s[::-1], self.raw[::-1], self.angles[::-1], self.speed[::-1])

    @property
    def last(self) -> int:
        return len(self.time_s) - 1


def _find_pieces(body: _Body, rule: HoldRule) -> list[tuple[int, int]]:
    """First and last index of every piece of stillness, in time order."""
    pieces: list[tuple[int, int]] = []
    free = 0
    back = body.backwards()
    for first, stop in list_runs(_find_quiet(body, rule)):
        if stop - 1 < free:
            continue
        begin, end = max(first, free), stop - 1
        begin = body.last - _extend(back, body.last - end, body.last - begin, rule)
        end = _extend(body, begin, end, rule)
        begin = max(begin, free)
        pieces.append((begin, end))
        free = end + 1
    return pieces


def _find_quiet(body: _Body, rule: HoldRule) -> BoolArray:
    """Frames inside a window in which every angle keeps to its median and the hips are slow."""
    count = max(2, round(rule.begin_s * AXIS_HZ) + 1)
    quiet = np.zeros(len(body.time_s), dtype=np.bool_)
    if len(body.time_s) < count:
        return quiet
    windows = np.lib.stride_tricks.sliding_window_view(body.angles, count, axis=0)
    away = np.abs(windows - np.median(windows, axis=2, keepdims=True))
    # A median over a missing value is missing, and then this angle says nothing.
    still = ~(away > rule.angle_tolerance_deg).any(axis=(1, 2))
    slow = np.lib.stride_tricks.sliding_window_view(body.speed < rule.speed_limit, count)
    for begin in np.flatnonzero(still & slow.all(axis=1)):
        quiet[begin : begin + count] = True
    return quiet


def _extend(body: _Body, first: int, last: int, rule: HoldRule) -> int:
    """Return the last index of the stillness that covers ``first`` to ``last``."""
    memory, renew = round(POSE_S * AXIS_HZ), round(RENEW_S * AXIS_HZ)
    patience = round(rule.end_s * AXIS_HZ)
    pose = _pose(body, max(first, last - memory), last + 1)
    outside = 0
    for i in range(last + 1, body.last + 1):
        if (i - last) % renew == 0:
            pose = _pose(body, max(first, i - memory), i)
        away = np.abs(body.angles[i] - pose) > rule.angle_tolerance_deg
        if away.any() or not body.speed[i] < rule.speed_limit:
            outside += 1
            if outside >= patience:
                return i - outside
        else:
            outside = 0
    return body.last - outside


def _pose(body: _Body, first: int, stop: int) -> FloatArray:
    """Median of every angle, NaN for one that is never known."""
    part = body.angles[first:stop]
    pose = np.asarray(np.median(part, axis=0))
    if np.isfinite(pose).all():
        return pose
    return _median_known(part)


def _median_known(part: FloatArray) -> FloatArray:
    """Return what `numpy.nanmedian` does over the first axis, without its long way to it."""
    ordered = np.sort(part, axis=0)  # what is not known comes last
    count = np.isfinite(part).sum(axis=0)
    columns = np.arange(part.shape[1])
    lower = ordered[np.maximum(count - 1, 0) // 2, columns]
    upper = ordered[np.minimum(count // 2, len(part) - 1), columns]
    return np.asarray(np.where(count > 0, (lower + upper) / 2.0, np.nan))


def _merge(body: _Body, pieces: list[tuple[int, int]], rule: HoldRule) -> list[tuple[int, int]]:
    """Join pieces that a wobble has cut."""
    merged: list[tuple[int, int]] = []
    for piece in pieces:
        if merged and _is_one(body, merged[-1], piece, rule):
            merged[-1] = (merged[-1][0], piece[1])
        else:
            merged.append(piece)
    return merged


def _is_one(body: _Body, before: tuple[int, int], after: tuple[int, int], rule: HoldRule) -> bool:
    """Tell whether the pose is the same on both sides of a short, or a steady enough, break."""
    second, limit = round(AXIS_HZ), SAME_POSE * rule.angle_tolerance_deg
    pose = _pose(body, max(before[0], before[1] - second), before[1] + 1)
    again = _pose(body, after[0], min(after[1], after[0] + second) + 1)
    if not np.isfinite(pose - again).any() or (np.abs(pose - again) > limit).any():
        return False
    break_s = (after[0] - before[1]) / AXIS_HZ - SMEAR_S
    if break_s < rule.merge_s:
        return True
    between = body.angles[before[1] : after[0] + 1]
    limit = NEAR_POSE * rule.angle_tolerance_deg
    kept = not (np.abs(between - (pose + again) / 2.0) > limit).any()
    return kept and break_s < rule.unsteady_merge_s


def _measure(body: _Body, first: int, last: int, rule: HoldRule) -> Hold:
    edge = round(EDGE_S * AXIS_HZ)
    from_edge, to_edge = first <= edge, last >= body.last - edge
    start_s, end_s = float(body.time_s[first]), float(body.time_s[last])
    sizes = np.full(body.raw.shape[1], rule.angle_tolerance_deg)
    rest_s = (last - first) / AXIS_HZ
    if not from_edge:
        start_s = max(start_s, find_rest(body.time_s, body.raw, first, sizes=sizes, rest_s=rest_s))
    if not to_edge:
        back = body.backwards()
        rest = find_rest(back.time_s, back.raw, body.last - last, sizes=sizes, rest_s=rest_s)
        end_s = min(end_s, -rest)
    unsteady_s = _count_unsteady(body, first, last, (start_s, end_s), rule)
    return Hold(start_s, max(start_s, end_s), 0.0, not (from_edge or to_edge), unsteady_s)


def _count_unsteady(
    body: _Body, first: int, last: int, span_s: tuple[float, float], rule: HoldRule
) -> float:
    """Seconds in which an angle is off its running median or the hips are fast."""
    half, step = round(POSE_S * AXIS_HZ / 2.0), round(RENEW_S * AXIS_HZ)
    t = body.time_s[first : last + 1]
    off = ~(body.speed[first : last + 1] < rule.speed_limit)
    for i in range(first, last + 1, step):
        pose = _pose(body, max(first, i - half), min(last, i + half) + 1)
        stop = min(i + step, last + 1)
        away = np.abs(body.angles[i:stop] - pose) > rule.angle_tolerance_deg
        off[i - first : stop - first] |= away.any(axis=1)
    return float(np.count_nonzero(off & (t >= span_s[0]) & (t <= span_s[1]))) / AXIS_HZ


def _count_position(
    time_s: FloatArray, in_position: FloatArray, hold: Hold, bridge_s: float
) -> tuple[float, float]:
    """Seconds in position, and seconds of which that is known.

    Every frame stands for the time halfway to its neighbours, no more than the longest gap.
    """
    edges = np.concatenate([[time_s[0]], (time_s[1:] + time_s[:-1]) / 2.0, [time_s[-1]]])
    edges = np.clip(edges, hold.start_s, hold.end_s)
    lasts = np.minimum(np.diff(edges), bridge_s)
    known = np.isfinite(in_position)
    held = known & (np.nan_to_num(in_position) >= 0.5)
    return float(lasts[held].sum()), float(lasts[known].sum())
