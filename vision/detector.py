"""People in one picture. Alone in knowing onnxruntime and ultralytics; an `.onnx` file never imports torch."""

from __future__ import annotations

import ast
from importlib.resources import files
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from vision.network_boxes import RAW_NMS_IOU, decode, finish, letterbox
from vision.types import Detections

PERSON = "person"
DEFAULT_IMAGE_SIZE_PX = 960
MIN_CONFIDENCE = 0.25
"""Of a box that is shown to somebody; below, false ones and doubles outnumber the people."""
TRACKED_CONFIDENCE = 0.2
"""Of a box that the tracker may use: it knows where somebody should be."""

class Detector(Protocol):
    """Finds people. `image_size_px` is the longest side of the picture that the network sees, where nothing else is asked."""

    image_size_px: int

    def detect(self, frame_index: int, time_s: float, bgr: npt.NDArray[np.uint8],
               image_size_px: int | None = None) -> Detections:
        """People in `bgr` (H, W, 3), boxes in its pixels, surest first, `class_id` 0. Raises ValueError on another shape."""
        ...


def shipped_weights(device: str = "cpu", larger: bool = False) -> Path:
    """The weights that come along, on a CUDA card those that PyTorch runs; the `larger` ones take three times the work.

    Raises FileNotFoundError with one clear line where the installation lacks them."""
    name = f"people{'_larger' if larger else ''}.{'pt' if _is_cuda(device) else 'onnx'}"
    path = Path(str(files("models").joinpath(name)))
    if not path.is_file():
        raise FileNotFoundError(f"{path}: no such weights; reinstall the package or give --weights")
    return path


def load_detector(weights: Path | str | None = None, device: str = "cpu", image_size_px: int | None = None,
                  threads: int | None = None, min_confidence: float = MIN_CONFIDENCE) -> Detector:
    """A detector from weights: `.onnx` by onnxruntime, all else by ultralytics; None takes the ones that come along.

    `device` is "cpu", or "cuda" / "cuda:0" / "mps" as far as the runtime has it; `threads` None leaves the choice to the
    runtime. Raises FileNotFoundError or ValueError with one clear line for missing, foreign or broken weights.
    """
    path = shipped_weights(device) if weights is None else Path(weights)
    if not path.is_file():
        raise FileNotFoundError(f"{path}: no such weights; give the path of an .onnx or .pt file")
    if path.suffix.lower() == ".onnx":
        return OnnxDetector(path, device, image_size_px, threads, min_confidence)
    return TorchDetector(path, device, image_size_px, min_confidence)


class OnnxDetector:
    """An exported YOLO network on onnxruntime: end-to-end output (1, 300, 6) or raw heads (1, 4 + classes, N)."""

    def __init__(self, path: Path, device: str, image_size_px: int | None, threads: int | None, min_confidence: float) -> None:
        import onnxruntime

        self.path, self.min_confidence = path, min_confidence
        options = onnxruntime.SessionOptions()
        if threads is not None:
            options.intra_op_num_threads = threads
            options.inter_op_num_threads = 1
        options.log_severity_level = 3
        providers = _providers(onnxruntime, device)
        try:
            self._session = onnxruntime.InferenceSession(str(path), options, providers=providers)
        except Exception as error:  # onnxruntime raises a class of its own for every kind of broken file
            raise ValueError(f"{path}: not an ONNX network that can be read ({str(error).splitlines()[0][:120]})") from None
        self._input = self._session.get_inputs()[0]
        shape = self._input.shape
        if len(self._session.get_inputs()) != 1 or len(shape) != 4 or shape[1] not in (3, "channels"):
            raise ValueError(f"{path}: wants input {shape}, not one picture (1, 3, height, width); export a detection model")
        if "float16" in self._input.type:
            raise ValueError(f"{path}: half precision; export it with 32-bit floats")
        metadata = self._session.get_modelmeta().custom_metadata_map
        self._names = _names(metadata)
        self._end_to_end = metadata.get("end2end", "").lower() == "true"
        self._person = _person_class(self._names, path)
        # A network exported for one size takes only that one.
        self._fixed_hw = (shape[2], shape[3]) if isinstance(shape[2], int) and isinstance(shape[3], int) else None
        self.image_size_px = max(self._fixed_hw) if self._fixed_hw else image_size_px or _trained_size(metadata)

    def detect(self, frame_index: int, time_s: float, bgr: npt.NDArray[np.uint8],
               image_size_px: int | None = None) -> Detections:
        """See `Detector.detect`."""
        _check_picture(bgr)
        blob, scale, offset = letterbox(bgr, image_size_px or self.image_size_px, self._fixed_hw)
        output = self._session.run(None, {self._input.name: blob})[0]
        xyxy, confidence = decode(output, self._person, self._end_to_end, len(self._names), self.min_confidence, self.path)
        xyxy = (xyxy - np.tile(offset, 2)) / scale
        return finish(frame_index, time_s, xyxy, confidence, bgr.shape[:2])


