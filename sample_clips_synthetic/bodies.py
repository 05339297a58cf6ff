"""Parametric bodies: shape, clothes, and the step from bone rotations to skin and joints.

Scene axes: the person faces -y, their left is +x, up is +z; metres throughout.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import anny
import numpy as np
import torch
from anny.keypoints import KeypointsRegressor
from matplotlib.colors import to_rgb
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, diags, identity

Array = NDArray[np.float64]

SIDES = ("left", "right")
SUFFIX = {"left": "L", "right": "R"}
SPINE = ("spine05", "spine04", "spine03", "spine02", "spine01")
NECK = ("neck01", "neck02", "neck03", "head")
TOES = ("toe1-1", "toe2-1", "toe3-1", "toe4-1", "toe5-1")

SHOE_PASSES = 45

# How far the cloth stands off the skin, metres.
CLOTH_M = {"shirt": 0.008, "shorts": 0.011, "shoes": 0.012, "hair": 0.014, "skin": 0.0}


@dataclass(frozen=True)
class Look:
    """Shape and clothing of one person; the shape values are the body model's own, 0 to 1."""

    gender: float
    age: float = 0.67
    height: float = 0.42
    weight: float = 0.45
    muscle: float = 0.55
    proportions: float = 0.5
    skin: str = "#c08a66"
    shirt: str = "#2f5d8a"
    shorts: str = "#22242a"
    shoes: str = "#d8d8d8"
    hair: str = "#2a1d14"
    leg_cover: float = 0.5
    sleeves: bool = True

    @property
    def phenotype(self) -> dict[str, float]:
        """Return the shape values under the names the body model uses."""
        names = ("gender", "age", "height", "weight", "muscle", "proportions")
        return {name: getattr(self, name) for name in names}


@dataclass(frozen=True)
class Posed:
    """Skin and keypoints of T poses; ``points[name]`` has shape (T, 3)."""

    skin: NDArray[np.float32]
    points: dict[str, Array]
    bones: dict[str, Array]


@cache
def load_model() -> tuple[Any, Any]:
    """Load the body model and its keypoint regressor once per process."""
    model = anny.Anny(pose_parameterization="local-ref")
    return model, KeypointsRegressor.coco(model)


