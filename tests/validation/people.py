"""The people of the validation set; none of them is in the sample clips."""

from __future__ import annotations

import numpy as np
from bodies import Look
from matplotlib.colors import hsv_to_rgb, to_hex, to_rgb

CALIBRATE: dict[str, Look] = {
    "c1": Look(
        gender=1.0,
        height=0.42,
        weight=0.45,
        muscle=0.60,
        proportions=0.55,
        skin="#d9ab8b",
        shirt="#b8b2a6",
        shorts="#1f2a44",
        shoes="#f1f1ee",
        hair="#3b2a1c",
        leg_cover=0.5,
    ),
    "c2": Look(
        gender=0.0,
        height=0.36,
        weight=0.40,
        muscle=0.50,
        proportions=0.62,
        skin="#8d5b3e",
        shirt="#20242b",
        shorts="#20242b",
        shoes="#cf4a3a",
        hair="#15100c",
        leg_cover=0.95,
        sleeves=False,
    ),
    "c3": Look(
        gender=1.0,
        height=0.56,
        weight=0.56,
        age=0.75,
        muscle=0.45,
        proportions=0.35,
        skin="#e7c0a3",
        shirt="#4f7a4a",
        shorts="#6b6e73",
        shoes="#2b2d31",
        hair="#8a8580",
        leg_cover=0.45,
    ),
    "c4": Look(
        gender=0.0,
        height=0.48,
        weight=0.72,
        age=0.72,
        muscle=0.42,
        proportions=0.45,
        skin="#c99a76",
        shirt="#7a2f4b",
        shorts="#2a2c33",
        shoes="#dcdcda",
        hair="#4a3323",
        leg_cover=0.95,
    ),
    "c5": Look(
        gender=1.0,
        height=0.33,
        weight=0.50,
        muscle=0.75,
        proportions=0.70,
        skin="#5f3d2a",
        shirt="#e8e4da",
        shorts="#a33b2e",
        shoes="#f6f6f4",
        hair="#120d0a",
        leg_cover=0.4,
        sleeves=False,
    ),
}

VALIDATE: dict[str, Look] = {
    "v1": Look(
        gender=0.0,
        height=0.45,
        weight=0.45,
        muscle=0.60,
        proportions=0.50,
        skin="#edc9ae",
        shirt="#2f6f8f",
        shorts="#1d1f24",
        shoes="#e0d9c8",
        hair="#c59a55",
        leg_cover=0.9,
    ),
    "v2": Look(
        gender=1.0,
        height=0.50,
        weight=0.40,
        muscle=0.55,
        proportions=0.68,
        skin="#6f4630",
        shirt="#d9c64a",
        shorts="#2b2f38",
        shoes="#2f6db0",
        hair="#17110d",
        leg_cover=0.5,
    ),
    "v3": Look(
        gender=1.0,
        height=0.38,
        weight=0.70,
        age=0.80,
        muscle=0.50,
        proportions=0.38,
        skin="#d2a182",
        shirt="#3a3d45",
        shorts="#a59c8a",
        shoes="#3a3330",
        hair="#9b9690",
        leg_cover=0.55,
    ),
    "v4": Look(
        gender=0.0,
        height=0.30,
        weight=0.52,
        muscle=0.45,
        proportions=0.40,
        skin="#b5835c",
        shirt="#cfd8dc",
        shorts="#4b2f63",
        shoes="#f4f4f4",
        hair="#2c1d14",
        leg_cover=0.45,
    ),
    "v5": Look(
        gender=0.0,
        height=0.58,
        weight=0.50,
        muscle=0.70,
        proportions=0.60,
        skin="#9a6a48",
        shirt="#c2553a",
        shorts="#23262d",
        shoes="#d2d4d6",
        hair="#1f1611",
        leg_cover=0.35,
        sleeves=False,
    ),
}

