"""A small feed-forward network with learned weights, run in numpy."""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt

from motioncheck.assets import read_asset
from motioncheck.errors import MissingPartError

WEIGHTS: Final = "lifting.npz"
Float32 = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """Weights of a network with skips around its middle layers.

    Attributes
    ----------
    mean, scale : ndarray, shape (F,)
        Of the features, subtracted and divided out first.
    layers : tuple of (ndarray (out, in), ndarray (out,))
        First, middle ones, last.
    version : str
    """

    mean: Float32
    scale: Float32
    layers: tuple[tuple[Float32, Float32], ...]
    version: str

    def run(self, features: Float32) -> Float32:
        """Return the outputs (N, O) for features (N, F)."""
        (first, bias), *middle, (last, last_bias) = self.layers
        hidden = np.maximum(((features - self.mean) / self.scale) @ first.T + bias, 0.0)
        for weight, shift in middle:
            hidden = hidden + np.maximum(hidden @ weight.T + shift, 0.0)
        return np.asarray(hidden @ last.T + last_bias, dtype=np.float32)


@cache
def load_network() -> Network:
    """Load the weights carried with the program.

    Raises
    ------
    MissingPartError
        If they are missing or damaged.
    """
    try:
        with np.load(io.BytesIO(read_asset(WEIGHTS)), allow_pickle=False) as file:
            count = int(file["layers"])
            layers = tuple(
                (file[f"weight{i}"].astype(np.float32), file[f"bias{i}"].astype(np.float32))
                for i in range(count)
            )
            return Network(
                file["mean"].astype(np.float32),
                file["scale"].astype(np.float32),
                layers,
                str(file["version"]),
            )
    except (OSError, EOFError, KeyError, ValueError, zipfile.BadZipFile) as problem:
        raise MissingPartError(
            f"expected the weights {WEIGHTS} that come with the program, found them missing or "
            f"damaged ({problem}).",
            hint="Install motioncheck again.",
        ) from problem
