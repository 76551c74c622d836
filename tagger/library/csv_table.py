"""Tables that people write, by a spreadsheet or by hand."""

from __future__ import annotations

import csv
from pathlib import Path


def read_table(path: Path) -> list[list[str]]:
    """The rows that hold anything, cells as text: comma, semicolon or tab, UTF-8 or else Windows-1252."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        text = path.read_text(encoding="cp1252")
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    return [row for row in csv.reader(text.splitlines(), delimiter=delimiter) if any(cell.strip() for cell in row)]
