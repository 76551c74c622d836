"""Makes the README's pictures from the demo clips: the review page in Chromium, and a frame of a cut-up.

    deepthird tag demo_clips --library LIBRARY
    python tests/bench/readme_pictures.py --library LIBRARY

Wants playwright and Debian's chromium. Writes PNGs of few colours into demo_clips/pictures.
"""

from __future__ import annotations

import argparse
import tempfile
import threading
from pathlib import Path
from typing import Any

import numpy as np
from click.testing import CliRunner
from PIL import Image
from playwright.sync_api import sync_playwright

from tagger.cli import main as deepthird
from tagger.library.store import Library
from tagger.review.serve import Listening, serve
from vision.video import read_frames

ROOT = Path(__file__).parents[2]
LARGEST_BYTES = 300_000
CHROMIUM = "/usr/bin/chromium"
LAPTOP, TABLET = (1366, 768), (1024, 768)
AFTER_SNAP_S = 2.0
PATIENCE_S = 120


def write_small(picture: Image.Image, out: Path) -> None:
    """Write a PNG below LARGEST_BYTES, with as many colours of a palette as that allows."""
    for colours in (256, 128, 64, 32):
        few = picture.convert("RGB").quantize(colours, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
        few.save(out, optimize=True)
        if out.stat().st_size < LARGEST_BYTES:
            break
    print(f"{out}: {picture.width} x {picture.height}, {out.stat().st_size / 1000:.0f} kB")


def review_pages(library: Path, rep_id: int, sizes: list[tuple[int, int]], shots: list[Path]) -> None:
    """Screenshots of a rep, AFTER_SNAP_S behind its snap, the second lane chosen."""
    found: list[str] = []
    listening = threading.Event()

    def ready(where: Listening) -> None:
        found.append(where.address)
        listening.set()

    threading.Thread(target=serve, args=(library, 0, None, ready), daemon=True).start()
    listening.wait(30)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        for (width, height), shot in zip(sizes, shots, strict=True):
            page = browser.new_page(viewport={"width": width, "height": height})
            page.goto(f"{found[0]}rep/{rep_id}")
            page.wait_for_selector(".lane")
            for _ in range(PATIENCE_S):
                if page.evaluate("document.querySelector('video').readyState >= 2"):
                    break
                page.wait_for_timeout(1000)
            page.keyboard.press("Home")
            for _ in range(round(AFTER_SNAP_S * 3)):  # ten frames each
                page.keyboard.press("Shift+ArrowRight")
                page.wait_for_timeout(250)
            page.keyboard.press("j")
            page.keyboard.press("j")
            page.wait_for_timeout(1500)
            page.screenshot(path=str(shot))
        browser.close()


def cutup_frame(library: Path, name: str, folder: Path) -> Image.Image:
    """A frame of the rep's sideline film as a cut-up shows it."""
    out = folder / "cutup.mp4"
    words = ["cutup", str(out), "--library", str(library), "--where", f"rep:{name}", "--view", "sideline",
             "--slate", "0", "--freeze", "0", "--mute"]
    done: Any = CliRunner().invoke(deepthird, words)
    if done.exit_code:
        raise SystemExit(f"{' '.join(words)}: {done.output}")
    at_s = 2.0 + AFTER_SNAP_S  # behind the lead-in
    frame = min(read_frames(out), key=lambda f: abs(f.time_s - at_s))
    return Image.fromarray(np.ascontiguousarray(frame.bgr[:, :, ::-1])).resize((960, 540), Image.Resampling.LANCZOS)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--library", type=Path, required=True, help="library with the demo clips tagged")
    parser.add_argument("--rep", default="rep-001")
    parser.add_argument("--out", type=Path, default=ROOT / "demo_clips" / "pictures")
    parser.add_argument("--tablet", action="store_true", help="also the page at a tablet's size, into the same folder")
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    with Library.open(options.library) as library:
        rep_id = library.rep_id(options.rep)
    with tempfile.TemporaryDirectory() as scratch:
        wanted = {"review.png": LAPTOP} | ({"review-tablet.png": TABLET} if options.tablet else {})
        shots = [Path(scratch) / name for name in wanted]
        review_pages(options.library, rep_id, list(wanted.values()), shots)
        for shot in shots:
            write_small(Image.open(shot), options.out / shot.name)
        write_small(cutup_frame(options.library, options.rep, Path(scratch)), options.out / "cutup.png")


if __name__ == "__main__":
    main()
