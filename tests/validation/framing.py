"""Where the phone looks, so that the body is in view as an item asks for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pyvista as pv
from scene import Camera, Scene

if TYPE_CHECKING:
    from bodies import Array, Posed
    from items import Item

# Phones rarely see more than this along the long side of the picture, degrees.
WIDEST_VIEW_DEG = 68.0
NARROWEST_VIEW_DEG = 24.0
WIDTH_SHARE = 0.92
# How much of the picture's height is missing below where the feet are out of it.
FEET_OUT_SHARE = 0.09
BENCH_M = (1.3, 0.3, 0.46)
BENCH_AWAY_M = 0.85


def frame_camera(item: Item, posed: Posed) -> Camera:
    """Aim and zoom until the whole movement takes up the wanted share of the picture."""
    outline = posed.skin[::6, ::40].astype(np.float64)
    camera = Camera(
        azimuth_deg=item.azimuth_deg,
        distance_m=item.distance_m,
        height_m=item.height_m,
        tilt_deg=item.roll_deg,
        size_px=item.size_px,
    )
    for _ in range(12):
        camera = _improve(camera, outline, item.fill)
    if item.cover == "feet_out":
        return _shift(camera, up=0.5 - 0.5 * item.fill + FEET_OUT_SHARE)
    if item.cover == "side_out":
        return _shift(camera, across=0.30 if item.seed % 2 else -0.30)
    return camera


def _improve(camera: Camera, outline: Array, fill: float) -> Camera:
    width, height = camera.size_px
    seen = camera.project(outline).reshape(-1, 2)
    low, high = seen.min(axis=0), seen.max(axis=0)
    share = max((high[1] - low[1]) / (fill * height), (high[0] - low[0]) / (WIDTH_SHARE * width))
    middle = 0.5 * (low + high) - 0.5 * np.array([width, height])
    metres = camera.distance_m / focal_px(camera)
    view = 2 * np.degrees(np.arctan(np.tan(np.radians(camera.view_deg) / 2) * share))
    long_side = max(width, height) / height
    widest = 2 * np.degrees(np.arctan(np.tan(np.radians(WIDEST_VIEW_DEG) / 2) / long_side))
    distance = camera.distance_m * (1.06 if view > widest else 1.0)
    return replace(
        camera,
        distance_m=distance,
        view_deg=float(np.clip(view, NARROWEST_VIEW_DEG, widest)),
        aim_m=camera.aim_m - middle[1] * metres,
        aim_x_m=camera.aim_x_m + middle[0] * metres,
    )


def _shift(camera: Camera, *, up: float = 0.0, across: float = 0.0) -> Camera:
    """Move the picture by a share of its height or width."""
    width, height = camera.size_px
    metres = camera.distance_m / focal_px(camera)
    return replace(
        camera,
        aim_m=camera.aim_m + up * height * metres,
        aim_x_m=camera.aim_x_m + across * width * metres,
    )


def focal_px(camera: Camera) -> float:
    """Return the focal length in pixels; pixels are square."""
    return float(camera.size_px[1] / 2 / np.tan(np.radians(camera.view_deg) / 2))


def pitch_deg(camera: Camera) -> float:
    """Return how far the phone looks up (positive) or down."""
    return float(np.degrees(np.arctan2(camera.aim_m - camera.height_m, camera.distance_m)))


def add_bench(scene: Scene, camera: Camera) -> None:
    """Put a bench between the phone and the shins."""
    a = np.radians(camera.azimuth_deg)
    width, depth, height = BENCH_M
    box = pv.Box((-width / 2, width / 2, -depth / 2, depth / 2, 0.0, height))
    box.rotate_z(camera.azimuth_deg, inplace=True)
    spot = BENCH_AWAY_M * np.array([np.sin(a), -np.cos(a), 0.0])
    box.translate(spot, inplace=True)
    scene.plotter.add_mesh(box, color="#6a4f38", ambient=0.4, diffuse=0.6)
