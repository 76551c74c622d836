"""The training recipe: refusals at once, and, slowly, a whole tiny training with its export."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from vision.training import export_detector, train_detector


def test_missing_data_and_weights_are_refused_in_one_line(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match=r"nothing\.yaml: no such file; render frames"):
        train_detector(tmp_path / "nothing.yaml", tmp_path)
    data = tmp_path / "data.yaml"
    data.write_text("names: {0: person}\n")
    with pytest.raises(FileNotFoundError, match=r"gone\.pt: no such file"):
        train_detector(data, tmp_path, base=tmp_path / "gone.pt")
    with pytest.raises(FileNotFoundError, match=r"gone\.pt: no such file; train first"):
        export_detector(tmp_path / "gone.pt", tmp_path / "people.onnx")


@pytest.mark.slow
def test_train_go_on_and_export(tmp_path: Path) -> None:
    """From nothing, then on from the weights; the ONNX takes several sizes and agrees with PyTorch."""
    import onnxruntime
    import torch
    from ultralytics import YOLO

    from demo_clips.training_frames import write_frames

    data = write_frames(3, 12, tmp_path / "frames", (320, 192))
    tiny = {"epochs": 1, "image_size": 160, "batch": 4, "device": "cpu", "workers": 0}
    first = train_detector(data, tmp_path / "first", **tiny)
    second = train_detector(data, tmp_path / "second", base=first, **tiny)
    onnx = export_detector(second, tmp_path / "out" / "people.onnx", 96, 160)
    session = onnxruntime.InferenceSession(str(onnx), providers=["CPUExecutionProvider"])
    network = YOLO(str(second)).model.float().eval()
    network.model[-1].end2end = True
    for height, width in ((96, 160), (384, 640), (544, 960)):
        picture = np.random.default_rng(0).random((1, 3, height, width), dtype=np.float32)
        boxes = session.run(None, {session.get_inputs()[0].name: picture})[0]
        with torch.no_grad():
            expected = network(torch.from_numpy(picture))[0].numpy()
        assert boxes.shape[0] == 1
        assert boxes.shape[2] == 6
        assert np.abs(np.sort(boxes[0, :, 4]) - np.sort(expected[0, :, 4])).max() < 1e-3
    assert boxes.shape == (1, 300, 6)


@pytest.mark.slow
def test_a_larger_network_is_trained_and_finds_boxes(tmp_path: Path) -> None:
    import torch
    from click.testing import CliRunner

    from tagger.cli import main
    from vision.detector import load_detector

    found = CliRunner().invoke(main, ["train", "--out", str(tmp_path), "--frames", "4", "--larger", "--epochs", "1",
                                      "--image-size", "160", "--batch", "2"])
    assert found.exit_code == 0, found.output
    small = torch.load(tmp_path / "people.pt", map_location="cpu", weights_only=False)["model"]
    assert sum(weight.numel() for weight in small.parameters()) > 3 * 2.4e6  # the nano one has 2.4 million
    black = np.zeros((360, 640, 3), np.uint8)
    assert load_detector(tmp_path / "people.onnx").detect(0, 0.0, black).xyxy.shape[1] == 4
