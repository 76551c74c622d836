"""deepthird train: fine-tunes the detector, or trains a larger one."""

from __future__ import annotations

from pathlib import Path

import click

from tagger.cli.console import print_json, progress, say
from tagger.cli.options import json_option, library_option


@click.command("train")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), required=True, help="Folder for frames and weights.")
@click.option("--frames", type=click.IntRange(1), default=2000, show_default=True, help="Simulated frames.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True)
@click.option("--from-library", is_flag=True, help="Also the frames whose boxes a coach has corrected.")
@library_option
@click.option("--base", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              help="Weights (.pt) to go on from; without, the ones that come with the program.")
@click.option("--larger", is_flag=True,
              help="Train a network twice as wide that begins by finding what the weights find, for half an hour on a GPU.")
@click.option("--epochs", type=click.IntRange(1), default=20, show_default=True)
@click.option("--hours", type=click.FloatRange(0.0, min_open=True), help="Train for this long instead.")
@click.option("--image-size", type=click.IntRange(64), default=1280, show_default=True, help="Longer side in px.")
@click.option("--batch", type=click.IntRange(1), default=8, show_default=True)
@click.option("--share", type=click.FloatRange(0.0, 1.0), default=0.5, show_default=True,
              help="Share of the new weights in what is written; the rest stay as they were, so that less is forgotten.")
@click.option("--device", default="cpu", show_default=True, help="cpu, or a GPU's number.")
@click.option("--jobs", type=click.IntRange(1, 256), default=1, show_default=True, help="Processes that draw frames.")
@json_option
def train_command(out: Path, frames: int, seed: int, from_library: bool, library: Path, base: Path | None, larger: bool,
                  epochs: int, hours: float | None, image_size: int, batch: int, share: float, device: str, jobs: int,
                  as_json: bool) -> int:
    """Fine-tune the detector on simulated frames, and on film whose boxes a coach has corrected.

    The new weights are used by: deepthird tag --weights OUT/people.onnx FOLDER.
    """
    import models
    from demo_clips.training_frames import write_frames
    from tagger.cli.training_film import add_corrected
    from vision.training import FINE_TUNING, RATE_OF_WIDENED, blend, export_detector, train_detector, widened

    start = base or models.path("people.pt")
    start = widened(start, out / "widened.pt") if larger else start
    with progress(frames, "drawing frames") as tell:
        recipe = write_frames(seed, frames, out / "frames", workers=jobs,
                              progress=lambda done, of: tell(done / of, f"frame {done} of {of}"))
    corrected = add_corrected(library, out / "frames") if from_library else 0
    say(f"{frames} simulated and {corrected} corrected frame(s); training, which takes long without a GPU")
    if larger:
        last = train_detector(recipe, out, start, epochs, image_size, batch, hours, device, rate=RATE_OF_WIDENED)
        last = last.replace(out / "people.pt")
    else:
        last = train_detector(recipe, out, start, epochs, image_size, batch, hours, device, nbs=batch, **FINE_TUNING)
        last = blend(start, last, out / "people.pt", share)
    weights = export_detector(last, out / "people.onnx", half=larger)
    if as_json:
        print_json({"weights": str(weights), "torch_weights": str(last), "frames": frames, "corrected_frames": corrected})
    else:
        say(f"{weights} written. Next: deepthird tag --weights {weights} FOLDER")
    return 0
