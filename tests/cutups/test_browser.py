"""A browser plays the cut-up, shows the right frame after a jump, and prints the report."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from filmed_scene import BITS, SQUARE_PX, Scene

from tagger.cutups.edit_list import FILM, CutStyle, plan
from tagger.cutups.film import write_film
from tagger.cutups.page import BROWSERS, print_pdf
from tagger.cutups.sidecars import write_sidecar

BROWSER = next((found for name in BROWSERS if (found := shutil.which(name))), None)
pytestmark = [pytest.mark.slow, pytest.mark.skipif(BROWSER is None, reason="no Chromium installed")]

PAGE = """<video id="film" muted src="cut.mp4"><track kind="chapters" src="cut.vtt" default></video>
<canvas id="still"></canvas>"""
SEEK = """async ([time, width]) => {
  const film = document.getElementById('film'), still = document.getElementById('still');
  await new Promise((done, failed) => {
    film.onseeked = done; film.onerror = () => failed(film.error.message); film.currentTime = time; });
  still.width = film.videoWidth; still.height = film.videoHeight;
  still.getContext('2d').drawImage(film, 0, 0);
  return Array.from(still.getContext('2d').getImageData(0, 0, width, 1).data);
}"""
PLAY = """async () => {
  const film = document.getElementById('film');
  film.currentTime = 0; film.playbackRate = 8; await film.play();
  await new Promise((done, failed) => { film.onended = done; film.onerror = () => failed(film.error.message); });
  return [film.currentTime, film.duration, film.videoWidth, film.videoHeight];
}"""


def test_chromium_plays_to_the_end_and_seeks_to_the_right_frame(scene: Scene, tmp_path: Path) -> None:
    sync_api = pytest.importorskip("playwright.sync_api")
    style = CutStyle(slate_s=1.0, freeze_s=0.5, sound=False, height_px=252)
    edit = plan([scene.cut_rep(), replace(scene.cut_rep(), name="rep-002")], style)
    write_film(edit, tmp_path / "cut.mp4")
    write_sidecar(edit, tmp_path / "cut.mp4", tmp_path / "cut.vtt")
    (tmp_path / "page.html").write_text(PAGE)
    with sync_api.sync_playwright() as playwright:
        # Pictures of a file: page may be read back only where files count as one origin.
        browser = playwright.chromium.launch(executable_path=BROWSER, args=["--no-sandbox", "--allow-file-access-from-files"])
        page = browser.new_page()
        page.goto((tmp_path / "page.html").as_uri())
        end_s, duration_s, width, height = page.evaluate(PLAY)
        assert end_s == pytest.approx(duration_s, abs=0.2)
        assert duration_s == pytest.approx(edit.duration_s, abs=0.2)
        assert (width, height) == scene.seen.view.image_size_px
        for piece in (p for p in edit.pieces if p.kind == FILM):
            for number in (i for i, t in enumerate(scene.times_s) if piece.start_s <= t < piece.end_s and i % 17 == 0):
                seek_s = piece.at_s + float(scene.times_s[number]) - piece.start_s + 0.01
                row = np.array(page.evaluate(SEEK, [seek_s, BITS * SQUARE_PX])).reshape(-1, 4)[:, :3].mean(axis=1)
                bits = [row[int((bit + 0.5) * SQUARE_PX)] > 128 for bit in range(BITS)]
                assert sum(1 << bit for bit in range(BITS) if bits[bit]) == number
        browser.close()


def test_the_report_prints() -> None:
    assert print_pdf("<!doctype html><title>report</title><p>page").startswith(b"%PDF")
