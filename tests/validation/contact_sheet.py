"""Stills of a clip side by side, for looking at: true joints green, landmarks red."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

GREEN, RED = (40, 220, 40), (40, 40, 240)
FIRST_BODY_LANDMARK = 11


def write_stills(
    path: Path,
    stills: dict[int, NDArray[np.uint8]],
    joints_px: NDArray[np.float64],
    landmarks_px: NDArray[np.float64],
) -> None:
    """Write one picture with all stills of a clip next to each other."""
    panels = []
    for t, rgb in sorted(stills.items()):
        panel = np.ascontiguousarray(rgb[..., ::-1])
        for color, points, radius in (
            (GREEN, joints_px[t], 4),
            (RED, landmarks_px[t, FIRST_BODY_LANDMARK:], 3),
        ):
            for x, y in points[np.isfinite(points).all(axis=1)]:
                cv2.circle(panel, (round(x), round(y)), radius, color, -1, cv2.LINE_AA)
        panels.append(panel)
    sheet = np.hstack(panels)
    cv2.imwrite(str(path), cv2.resize(sheet, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))
