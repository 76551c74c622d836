"""Looking closely where people are: boxes land in the whole picture, and more of the small people are found."""

import json
from pathlib import Path

import numpy as np
import pytest

from vision.boxes import iou
from vision.detector import load_detector, shipped_weights
from vision.types import Detections
from vision.video import read_frames
from vision.window import Window

CLIP = Path(__file__).parents[2] / "demo_clips/rep-001/rep-001-end-zone.mp4"
SEEN = 0.25


@pytest.fixture(scope="module")
def looks() -> list[tuple[Detections, Detections, np.ndarray]]:
    """(window, whole picture at 960 px, true boxes (N, 4)) of the first looks at a demo clip."""
    told = json.loads((CLIP.parent / "truth.json").read_text())
    frames = next(clip for clip in told["clips"] if clip["file"] == CLIP.name)["frames"]
    detector, found = load_detector(), []
    window = Window(detector)
    for frame, true in zip(read_frames(CLIP), frames, strict=False):
        if frame.index >= 4:
            break
        boxes = np.array([box[1:5] for box in true["boxes"] if box[5] >= SEEN])
        found.append((window.detect(frame.index, frame.time_s, frame.bgr),
                      detector.detect(frame.index, frame.time_s, frame.bgr, 960), boxes))
    return found


def recall(found: Detections, true: np.ndarray) -> float:
    return float((iou(true, found.xyxy.astype(float)).max(axis=1) > 0.5).mean())


def test_a_close_look_finds_as_many_as_the_whole_picture(looks: list[tuple[Detections, Detections, np.ndarray]]) -> None:
    for close, whole, true in looks[1:]:
        assert recall(close, true) >= recall(whole, true) > 0.5


def test_boxes_are_in_pixels_of_the_whole_picture(looks: list[tuple[Detections, Detections, np.ndarray]]) -> None:
    for close, _, true in looks[1:]:
        best = iou(close.xyxy.astype(float), true).max(axis=1)
        assert np.median(best[close.confidence > 0.6]) > 0.7


def test_an_empty_picture_is_looked_at_whole_again() -> None:
    window, black = Window(load_detector()), np.zeros((360, 640, 3), np.uint8)
    assert [len(window.detect(i, i / 30, black).xyxy) for i in range(2)] == [0, 0]


@pytest.mark.parametrize("size", [(40, 40), (12, 300), (64, 64)])
def test_the_smallest_window_is_looked_at(size: tuple[int, int]) -> None:
    grey = np.full((*size, 3), 90, np.uint8)
    assert len(load_detector().detect(0, 0.0, grey, 64).xyxy) <= 1


@pytest.mark.parametrize("suffix", ["onnx", pytest.param("pt", marks=pytest.mark.slow)])
def test_the_larger_weights_are_whole(suffix: str, looks: list[tuple[Detections, Detections, np.ndarray]]) -> None:
    weights = shipped_weights("cuda" if suffix == "pt" else "cpu", larger=True)
    assert weights.suffix == f".{suffix}"
    for frame, (_, usual, true) in zip(read_frames(CLIP), looks[:2], strict=False):
        found = load_detector(weights).detect(frame.index, frame.time_s, frame.bgr, 960)
        assert recall(found, true) > 0.8
        assert 0.9 < len(found) / len(usual) < 1.1


@pytest.mark.parametrize("device", ["cuda:99", "99", "cuda:x"])
def test_a_card_that_is_not_there_is_told_in_one_line(device: str) -> None:
    with pytest.raises(ValueError, match=f"^device '{device}': PyTorch sees [0-9]+ CUDA cards here; use --device cpu"):
        load_detector(device=device)
