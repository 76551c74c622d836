"""Trains the networks for torso facing and kits ("looks") and for shirt numbers ("numbers"), and exports them to ONNX.

    python -m demo_clips.training_crops CROPS --frames 6000
    python -m vision.crop_training CROPS OUT --device 0 --seconds 200
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch.nn import functional

from vision.crop_networks import FACING_BINS, NETWORKS, OUTPUTS
from vision.crops import CROP, MARGIN
from vision.sights import LOG_SCALES

Batch = dict[str, torch.Tensor]
WANTED = ("picture", "box", "foot", "facing_rad", "square", "shown_px", "digits", "digit_seen", "role", "upright", "cloth",
          "visible")
FACING_BLUR_RAD = 0.12
"""Standard deviation of the histogram that a facing is taught as."""
SEEN, HIDDEN = 0.8, 0.4
"""Share of a digit from which it counts as there, and below which it does not."""
READ_FROM_PX = 40.0
"""Nobody learns to read from smaller men."""
BOX_SHAKEN, HIDDEN_SHAKEN, WORSE_SHAKEN = 0.016, 0.055, 2.5
"""Standard deviation of a found box's edges in heights: of a man in full view, what is added where he is wholly hidden, and the
factor for the worse ones. As measured on simulated clips, wider, since real film is harder."""
OUTLINE_WEIGHT = 0.5
PEAK_RATE, DECAY, AVERAGING = 3e-3, 0.02, 0.999


def load_portraits(folder: Path, part: str, device: str) -> Batch:
    """All shards of one part ("train" or "val") on `device`. Raises FileNotFoundError where there are none."""
    files = sorted(folder.glob(f"{part}-*.npz"))
    if not files:
        raise FileNotFoundError(f"{folder}: no {part}-*.npz; render some: python -m demo_clips.training_crops {folder}")
    shards = []
    for file in files:
        with np.load(file) as shard:
            shards.append({name: torch.from_numpy(shard[name]) for name in WANTED})
    return {name: torch.cat([shard[name] for shard in shards]).to(device) for name in WANTED}


@dataclass(frozen=True)
class Shown:
    """Which part of their portraits N crops show: `middle` (N, 2) and height `tall` (N,) px, `flipped` (N,) mirror images."""

    middle: torch.Tensor
    tall: torch.Tensor
    flipped: torch.Tensor

    def place(self, points: torch.Tensor) -> torch.Tensor:
        """(N, K, 2) points of the portraits, from the crop's middle, in shares of its height."""
        off = (points - self.middle[:, None]) / self.tall[:, None, None]
        return torch.stack([torch.where(self.flipped[:, None], -off[..., 0], off[..., 0]), off[..., 1]], -1)


def shake(box: torch.Tensor, visible: torch.Tensor) -> torch.Tensor:
    """Boxes (N, 4) as a detector finds them: off by some per cent of the height, by more of men (N,) who hardly show; one in four
    is worse."""
    off = torch.randn(box.shape, device=box.device).clamp(-2.5, 2.5)
    worse = torch.where(torch.rand(len(box), device=box.device) < 0.25, WORSE_SHAKEN, 1.0)
    share = (BOX_SHAKEN + HIDDEN_SHAKEN * (1 - visible)) * worse
    return box + off * (share * (box[:, 3] - box[:, 1]))[:, None]


