"""Trains the person detector from nothing, or goes on from weights, and exports it to ONNX. Works without a network.

    python -m demo_clips.training_frames FRAMES --count 7000
    python -m vision.training FRAMES/data.yaml runs/people --hours 1

The network is a small NMS-free one: its end-to-end head gives at most 300 boxes a picture, `[1, 300, 6]` as
x0, y0, x1, y1, confidence, class.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import shutil
from pathlib import Path
from typing import Any

import numpy as np

LEAST_STORED_IN_16_BITS = 256
"""Smaller tensors are kept as they are: among them are sizes and strides, which want to be exact."""
FINE_TUNING: dict[str, Any] = {"optimizer": "AdamW", "lr0": 4e-4, "warmup_epochs": 0.0}
"""Of a trained network on a few hundred frames, each batch being a step (`nbs` the batch's size). The trainer's own steps are
five times as large, and its warm-up begins with steps of 0.1 for every bias: both make the network forget what it knows."""
RATE_OF_WIDENED = 1.5e-3
"""Size of the first steps of a network that was made wider: it knows much, and has room for as much again."""


def _ultralytics() -> Any:
    """ultralytics with what reaches for the network or for an absent package switched off."""
    os.environ["YOLO_OFFLINE"] = "true"
    import ultralytics
    import ultralytics.data.utils
    import ultralytics.engine.trainer as trainer

    # It would fetch a network to try mixed precision on, and a font for plots that are not drawn.
    trainer.check_amp = lambda model: True  # type: ignore[attr-defined]
    ultralytics.data.utils.check_font = lambda *args, **options: None  # type: ignore[attr-defined]
    if importlib.util.find_spec("polars") is None:
        trainer.BaseTrainer.read_results_csv = lambda self: {}  # type: ignore[method-assign]
    return ultralytics


def train_detector(
    dataset_yaml: Path,
    out_dir: Path,
    base: str | Path = "yolo26n.yaml",
    epochs: int = 100,
    image_size: int = 1280,
    batch: int = 48,
    time_hours: float | None = None,
    device: str | None = None,
    workers: int = 8,
    rectangular: bool = True,
    seed: int = 0,
    rate: float = 2e-3,
    **overrides: Any,
) -> Path:
    """Train on an ultralytics data set and return the path of the last weights, `out_dir`/last.pt.

    `base` is a network's description (random weights) or a .pt to go on from. `time_hours` overrules `epochs`. The steps' size
    falls from `rate` along a cosine. Frames of one aspect ratio train faster `rectangular`, without square padding. Scale, colour
    and mirror images are varied; mosaics are not made: they cut people in ways that no camera does. `overrides` go to ultralytics
    as they are. Raises FileNotFoundError when the data set or the weights are missing.
    """
    for path in (dataset_yaml, Path(base) if str(base).endswith(".pt") else None):
        if path is not None and not Path(path).is_file():
            raise FileNotFoundError(f"{path}: no such file; render frames or name existing weights")
    network = _ultralytics().YOLO(str(base))
    recipe: dict[str, Any] = {
        "data": str(dataset_yaml),
        "epochs": epochs,
        "imgsz": image_size,
        "batch": batch,
        "time": time_hours,
        "device": device,
        "workers": workers,
        "rect": rectangular,
        "seed": seed,
        "project": str(out_dir.resolve()),
        "name": "train",
        "exist_ok": True,
        "pretrained": str(base).endswith(".pt"),
        "cache": "ram",
        "mosaic": 0.0,
        "close_mosaic": 0,
        "plots": False,
        "single_cls": True,
        "optimizer": "AdamW",
        "lr0": rate,
        "lrf": 0.02,
        "cos_lr": True,
        "warmup_epochs": 0.3,
        "warmup_bias_lr": rate,
        "scale": 0.4,
        "translate": 0.08,
        "degrees": 1.5,
        "fliplr": 0.5,
        "hsv_h": 0.02,
        "hsv_s": 0.6,
        "hsv_v": 0.4,
        "max_det": 300,
    }
    network.train(**(recipe | overrides))
    last = out_dir / "last.pt"
    shutil.copyfile(network.trainer.last, last)
    return last


def blend(base: Path, tuned: Path, out: Path, share: float) -> Path:
    """Write `share` of the tuned and the rest of the base weights to `out` (.pt) and return it: what a few frames teach stays,
    what they make the network forget comes back (Wortsman et al., Robust fine-tuning of zero-shot models, CVPR 2022).

    Raises ValueError for a share beyond 0 to 1."""
    if not 0.0 <= share <= 1.0:
        raise ValueError(f"share of the new weights: {share:g}, wanted 0 to 1")
    load = _ultralytics().YOLO
    mixed, old = load(str(tuned)), load(str(base)).model.state_dict()
    new = mixed.model.state_dict()
    mixed.model.load_state_dict({
        name: ((1.0 - share) * old[name].float() + share * value.float()).to(value.dtype) if value.is_floating_point() else value
        for name, value in new.items()})
    mixed.save(str(out))
    return out


def widened(weights: Path, out: Path, network: str = "yolo26s.yaml") -> Path:
    """Write to `out` (.pt) a `network` that finds exactly what `weights` (.pt), half as wide, find, ready to be trained further.

    Raises FileNotFoundError without weights and ValueError where `network` is not twice as wide."""
    if not weights.is_file():
        raise FileNotFoundError(f"{weights}: no such file; name the .pt weights to begin from")
    load = _ultralytics().YOLO
    from ultralytics.nn.tasks import DetectionModel

    from vision.widening import widen

    old = load(str(weights)).model.float()
    wide = load(network)
    wide.model = DetectionModel(network, nc=len(old.names), verbose=False)  # type: ignore[no-untyped-call]
    wide.model.load_state_dict(widen(old.state_dict(), wide.model.state_dict()))
    wide.model.names, wide.model.args = old.names, old.args
    out.parent.mkdir(parents=True, exist_ok=True)
    wide.save(str(out))
    return out


def export_detector(weights: Path, onnx: Path, height: int = 736, width: int = 1280, half: bool = False) -> Path:
    """Write `weights` (.pt) as float32 ONNX for any height and width that are multiples of 32, and return `onnx`.

    The end-to-end head stays in, so that nobody has to suppress double boxes. `half` stores the weights in 16 bits, as the .pt
    does: half the file, the same arithmetic. Raises FileNotFoundError without weights.
    """
    if not weights.is_file():
        raise FileNotFoundError(f"{weights}: no such file; train first, or name existing weights")
    network = _ultralytics().YOLO(str(weights))
    slim = importlib.util.find_spec("onnxslim") is not None
    written = network.export(format="onnx", imgsz=(height, width), dynamic=True, nms=False, simplify=slim, opset=17, device="cpu")
    onnx.parent.mkdir(parents=True, exist_ok=True)
    shutil.move(str(written), onnx)
    if half:
        _store_in_16_bits(onnx)
    return onnx


def _store_in_16_bits(path: Path) -> None:
    """Keep a network's large weights as float16 that is widened again when the network is loaded."""
    import onnx
    from onnx import numpy_helper

    network = onnx.load(str(path))
    graph, casts = network.graph, []
    for weight in graph.initializer:
        values = numpy_helper.to_array(weight)
        if values.dtype == np.float32 and values.size >= LEAST_STORED_IN_16_BITS:
            name = weight.name
            weight.CopyFrom(numpy_helper.from_array(values.astype(np.float16), f"{name}_16"))
            casts.append(onnx.helper.make_node("Cast", [f"{name}_16"], [name], to=onnx.TensorProto.FLOAT))
    steps = list(graph.node)
    del graph.node[:]
    graph.node.extend([*casts, *steps])
    onnx.save(network, str(path))


def main() -> None:
    """The recipe as one command: train, then export."""
    parser = argparse.ArgumentParser(description="Train the person detector and export it.")
    parser.add_argument("dataset_yaml", type=Path)
    parser.add_argument("out_dir", type=Path)
    parser.add_argument("--base", default="yolo26n.yaml", help="network description, or .pt to go on from")
    parser.add_argument("--hours", type=float, help="train for this long instead of --epochs")
    parser.add_argument("--epochs", type=int, default=100)
    parser.add_argument("--image-size", type=int, default=1280)
    parser.add_argument("--batch", type=int, default=48)
    parser.add_argument("--rate", type=float, default=2e-3, help="size of the first steps; half of it to go on from weights")
    parser.add_argument("--device", help="cpu, 0, 0,1 ...")
    parser.add_argument("--workers", type=int, default=8)
    given = parser.parse_args()
    given.out_dir.mkdir(parents=True, exist_ok=True)
    last = train_detector(
        given.dataset_yaml,
        given.out_dir,
        given.base,
        given.epochs,
        given.image_size,
        given.batch,
        given.hours,
        given.device,
        given.workers,
        rate=given.rate,
    )
    print(export_detector(last, given.out_dir / "people.onnx"))


if __name__ == "__main__":
    main()
