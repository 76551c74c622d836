"""What must be refused, and what must survive. Attacks after the OWASP Testing Guide (4.2): traversal, CSRF, DNS rebinding,
injection, and resource exhaustion; header values after Content Security Policy Level 3."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tagger.library.store import Library
from tagger.review.app import create_app
from tagger.review.safety import GUESSES_PER_MINUTE, MAX_BODY_BYTES, Door
from tagger.review.serve import share_warning

HOST = "127.0.0.1:8423"
HOSTILE = (
    "'; DROP TABLE correction; --",
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "{{ 7 * 7 }}",
    "../../etc/passwd",
    "%00",
    "${jndi:ldap://x}",
    "Robert'); --",
    "\N{RIGHT-TO-LEFT OVERRIDE}abc",
)


def fix(client: TestClient, rep: int = 1, version: int = 0, **change: object) -> object:
    body = {"version": version, "who": "Coach A", "edits": [{"subject": "rep", "field": "family", "after": "cover-1"}], **change}
    return client.post(f"/api/reps/{rep}/corrections", json=body)


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1:9999", "127.0.0.1", "localhost.evil.example:8423", "", "127.0.0.1:8423.evil"]
)
def test_another_host_name_is_refused(client: TestClient, host: str) -> None:
    for path in ("/", "/api/reps/1", "/film/1", "/static/rep.js"):
        assert client.get(path, headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1:8423", "http://127.0.0.1:8424", "http://127.0.0.1:8423.evil"]
)
def test_a_change_from_another_origin_is_refused(client: TestClient, library: Library, origin: str) -> None:
    reply = client.post("/api/reps/1/corrections", headers={"origin": origin}, json={})
    assert reply.status_code == 403
    assert not library.rep(1).corrections


def test_a_change_without_the_page_token_is_refused(client: TestClient, library: Library) -> None:
    for token in ("", "wrong"):
        body = {"version": 0, "who": "A", "edits": [{"subject": "rep", "field": "family", "after": "cover-1"}]}
        assert client.post("/api/reps/1/corrections", headers={"x-page-token": token}, json=body).status_code == 403
    assert not library.rep(1).corrections


@pytest.mark.parametrize("path", ["/api/reps/1", "/film/1", "/static/rep.js"])
def test_another_site_may_not_embed_film_or_data(client: TestClient, path: str) -> None:
    for site in ("cross-site", "same-site"):
        assert (
            client.get(path, headers={"sec-fetch-site": site, "sec-fetch-mode": "no-cors", "sec-fetch-dest": "video"}).status_code
            == 403
        )
    assert client.get(path, headers={"sec-fetch-site": "same-origin"}).status_code in (200, 206)


def test_a_link_from_another_site_may_open_a_page(client: TestClient) -> None:
    headers = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}
    assert client.get("/", headers=headers).status_code == 200
    assert client.get("/", headers={**headers, "sec-fetch-dest": "iframe"}).status_code == 403


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/..%2fapp.py",
        "/static/%2e%2e/app.py",
        "/static/....//app.py",
        "/static//etc/passwd",
        "/film/../../etc/passwd",
        "/film/..%2f..%2fetc%2fpasswd",
        "/film/%2fetc%2fpasswd",
        "/film/0",
        "/film/-1",
        "/film/99999999999999999999",
        "/film/1%00",
        "/rep/1/../../x",
        "/static/rep.js%00.css",
        "/templates/rep.html",
        "/library.sqlite",
    ],
)
def test_no_name_from_outside_reaches_the_disk(client: TestClient, path: str) -> None:
    reply = client.get(path)
    assert reply.status_code in (404, 405, 422), reply.text
    assert "root:" not in reply.text
    assert "import" not in reply.text


def test_protective_headers_stand_on_every_answer(client: TestClient) -> None:
    for path in ("/", "/rep/1", "/api/reps/1", "/film/1", "/static/rep.js", "/nowhere", "/api/reps/999"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert "http" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cross-origin-resource-policy"] == "same-origin"


def test_pages_ask_nothing_of_the_internet(client: TestClient) -> None:
    pages = [client.get(path).text for path in ("/", "/rep/1", "/truth", "/guide")]
    scripts = [entry.read_text() for entry in (Path(__file__).parents[2] / "tagger/review/static").glob("*.js")]
    for text in pages + scripts:
        for start in ("https://", 'src="//', 'href="//', "@import"):
            assert start not in text
        assert "http://" not in text.replace("http://www.w3.org/2000/svg", "")


def test_an_oversized_body_is_refused_whether_or_not_its_size_is_told(client: TestClient) -> None:
    assert client.post("/api/reps/1/corrections", content=b"x" * (MAX_BODY_BYTES + 1)).status_code == 413
    stream = (b"x" * 4096 for _ in range(40))
    assert client.post("/api/reps/1/corrections", content=stream).status_code == 413
    assert client.post("/api/reps/1/corrections", headers={"content-length": "-5"}, content=b"").status_code == 413
    assert client.get("/?search=" + "a" * 5000).status_code == 414


@pytest.mark.parametrize(
    "body", [b"", b"{", b"[" * 30000, b'{"version": NaN}', b"\xff\xfe", b'"\\ud800"', b"null", b"[]", b'{"version":1e999}']
)
def test_a_body_that_is_no_sense_is_refused(client: TestClient, body: bytes) -> None:
    reply = client.post("/api/reps/1/corrections", content=body, headers={"content-type": "application/json"})
    assert reply.status_code in (400, 422)


@pytest.mark.parametrize(
    "after", ["\ud800", float("1e300"), {"a": {"b": {"c": {"d": {"e": {"f": 1}}}}}}, ["x"] * 100, "x" * 5000, "a\x00b"]
)
def test_odd_values_are_refused(client: TestClient, after: object) -> None:
    text = json.dumps({"version": 0, "who": "A", "edits": [{"subject": "rep", "field": "personnel", "after": after}]})
    assert client.post("/api/reps/1/corrections", content=text, headers={"content-type": "application/json"}).status_code == 422


@pytest.mark.parametrize("text", HOSTILE)
def test_sql_and_markup_in_text_fields_stay_text(client: TestClient, library: Library, text: str) -> None:
    fix(client, who=text[:60], reason=text)
    for subject, field, after in (
        ("rep", "personnel", text),
        ("defender:D1", "number", text),
        ("defender:D1", "slot", text),
        (text, "family", "cover-1"),
        ("rep", text, text),
        (f"defender:{text}", "slot", "x"),
    ):
        fix(
            client,
            version=max((c.correction_id for c in library.rep(1).corrections), default=0),
            edits=[{"subject": subject, "field": field, "after": after}],
        )
    for path in ("/", "/rep/1", "/truth", "/api/reps/1", "/api/corrections"):
        reply = client.get(path)
        assert reply.status_code == 200
        if "html" in reply.headers["content-type"]:
            assert "<script>alert" not in reply.text
            assert "<img src=x" not in reply.text
            assert ">49<" not in reply.text
    assert client.get("/", params={"search": text}).status_code == 200
    assert library.count("") == 3


def test_two_hundred_range_requests_at_once_survive(client: TestClient, film: Path) -> None:
    whole = film.read_bytes()

    def ask(k: int) -> bool:
        first = k * 5000
        reply = client.get("/film/1", headers={"range": f"bytes={first}-{first + 999}"})
        return reply.status_code == 206 and reply.content == whole[first : first + 1000]

    with ThreadPoolExecutor(40) as pool:
        assert all(pool.map(ask, range(200)))
    assert client.get("/api/reps/1").status_code == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "CONNECT", "OPTIONS", "PROPFIND"])
def test_methods_that_are_not_used_are_refused(client: TestClient, method: str) -> None:
    assert client.request(method, "/api/reps/1").status_code == 405


def test_a_shared_page_asks_everybody_for_the_token(folder: Path) -> None:
    door = Door(frozenset({"192.0.2.7:8423"}), share_token="right-token")
    with TestClient(create_app(folder, door), base_url="http://192.0.2.7:8423", follow_redirects=False) as stranger:
        for path in ("/", "/rep/1", "/api/reps/1", "/film/1", "/static/rep.js", "/api/openapi.json"):
            assert stranger.get(path).status_code == 401
        assert stranger.get("/?token=wrong").status_code == 401
        headers = {"x-page-token": door.page_token, "origin": "http://192.0.2.7:8423"}
        assert stranger.post("/api/reps/1/undo", headers=headers, json={}).status_code == 401
        entered = stranger.get("/?token=right-token")
        assert entered.status_code == 303
        cookie = entered.headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=strict" in cookie
        assert "right-token" not in entered.headers["location"]
        assert stranger.get("/api/reps/1").status_code == 200


def test_guessing_the_token_is_slowed_down(folder: Path) -> None:
    door = Door(frozenset({HOST}), share_token="right-token")
    with TestClient(create_app(folder, door), base_url=f"http://{HOST}", follow_redirects=False) as stranger:
        answers = [stranger.get(f"/?token=guess{k}").status_code for k in range(GUESSES_PER_MINUTE + 5)]
        assert answers == [401] * GUESSES_PER_MINUTE + [429] * 5
        assert stranger.get("/?token=right-token").status_code == 429


def test_sharing_says_what_it_exposes() -> None:
    warning = share_warning(Path("practice"))
    for word in ("film", "corrections", "not encrypted", "change"):
        assert word in warning