def draw_crops(batch: Batch, varied: bool, mirror: bool) -> tuple[torch.Tensor, Shown]:
    """Crops (N, 128, 96, 3) uint8 of portraits, as a detector's boxes would give them, and what they show. `varied` moves and
    scales the window and changes light, colour and sharpness."""
    edges, device = shake(batch["box"], batch["visible"]) if varied else batch["box"], batch["box"].device
    n = len(edges)
    wide, tall = (edges[:, 2] - edges[:, 0]).clamp(min=3), (edges[:, 3] - edges[:, 1]).clamp(min=5)
    tall = MARGIN * torch.maximum(tall, wide * CROP[0] / CROP[1])
    middle = torch.stack([edges[:, 0] + edges[:, 2], edges[:, 1] + edges[:, 3]], 1) / 2
    flipped = (torch.rand(n, device=device) < 0.5) if mirror and varied else torch.zeros(n, dtype=torch.bool, device=device)
    picture = batch["picture"].permute(0, 3, 1, 2).float()
    size = torch.tensor([picture.shape[3], picture.shape[2]], device=device, dtype=torch.float32)
    half = torch.stack([tall * CROP[1] / CROP[0] * torch.where(flipped, -1.0, 1.0), tall], 1) / size
    zero = torch.zeros_like(tall)
    matrix = torch.stack([
        torch.stack([half[:, 0], zero, 2 * middle[:, 0] / size[0] - 1], 1),
        torch.stack([zero, half[:, 1], 2 * middle[:, 1] / size[1] - 1], 1)], 1)
    grid = functional.affine_grid(matrix, [n, 3, *CROP], align_corners=False)
    crops = functional.grid_sample(picture, grid, mode="bilinear", padding_mode="border", align_corners=False)
    if varied:
        crops = _other_film(crops)
    return crops.round().clamp(0, 255).to(torch.uint8).permute(0, 2, 3, 1), Shown(middle, tall, flipped)


def _other_film(crops: torch.Tensor) -> torch.Tensor:
    """The same people by another light and lens: exposure, contrast, colour cast, less sharp, noise."""
    n, device = len(crops), crops.device
    gain = torch.exp(torch.randn(n, 1, 1, 1, device=device) * 0.1 + torch.randn(n, 3, 1, 1, device=device) * 0.03)
    crops = (crops - 110) * torch.exp(torch.randn(n, 1, 1, 1, device=device) * 0.1) + 110
    crops = crops * gain + torch.randn(n, 1, 1, 1, device=device) * 10
    grey = crops.mean(1, keepdim=True)
    crops = grey + (crops - grey) * torch.exp(torch.randn(n, 1, 1, 1, device=device) * 0.15)
    blurred = torch.rand(n, device=device) < 0.2
    if bool(blurred.any()):
        shrink = float(torch.empty(1).uniform_(0.4, 0.9))
        soft = functional.interpolate(crops[blurred], scale_factor=shrink, mode="bilinear", antialias=True)
        crops[blurred] = functional.interpolate(soft, size=list(CROP), mode="bilinear")
    return crops + torch.randn_like(crops) * torch.rand(n, 1, 1, 1, device=device) * 4


def lab(bgr: torch.Tensor) -> torch.Tensor:
    """CIE Lab (D65, sRGB; IEC 61966-2-1) of BGR bytes (..., 3)."""
    rgb = bgr.flip(-1).float() / 255
    linear = torch.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    to_xyz = torch.tensor([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]], device=bgr.device)
    xyz = linear @ to_xyz.T / torch.tensor([0.9505, 1.0, 1.089], device=bgr.device)
    root = torch.where(xyz > 0.008856, xyz.clamp(min=1e-6) ** (1 / 3), 7.787 * xyz + 16 / 116)
    x, y, z = root.unbind(-1)
    return torch.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], -1)


def outline(batch: Batch, shown: Shown) -> torch.Tensor:
    """(N, 6) where a crop shows the man's left, top, right and lower edge and the ground under his middle (x, y), from the crop's
    middle in shares of its height."""
    corners = shown.place(torch.cat([batch["box"].view(-1, 2, 2), batch["foot"][:, None]], 1))
    x = corners[:, :2, 0].sort(1).values
    return torch.stack([x[:, 0], corners[:, 0, 1], x[:, 1], corners[:, 1, 1], corners[:, 2, 0], corners[:, 2, 1]], 1)


def outline_loss(out: torch.Tensor, batch: Batch, shown: Shown) -> torch.Tensor:
    """Negative log likelihood of Laplace distributions (N, 12: six places, six logarithms of their scales)."""
    off = (out[:, :6] - outline(batch, shown)).abs().clamp(max=0.5)
    scale = out[:, 6:].clamp(*LOG_SCALES)
    return (off * torch.exp(-scale) + scale).mean()