class TorchDetector:
    """Any weights that ultralytics reads, imported when first asked for."""

    def __init__(self, path: Path, device: str, image_size_px: int | None, min_confidence: float) -> None:
        from ultralytics import YOLO  # type: ignore[attr-defined]

        _check_cuda(device)
        self.path, self.device, self.min_confidence = path, device, min_confidence
        try:
            self._model = YOLO(str(path), task="detect")
            names = dict(self._model.names)
        except Exception as error:  # unpickling foreign files fails in every possible way
            raise ValueError(f"{path}: not weights that ultralytics can read ({type(error).__name__}); "
                             "give a YOLO .pt or .onnx") from None
        self._person = _person_class(names, path)
        self.image_size_px = image_size_px or DEFAULT_IMAGE_SIZE_PX

    def detect(self, frame_index: int, time_s: float, bgr: npt.NDArray[np.uint8],
               image_size_px: int | None = None) -> Detections:
        """See `Detector.detect`."""
        _check_picture(bgr)
        result: Any = self._model.predict(bgr, imgsz=image_size_px or self.image_size_px, conf=self.min_confidence,
                                          iou=RAW_NMS_IOU, rect=True, device=self.device, classes=[self._person], verbose=False)
        found = result[0].boxes
        xyxy = np.asarray(found.xyxy.cpu(), dtype=np.float64).reshape(-1, 4)
        return finish(frame_index, time_s, xyxy, np.asarray(found.conf.cpu(), dtype=np.float64).reshape(-1), bgr.shape[:2])


def _is_cuda(device: str) -> bool:
    """As PyTorch and ultralytics name NVIDIA's cards: cuda, cuda:0 or 0."""
    return device.startswith("cuda") or device.isdigit()


def _check_cuda(device: str) -> None:
    import torch

    number = device.rpartition(":")[2].removeprefix("cuda") or "0"
    if _is_cuda(device) and not (number.isdigit() and int(number) < torch.cuda.device_count()):
        raise ValueError(f"device {device!r}: PyTorch sees {torch.cuda.device_count()} CUDA cards here; use --device cpu, "
                         "or cuda:0 where there is one")


def _check_picture(bgr: npt.NDArray[np.uint8]) -> None:
    if bgr.ndim != 3 or bgr.shape[2] != 3 or bgr.dtype != np.uint8 or 0 in bgr.shape:
        raise ValueError(f"picture: shape {bgr.shape} {bgr.dtype}, wanted (height, width, 3) uint8")


def _providers(onnxruntime: Any, device: str) -> list[str]:
    if device == "cpu":
        return ["CPUExecutionProvider"]
    wanted = {"cuda": "CUDAExecutionProvider", "mps": "CoreMLExecutionProvider"}.get(device.split(":")[0])
    if wanted is None or wanted not in onnxruntime.get_available_providers():
        raise ValueError(f"device {device!r}: this onnxruntime lacks it; use --device cpu, or .pt weights")
    return [wanted, "CPUExecutionProvider"]


def _literal(metadata: dict[str, str], key: str) -> Any:
    try:
        return ast.literal_eval(metadata.get(key, ""))
    except (ValueError, SyntaxError):
        return None


def _names(metadata: dict[str, str]) -> dict[int, str]:
    names = _literal(metadata, "names")
    return {int(k): str(v) for k, v in names.items()} if isinstance(names, dict) else {}


def _person_class(names: dict[int, str], path: Path) -> int:
    """The class that means a person: by its name, or the only one. Weights that do not name theirs count it first."""
    for index, name in names.items():
        if name.lower() in (PERSON, "player", "people"):
            return index
    if len(names) <= 1:
        return next(iter(names), 0)
    known = ", ".join(list(names.values())[:5])
    raise ValueError(f"{path}: knows {known} ..., but no class 'person'; these are not weights for people")


def _trained_size(metadata: dict[str, str]) -> int:
    size = _literal(metadata, "imgsz")
    if isinstance(size, list | tuple) and size:
        return int(max(size))
    return int(size) if isinstance(size, int) else DEFAULT_IMAGE_SIZE_PX
