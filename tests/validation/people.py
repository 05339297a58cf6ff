"""The ten people of the validation set; none of them is in the sample clips."""

from __future__ import annotations

from bodies import Look

CALIBRATE: dict[str, Look] = {
    "c1": Look(gender=1.0, height=0.42, weight=0.45, muscle=0.60, proportions=0.55,
               skin="#d9ab8b", shirt="#b8b2a6", shorts="#1f2a44", shoes="#f1f1ee",
               hair="#3b2a1c", leg_cover=0.5),
    "c2": Look(gender=0.0, height=0.36, weight=0.40, muscle=0.50, proportions=0.62,
               skin="#8d5b3e", shirt="#20242b", shorts="#20242b", shoes="#cf4a3a",
               hair="#15100c", leg_cover=0.95, sleeves=False),
    "c3": Look(gender=1.0, height=0.56, weight=0.56, age=0.75, muscle=0.45, proportions=0.35,
               skin="#e7c0a3", shirt="#4f7a4a", shorts="#6b6e73", shoes="#2b2d31",
               hair="#8a8580", leg_cover=0.45),
    "c4": Look(gender=0.0, height=0.48, weight=0.72, age=0.72, muscle=0.42, proportions=0.45,
               skin="#c99a76", shirt="#7a2f4b", shorts="#2a2c33", shoes="#dcdcda",
               hair="#4a3323", leg_cover=0.95),
    "c5": Look(gender=1.0, height=0.33, weight=0.50, muscle=0.75, proportions=0.70,
               skin="#5f3d2a", shirt="#e8e4da", shorts="#a33b2e", shoes="#f6f6f4",
               hair="#120d0a", leg_cover=0.4, sleeves=False),
}

VALIDATE: dict[str, Look] = {
    "v1": Look(gender=0.0, height=0.45, weight=0.45, muscle=0.60, proportions=0.50,
               skin="#edc9ae", shirt="#2f6f8f", shorts="#1d1f24", shoes="#e0d9c8",
               hair="#c59a55", leg_cover=0.9),
    "v2": Look(gender=1.0, height=0.50, weight=0.40, muscle=0.55, proportions=0.68,
               skin="#6f4630", shirt="#d9c64a", shorts="#2b2f38", shoes="#2f6db0",
               hair="#17110d", leg_cover=0.5),
    "v3": Look(gender=1.0, height=0.38, weight=0.70, age=0.80, muscle=0.50, proportions=0.38,
               skin="#d2a182", shirt="#3a3d45", shorts="#a59c8a", shoes="#3a3330",
               hair="#9b9690", leg_cover=0.55),
    "v4": Look(gender=0.0, height=0.30, weight=0.52, muscle=0.45, proportions=0.40,
               skin="#b5835c", shirt="#cfd8dc", shorts="#4b2f63", shoes="#f4f4f4",
               hair="#2c1d14", leg_cover=0.45),
    "v5": Look(gender=0.0, height=0.58, weight=0.50, muscle=0.70, proportions=0.60,
               skin="#9a6a48", shirt="#c2553a", shorts="#23262d", shoes="#d2d4d6",
               hair="#1f1611", leg_cover=0.35, sleeves=False),
}

PEOPLE: dict[str, Look] = CALIBRATE | VALIDATE