def looks_loss(out: Sequence[torch.Tensor], batch: Batch, shown: Shown) -> torch.Tensor:
    """Histogram of the facing, role, cloth and outline."""
    facing = torch.where(shown.flipped, -batch["facing_rad"], batch["facing_rad"])
    centre = -math.pi + (torch.arange(FACING_BINS, device=facing.device) + 0.5) * 2 * math.pi / FACING_BINS
    off = torch.remainder(centre[None] - facing[:, None] + math.pi, 2 * math.pi) - math.pi
    wanted = torch.softmax(-0.5 * (off / FACING_BLUR_RAD) ** 2, 1)
    weight = batch["upright"].float() * batch["visible"]
    turned = -(wanted * functional.log_softmax(out[0], 1)).sum(1)
    cloth = functional.smooth_l1_loss(out[2], lab(batch["cloth"]).flatten(1) / 50, reduction="none", beta=0.2).mean(1)
    role = functional.cross_entropy(out[1], batch["role"].long(), reduction="none")
    return ((turned * weight).sum() / weight.sum().clamp(min=1) + 0.3 * role.mean() + 0.7 * (cloth * batch["visible"]).mean()
            + OUTLINE_WEIGHT * outline_loss(out[3], batch, shown))


def numbers_loss(out: Sequence[torch.Tensor], batch: Batch, _shown: Shown) -> torch.Tensor:
    """Tens and units where they show; whether both do."""
    digits, seen = batch["digits"].long(), batch["digit_seen"]
    total = torch.zeros((), device=seen.device)
    for place in (0, 1):
        there = (seen[:, place] >= SEEN) & (digits[:, place] >= 0)
        each = functional.cross_entropy(out[place], digits[:, place].clamp(min=0), reduction="none")
        total = total + (each * there).sum() / there.sum().clamp(min=1)
    least = seen.min(1).values
    told = (least >= SEEN) | (least < HIDDEN)
    each = functional.binary_cross_entropy_with_logits(out[2][:, 0], (least >= SEEN).float(), reduction="none")
    return total + (each * told).sum() / told.sum().clamp(min=1)


LOSSES: dict[str, Any] = {"looks": looks_loss, "numbers": numbers_loss}


@dataclass
class _Pace:
    """How far a training is, 0..1, by time or by steps, whichever ends first."""

    seconds: float
    steps: int
    start_s: float
    step: int = 0

    def done(self) -> float:
        return max((time.monotonic() - self.start_s) / self.seconds, self.step / self.steps)


def train(name: str, portraits: Batch, seconds: float, steps: int = 1 << 30, batch_size: int = 1024, base: Path | None = None,
          seed: int = 0, peak_rate: float = PEAK_RATE) -> torch.nn.Module:
    """Train the network `name` on portraits for `seconds` or `steps`, from `base` weights or from nothing; returns the running
    average of its weights, ready to use."""
    torch.manual_seed(seed)
    torch.set_float32_matmul_precision("high")
    torch.backends.cudnn.benchmark = True
    device = portraits["box"].device
    network = NETWORKS[name]().to(device)
    if base is not None:
        network.load_state_dict(torch.load(base, map_location=device, weights_only=True)[name])
    averaging = torch.optim.swa_utils.get_ema_multi_avg_fn(AVERAGING)  # type: ignore[no-untyped-call]
    average = torch.optim.swa_utils.AveragedModel(network, multi_avg_fn=averaging, use_buffers=True)
    optimiser = torch.optim.AdamW(network.parameters(), lr=peak_rate, weight_decay=DECAY)
    if name == "numbers":
        portraits = _with_numbers(portraits)
    pace, shown_s = _Pace(seconds, steps, time.monotonic()), 0.0
    batches = _batches(portraits, min(batch_size, len(portraits["box"])))
    while (done := pace.done()) < 1.0:
        for group in optimiser.param_groups:
            group["lr"] = peak_rate * min(1.0, 0.02 + done * 20) * (0.5 + 0.5 * math.cos(math.pi * done))
        batch = next(batches)
        crops, shown = draw_crops(batch, varied=True, mirror=name == "looks")
        loss = LOSSES[name](network(crops), batch, shown)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(network.parameters(), 2.0)
        optimiser.step()
        average.update_parameters(network)
        pace.step += 1
        if time.monotonic() - shown_s > 10:
            shown_s = time.monotonic()
            print(f"{name}: {done:.0%}, step {pace.step}, loss {float(loss.detach()):.3f}", flush=True)
    # A short training's average still remembers its start.
    trained: torch.nn.Module = average.module if pace.step > 3 / (1 - AVERAGING) else network
    return trained.eval()