# Results are quoted from these; they are not to be looked at while anything is being built.
FRESH: dict[str, Look] = {
    "f1": Look(
        gender=0.0,
        age=0.68,
        height=0.52,
        weight=0.62,
        muscle=0.55,
        proportions=0.34,
        skin="#f0d2bd",
        shirt="#5b7fa6",
        shorts="#3a3f2e",
        shoes="#2c2c2e",
        hair="#7a4b2a",
        leg_cover=0.62,
    ),
    "f2": Look(
        gender=1.0,
        age=0.7,
        height=0.6,
        weight=0.66,
        muscle=0.52,
        proportions=0.48,
        skin="#7d4e35",
        shirt="#c9c2b0",
        shorts="#232a35",
        shoes="#c7452f",
        hair="#1a120d",
        leg_cover=0.42,
    ),
    "f3": Look(
        gender=0.0,
        age=0.64,
        height=0.4,
        weight=0.36,
        muscle=0.66,
        proportions=0.55,
        skin="#cf9f7c",
        shirt="#161a1f",
        shorts="#7c2f3a",
        shoes="#ececea",
        hair="#2a1a12",
        leg_cover=0.93,
        sleeves=False,
    ),
    "f4": Look(
        gender=1.0,
        age=0.78,
        height=0.45,
        weight=0.6,
        muscle=0.44,
        proportions=0.65,
        skin="#e3b99b",
        shirt="#8a3f2f",
        shorts="#4d5561",
        shoes="#44474c",
        hair="#a7a29b",
        leg_cover=0.55,
    ),
    "f5": Look(
        gender=0.0,
        age=0.76,
        height=0.34,
        weight=0.68,
        muscle=0.48,
        proportions=0.58,
        skin="#a8754f",
        shirt="#d7a83f",
        shorts="#20252e",
        shoes="#8fa3b5",
        hair="#3d3530",
        leg_cover=0.8,
    ),
    "f6": Look(
        gender=1.0,
        age=0.63,
        height=0.37,
        weight=0.4,
        muscle=0.68,
        proportions=0.44,
        skin="#4c3021",
        shirt="#3f8a7a",
        shorts="#b9b4a8",
        shoes="#1f2023",
        hair="#0e0a08",
        leg_cover=0.5,
        sleeves=False,
    ),
    "f7": Look(
        gender=0.0,
        age=0.66,
        height=0.6,
        weight=0.42,
        muscle=0.58,
        proportions=0.42,
        skin="#deb08f",
        shirt="#b39ac4",
        shorts="#2d4a3c",
        shoes="#f3f0e6",
        hair="#b5713a",
        leg_cover=0.38,
    ),
    "f8": Look(
        gender=1.0,
        age=0.67,
        height=0.47,
        weight=0.5,
        muscle=0.72,
        proportions=0.4,
        skin="#b98a63",
        shirt="#272b30",
        shorts="#5a6b3f",
        shoes="#d8b23c",
        hair="#20160f",
        leg_cover=0.7,
        sleeves=False,
    ),
}

PEOPLE: dict[str, Look] = CALIBRATE | VALIDATE | FRESH

FIRST_DRAWN_SEED = 40_000
SKINS = ("#f2d6c4", "#e0b394", "#c6966f", "#9c6b48", "#6f4731", "#452b1e")
HAIRS = ("#0f0b09", "#2a1c13", "#4f3522", "#7d5330", "#b98d4f", "#9a9590")


def draw_look(number: int) -> Look:
    """Draw one of the many people of the training split."""
    rng = np.random.default_rng(FIRST_DRAWN_SEED + number)
    return Look(
        gender=float(rng.integers(2)),
        age=round(float(rng.uniform(0.60, 0.85)), 3),
        height=round(float(rng.uniform(0.28, 0.62)), 3),
        weight=round(float(rng.uniform(0.35, 0.75)), 3),
        muscle=round(float(rng.uniform(0.40, 0.75)), 3),
        proportions=round(float(rng.uniform(0.33, 0.72)), 3),
        skin=_between(SKINS, rng),
        shirt=_cloth(rng),
        shorts=_cloth(rng),
        shoes=_cloth(rng),
        hair=_between(HAIRS, rng),
        leg_cover=round(float(rng.uniform(0.35, 0.95)), 3),
        sleeves=bool(rng.uniform() < 0.6),
    )


def _between(tones: tuple[str, ...], rng: np.random.Generator) -> str:
    """Draw a colour on the way from one tone to the next."""
    place = rng.uniform(0, len(tones) - 1)
    first, share = int(place), place % 1
    pairs = zip(to_rgb(tones[first]), to_rgb(tones[first + 1]), strict=True)
    red, green, blue = ((1 - share) * low + share * high for low, high in pairs)
    return to_hex((red, green, blue))


def _cloth(rng: np.random.Generator) -> str:
    """Draw the colour of a garment; half of them are nearly grey, from black to white."""
    strong = rng.uniform(0.25, 0.75) if rng.uniform() < 0.5 else rng.uniform(0, 0.12)
    red, green, blue = hsv_to_rgb((rng.uniform(), strong, rng.uniform(0.1, 0.95)))
    return to_hex((float(red), float(green), float(blue)))


def get_look(name: str) -> Look:
    """Return what a person of any split looks like; ``t`` and a number names a drawn one."""
    return PEOPLE[name] if name in PEOPLE else draw_look(int(name.removeprefix("t")))
