"""Leaving out bodies that cannot be: limbs longer than they are.

When the pose model loses a folded body it goes on with landmarks that fly apart, at full
visibility. In the picture a limb can look shorter than it is, never longer.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from motioncheck.records import CleaningStep, CleanTrack
from motioncheck.records.arrays import FloatArray
from motioncheck.skeleton import INDEX

# On sixteen rendered clips limbs of a body well followed reach 1.10 of their usual length at
# most (nearer parts look larger), in a get-up from the floor 1.13; those of a lost body 1.5.
LONGEST: Final = 1.15
# The usual length: a leg lies in the picture plane for at least a tenth of a clip.
USUAL_PERCENTILE: Final = 90.0
# Thigh and shank are about as long as each other, and each about as long as the trunk from hip to
# shoulder less a seventh (0.245, 0.246 and 0.288 of stature: Drillis and Contini 1966, as drawn by
# Winter; from memory).
SEGMENT_SHARE: Final = 0.9
TRUNK_SHARE: Final = 0.86
# The model needs about this long to lose the body and to find it again.
AROUND_S: Final = 0.3
LIMBS: Final = tuple(
    (INDEX[f"{s}_{a}"], INDEX[f"{s}_{b}"])
    for s in ("left", "right")
    for a, b in (("hip", "knee"), ("knee", "ankle"))
)


def compute_stretch(track: CleanTrack) -> FloatArray:
    """Compute how much longer than usual the longest leg segment is, shape (T,), 1 = usual.

    NaN where no leg segment is seen.
    """
    lengths = np.stack(
        [np.linalg.norm(track.image_px[:, a] - track.image_px[:, b], axis=-1) for a, b in LIMBS]
    )
    usual = np.array([_usual(row) for row in lengths])
    # A body that lies or kneels most of the time hardly ever shows a leg in full; the trunk and the
    # other segments then say how long it must be at least.
    others = [SEGMENT_SHARE * np.nanmax(usual)] if np.isfinite(usual).any() else []
    least = np.fmax.reduce([*others, TRUNK_SHARE * _usual(_trunk_length(track))])
    shares = lengths / np.fmax(usual, least)[:, None]
    return np.asarray(np.fmax.reduce(shares, axis=0))


def _trunk_length(track: CleanTrack) -> FloatArray:
    middles = [
        track.image_px[:, [INDEX[f"left_{part}"], INDEX[f"right_{part}"]]].mean(axis=1)
        for part in ("shoulder", "hip")
    ]
    return np.asarray(np.linalg.norm(middles[0] - middles[1], axis=-1))


def _usual(length: FloatArray) -> float:
    seen = length[np.isfinite(length)]
    return float(np.percentile(seen, USUAL_PERCENTILE)) if len(seen) else float("nan")


def leave_out_impossible(track: CleanTrack) -> CleanTrack:
    """Set landmarks to NaN around frames in which a leg segment is longer than it can be.

    Parameters
    ----------
    track : CleanTrack

    Returns
    -------
    CleanTrack
        With one more step in ``steps`` when something was left out, else the track as it was.
        Visibilities are kept: the body is there, only its landmarks are not to be trusted.
    """
    if len(track.time_s) < 2 or not np.isfinite(track.rate_hz):
        return track
    lost = np.nan_to_num(compute_stretch(track), nan=0.0) > LONGEST
    if not lost.any():
        return track
    reach = round(AROUND_S * track.rate_hz)
    around = np.convolve(lost, np.ones(2 * reach + 1), mode="same") > 0.0
    step = CleaningStep(
        "bones",
        f"For {around.sum() / track.rate_hz:.1f} s the model lost the body (legs longer than they "
        "are); that was left out.",
        int(around.sum()),
    )
    image, world = np.array(track.image_px), np.array(track.world_m)
    image[around] = np.nan
    world[around] = np.nan
    return replace(track, image_px=image, world_m=world, steps=(*track.steps, step))