class Body:
    """One clothed person that can be put into any pose."""

    def __init__(self, look: Look) -> None:
        self.look = look
        self.model, self.regressor = load_model()
        self.bone_index = {name: i for i, name in enumerate(self.model.bone_labels)}
        parents = self.model.bone_parents
        self.parents = [int(p) for p in parents]
        rest = self.forward(np.tile(np.eye(3), (1, len(self.parents), 1, 1)))
        self.rest = {name: value[0] for name, value in rest.points.items()}
        self.rest_bones = {name: value[0] for name, value in rest.bones.items()}
        self.rest_skin = rest.skin[0]
        triangles = self.model.faces.numpy()
        self.faces = np.hstack([np.full((len(triangles), 1), 3), triangles]).ravel()
        parts = self._dress()
        self.offsets_m = np.array([CLOTH_M[part] for part in parts])
        self.offsets_m = self._soften(self.offsets_m, triangles)
        self.shoe_vertices = np.flatnonzero(np.array(parts) == "shoes")
        self.shoe_last = self._shape_shoes(triangles)
        self.colors = self._paint(parts)
        self.foot_vertices = np.flatnonzero(np.isin(self._main_bone(), self._bones_of_feet()))
        self.rest_sole_z = float(self.rest_skin[:, 2].min()) - CLOTH_M["shoes"]

    def forward(self, local: Array) -> Posed:
        """Pose the body.

        Parameters
        ----------
        local : ndarray, shape (T, B, 3, 3)
            Rotation of each bone relative to its parent, in the axes of the rest pose.
        """
        transforms = np.tile(np.eye(4, dtype=np.float32), (*local.shape[:2], 1, 1))
        transforms[..., :3, :3] = local
        with torch.no_grad():
            out = self.model(
                pose_parameters=torch.from_numpy(transforms), phenotype_kwargs=self.look.phenotype
            )
            points = self.regressor(out).numpy().astype(np.float64)
        heads = out["bone_poses"].numpy()[..., :3, 3].astype(np.float64)
        return Posed(
            skin=out["vertices"].numpy(),
            points={name: points[:, i] for i, name in enumerate(self.regressor.labels)},
            bones={name: heads[:, i] for name, i in self.bone_index.items()},
        )

    def _main_bone(self) -> NDArray[np.int64]:
        weights = self.model.vertex_bone_weights.numpy()
        strongest = weights.argmax(axis=1)
        indices = self.model.vertex_bone_indices.numpy()
        return indices[np.arange(len(indices)), strongest]

    def _bones_of_feet(self) -> list[int]:
        return [i for name, i in self.bone_index.items() if name.startswith(("foot", "toe"))]

    def _dress(self) -> list[str]:
        """Name the garment (or skin) that each vertex belongs to."""
        look, rest = self.look, self.rest
        names = np.array(self.model.bone_labels)[self._main_bone()]
        z, y, across = self.rest_skin[:, 2], self.rest_skin[:, 1], np.abs(self.rest_skin[:, 0])
        parts = np.full(len(z), "skin", dtype="<U6")
        arm = np.char.find(names, "arm") >= 0
        arm |= np.char.startswith(names, "wrist") | np.char.startswith(names, "finger")
        arm |= np.char.startswith(names, "metacarpal")
        along = 0.62 if look.sleeves else 0.12
        sleeve_end = rest["left_shoulder"][0] + along * (
            rest["left_elbow"][0] - rest["left_shoulder"][0]
        )
        collar_z = 0.6 * rest["left_shoulder"][2] + 0.4 * self.rest_bones["neck01"][2]
        waist_z = rest["left_hip"][2] + 0.06
        cloth = np.where(arm, across < sleeve_end, z < collar_z + 0.35 * across)
        parts[cloth & (z > waist_z)] = "shirt"
        legs_end = rest["left_hip"][2] + look.leg_cover * (
            rest["left_ankle"][2] - rest["left_hip"][2]
        )
        parts[~arm & (z <= waist_z) & (z > legs_end)] = "shorts"
        parts[z < rest["left_ankle"][2] + 0.015] = "shoes"
        eye_z, nose_y = rest["left_eye"][2], rest["nose"][1]
        scalp = (z > eye_z + 0.055) | ((z > eye_z - 0.06) & (y > nose_y + 0.13))
        parts[scalp & ~arm & (z > self.rest_bones["neck03"][2] - 0.01)] = "hair"
        return list(parts)

    def _soften(self, offsets: Array, triangles: NDArray[np.int64]) -> Array:
        """Blur the cloth thickness over neighbours so hems do not look like steps."""
        edges = np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
        edges = np.vstack([edges, edges[:, ::-1]])
        count = np.bincount(edges[:, 0], minlength=len(offsets)).clip(min=1)
        blurred = np.bincount(edges[:, 0], weights=offsets[edges[:, 1]], minlength=len(offsets))
        return 0.5 * offsets + 0.5 * blurred / count

    def _shape_shoes(self, triangles: NDArray[np.int64]) -> csr_matrix:
        """Return the operator that rounds bare feet off into shoes."""
        place = np.full(len(self.rest_skin), -1)
        place[self.shoe_vertices] = np.arange(len(self.shoe_vertices))
        edges = np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
        edges = place[np.vstack([edges, edges[:, ::-1]])]
        edges = edges[(edges >= 0).all(axis=1)]
        size = len(self.shoe_vertices)
        near = csr_matrix((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(size, size))
        share = diags(1 / np.asarray(near.sum(axis=1)).ravel().clip(min=1))
        return csr_matrix(0.5 * identity(size) + 0.5 * share @ near)

    def shod(self, skin: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return one frame of skin with the toes rounded off as in shoes."""
        feet = skin[self.shoe_vertices]
        for _ in range(SHOE_PASSES):
            feet = self.shoe_last @ feet
        out = skin.copy()
        out[self.shoe_vertices] = feet
        return out

    def _paint(self, parts: list[str]) -> NDArray[np.uint8]:
        look = self.look
        palette = {name: to_rgb(getattr(look, name)) for name in CLOTH_M}
        colors = np.array([palette[part] for part in parts])
        for side in SIDES:
            near = np.linalg.norm(self.rest_skin - self.rest[f"{side}_eye"], axis=1)
            colors[near < 0.011] = to_rgb("#1c1512")
        return (colors * 255).astype(np.uint8)
