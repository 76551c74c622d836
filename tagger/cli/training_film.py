"""Frames of a library's film whose boxes a coach has corrected, as training frames beside the simulated ones."""

from __future__ import annotations

from pathlib import Path

from tagger.cli.console import say


def add_corrected(library: Path, dataset: Path) -> int:
    """Write picture and label of each corrected frame into the data set's training part; returns how many.

    A label's line is the class and the box's middle and size as shares of the picture, as the detector's trainer reads them.
    """
    import cv2

    from tagger.library import Library
    from vision.video import read_frames

    with Library.open(library, read_only=True) as kept:
        wanted: dict[Path, dict[int, list[list[float]]]] = {}
        for clip, frame_index, boxes in kept.corrected_boxes():
            wanted.setdefault(clip, {})[frame_index] = boxes
    written = 0
    for number, (clip, frames) in enumerate(wanted.items()):
        try:
            for frame in read_frames(clip):
                if frame.index in frames:
                    height, width = frame.bgr.shape[:2]
                    name = f"film-{number:04d}-{frame.index:06d}"
                    lines = [f"0 {(x0 + x1) / 2 / width:.6f} {(y0 + y1) / 2 / height:.6f} {(x1 - x0) / width:.6f}"
                             f" {(y1 - y0) / height:.6f}" for x0, y0, x1, y1 in frames[frame.index]]
                    cv2.imwrite(str(dataset / "images" / "train" / f"{name}.jpg"), frame.bgr)
                    (dataset / "labels" / "train" / f"{name}.txt").write_text("\n".join(lines), encoding="utf-8")
                    written += 1
                if frame.index >= max(frames):
                    break
        except (ValueError, OSError) as error:
            say(f"deepthird: {' '.join(str(error).split())}; its corrected frames are left out")
    return written
