"""Legs that the model exchanged while one foot stood and the other was away.

A foot stays where it stands until it is lifted. So when the feet stood side by side before and
stand there again afterwards, and in between one of them is away (a step into a lunge, a leg that
is raised), the ankle that is still seen at the old place belongs to the foot that stood there,
whatever the model calls it. Which foot that is shows in two ways. The other one was seen leaving,
while this one stayed at its own place. And the far foot stands higher in the picture than the near
one did: a foot that stands alone as high as that is the far one. The opposite says less: the model
draws a hidden foot too high, so that the far one seems to come nearer once it is seen.

The model slides from one labelling to the other and may stop half-way, where it draws both legs
between the true ones; such frames show neither leg.
"""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np

from motioncheck.cleaning.runs import BoolArray, IntArray
from motioncheck.cleaning.stances import AwaySpell, StandingRule, list_spells, sum_s
from motioncheck.records.arrays import FloatArray


class StandingLabels(NamedTuple):
    """Answer of `find_wrong_standing`, each of shape (T,).

    Attributes
    ----------
    swapped : ndarray of bool
        Left and right must be exchanged.
    blended : ndarray of bool
        The frame shows a mixture of both legs.
    judged : ndarray of bool
        Which leg is which is known here, once those that are exchanged are put back.
    """

    swapped: BoolArray
    blended: BoolArray
    judged: BoolArray


def find_wrong_standing(
    feet: FloatArray, time_s: FloatArray, *, leg_px: float, rule: StandingRule | None = None
) -> StandingLabels:
    """Find the frames in which the standing leg has the name of the one that is away.

    Parameters
    ----------
    feet : ndarray, shape (T, 2, P, 2)
        Left and right foot, pixels: the ankle first, then other points that rest on the floor with
        it (heel, toes). NaN = missing.
    time_s : ndarray, shape (T,)
        Strictly increasing.
    leg_px : float
        Length of the leg.
    rule : StandingRule, optional

    Returns
    -------
    StandingLabels
        Nothing is found unless the feet stood side by side, at the same places, both before and
        after.
    """
    rule = rule or StandingRule()
    labels = StandingLabels(*(np.zeros(len(time_s), dtype=np.bool_) for _ in range(3)))
    if len(time_s) < 3:
        return labels
    spells = list(list_spells(feet / leg_px, time_s, rule))
    for spell in spells:
        stands = spell.far if _stands_far(spell, spells, rule) else None
        if stands is None:
            stands = _tell_from_leaving(spell, time_s[spell.inner], rule)
        if stands is None:
            continue
        wrong = spell.named != stands
        if sum_s(spell.clear[wrong], time_s[spell.inner]) >= rule.least_s:
            swapped, blended = _label(spell, time_s[spell.inner], stands, rule)
            labels.swapped[spell.inner], labels.blended[spell.inner] = swapped, blended
            labels.judged[spell.inner][spell.clear] = True
    return labels


def _stands_far(spell: AwaySpell, spells: list[AwaySpell], rule: StandingRule) -> bool:
    """Tell whether it is surely the far foot that stands, from where it stands.

    All points have to agree: a heel that is lifted takes the ankle along, but not the toes.
    """
    along = spell.along
    if (along >= rule.sure_share).all():
        return True
    if not along.mean() >= rule.likely_share:
        return False
    # One foot cannot stand at two places, if it stood side by side with the other at one.
    steps = [along - other.along for other in spells if other.name == spell.name]
    return any(bool((step >= rule.elsewhere_share).all()) for step in steps)


def _tell_from_leaving(spell: AwaySpell, time_s: FloatArray, rule: StandingRule) -> int | None:
    """Tell which foot stands from how the other left it, None where that was not seen clearly."""
    if not spell.from_stance:
        return None
    begun_s = time_s[spell.clear]
    early = begun_s <= begun_s[0] + rule.least_s
    name = int(spell.named[early].mean() > 0.5)
    leaving = time_s <= begun_s[0] + rule.least_s
    off = np.linalg.norm(spell.feet[leaving, name, 0] - spell.places[name, 0], axis=-1)
    return name if bool((off <= rule.stay_ratio).all()) else None


def _label(
    spell: AwaySpell, time_s: FloatArray, stands: int, rule: StandingRule
) -> tuple[BoolArray, BoolArray]:
    """Return which frames are exchanged and which show a mixture, each of shape (N,)."""
    ankles = spell.feet[:, :, 0]
    frames = np.arange(len(ankles))
    clear = np.isin(frames, spell.clear)
    gap = np.linalg.norm(ankles[:, 0] - ankles[:, 1], axis=-1)
    # A mixture brings both legs nearer to each other, faster than they can move.
    shrunk = gap < rule.blend_share * _compute_due(gap, spell.clear, time_s, rule)
    begun_s, ended_s = time_s[spell.clear[0]], time_s[spell.clear[-1]]
    inside = (time_s > begun_s) & (time_s < ended_s)
    beside = ~inside & (time_s > begun_s - rule.rest_s) & (time_s < ended_s + rule.rest_s)
    neither = ~clear & (spell.off > np.maximum(rule.place_ratio, (1.0 - rule.blend_share) * gap))
    blended = _close(np.asarray(shrunk | (neither & beside)), time_s, rule.settle_s)
    if blended.mean() > rule.murky_share:
        blended[:] = True
    # A clear frame has its label; others follow the clear ones around where they fit clearly.
    wrong = (spell.named != stands).astype(float)
    reach = np.linalg.norm(ankles - spell.places[stands, 0], axis=-1)
    fits = reach[:, 1 - stands] < 0.5 * reach[:, stands]
    swapped = fits & (np.interp(frames, spell.clear, wrong) > 0.0)
    swapped[spell.clear] = wrong > 0.0
    return np.asarray(swapped), np.asarray(blended)


def _close(mask: BoolArray, time_s: FloatArray, shortest_s: float) -> BoolArray:
    """Add what lies between two stretches of True and is shorter than this."""
    closed = mask.copy()
    at = np.flatnonzero(mask)
    for a, b in itertools.pairwise(at):
        if time_s[b] - time_s[a] <= shortest_s:
            closed[a:b] = True
    return closed


def _compute_due(
    gap: FloatArray, clear: IntArray, time_s: FloatArray, rule: StandingRule
) -> FloatArray:
    """Return how far apart the legs must at least be, given all clear frames, shape (N,)."""
    due = np.zeros(len(gap))
    due[clear] = gap[clear]
    slower = rule.speed_per_s * np.diff(time_s)
    for k in range(1, len(due)):
        due[k] = max(due[k], due[k - 1] - slower[k - 1])
    for k in range(len(due) - 2, -1, -1):
        due[k] = max(due[k], due[k + 1] - slower[k])
    return due
