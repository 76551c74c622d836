"""Film for the browser: what it plays stays as it is, the rest gets a copy with the same pictures at the same times."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from tagger.cutups.review_copy import KEYFRAME_EVERY_S, ReviewCopies, forget_copies, why_not_shown, write_review_copy
from vision.video import probe, read_frames

SIZE, FRAMES = (320, 180), 90
CLOCK = Fraction(1, 1000)


H264 = {"bf": "2", "sc_threshold": "0"}


def film(path: Path, codec: str = "libx264", gop: int = 10, start_ms: int = 0, wander: bool = False,
         form: str = "yuv420p") -> Path:
    """A film whose frames differ much in brightness from their neighbours; with `wander` they come at uneven times."""
    rng = np.random.default_rng(0)
    with av.open(str(path), "w") as container:
        h265 = {"x265-params": f"keyint={gop}:min-keyint={gop}:log-level=none"}
        options = h265 if codec == "libx265" else {"g": str(gop), **H264}
        stream = container.add_stream(codec, options=options)
        stream.width, stream.height, stream.pix_fmt = *SIZE, form
        stream.time_base = stream.codec_context.time_base = CLOCK
        at = start_ms
        for k in range(FRAMES):
            picture = av.VideoFrame.from_ndarray(np.full((SIZE[1], SIZE[0], 3), 20 + 37 * k % 200, np.uint8), "bgr24")
            picture.pts, picture.time_base = at, CLOCK
            container.mux(stream.encode(picture))
            at += int(rng.integers(15, 90)) if wander else 33
        container.mux(stream.encode(None))
    return path


def seen(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """(times, mean brightness) of a film's frames."""
    frames = [(f.time_s, float(cv2.cvtColor(f.bgr, cv2.COLOR_BGR2GRAY).mean())) for f in read_frames(path)]
    return np.array(frames).T


@pytest.mark.parametrize("given", [
    {}, {"gop": 55}, {"wander": True}, {"start_ms": 1500}],
    ids=["plain", "keyframes within two seconds", "uneven times", "late start"])  # fmt: skip
def test_what_a_browser_plays_needs_no_copy(tmp_path: Path, given: dict) -> None:
    assert why_not_shown(film(tmp_path / "film.mp4", **given)) == ""


@pytest.mark.parametrize(("name", "given", "why"), [
    ("film.mp4", {"codec": "libx265"}, "hevc"), ("film.mp4", {"gop": 1000}, "keyframes"), ("film.mkv", {}, "mkv"),
    ("film.mp4", {"form": "yuv422p"}, "yuv422p"), ("late.mkv", {"start_ms": 1500}, "mkv"),
    ("film.avi", {"codec": "mpeg4"}, "avi"),
])  # fmt: skip
def test_a_copy_has_the_same_pictures_at_the_same_times(tmp_path: Path, name: str, given: dict, why: str) -> None:
    source = film(tmp_path / name, wander=not name.endswith("avi"), **given)
    assert why in why_not_shown(source)
    copy = tmp_path / "copy.mp4"
    write_review_copy(source, copy)
    times, light = seen(source)
    copy_times, copy_light = seen(copy)
    assert copy_times == pytest.approx(times, abs=0.002)
    assert copy_light == pytest.approx(light, abs=6.0)
    assert why_not_shown(copy) == ""
    with av.open(str(copy)) as container:
        stream = container.streams.video[0]
        keys = [float(p.pts * p.time_base) for p in container.demux(stream) if p.is_keyframe and p.size]
    assert np.diff(keys).max() < KEYFRAME_EVERY_S + 0.12
    assert (probe(copy).width_px, probe(copy).height_px) == SIZE


def test_copies_are_made_once_kept_by_content_and_forgotten(tmp_path: Path) -> None:
    good, odd = film(tmp_path / "good.mp4"), film(tmp_path / "odd.mkv")
    copies = ReviewCopies(tmp_path / "library")
    assert copies.shown(good, "aa") == good
    copy = copies.shown(odd, "bb")
    assert copy == tmp_path / "library" / "review-copies" / "bb.mp4"
    made = copy.stat().st_mtime_ns
    odd.rename(tmp_path / "moved.mkv")
    assert ReviewCopies(tmp_path / "library").shown(tmp_path / "moved.mkv", "bb") == copy
    assert copy.stat().st_mtime_ns == made
    assert forget_copies(tmp_path / "library", {"bb"}) == []
    assert forget_copies(tmp_path / "library", {"aa"}) == [copy]
    assert not copy.exists()


def test_what_is_no_film_is_shown_as_it_is(tmp_path: Path) -> None:
    broken = tmp_path / "broken.mkv"
    broken.write_bytes(b"no film at all")
    assert ReviewCopies(tmp_path / "library").shown(broken, "cc") == broken
    missing = tmp_path / "missing.mkv"
    assert ReviewCopies(tmp_path / "library").shown(missing, "dd") == missing
    assert not (tmp_path / "library" / "review-copies").exists() or not list((tmp_path / "library" / "review-copies").iterdir())
