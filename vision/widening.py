"""A network made twice as wide without changing what it computes, so that training goes on instead of beginning anew.

Every channel becomes two that carry the same; who reads them reads each with a share of the old weight, and the shares, which add
up to the old weight, are drawn unlike each other, so that training can tell the two apart (T. Chen, I. Goodfellow, J. Shlens,
Net2Net: Accelerating Learning via Knowledge Transfer, ICLR 2016).
"""

from __future__ import annotations

from collections.abc import Mapping

import torch
from torch import Tensor

GIVEN_BY_HEAD = {"qkv": 128, "pe": 64}
READ_BY_HEAD = {"proj": 64}
"""Channels of one head in what these layers of an attention block give or read: heads are doubled whole."""
UNLIKE = 0.25
"""Standard deviation of the shares about one half."""


def widen(narrow: Mapping[str, Tensor], wide: Mapping[str, Tensor], seed: int = 0) -> dict[str, Tensor]:
    """Weights for the network that now has `wide`, which mean nothing yet, from those of one half as wide in every layer.

    Both map a layer's name to its weights, (out, in, ...) of a convolution, (out,) of a bias or a norm. Raises ValueError
    where the second is not the first at twice the width.
    """
    if set(narrow) != set(wide):
        raise ValueError("widen: these two networks have other layers, not the same ones at twice the width")
    chance = torch.Generator().manual_seed(seed)
    return {name: _widened(name, narrow[name], wide[name], chance) for name in wide}


def _widened(name: str, old: Tensor, new: Tensor, chance: torch.Generator) -> Tensor:
    layer = name.split(".attn.")[1].split(".")[0] if ".attn." in name else ""
    out = old
    if new.shape[:1] != old.shape[:1]:
        out = out.index_select(0, _sources(name, len(old), len(new), GIVEN_BY_HEAD.get(layer, 1)))
    if new.ndim > 1 and new.shape[1] != old.shape[1]:
        out = _shared_out(out, _sources(name, old.shape[1], new.shape[1], READ_BY_HEAD.get(layer, 1)), chance)
    if out.shape != new.shape:
        raise ValueError(f"widen: {name} is {tuple(new.shape)}, not twice {tuple(old.shape)}")
    return out.clone()


def _sources(name: str, old: int, new: int, together: int) -> Tensor:
    """(new,) the old channel that each new one carries; `together` channels are doubled as one."""
    if new != 2 * old:
        raise ValueError(f"widen: {name} has {new} channels, not twice {old}")
    channel = torch.arange(new)
    return channel // together // 2 * together + channel % together


def _shared_out(weight: Tensor, source: Tensor, chance: torch.Generator) -> Tensor:
    """`weight` (out, in, ...) for inputs that come twice, the old input `source` (2 in,) each."""
    first, second = torch.argsort(source, stable=True).reshape(-1, 2).T
    old = weight.index_select(1, source[first])
    share = 0.5 + UNLIKE * torch.randn(old.shape, generator=chance)
    out = weight.index_select(1, source)
    return out.index_copy(1, first, share * old).index_copy(1, second, (1 - share) * old)
