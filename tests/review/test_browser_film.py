"""Film and field in step in a real browser, told by the film itself: it shows its frame number."""

from __future__ import annotations

import statistics
from pathlib import Path
from typing import Any

import pytest
from browsing import READ_BLOCKS, open_rep, press, until
from invented import FPS, add_rep, write_film

from tagger.library.store import Library

pytestmark = pytest.mark.slow


def test_film_and_field_show_the_same_frame(page: Any, address: str) -> None:
    open_rep(page, address, 3)
    look = f"""() => {{
        const read = {READ_BLOCKS}, video = document.querySelector('video'), plan = document.getElementById('plan');
        window.seen = [];
        const look = () => {{
            window.seen.push([read(video), Number(plan.dataset.row)]);
            video.requestVideoFrameCallback(look);
        }};
        video.requestVideoFrameCallback(look);
    }}"""
    page.evaluate(look)
    press(page, "Space")
    page.wait_for_timeout(2500)
    press(page, "Space")
    seen = page.evaluate("window.seen")
    assert len(seen) > 20
    apart = [abs(film - field) for film, field in seen]
    print(f"playing: within a frame in {sum(a <= 1 for a in apart)} of {len(apart)} frames, at most {max(apart)} apart")
    # A browser that gets no processor shows a frame before its page may draw: a few frames late, never most of them.
    assert statistics.quantiles(apart, n=10)[-1] <= 1

    row = "Number(document.getElementById('plan').dataset.row)"
    film = f"({READ_BLOCKS})(document.querySelector('video'))"
    until(page, f"{film} === {row}")
    at = page.evaluate(row)
    for step in range(1, 13):
        press(page, "ArrowLeft")
        until(page, f"{film} === {at - step} && {row} === {at - step}")


def test_film_that_no_browser_plays_is_shown_from_its_copy(page: Any, address: str, home: Path) -> None:
    folder = home / "other"
    folder.mkdir()
    film = folder / "rep-hevc-sideline.mp4"
    write_film(film, codec="libx265")
    with Library.open(home / "library") as library:
        rep_id = add_rep(library, folder, "rep-hevc", views=1, film=False).rep_id
        mark = library.rep(rep_id).main_clip.fingerprint
    open_rep(page, address, rep_id)
    press(page, "Home", *["ArrowRight"] * 6)
    page.wait_for_timeout(500)
    film_frame, field_row = page.evaluate(
        f"[({READ_BLOCKS})(document.querySelector('video')), Number(document.getElementById('plan').dataset.row)]"
    )
    assert film_frame == field_row > 6
    assert [path.stem for path in (home / "library" / "review-copies").iterdir()] == [mark]
    with Library.open(home / "library") as library:
        library.forget(rep_ids=[rep_id])


def test_both_views_stay_in_step(page: Any, address: str) -> None:
    open_rep(page, address, 3)
    press(page, "v", "v")
    page.wait_for_timeout(300)
    press(page, "Home", "Space")
    apart = []
    for _ in range(10):
        page.wait_for_timeout(200)
        apart.append(
            page.evaluate(
                "(() => { const [a, b] = document.querySelectorAll('video'); return Math.abs(a.currentTime - b.currentTime); })()"
            )
        )
    press(page, "Space")
    assert statistics.median(apart) <= 1 / FPS
    page.wait_for_timeout(600)
    press(page, "ArrowRight", "ArrowRight")
    page.wait_for_timeout(500)
    a, b = (page.evaluate(f"({READ_BLOCKS})(document.querySelectorAll('video')[{k}])") for k in (0, 1))
    assert a == b
