"""The list of validation clips: who does what, and where the phone stands.

Nine rows of twelve azimuths. Each row turns the drills on by three places, so every azimuth meets
every drill; the split alternates along the row and between pairs of rows, so both halves of the
set meet every azimuth and every drill. Three rows are a balanced set of their own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count

import numpy as np
from people import CALIBRATE, VALIDATE
from recorded import EXCERPTS, Excerpt

ROWS = 9
AZIMUTHS_DEG = tuple(range(0, 360, 30))
MOTIONS = ("squat", "recorded", "high_knees", "twist", "squat", "recorded", "heel_kicks", "jacks")
FIRST_SEED = {"calibrate": 1000, "validate": 2000}
COVERS = ("bench", "feet_out", "side_out")
PORTRAIT_PX, WIDE_PX = (540, 960), (854, 480)
# After the third row the phone no longer stands at a whole multiple of 30 degrees.
EXACT_ROWS = 3


@dataclass(frozen=True)
class Item:
    """Everything that decides one clip.

    ``fill`` is the share of the picture that the whole movement takes up. ``cover`` is empty or
    one of `COVERS`: a bench in front of the shins, the feet or one side out of the picture.
    """

    name: str
    split: str
    person: str
    motion: str
    seed: int
    azimuth_deg: float
    height_m: float
    distance_m: float
    fill: float
    roll_deg: float
    rate_hz: float
    size_px: tuple[int, int]
    handheld: bool = False
    cover: str = ""
    excerpt: Excerpt | None = None

    @property
    def motion_id(self) -> str:
        """Name of what is done and of the draw or recording it comes from."""
        if self.excerpt is None:
            return f"{self.motion}_{self.seed}"
        e = self.excerpt
        return f"recorded_{e.recording}_{e.label}_{e.start_s:.1f}s"


def _rate(number: int) -> float:
    return 60.0 if number % 12 == 7 else 24.0 if number % 5 == 3 else 30.0


def _cover(number: int, rng: np.random.Generator) -> str:
    return str(rng.choice(COVERS)) if number % 7 == 5 else ""


def list_items() -> Iterator[Item]:
    """Yield the clips in the order in which they are made."""
    turn = {split: count() for split in FIRST_SEED}
    excerpt_turn = {split: count() for split in FIRST_SEED}
    people = {"calibrate": tuple(CALIBRATE), "validate": tuple(VALIDATE)}
    for row in range(ROWS):
        for column, azimuth in enumerate(AZIMUTHS_DEG):
            number = row * len(AZIMUTHS_DEG) + column
            split = "validate" if (column + row // 2) % 2 else "calibrate"
            motion = MOTIONS[(column + 3 * row) % len(MOTIONS)]
            mine = next(turn[split])
            rng = np.random.default_rng(FIRST_SEED[split] + 500 + mine)
            off_deg = float(rng.uniform(-9, 9)) if row >= EXACT_ROWS else 0.0
            excerpts = EXCERPTS[split]
            person = people[split][mine % len(people[split])]
            yield Item(
                name=f"{number:03d}_{motion}_az{azimuth:03d}_{person}",
                split=split,
                person=person,
                motion=motion,
                seed=FIRST_SEED[split] + mine,
                azimuth_deg=round((azimuth + off_deg) % 360, 2),
                height_m=round(float(rng.uniform(0.5, 1.6)), 3),
                distance_m=round(float(np.exp(rng.uniform(np.log(2.5), np.log(6.0)))), 3),
                fill=round(float(rng.uniform(0.6, 0.9)), 3),
                roll_deg=round(float(rng.uniform(-5, 5)), 2) if rng.uniform() < 0.5 else 0.0,
                rate_hz=_rate(number),
                size_px=WIDE_PX if number % 9 == 8 else PORTRAIT_PX,
                handheld=number % 6 == 4,
                cover=_cover(number, rng),
                excerpt=excerpts[next(excerpt_turn[split]) % len(excerpts)]
                if motion == "recorded"
                else None,
            )


ITEMS = tuple(list_items())
