"""Which recordings can be compared with each other, and what differs between them in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter

from motioncheck.records.history import Trial
from motioncheck.trends.figures import find_spec
from motioncheck.units import wrap_deg

# Two directions nearer than this are one view, whatever they are called: twice the error of the
# direction on rendered clips (7.4 degrees root mean square); project judgement.
SAME_VIEW_DEG = 15.0
SIDES = ("left side", "right side")
ENDS = ("front", "back")
UNKNOWN = ("", "unknown")


@dataclass(frozen=True, slots=True)
class Difference:
    """Whether two recordings can be compared, and what differs, a sentence each."""

    comparable: bool
    marks: tuple[str, ...]


SAME = Difference(True, ())


# Everything that could make two trials differ but the value itself; equal for most pairs of a
# history, which makes this the quick way.
setup_of = attrgetter("view", "model_sha256", "calibration", "program_version", "standard_hash")


def compare_setups(before: Trial, now: Trial) -> Difference:
    """Compare how two trials of one series were filmed and measured.

    Returns
    -------
    Difference
        Not comparable with another pose model, another calibration, a program version that
        differs before its last dot, or a view from which the measure reads otherwise. Another
        standard or last part of the version is only marked.
    """
    if setup_of(before) == setup_of(now):
        return SAME
    views = _compare_views(before, now)
    marks = list(views.marks)
    breaks = not views.comparable
    if before.model_sha256 != now.model_sha256:
        breaks = True
        marks.append("Another pose model than before; its values cannot be compared.")
    if before.calibration != now.calibration:
        breaks = True
        marks.append("Another calibration than before; its values cannot be compared.")
    if before.program_version != now.program_version:
        versions = f"Program version {now.program_version}, before {before.program_version}"
        if _stem(before.program_version) != _stem(now.program_version):
            breaks = True
            marks.append(f"{versions}; values of the two cannot be compared.")
        else:
            marks.append(f"{versions}.")
    if before.standard_hash != now.standard_hash:
        marks.append("The standard was changed: what is checked, or where it is read, may differ.")
    return Difference(not breaks, tuple(marks))


def _stem(version: str) -> str:
    return version.rpartition(".")[0] or version


def _compare_views(before: Trial, now: Trial) -> Difference:
    spec = find_spec(now.measure)
    timed = spec is not None and spec.compute is None
    if before.view == now.view or timed or _directions_agree(before, now):
        return SAME
    if before.view in UNKNOWN or now.view in UNKNOWN:
        return _changed("The direction of the camera is not known for both.", breaks=_angle(now))
    words = f"Filmed from {_place(now.view)}, before from {_place(before.view)}"
    plane = spec.plane if spec else "any"
    mirrored = SIDES if plane == "sagittal" else ENDS if plane.startswith("frontal") else ()
    if before.view in mirrored and now.view in mirrored:
        near = "; the other leg and arm are near the camera now" if mirrored == SIDES else ""
        return _changed(f"{words}: the same plane{near}.", breaks=False)
    if plane == "any" and not _angle(now):
        return _changed(f"{words}.", breaks=False)
    return _changed(f"{words}; values of the two views cannot be compared.", breaks=True)


def _changed(text: str, *, breaks: bool) -> Difference:
    return Difference(not breaks, (text,))


def _angle(trial: Trial) -> bool:
    """Tell whether the measure depends on the view: all do but heights, which have no plane."""
    spec = find_spec(trial.measure)
    return spec is None or spec.plane != "any" or spec.unit == "deg"


def _directions_agree(before: Trial, now: Trial) -> bool:
    one, two = before.azimuth_deg, now.azimuth_deg
    if one is None or two is None or math.isnan(one) or math.isnan(two):
        return False
    return abs(wrap_deg(one - two)) < SAME_VIEW_DEG


def _place(view: str) -> str:
    """Return a view as a place: ``the left side``, ``obliquely front-left``."""
    return f"the {view}" if view in SIDES or view in ENDS else f"{view}, obliquely"


def pick_comparable(trials: Sequence[Trial], anchors: Sequence[Trial]) -> Sequence[Trial]:
    """Return the trials of one session that can go into one point.

    They are those comparable with the first of the anchors that any of them is comparable with;
    where there is none, the largest group that can be compared among themselves, the latest of
    equal ones.
    """
    first = setup_of(trials[0])
    if all(setup_of(t) == first for t in trials[1:]):
        return trials
    for anchor in anchors:
        fitting = [t for t in trials if compare_setups(anchor, t).comparable]
        if fitting:
            return fitting
    groups: list[list[Trial]] = []
    for trial in trials:
        own = next((g for g in groups if compare_setups(g[0], trial).comparable), None)
        if own is None:
            groups.append([trial])
        else:
            own.append(trial)
    return max(reversed(groups), key=len)
