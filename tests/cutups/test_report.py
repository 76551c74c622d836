"""The report: its numbers are those of the library, each leads to its reps, and the page stands by itself."""

from __future__ import annotations

import random
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from filmed_scene import Scene, clip_record, made_up_reading

from tagger.cutups.page import BROWSERS, print_pdf, render, write_page
from tagger.cutups.proportions import share_of
from tagger.cutups.report import build_page, called_family
from tagger.football.types import Situation
from tagger.library import Library, RepRecord, parse

FAMILIES = ("cover-3", "cover-1", "cover-2", "cover-4")


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory, scene: Scene) -> Library:
    """Forty reps of made-up reading, drawn by a seeded die."""
    die = random.Random(7)
    kept = Library.open(tmp_path_factory.mktemp("library"))
    base = made_up_reading()
    for number in range(40):
        family = die.choice(FAMILIES)
        told = {} if number % 9 == 0 else {family: 0.8, "cover-6": 0.2}
        reading = replace(base, family=told, events=base.events if die.random() < 0.3 else (),
                          shell={die.choice(("one-high", "two-high")): 0.9, "zero-high": 0.1})
        call = die.choice(("Cover 3 Sky", "cover-1", None, 'say "hi", <b>'))
        situation = Situation(down=die.choice((1, 2, 3, None)), distance_yd=float(die.randint(1, 12)), hash="left", call=call,
                              yards_to_goal=die.choice((75.0, 15.0, None)))
        clip = clip_record(scene, reading, f"print-{number}", Path(f"/film/{number}.mp4"))
        kept.save_rep(RepRecord(f"rep-{number:03d}", (clip,), situation))
    return kept


class Anchors(HTMLParser):
    """Collects ids, inner links and everything that would be loaded from elsewhere."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: set[str] = set()
        self.links: set[str] = set()
        self.outside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        if values.get("id"):
            self.ids.add(str(values["id"]))
        if tag == "a" and values.get("href"):
            self.links.add(str(values["href"]))
        if tag in ("script", "link", "img", "iframe") or values.get("src"):
            self.outside.append(tag)


def test_wilson_intervals_are_those_of_the_literature() -> None:
    """R. G. Newcombe, "Two-sided confidence intervals for the single proportion", Statistics in Medicine 17 (1998), table I,
    method 3 (from memory)."""
    published = [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]
    for count, total, low, high in published:
        share = share_of(count, total)
        assert share.low == pytest.approx(low, abs=6e-5)
        assert share.high == pytest.approx(high, abs=6e-5)
    assert share_of(3, 9).few
    assert not share_of(3, 10).few
    assert share_of(0, 0).words == "none"
    with pytest.raises(ValueError, match="3 of 2"):
        share_of(3, 2)


@pytest.mark.parametrize("base", ["", "down:3 or down:1", "family:cover-3"])
def test_each_number_is_the_count_of_its_search_and_of_its_reps(library: Library, base: str) -> None:
    page = build_page(library, parse(base))
    lists = {entry.key: entry for entry in page.lists}
    linked = [cell for section in page.sections for table in section.tables for row in table.rows for cell in row if cell.reps]
    assert len(linked) > 10
    for cell in linked:
        entry = lists[cell.reps or ""]
        assert [rep.rep_id for rep in library.search(entry.search)] == sorted(number for number, _ in entry.reps), entry.search
        number = re.match(r"(\d+)(?: of|$)", cell.words)
        assert number is None or int(number[1]) == len(entry.reps)


def test_the_page_stands_by_itself_and_every_link_leads_somewhere(library: Library, tmp_path: Path) -> None:
    write_page(build_page(library, parse("")), tmp_path / "report.html")
    text = (tmp_path / "report.html").read_text()
    found = Anchors()
    found.feed(text)
    assert not found.outside
    assert {link.removeprefix("#") for link in found.links} <= found.ids
    assert not re.search(r"url\((?!#)|@import", text)
    assert "<b>" not in text  # a call of the script is words, never markup
    assert "say &#34;hi&#34;, &lt;b&gt;" in text
    assert text.count("<svg") >= 3


def test_small_samples_are_marked(library: Library) -> None:
    page = build_page(library, parse("family:cover-4"))
    cells = [cell for cell in page.sections[0].tables[0].rows[0] if cell.reps]
    assert all(cell.few for cell in cells)
    assert 'class="few"' in render(page)


@pytest.mark.parametrize(("call", "family"), [
    ("Cover 3 Sky", "cover-3"), ("cover_2 man", "cover-2-man"), ("COVER-2", "cover-2"), ("Tampa 2", "tampa-2"), ("blue 42", None),
    ("recover 3", None), ("cover 33", None)])
def test_what_a_call_names(call: str, family: str | None) -> None:
    assert called_family(call) == family


def test_no_rep_no_report(library: Library) -> None:
    with pytest.raises(ValueError, match="no rep fits"):
        build_page(library, parse("down:4"))


def test_another_ending_is_refused(library: Library, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"end the name in \.html or \.pdf"):
        write_page(build_page(library, parse("")), tmp_path / "report.docx")


def test_without_a_browser_the_pdf_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(ValueError, match=f"no browser found .{BROWSERS[0]}"):
        print_pdf("<p>page</p>")
