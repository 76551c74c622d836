"""Twice the width, the same function (Chen, Goodfellow, Shlens, Net2Net, ICLR 2016), and the two halves told apart."""

from __future__ import annotations

from pathlib import Path

import pytest
import torch
from torch import nn

import models
from vision.widening import widen


def network(width: int) -> nn.Sequential:
    return nn.Sequential(nn.Conv2d(3, width, 3), nn.BatchNorm2d(width), nn.SiLU(), nn.Conv2d(width, 2 * width, 3),
                         nn.BatchNorm2d(2 * width), nn.SiLU(), nn.Conv2d(2 * width, 5, 1)).eval()


def test_a_widened_network_computes_the_same_by_unlike_halves() -> None:
    torch.manual_seed(4)
    narrow, wide = network(4), network(8)
    for layer in (narrow[1], narrow[4]):
        nn.init.uniform_(layer.running_mean)
        nn.init.uniform_(layer.running_var, 0.5, 2.0)
    picture = torch.rand(1, 3, 16, 16)
    assert not torch.allclose(narrow(picture), wide(picture), atol=1e-3)
    wide.load_state_dict(widen(narrow.state_dict(), wide.state_dict()))
    assert torch.allclose(narrow(picture), wide(picture), atol=1e-5)
    wide(picture).square().sum().backward()
    twins = wide[0].weight.grad.reshape(4, 2, -1)
    assert ((twins[:, 0] - twins[:, 1]).norm(dim=1) > 0.01 * twins[:, 0].norm(dim=1)).all()  # alike, they could never part


def test_networks_that_are_no_halves_of_each_other_are_refused() -> None:
    with pytest.raises(ValueError, match="has 12 channels, not twice 4"):
        widen(network(4).state_dict(), network(12).state_dict())
    with pytest.raises(ValueError, match="other layers"):
        widen(network(4).state_dict(), {"0.weight": torch.zeros(8, 3, 3, 3)})


@pytest.mark.slow
def test_the_detector_at_twice_its_width_finds_the_same(tmp_path: Path) -> None:
    from ultralytics import YOLO

    from vision.training import widened

    narrow = YOLO(str(models.path("people.pt"))).model.float().eval()
    wide = YOLO(str(widened(models.path("people.pt"), tmp_path / "wide.pt"))).model.float().eval()
    picture = torch.rand(1, 3, 192, 320, generator=torch.Generator().manual_seed(1))
    with torch.no_grad():
        old, new = narrow(picture)[0], wide(picture)[0]
    assert sum(p.numel() for p in wide.parameters()) > 3.5 * sum(p.numel() for p in narrow.parameters())
    assert (old[:, :4] - new[:, :4]).abs().max() < 0.5  # px; weights are stored in 16 bits
    assert (old[:, 4] - new[:, 4]).abs().max() < 1e-3
