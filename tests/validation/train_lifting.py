"""Train the lifting network and write its weights.

Usage: ``python tests/validation/train_lifting.py --data DIR [DIR ...] [--out FILE]``

Needs CPU torch (extra ``clips``). ``DIR`` holds the clips of the split ``train`` as
`render_set.py` makes them; no other split may be given. The same data and seed give the same
weights on the same machine. Every clip is also shown mirrored, a little rolled, zoomed and noisy.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import numpy as np
import torch
from lifting_pairs import Pairs, read_pairs
from torch import Tensor, nn

from motioncheck.lifting.features import (
    MIRRORED,
    NUMBERS_A_POINT,
    OFFSETS_S,
    PLACE_NUMBERS,
    POINTS,
)
from motioncheck.lifting.lift import (
    BONE_MIRRORED,
    BONE_SIGNS,
    BONES,
    DIRECTION_LOG_SD,
    JOINT_MIRRORED,
    PICTURE_LOG_SD,
    SOFT_LENGTH,
)
from motioncheck.skeleton import JOINTS

OUT = Path(__file__).resolve().parents[2] / "motioncheck" / "assets" / "lifting.npz"
HIDDEN, MIDDLE = 384, 2
BATCH, STEPS = 512, 12000
RATE, DECAY, DROP = 2e-3, 0.02, 0.1
# Of the augmentation: roll in degrees, noise of landmarks and scatter of sizes (as shares).
ROLL_DEG, NOISE, ZOOM, SIZE = 4.0, 0.010, 0.10, 0.03
# Between fitting the mean (1) and the plain likelihood (0): Seitzer et al. 2022, "On the pitfalls
# of heteroscedastic uncertainty estimation".
BETA = 0.5
SHIFT_WEIGHT = 0.1
LINES = len(BONES) + 1


POINT_SWAP = torch.from_numpy(MIRRORED)
JOINT_SWAP = torch.from_numpy(JOINT_MIRRORED)
BONE_SWAP = torch.from_numpy(BONE_MIRRORED)
BONE_TURN = torch.from_numpy(BONE_SIGNS).float()


def split_shown(shown: Tensor) -> tuple[Tensor, Tensor]:
    """Split features into moving points (N, offsets, K, 6) and the place in the picture (N, 3)."""
    moving = shown[:, :-PLACE_NUMBERS].reshape(
        len(shown), len(OFFSETS_S), len(POINTS), NUMBERS_A_POINT
    )
    return moving.clone(), shown[:, -PLACE_NUMBERS:].clone()


def mirror(moving: Tensor, place: Tensor, lines: Tensor, shifts: Tensor, flip: Tensor) -> None:
    """Mirror some of the rows in place."""
    turned = moving[flip][:, :, POINT_SWAP]
    turned[..., [0, 3]] *= -1.0
    moving[flip] = turned
    place[flip, 0] *= -1.0
    lines[flip] = lines[flip][:, BONE_SWAP] * BONE_TURN
    turned = shifts[flip][:, JOINT_SWAP]
    turned[..., 0] *= -1.0
    shifts[flip] = turned


def roll(values: Tensor, x: int, y: int, angle: Tensor) -> None:
    """Turn the components x and y of each row by an angle, in place."""
    shape = (-1,) + (1,) * (values.dim() - 2)
    c, s = torch.cos(angle).reshape(shape), torch.sin(angle).reshape(shape)
    a, b = values[..., x].clone(), values[..., y].clone()
    values[..., x], values[..., y] = c * a - s * b, s * a + c * b


def augment(shown: Tensor, lines: Tensor, shifts: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Return the same frames mirrored, rolled, zoomed and with noise, at random."""
    rows = len(shown)
    (moving, place), lines, shifts = split_shown(shown), lines.clone(), shifts.clone()
    mirror(moving, place, lines, shifts, torch.rand(rows) < 0.5)
    angle = torch.randn(rows) * float(np.radians(ROLL_DEG))
    roll(moving, 0, 1, angle)
    roll(moving, 3, 4, angle)
    roll(lines, 0, 1, angle)
    roll(shifts, 0, 1, angle)
    roll(place, 0, 1, angle)
    place[:, 2] *= torch.exp(torch.randn(rows) * ZOOM)
    larger = torch.exp(torch.randn(rows, 1, 1, 1) * SIZE)
    moving[..., :2] *= larger
    shifts *= larger[..., 0]
    moving[..., 3:] *= torch.exp(torch.randn(rows, 1, 1, 1) * SIZE)
    # The same for all instants: the pose model's errors last longer than a frame.
    noise = NOISE * torch.randn(rows, 1, len(POINTS), NUMBERS_A_POINT)
    noise[..., 2] = 0.0
    moving += noise
    return torch.cat([moving.reshape(rows, -1), place], dim=1), lines, shifts