def _with_numbers(portraits: Batch) -> Batch:
    """Those large enough to read; of the ones without a number that shows, half as many at most."""
    large = (portraits["shown_px"] > READ_FROM_PX) & (portraits["visible"] > 0.3)
    shows = large & (portraits["digit_seen"] >= SEEN).all(1)
    rest = torch.nonzero(large & ~shows)[:, 0]
    rest = rest[torch.randperm(len(rest), device=rest.device)[: max(1, int(shows.sum()) // 2)]]
    keep = torch.cat([torch.nonzero(shows)[:, 0], rest])
    return {key: value[keep] for key, value in portraits.items()}


def _batches(portraits: Batch, size: int) -> Iterator[Batch]:
    device = portraits["box"].device
    while True:
        order = torch.randperm(len(portraits["box"]), device=device)
        for start in range(0, len(order) - size + 1, size):
            rows = order[start : start + size]
            yield {key: value[rows] for key, value in portraits.items()}


@torch.no_grad()
def judge(name: str, network: torch.nn.Module, portraits: Batch) -> str:
    """One paragraph of figures on portraits that were not trained on, their boxes shaken as in training."""
    torch.manual_seed(1)
    outs: list[tuple[torch.Tensor, ...]] = []
    for start in range(0, len(portraits["box"]), 1024):
        batch = {key: value[start : start + 1024] for key, value in portraits.items()}
        found = shake(batch["box"], batch["visible"])
        crops, shown = draw_crops(batch | {"box": found}, varied=False, mirror=False)
        told = network(crops)
        if name == "looks":
            told = (*told, outline(batch, shown), outline(batch | {"box": found}, shown))
        outs.append(told)
    joined = [torch.cat(part) for part in zip(*outs, strict=True)]
    return (_judge_looks if name == "looks" else _judge_numbers)(joined, portraits)


def _judge_looks(out: list[torch.Tensor], portraits: Batch) -> str:
    angle = -math.pi + (torch.arange(FACING_BINS, device=out[0].device) + 0.5) * 2 * math.pi / FACING_BINS
    share = torch.softmax(out[0], 1)
    guess = angle[share.argmax(1)]
    near = (torch.cos(angle[None] - guess[:, None]) > 0.8) * share
    guess = torch.atan2((near * torch.sin(angle)).sum(1), (near * torch.cos(angle)).sum(1))
    off = torch.rad2deg((torch.remainder(guess - portraits["facing_rad"] + math.pi, 2 * math.pi) - math.pi).abs())
    lines, stands = [], portraits["upright"] & (portraits["visible"] > 0.6)
    for low, high in ((12, 20), (20, 30), (30, 40), (40, 60), (60, 90), (90, 500)):
        mine = (portraits["shown_px"] >= low) & (portraits["shown_px"] < high) & stands
        if bool(mine.any()):
            lines.append(f"  {low}-{high} px: {int(mine.sum())} men, median {float(off[mine].median()):.1f} deg, "
                         f"over 90 deg {float((off[mine] > 90).float().mean()):.3f}")
    role = (out[1].argmax(1) == portraits["role"]).float().mean()
    cloth = (out[2] * 50 - lab(portraits["cloth"]).flatten(1)).abs().mean(0)
    lines += _judge_outline(out[3], out[4], out[5], portraits)
    return "\n".join([*lines, f"  role right {float(role):.3f}; cloth off by {[round(float(c), 1) for c in cloth]} Lab"])


def _judge_outline(told: torch.Tensor, true: torch.Tensor, given: torch.Tensor, portraits: Batch) -> list[str]:
    """How far edges and ground are off, in heights, by how much of the man shows; behind, the boxes that were given."""
    lines, tall = [], (true[:, 3] - true[:, 1])[:, None]
    names = ("left", "top", "right", "lower", "ground x", "ground y")
    for low, high in ((0.0, 0.3), (0.3, 0.6), (0.6, 0.9), (0.9, 1.01)):
        mine = (portraits["visible"] >= low) & (portraits["visible"] < high) & (portraits["shown_px"] > 25)
        if bool(mine.any()):
            off, before = (((guess - true) / tall)[mine].abs().median(0).values for guess in (told[:, :6], given))
            inside = ((told[:, :6] - true).abs() < torch.exp(told[:, 6:].clamp(*LOG_SCALES)) * math.log(2))[mine].float().mean(0)
            lines.append(f"  {low:.1f}-{high:.1f} shows: {int(mine.sum())} men, off by " + ", ".join(
                f"{name} {float(a):.3f}" + (f" ({float(b):.3f})" if k < 4 else "") + f" half {float(c):.2f}"
                for k, (name, a, b, c) in enumerate(zip(names, off, before, inside, strict=True))))
    return lines


def _judge_numbers(out: list[torch.Tensor], portraits: Batch) -> str:
    tens, units = torch.softmax(out[0], 1), torch.softmax(out[1], 1)
    right = (tens.argmax(1) == portraits["digits"][:, 0]) & (units.argmax(1) == portraits["digits"][:, 1])
    readable = (portraits["digit_seen"] >= SEEN).all(1)
    sure = tens.max(1).values * units.max(1).values * torch.sigmoid(out[2][:, 0])
    lines = []
    for low, high in ((30, 45), (45, 60), (60, 80), (80, 500)):
        mine = (portraits["shown_px"] >= low) & (portraits["shown_px"] < high)
        told = mine & (sure > 0.9)
        lines.append(f"  {low}-{high} px: {int(mine.sum())} men, of the {int((mine & readable).sum())} readable "
                     f"{float(right[mine & readable].float().mean()):.3f} right; of {int(told.sum())} told "
                     f"{float(right[told].float().mean()):.3f} right")
    return "\n".join(lines)


def export(name: str, network: torch.nn.Module, onnx: Path) -> Path:
    """Write a network as ONNX for any number of crops, and return the path."""
    onnx.parent.mkdir(parents=True, exist_ok=True)
    crops = torch.zeros((2, *CROP, 3), dtype=torch.uint8)
    axes = {key: {0: "people"} for key in ("crops", *OUTPUTS[name])}
    torch.onnx.export(network.cpu().eval(), (crops,), str(onnx), input_names=["crops"], output_names=list(OUTPUTS[name]),
                      dynamic_axes=axes, opset_version=17, dynamo=False)
    return onnx


def main() -> None:
    """The recipe as one command: train both, judge, export."""
    parser = argparse.ArgumentParser(description="Train the networks for facing, kits and numbers, and export them.")
    parser.add_argument("crops", type=Path, help="folder of demo_clips.training_crops")
    parser.add_argument("out_dir", type=Path)
    parser.add_argument("--device", default="cpu", help="cpu, 0, cuda:1, mps ...")
    parser.add_argument("--seconds", type=float, default=200.0, help="for both networks together")
    parser.add_argument("--steps", type=int, default=1 << 30, help="at most, each")
    parser.add_argument("--batch", type=int, default=1024)
    parser.add_argument("--base", type=Path, help="crops.pt to go on from")
    parser.add_argument("--rate", type=float, default=PEAK_RATE, help="peak learning rate; a third of it to go on from --base")
    parser.add_argument("--only", choices=sorted(NETWORKS), help="train this network alone")
    parser.add_argument("--no-onnx", action="store_true", help="leave only crops.pt")
    given = parser.parse_args()
    device = f"cuda:{given.device}" if given.device.isdigit() else given.device
    given.out_dir.mkdir(parents=True, exist_ok=True)
    portraits, unseen = (load_portraits(given.crops, part, device) for part in ("train", "val"))
    print(f"{len(portraits['box'])} portraits to train on, {len(unseen['box'])} to judge by", flush=True)
    trained = {}
    for name, share in ((given.only, 1.0),) if given.only else (("looks", 0.6), ("numbers", 0.4)):
        network = train(name, portraits, share * given.seconds, given.steps, given.batch, given.base, peak_rate=given.rate)
        print(f"{name}:\n{judge(name, network, unseen)}", flush=True)
        trained[name] = {key: value.cpu() for key, value in network.state_dict().items()}
        torch.save(trained, given.out_dir / "crops.pt")
        if not given.no_onnx:
            print(export(name, network, given.out_dir / f"{name}.onnx"))


if __name__ == "__main__":
    main()
