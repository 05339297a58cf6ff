"""A plain boathouse gym and the phone camera that looks into it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pyvista as pv

if TYPE_CHECKING:
    from bodies import Array, Body
    from numpy.typing import NDArray

ROOM_M = 5.2


@dataclass(frozen=True)
class Camera:
    """A phone on a stand.

    ``azimuth_deg`` goes about the person: 0 in front, 90 on the person's left, 180 behind.
    ``tilt_deg`` is roll. ``shake`` holds per-frame (T, 6) offsets: metres across, up and along
    the view, then degrees of pan, pitch and roll. ``smooth_edges`` doubles the time to draw.
    """

    azimuth_deg: float = 0.0
    distance_m: float = 3.4
    height_m: float = 1.0
    aim_m: float = 0.86
    aim_x_m: float = 0.0
    view_deg: float = 40.0
    tilt_deg: float = 0.0
    size_px: tuple[int, int] = (540, 960)
    shake: Array | None = None
    smooth_edges: bool = False

    def with_shake(self, shake: Array) -> Camera:
        """Return the same camera held in the hand."""
        return replace(self, shake=shake)

    def axes(self, frame: int) -> tuple[Array, Array]:
        """Return position (3,) and the rows right, up, forward (3, 3) for one frame."""
        a = np.radians(self.azimuth_deg)
        right_of_person = np.array([np.cos(a), np.sin(a), 0.0])
        place = np.array([np.sin(a), -np.cos(a), 0.0]) * self.distance_m
        place[2] = self.height_m
        aim = np.array([0, 0, self.aim_m]) + right_of_person * self.aim_x_m
        place = place + right_of_person * self.aim_x_m
        forward = (aim - place) / np.linalg.norm(aim - place)
        right = np.cross(forward, [0, 0, 1.0])
        right /= np.linalg.norm(right)
        rows = np.stack([right, np.cross(right, forward), forward])
        roll = self.tilt_deg
        if self.shake is not None:
            shift, turns = self.shake[frame, :3], np.radians(self.shake[frame, 3:])
            place = place + shift @ rows
            forward = rows[2] + np.tan(turns[0]) * rows[0] + np.tan(turns[1]) * rows[1]
            forward /= np.linalg.norm(forward)
            right = np.cross(forward, rows[1])
            right /= np.linalg.norm(right)
            rows = np.stack([right, np.cross(right, forward), forward])
            roll += np.degrees(turns[2])
        c, s = np.cos(np.radians(roll)), np.sin(np.radians(roll))
        right, up = c * rows[0] + s * rows[1], -s * rows[0] + c * rows[1]
        return place, np.stack([right, up, rows[2]])

    def project(self, points: Array) -> Array:
        """Project (T, K, 3) scene points to (T, K, 2) pixels of the upright picture."""
        width, height = self.size_px
        focal = height / 2 / np.tan(np.radians(self.view_deg) / 2)
        out = np.empty((*points.shape[:2], 2))
        for t in range(len(points)):
            place, rows = self.axes(t)
            seen = (points[t] - place) @ rows.T
            out[t, :, 0] = width / 2 + focal * seen[:, 0] / seen[:, 2]
            out[t, :, 1] = height / 2 - focal * seen[:, 1] / seen[:, 2]
        return out


@dataclass(frozen=True)
class Solid:
    """A thing that stands still in the room: a rod between two points, or a box between them.

    ``radius_m`` makes it a rod; without it the points are opposite corners of a box. Metres.
    """

    start: tuple[float, float, float]
    end: tuple[float, float, float]
    radius_m: float | None = None
    color: str = "#4a4f55"

    def mesh(self) -> pv.PolyData:
        """Return its surface."""
        a, b = np.array(self.start), np.array(self.end)
        if self.radius_m is None:
            low, high = np.minimum(a, b), np.maximum(a, b)
            return pv.Box(np.stack([low, high], axis=-1).ravel())
        return pv.Cylinder(
            center=0.5 * (a + b),
            direction=b - a,
            radius=self.radius_m,
            height=float(np.linalg.norm(b - a)),
        )


def hand_shake(time_s: Array, rng: np.random.Generator) -> Array:
    """Return the (T, 6) offsets of a phone held by a person who tries to keep it still."""
    slow, quick = (0.012, 0.012, 0.015, 0.55, 0.5, 0.9), (0.001, 0.001, 0.0, 0.05, 0.05, 0.06)
    columns = []
    for wide, fine in zip(slow, quick, strict=True):
        total = np.zeros(len(time_s))
        for rate, size in ((0.23, wide), (0.61, 0.6 * wide), (1.4, 0.3 * wide), (7.5, fine)):
            pace = rate * rng.uniform(0.8, 1.2)
            total += size * np.sin(2 * np.pi * (pace * time_s + rng.uniform()))
        columns.append(total + rng.normal(0, 0.4 * fine, len(time_s)))
    return np.stack(columns, axis=-1)


class Scene:
    """The room with one or more people in it, drawn without a screen."""

    def __init__(self, bodies: list[Body], camera: Camera) -> None:
        self.camera = camera
        self.bodies = bodies
        self.plotter = pv.Plotter(off_screen=True, window_size=list(camera.size_px), lighting=None)
        self._light()
        self._build_room()
        self.meshes, self.actors, self.shadows = [], [], []
        for body in bodies:
            self._add_person(body)
        if camera.smooth_edges:
            self.plotter.enable_anti_aliasing("msaa", multi_samples=4)
        else:
            self.plotter.disable_anti_aliasing()
        self.plotter.camera.view_angle = camera.view_deg

    def add_solid(self, solid: Solid) -> None:
        """Put a thing into the room."""
        self.plotter.add_mesh(solid.mesh(), color=solid.color, ambient=0.35, diffuse=0.75)

    def close(self) -> None:
        """Free the render window."""
        self.plotter.close()

    def draw(self, frame: int, skins: list[NDArray[np.float32] | None]) -> NDArray[np.uint8]:
        """Draw one frame; ``None`` for a person who is out of the picture."""
        for i, skin in enumerate(skins):
            shown = skin is not None
            self.actors[i].SetVisibility(shown)
            self.shadows[i].SetVisibility(shown)
            if shown:
                self._move_person(i, skin)
        place, rows = self.camera.axes(frame)
        view = self.plotter.camera
        view.position, view.focal_point, view.up = place, place + rows[2], rows[1]
        self.plotter.renderer.ResetCameraClippingRange()
        self.plotter.render()
        return np.asarray(self.plotter.screenshot(return_img=True))

    def _move_person(self, index: int, skin: NDArray[np.float32]) -> None:
        mesh, body = self.meshes[index], self.bodies[index]
        skin = body.shod(skin)
        mesh.points = skin
        mesh.compute_normals(inplace=True, split_vertices=False, cell_normals=False)
        mesh.points = skin + mesh.point_data["Normals"] * body.offsets_m[:, None].astype(np.float32)
        near_floor = skin[skin[:, 2] < skin[:, 2].min() + 0.12]
        middle = 0.5 * near_floor.mean(axis=0) + 0.5 * skin.mean(axis=0)
        spread = 0.25 + 0.45 * (near_floor.max(axis=0) - near_floor.min(axis=0))
        self.shadows[index].SetPosition(float(middle[0]), float(middle[1]), 0.004)
        self.shadows[index].SetScale(float(spread[0]), float(spread[1]), 1.0)

    def _add_person(self, body: Body) -> None:
        mesh = pv.PolyData(body.rest_skin.copy(), body.faces)
        mesh["colors"] = body.colors
        self.meshes.append(mesh)
        self.actors.append(
            self.plotter.add_mesh(
                mesh,
                scalars="colors",
                rgb=True,
                smooth_shading=True,
                ambient=0.22,
                diffuse=0.85,
                specular=0.06,
                specular_power=12,
            )
        )
        disc = pv.Disc(center=(0, 0, 0), inner=0.0, outer=1.0, r_res=8, c_res=40)
        radius = np.linalg.norm(disc.points[:, :2], axis=1)
        rgba = np.zeros((disc.n_points, 4), dtype=np.uint8)
        rgba[:, 3] = (110 * np.clip(1 - radius, 0, 1)).astype(np.uint8)
        disc["rgba"] = rgba
        self.shadows.append(self.plotter.add_mesh(disc, scalars="rgba", rgb=True, lighting=False))

    def _light(self) -> None:
        a = np.radians(self.camera.azimuth_deg)
        for turn, height, power in ((-40, 3.2, 0.75), (50, 2.4, 0.42), (180, 3.0, 0.25)):
            b = a + np.radians(turn)
            self.plotter.add_light(
                pv.Light(
                    position=(4 * np.sin(b), -4 * np.cos(b), height),
                    focal_point=(0, 0, 0.8),
                    intensity=power,
                    light_type="scene light",
                )
            )

    def _build_room(self) -> None:
        """Add a plank floor, painted walls with a dado, and a rack of oars behind the person."""
        cells = 26
        floor = pv.Plane(
            center=(0, 0, 0),
            direction=(0, 0, 1),
            i_size=2 * ROOM_M,
            j_size=2 * ROOM_M,
            i_resolution=cells,
            j_resolution=cells,
        )
        column = np.indices((cells, cells))[1].ravel()
        shade = np.random.default_rng(7).integers(-7, 8, cells)[column]
        floor.cell_data["colors"] = np.clip(
            np.array([150, 135, 118]) + shade[:, None], 0, 255
        ).astype(np.uint8)
        self.plotter.add_mesh(floor, scalars="colors", rgb=True, lighting=False)
        self.plotter.set_background("#b9bfc4")
        a = np.radians(self.camera.azimuth_deg)
        away = np.array([-np.sin(a), np.cos(a), 0.0])
        along = np.array([np.cos(a), np.sin(a), 0.0])
        far = min(3.2, ROOM_M) * away
        for low, high, color in (
            (0.0, 0.12, "#6d767b"),
            (0.12, 1.05, "#8d989b"),
            (1.05, 4.5, "#b0b7b9"),
        ):
            self._add_panel(far, along, low, high, color)
        self._add_oars(far - 0.12 * away, along)

    def _add_panel(self, middle: Array, along: Array, low: float, high: float, color: str) -> None:
        left, right = middle - 6 * along, middle + 6 * along
        corners = np.array([left, right, right, left])
        corners[:2, 2], corners[2:, 2] = low, high
        panel = pv.PolyData(corners, np.array([4, 0, 1, 2, 3]))
        self.plotter.add_mesh(panel, color=color, lighting=False)

    def _add_oars(self, middle: Array, along: Array) -> None:
        blades = ("#3b6b52", "#8c3b3b", "#3b5a8c", "#b08d3c")
        for i, offset in enumerate((-1.12, -0.94, 0.94, 1.12)):
            spot = middle + offset * along
            shaft = pv.Cylinder(
                center=spot + np.array([0, 0, 1.1]), direction=(0, 0, 1), radius=0.022, height=2.2
            )
            blade = pv.Box((-0.09, 0.09, -0.015, 0.015, 2.2, 2.72))
            blade.rotate_z(self.camera.azimuth_deg, inplace=True)
            blade.translate(spot, inplace=True)
            self.plotter.add_mesh(shaft, color="#d9d2c2", lighting=False)
            self.plotter.add_mesh(blade, color=blades[i], lighting=False)
