"""A report's page: plain data, a template that only prints it, and the browser that makes a PDF of it."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from tagger.cutups.whole_file import OutputError, write_bytes, write_text

BROWSERS = ("chromium", "chromium-browser", "google-chrome-stable", "google-chrome")
BROWSER_TIMEOUT_S = 120.0


@dataclass(frozen=True)
class Cell:
    """A cell of a table: words, the list of reps that it counts (a RepList's key), and whether they are few."""

    words: str
    reps: str | None = None
    few: bool = False


@dataclass(frozen=True)
class Table:
    """A table; the first cell of each row is its head."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True)
class Section:
    """A part of the page: a note, a chart (SVG, or "") with its words for those who cannot see it, and tables."""

    key: str
    title: str
    note: str
    tables: tuple[Table, ...]
    chart: Markup = field(default_factory=Markup)
    chart_words: str = ""


@dataclass(frozen=True)
class RepLine:
    """A rep in the list of all reps; `number` is its id in the library."""

    number: int
    name: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class RepList:
    """The reps behind a number: `search` is what `deepthird reps --where` finds them with."""

    key: str
    title: str
    search: str
    reps: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class Page:
    """The whole report."""

    title: str
    search: str
    made_at: str
    summary: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    rep_columns: tuple[str, ...]
    reps: tuple[RepLine, ...]
    lists: tuple[RepList, ...]
    few_below: int


def render(page: Page) -> str:
    """The page as one HTML document that needs nothing else."""
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    source = files("tagger.cutups").joinpath("templates/report.html").read_text()
    return environment.from_string(source).render(page=page)


def write_page(page: Page, path: Path) -> None:
    """Write the report as .html, or as .pdf where a Chromium browser is installed. Raises ValueError for another ending or
    without a browser, OutputError for what the disk refuses."""
    suffix = path.suffix.lower()
    if suffix in (".html", ".htm"):
        write_text(path, render(page))
    elif suffix == ".pdf":
        write_bytes(path, print_pdf(render(page)))
    else:
        raise ValueError(f"{path}: no report format; end the name in .html or .pdf")


def print_pdf(html: str) -> bytes:
    """Print a page by a headless browser. Raises ValueError if none is installed, OutputError if it fails."""
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if browser is None:
        raise ValueError(f"PDF: no browser found ({', '.join(BROWSERS)}); install one, or write .html and print it from yours")
    with tempfile.TemporaryDirectory(prefix="deepthird-") as folder:
        page, target = Path(folder) / "report.html", Path(folder) / "report.pdf"
        page.write_text(html)
        command = [browser, "--headless", "--disable-gpu", "--no-first-run", "--no-pdf-header-footer",
                   f"--user-data-dir={folder}/profile", f"--print-to-pdf={target}", page.as_uri()]
        if os.name == "posix" and os.geteuid() == 0:
            command.insert(1, "--no-sandbox")  # Chromium refuses to sandbox for root
        try:
            subprocess.run(command, capture_output=True, timeout=BROWSER_TIMEOUT_S, check=False)
            return target.read_bytes()
        except (OSError, subprocess.TimeoutExpired) as error:
            raise OutputError(f"PDF: {browser} did not print the page; write .html and print it from your own browser") from error
