"""The list of validation clips: who does what, and where the phone stands.

Rows of twelve azimuths. Each row turns the drills on by three places, so every azimuth meets
every drill. In the first nine rows two splits alternate along the row and between pairs of rows,
so both meet every azimuth and every drill; three of these rows are a balanced set of their own.
Eight further rows are the split ``fresh``. The training clips are drawn at random instead.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count

import numpy as np
from people import CALIBRATE, FRESH, VALIDATE
from recorded import EXCERPTS, Excerpt, draw_excerpt

ROWS, FRESH_ROWS = 9, 8
AZIMUTHS_DEG = tuple(range(0, 360, 30))
MOTIONS = ("squat", "recorded", "high_knees", "twist", "squat", "recorded", "heel_kicks", "jacks")
FIRST_SEED = {"calibrate": 1000, "validate": 2000, "fresh": 7000}
COVERS = ("bench", "feet_out", "side_out")
PORTRAIT_PX, WIDE_PX = (540, 960), (854, 480)
# After the third row the phone no longer stands at a whole multiple of 30 degrees.
EXACT_ROWS = 3

TRAIN_CLIPS = 700
TRAIN_SEED, TRAIN_CAMERA_SEED = 30_000, 50_000
TRAIN_SHARES = {
    "squat": 0.20,
    "wander": 0.26,
    "recorded": 0.14,
    "twist": 0.13,
    "high_knees": 0.09,
    "heel_kicks": 0.09,
    "jacks": 0.09,
}
# Frames that differ teach more than many frames; what is slow is filmed at the lower rate.
QUICK, QUICK_HZ, SLOW_HZ = ("high_knees", "heel_kicks", "jacks"), 20.0, 15.0


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

    @property
    def short(self) -> bool:
        """Whether most of the standing before and after the movement is left out."""
        return self.split == "train"


def _rate(number: int) -> float:
    return 60.0 if number % 12 == 7 else 24.0 if number % 5 == 3 else 30.0


def _cover(number: int, rng: np.random.Generator) -> str:
    return str(rng.choice(COVERS)) if number % 7 == 5 else ""


def _build(
    number: int, *, split: str, mine: int, motion: str, person: str, excerpt: Excerpt | None
) -> Item:
    """Build a clip of the rows, number ``mine`` of its split."""
    row, column = divmod(number, len(AZIMUTHS_DEG))
    azimuth = AZIMUTHS_DEG[column]
    rng = np.random.default_rng(FIRST_SEED[split] + 500 + mine)
    off_deg = float(rng.uniform(-9, 9)) if row >= EXACT_ROWS else 0.0
    letter = "f" if split == "fresh" else ""
    return Item(
        name=f"{letter}{number:03d}_{motion}_az{azimuth:03d}_{person}",
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
        excerpt=excerpt,
    )


def _motion_at(row: int, column: int) -> str:
    return MOTIONS[(column + 3 * row) % len(MOTIONS)]


def list_items() -> Iterator[Item]:
    """Yield the clips of ``calibrate`` and ``validate`` in the order in which they are made."""
    people = {"calibrate": tuple(CALIBRATE), "validate": tuple(VALIDATE)}
    turn = {split: count() for split in people}
    excerpt_turn = {split: count() for split in people}
    for row in range(ROWS):
        for column in range(len(AZIMUTHS_DEG)):
            split = "validate" if (column + row // 2) % 2 else "calibrate"
            motion = _motion_at(row, column)
            mine = next(turn[split])
            excerpts = EXCERPTS[split]
            yield _build(
                row * len(AZIMUTHS_DEG) + column,
                split=split,
                mine=mine,
                motion=motion,
                person=people[split][mine % len(people[split])],
                excerpt=excerpts[next(excerpt_turn[split]) % len(excerpts)]
                if motion == "recorded"
                else None,
            )


def list_fresh() -> Iterator[Item]:
    """Yield the clips of ``fresh``, the ones that results are quoted from."""
    people, excerpts = tuple(FRESH), EXCERPTS["validate"]
    excerpt_turn = count()
    for row in range(FRESH_ROWS):
        for column in range(len(AZIMUTHS_DEG)):
            number = row * len(AZIMUTHS_DEG) + column
            motion = _motion_at(row, column)
            yield _build(
                number,
                split="fresh",
                mine=number,
                motion=motion,
                # One step more after half of the rows: so every person meets every drill.
                person=people[(column + row + row // 4) % len(people)],
                excerpt=excerpts[next(excerpt_turn) % len(excerpts)]
                if motion == "recorded"
                else None,
            )


def _draw(number: int, motion: str) -> Item:
    """Draw a training clip: a person of its own, the phone anywhere."""
    rng = np.random.default_rng(TRAIN_CAMERA_SEED + number)
    azimuth_deg = round(float(rng.uniform(0, 360)), 2)
    return Item(
        name=f"t{number:03d}_{motion}_az{int(azimuth_deg):03d}",
        split="train",
        person=f"t{number:03d}",
        motion=motion,
        seed=TRAIN_SEED + number,
        azimuth_deg=azimuth_deg,
        height_m=round(float(rng.uniform(0.4, 1.7)), 3),
        distance_m=round(float(np.exp(rng.uniform(np.log(2.3), np.log(6.0)))), 3),
        fill=round(float(rng.uniform(0.55, 0.92)), 3),
        roll_deg=round(float(rng.uniform(-6, 6)), 2) if rng.uniform() < 0.6 else 0.0,
        rate_hz=QUICK_HZ if motion in QUICK else SLOW_HZ,
        size_px=WIDE_PX if rng.uniform() < 1 / 8 else PORTRAIT_PX,
        handheld=bool(rng.uniform() < 1 / 6),
        cover=str(rng.choice(COVERS)) if rng.uniform() < 1 / 8 else "",
        excerpt=draw_excerpt(rng) if motion == "recorded" else None,
    )


def list_train() -> Iterator[Item]:
    """Yield the training clips; the movements have their shares in any first part of the list."""
    made = dict.fromkeys(TRAIN_SHARES, 0)
    for number in range(TRAIN_CLIPS):
        behind = {m: share * (number + 1) - made[m] for m, share in TRAIN_SHARES.items()}
        motion = max(behind, key=behind.__getitem__)
        made[motion] += 1
        yield _draw(number, motion)


ITEMS = tuple(list_items())
FRESH_ITEMS = tuple(list_fresh())
TRAIN_ITEMS = tuple(list_train())
SPLITS: dict[str, tuple[Item, ...]] = {
    "calibrate": tuple(item for item in ITEMS if item.split == "calibrate"),
    "validate": tuple(item for item in ITEMS if item.split == "validate"),
    "fresh": FRESH_ITEMS,
    "train": TRAIN_ITEMS,
}
# The files of these are kept with the program; the training clips are made when wanted.
KEPT_ITEMS = ITEMS + FRESH_ITEMS