class Network(nn.Module):
    """The network of `motioncheck.lifting.network`, to be trained."""

    def __init__(self, mean: Tensor, scale: Tensor) -> None:
        super().__init__()
        self.register_buffer("mean", mean)
        self.register_buffer("scale", scale)
        outputs = 4 * LINES + 3 * len(JOINTS)
        self.first = nn.Linear(len(mean), HIDDEN)
        self.middle = nn.ModuleList([nn.Linear(HIDDEN, HIDDEN) for _ in range(MIDDLE)])
        self.last = nn.Linear(HIDDEN, outputs)
        self.drop = nn.Dropout(DROP)
        # At the start: the pose model's own directions, with plausible scatter.
        nn.init.zeros_(self.last.weight)
        with torch.no_grad():
            self.last.bias.zero_()
            self.last.bias[: 4 * LINES].view(-1, 4)[:, 3] = -1.5
            self.last.bias[4 * LINES :].view(-1, 3)[:, 2] = -4.0

    def forward(self, shown: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Return directions, their log standard deviations, shifts, and theirs."""
        moving, _ = split_shown(shown)
        now = moving[:, len(OFFSETS_S) // 2, :, 3:]
        ends = [[POINTS.index(bone[end]) for bone in BONES] for end in (0, 1)]
        line = now[:, ends[1]] - now[:, ends[0]]
        line = line / (line.norm(dim=-1, keepdim=True) + SOFT_LENGTH)
        up = torch.tensor([0.0, -1.0, 0.0]).expand(len(shown), 1, 3)
        hidden = self.drop(torch.relu(self.first((shown - self.mean) / self.scale)))
        for layer in self.middle:
            hidden = hidden + self.drop(torch.relu(layer(hidden)))
        out = self.last(hidden)
        lines = out[:, : 4 * LINES].view(len(shown), LINES, 4)
        spots = out[:, 4 * LINES :].view(len(shown), len(JOINTS), 3)
        return (
            torch.cat([line, up], dim=1) + lines[..., :3],
            lines[..., 3].clamp(*DIRECTION_LOG_SD),
            spots[..., :2],
            spots[..., 2].clamp(*PICTURE_LOG_SD),
        )


def compute_loss(
    said: tuple[Tensor, Tensor, Tensor, Tensor], lines: Tensor, shifts: Tensor
) -> Tensor:
    """Negative log likelihood of directions and shifts under normal errors."""
    towards, log_sd, shift, shift_log_sd = said
    square = ((towards - lines) ** 2).sum(-1)
    loss = square / 2.0 * torch.exp(-2.0 * log_sd) + 3.0 * log_sd
    loss = (loss * torch.exp(2.0 * BETA * log_sd).detach()).mean()
    known = torch.isfinite(shifts).all(-1)
    square = ((shift - torch.nan_to_num(shifts)) ** 2).sum(-1)
    spots = square / 2.0 * torch.exp(-2.0 * shift_log_sd) + 2.0 * shift_log_sd
    return loss + SHIFT_WEIGHT * (spots * known).mean()


def train(pairs: list[Pairs], steps: int, seed: int) -> Network:
    """Train on all frames of some clips."""
    torch.manual_seed(seed)
    shown, lines, shifts = (
        torch.from_numpy(np.concatenate([getattr(p, name) for p in pairs]))
        for name in ("shown", "lines", "shifts")
    )
    network = Network(shown.mean(0), shown.std(0) + 0.02)
    optimiser = torch.optim.AdamW(network.parameters(), RATE, weight_decay=DECAY)
    schedule = torch.optim.lr_scheduler.OneCycleLR(
        optimiser, RATE, total_steps=steps + 1, pct_start=0.15
    )
    begun = time.monotonic()
    for step in range(steps):
        rows = torch.randint(0, len(shown), (BATCH,))
        given = augment(shown[rows], lines[rows], shifts[rows])
        loss = compute_loss(network(given[0]), given[1], given[2])
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        optimiser.step()
        schedule.step()
        if step % 1000 == 0:
            print(f"{step} {loss.item():.3f} {time.monotonic() - begun:.0f} s", flush=True)
    return network.eval()


def write_weights(network: Network, path: Path, version: str) -> None:
    """Write weights in half precision, as `motioncheck.lifting.network` reads them."""
    layers = [network.first, *network.middle, network.last]
    arrays = {
        "mean": network.mean.numpy(),
        "scale": network.scale.numpy(),
        "layers": np.array(len(layers)),
        "version": np.array(version),
    }
    for i, layer in enumerate(layers):
        arrays[f"weight{i}"] = layer.weight.detach().numpy().astype(np.float16)
        arrays[f"bias{i}"] = layer.bias.detach().numpy()
    partial = path.with_suffix(".part")
    with partial.open("wb") as file:
        np.savez_compressed(file, **arrays)
    partial.replace(path)


def main() -> None:
    """Train and write."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, nargs="+", required=True)
    parser.add_argument("--out", type=Path, default=OUT)
    parser.add_argument("--steps", type=int, default=STEPS)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--version", default="1")
    options = parser.parse_args()
    paths = sorted(p for folder in options.data for p in folder.glob("*.npz"))
    pairs = [read_pairs(path) for path in paths]
    wrong = {p.about["split"] for p in pairs} - {"train"}
    if wrong:
        parser.error(f"expected clips of the split train only, found {json.dumps(sorted(wrong))}")
    print(f"{len(pairs)} clips, {sum(len(p.shown) for p in pairs)} frames")
    write_weights(train(pairs, options.steps, options.seed), options.out, options.version)


if __name__ == "__main__":
    main()
