"""The two small networks that look at one person's crop. PyTorch: for training only, tagging runs what they are exported to.

Both take crops as `vision.crops.cut` makes them, uint8 (N, 128, 96, 3).
"""

from __future__ import annotations

from typing import Any

import torch
from torch import nn

FACING_BINS = 36
"""Histogram of the torso's facing, bin k centred on -pi + (k + 1/2) 2 pi / 36."""
ROLES = ("player", "official", "other")
TENS, UNITS = 11, 10
"""The last tens stand for a number of one digit."""
SHIRT_ROWS, SHIRT_COLUMNS = slice(12, 76), slice(16, 80)
"""Where a crop shows the shirt."""


def _stage(channels: int, more: int, kernel: int = 3) -> nn.Sequential:
    """Half the size."""
    return nn.Sequential(nn.Conv2d(channels, more, kernel, 2, kernel // 2, bias=False), nn.BatchNorm2d(more), nn.ReLU())


class Residual(nn.Module):
    """One convolution beside the identity."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.inner = nn.Sequential(nn.Conv2d(channels, channels, 3, 1, 1, bias=False), nn.BatchNorm2d(channels))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return torch.relu(x + self.inner(x))


def _planes(crops: torch.Tensor) -> torch.Tensor:
    """(N, H, W, 3) bytes to (N, 3, H, W) around 0."""
    return crops.permute(0, 3, 1, 2).float() / 128.0 - 1.0


class Looks(nn.Module):
    """Logits of the facing's histogram (N, 36) and of the role (N, 3), CIE Lab / 50 of shirt, trousers and helmet (N, 9), and the
    outline (N, 12): where in the crop the man's left, top, right and lower edge and the ground under him (x, y) are, from its
    middle in shares of its height, and the logarithm of the mean error of each."""

    def __init__(self) -> None:
        super().__init__()
        self.near = nn.Sequential(
            _stage(3, 32, 5), Residual(32), _stage(32, 64), Residual(64), Residual(64),
            _stage(64, 96), Residual(96), Residual(96))
        self.body = nn.Sequential(
            _stage(96, 128), Residual(128), nn.Conv2d(128, 48, 1), nn.ReLU(), nn.Flatten(), nn.Dropout(0.1),
            nn.Linear(48 * 4 * 3, 128), nn.ReLU())
        self.facing, self.role, self.cloth = nn.Linear(128, FACING_BINS), nn.Linear(128, len(ROLES)), nn.Linear(128, 9)
        # Edges want to know where, which the body's few cells no longer tell.
        self.where = nn.Sequential(nn.Conv2d(96, 32, 1), nn.ReLU(), nn.Flatten(), nn.Linear(32 * 8 * 6, 128), nn.ReLU())
        self.outline = nn.Linear(128 + 128, 12)

    def forward(self, crops: torch.Tensor) -> tuple[torch.Tensor, ...]:
        near = self.near(nn.functional.avg_pool2d(_planes(crops), 2))
        seen = self.body(near)
        outline = self.outline(torch.cat([self.where(near), seen], 1))
        return self.facing(seen), self.role(seen), self.cloth(seen), outline


class Numbers(nn.Module):
    """Logits of the tens (N, 11) and the units (N, 10) on the shirt, and of being readable at all (N, 1)."""

    def __init__(self) -> None:
        super().__init__()
        # Strokes are one or two pixels wide: they are looked for before anything is halved.
        self.body = nn.Sequential(
            nn.Conv2d(3, 24, 3, 1, 1, bias=False), nn.BatchNorm2d(24), nn.ReLU(), Residual(24), _stage(24, 48), Residual(48),
            _stage(48, 72), Residual(72), Residual(72), _stage(72, 96), Residual(96),
            nn.Conv2d(96, 32, 1), nn.ReLU(), nn.Flatten(), nn.Dropout(0.1), nn.Linear(32 * 64, 128), nn.ReLU())
        self.tens, self.units, self.readable = nn.Linear(128, TENS), nn.Linear(128, UNITS), nn.Linear(128, 1)

    def forward(self, crops: torch.Tensor) -> tuple[torch.Tensor, ...]:
        seen = self.body(_planes(crops[:, SHIRT_ROWS, SHIRT_COLUMNS]))
        return self.tens(seen), self.units(seen), self.readable(seen)


OUTPUTS = {"looks": ("facing", "role", "cloth", "outline"), "numbers": ("tens", "units", "readable")}
NETWORKS: dict[str, Any] = {"looks": Looks, "numbers": Numbers}
