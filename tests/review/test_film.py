"""Byte ranges. Expected answers: RFC 9110, sections 14.1.2 and 15.5.17, from memory."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from tagger.review.film import parse_range


@pytest.mark.parametrize(
    ("header", "first", "last"),
    [
        ("bytes=0-", 0, 99),
        ("bytes=0-0", 0, 0),
        ("bytes=10-19", 10, 19),
        ("bytes=90-200", 90, 99),
        ("bytes=-5", 95, 99),
        ("bytes=-500", 0, 99),
    ],
)
def test_a_range_is_what_the_rfc_says(header: str, first: int, last: int) -> None:
    found = parse_range(header, 100)
    assert found is not None
    assert (found.first, found.last) == (first, last)


@pytest.mark.parametrize(
    "header",
    [
        None,
        "",
        "bytes=",
        "bytes=-",
        "bytes=0-1,5-9",
        "items=0-5",
        "bytes=9-2",
        "bytes=a-b",
        "bytes=٣-٤",
        "bytes=" + "9" * 40 + "-",
    ],
)
def test_what_is_no_single_range_gives_the_whole(header: str | None) -> None:
    assert parse_range(header, 100) is None


@pytest.mark.parametrize("header", ["bytes=100-", "bytes=500-600", "bytes=-0"])
def test_a_range_outside_cannot_be_satisfied(header: str) -> None:
    with pytest.raises(ValueError, match="range"):
        parse_range(header, 100)


@given(st.text(max_size=40), st.integers(0, 10**12))
def test_any_header_gives_a_range_inside_or_a_refusal(header: str, size: int) -> None:
    try:
        found = parse_range(header, size)
    except ValueError:
        return
    assert found is None or 0 <= found.first <= found.last < size


def test_film_is_served_whole_in_part_and_not_beyond(client: TestClient, film: Path) -> None:
    film.write_bytes(bytes(range(200)))
    whole = client.get("/film/1")
    assert (whole.status_code, whole.content, whole.headers["accept-ranges"]) == (200, bytes(range(200)), "bytes")
    part = client.get("/film/1", headers={"range": "bytes=50-59"})
    assert (part.status_code, part.content, part.headers["content-range"]) == (206, bytes(range(50, 60)), "bytes 50-59/200")
    beyond = client.get("/film/1", headers={"range": "bytes=900-"})
    assert (beyond.status_code, beyond.headers["content-range"]) == (416, "bytes */200")


def test_film_that_has_gone_is_told_by_its_name_alone(client: TestClient, film: Path) -> None:
    film.unlink()
    reply = client.get("/film/1")
    assert reply.status_code == 404
    assert film.name in reply.json()["error"]
    assert str(film.parent) not in reply.text
