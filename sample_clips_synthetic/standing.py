"""The register of standing, hanging and range-of-motion movements."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hanging import LSitPullUp
from lunges import OverheadLunge, SideLunge
from mobility import (
    AnkleLunge,
    ShoulderAbduction,
    ShoulderFlexion,
    SitToStand,
    TrunkFlexion,
)
from one_leg import HipFlexion, KneeFlexion, SingleLegSquat
from schedule import repeated
from standing_lifts import FrontSquat, Row, Snatch
from upright import paced

if TYPE_CHECKING:
    from schedule import Movement

THREE_EACH = ("left",) * 3 + ("right",) * 3

STANDING_MOVEMENTS: dict[str, Movement] = {
    "front-squat": paced(FrontSquat, fault="fast_lowering", out_s=0.55),
    "dumbbell-snatch": repeated(Snatch, sides=("right",) * 3 + ("left",) * 3),
    "bent-over-row": repeated(Row),
    "l-sit-pull-up": repeated(LSitPullUp),
    "overhead-walking-lunge": repeated(OverheadLunge, sides=("right", "left")),
    "sit-to-stand": repeated(SitToStand),
    "single-leg-squat": repeated(SingleLegSquat, sides=THREE_EACH),
    "shoulder-flexion": repeated(ShoulderFlexion, sides=THREE_EACH),
    "shoulder-abduction": repeated(ShoulderAbduction, sides=THREE_EACH),
    "knee-flexion": repeated(KneeFlexion, sides=THREE_EACH),
    "hip-flexion": repeated(HipFlexion, sides=THREE_EACH),
    "ankle-dorsiflexion-lunge": repeated(AnkleLunge, sides=THREE_EACH),
    "trunk-forward-flexion": repeated(TrunkFlexion),
    "side-lunge": repeated(SideLunge, sides=("left", "right")),
}
