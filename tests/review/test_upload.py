"""Film over the line, by the tus resumable upload protocol 1.0.0 (https://tus.io/protocols/resumable-upload): each check names
the part of the specification that it holds the server to."""

from __future__ import annotations

import base64
import hashlib
import shutil
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from tagger.library import Wish, fingerprint
from tagger.library.store import Library
from tagger.review.app import create_app
from tagger.review.safety import Door
from tagger.review.upload_store import KEPT_S, Superseded, UploadLimits, UploadStore

HOST = "127.0.0.1:8423"
TUS = {"tus-resumable": "1.0.0"}
BODY = {"content-type": "application/offset+octet-stream"}
CLIP = Path(__file__).parents[2] / "demo_clips" / "rep-001" / "rep-001-end-zone.mp4"


@pytest.fixture(scope="module")
def clip() -> bytes:
    """Real film."""
    return CLIP.read_bytes()


def b64(text: str | bytes) -> str:
    return base64.b64encode(text.encode() if isinstance(text, str) else text).decode()


def begin(client: TestClient, size: int, name: str = "tuesday/rep-001-end-zone.mp4", **more: str) -> Any:
    told = f"filename {b64(name.rsplit('/', 1)[-1])},relativePath {b64(name)}"
    return client.post("/uploads", headers={**TUS, "upload-length": str(size), "upload-metadata": told, **more})


def go_on(client: TestClient, where: str, at: int, data: bytes, **more: str) -> Any:
    return client.patch(where, headers={**TUS, **BODY, "upload-offset": str(at), **more}, content=data)


def offset(client: TestClient, where: str) -> int:
    return int(client.head(where, headers=TUS).headers["upload-offset"])


def send(client: TestClient, data: bytes, name: str = "tuesday/rep-001-end-zone.mp4") -> Any:
    made = begin(client, len(data), name)
    assert made.status_code == 201, made.text
    return go_on(client, made.headers["location"], 0, data)


def landed(folder: Path) -> list[str]:
    home = folder / "uploaded"
    return sorted(str(path.relative_to(home)) for path in home.rglob("*") if path.is_file())


def test_what_the_server_can_is_told(client: TestClient) -> None:
    """Core protocol, OPTIONS: Tus-Version MUST be there; checksum: Tus-Checksum-Algorithm, sha1 at least."""
    told = client.options("/uploads")
    assert told.status_code == 204
    assert told.headers["tus-version"] == "1.0.0"
    assert set(told.headers["tus-extension"].split(",")) >= {"creation", "termination", "checksum"}
    assert "sha1" in told.headers["tus-checksum-algorithm"].split(",")
    assert int(told.headers["tus-max-size"]) > 1 << 30
    assert not [name for name in told.headers if name.startswith("access-control")]


def test_a_file_in_pieces_lands_whole(client: TestClient, folder: Path, clip: bytes) -> None:
    """Creation: 201 with Location. PATCH: 204 with the new Upload-Offset. HEAD: offset, length, Cache-Control: no-store."""
    made = begin(client, len(clip))
    assert made.status_code == 201
    where, half = made.headers["location"], len(clip) // 2
    first = go_on(client, where, 0, clip[:half])
    assert (first.status_code, first.headers["upload-offset"], first.headers["tus-resumable"]) == (204, str(half), "1.0.0")
    asked = client.head(where, headers=TUS)
    assert (asked.status_code, asked.headers["upload-offset"], asked.headers["upload-length"]) == (200, str(half), str(len(clip)))
    assert asked.headers["cache-control"] == "no-store"
    assert not landed(folder)
    last = go_on(client, where, half, clip[half:])
    assert (last.status_code, last.headers["upload-offset"]) == (204, str(len(clip)))
    assert landed(folder) == ["tuesday/rep-001-end-zone.mp4"]
    assert (folder / "uploaded/tuesday/rep-001-end-zone.mp4").read_bytes() == clip
    assert offset(client, where) == len(clip)
    assert not list((folder / "uploads").glob("*.part"))


def test_every_request_names_the_version(client: TestClient) -> None:
    """Core protocol, Tus-Resumable: 412 and Tus-Version where it is not supported, and nothing is done."""
    where = begin(client, 10).headers["location"]
    for method, path in (("POST", "/uploads"), ("HEAD", where), ("PATCH", where), ("DELETE", where)):
        for headers in ({}, {"tus-resumable": "0.2.2"}):
            answer = client.request(method, path, headers={**headers, **BODY, "upload-offset": "0", "upload-length": "3"})
            assert (answer.status_code, answer.headers["tus-version"]) == (412, "1.0.0"), method
    assert offset(client, where) == 0


@pytest.mark.parametrize(("headers", "status"), [
    ({"upload-offset": "4"}, 409), ({"upload-offset": "-1"}, 400), ({}, 400),
    ({"upload-offset": "0", "content-type": "video/mp4"}, 415), ({"upload-offset": "0", "upload-checksum": "crc32 AAAA"}, 400),
])  # fmt: skip
def test_a_piece_that_does_not_fit_is_refused(client: TestClient, headers: dict[str, str], status: int) -> None:
    """PATCH: 409 where offsets differ, 415 for another Content-Type; checksum: 400 for an unknown one. Nothing is written."""
    where = begin(client, 10).headers["location"]
    assert client.patch(where, headers={**TUS, **BODY, **headers}, content=b"12345").status_code == status
    assert offset(client, where) == 0


def test_no_more_than_was_told_is_written(client: TestClient, folder: Path) -> None:
    where = begin(client, 10).headers["location"]
    assert go_on(client, where, 0, b"x" * 11).status_code == 413
    assert client.patch(where, headers={**TUS, **BODY, "upload-offset": "0"}, content=iter([b"x" * 6] * 3)).status_code == 413
    assert sum(path.stat().st_size for path in (folder / "uploads").glob("*.part")) <= 10


def test_checksums_are_kept_to(client: TestClient) -> None:
    """Extension checksum: 460 and the piece is dropped where it does not fit."""
    where = begin(client, 10).headers["location"]
    wrong, right = (f"sha1 {b64(hashlib.sha1(data).digest())}" for data in (b"other", b"12345"))
    assert go_on(client, where, 0, b"12345", **{"upload-checksum": wrong}).status_code == 460
    assert offset(client, where) == 0
    assert go_on(client, where, 0, b"12345", **{"upload-checksum": right}).status_code == 204
    assert offset(client, where) == 5


def test_an_upload_can_be_given_up(client: TestClient, folder: Path) -> None:
    """Extension termination: 204, then 404 or 410, and what came is freed."""
    where = begin(client, 10).headers["location"]
    go_on(client, where, 0, b"12345")
    assert client.delete(where, headers=TUS).status_code == 204
    assert client.head(where, headers=TUS).status_code in (404, 410)
    assert go_on(client, where, 5, b"12345").status_code in (404, 410)
    assert not list((folder / "uploads").iterdir())


def test_lines_that_let_no_patch_through(client: TestClient) -> None:
    """Core protocol, X-HTTP-Method-Override."""
    where = begin(client, 10).headers["location"]
    headers = {**TUS, **BODY, "upload-offset": "0", "x-http-method-override": "PATCH"}
    assert client.post(where, headers=headers, content=b"123").status_code == 204
    assert offset(client, where) == 3
    assert client.post(where, headers={**TUS, "x-http-method-override": "GET"}).status_code == 405
    assert client.post(where, headers={**TUS, "x-http-method-override": "DELETE"}).status_code == 204


@pytest.mark.parametrize(("headers", "status"), [
    ({}, 400), ({"upload-length": "x"}, 400), ({"upload-length": "-5"}, 400), ({"upload-defer-length": "1"}, 400),
    ({"upload-length": "5", "upload-metadata": "filename !!!"}, 400), ({"upload-length": "5"}, 422),
    ({"upload-length": "5", "upload-metadata": f"filename {b64('notes.docx')}"}, 422),
    ({"upload-length": "0", "upload-metadata": f"filename {b64('a.mp4')}"}, 422),
    ({"upload-length": str(1 << 49), "upload-metadata": f"filename {b64('a.mp4')}"}, 413),
])  # fmt: skip
def test_what_cannot_be_begun_is_refused(client: TestClient, headers: dict[str, str], status: int) -> None:
    """Creation: 413 beyond Tus-Max-Size; the kinds of file are this server's own rule."""
    answer = client.post("/uploads", headers={**TUS, **headers})
    assert answer.status_code == status
    assert "\n" not in answer.json()["error"]


@pytest.mark.parametrize("name", [
    "../../etc/cron.d/x.mp4", "/etc/x.mp4", "..\\..\\x.mp4", "a/\x00b.mp4", "con.mp4", ". ./.hidden.mp4", "x" * 400 + ".mp4",
    "deep/" * 40 + "x.mp4", "tues\N{RIGHT-TO-LEFT OVERRIDE}4pm.mp4", "a\N{COMBINING ACUTE ACCENT}.mp4", "<script>.mp4",
])  # fmt: skip
def test_no_name_from_outside_becomes_a_path(client: TestClient, folder: Path, clip: bytes, name: str) -> None:
    assert send(client, clip, name).status_code == 204
    [place] = landed(folder)
    assert len(Path(place).parts) <= 4
    assert not set(place) & set('<>:"|?*\\\0\N{RIGHT-TO-LEFT OVERRIDE}')
    assert not any(part.startswith(".") or len(part.encode()) > 120 for part in Path(place).parts)
    assert Path(place).name.lower() != "con.mp4"


def test_content_counts_not_the_name(client: TestClient, folder: Path, clip: bytes) -> None:
    refused = send(client, b"this is no film" * 100, "tuesday/looks-good.mp4")
    assert refused.status_code == 422
    assert refused.json()["error"].startswith("tuesday/looks-good.mp4: not a video that can be read")
    assert send(client, clip[:4000], "tuesday/half.mp4").status_code == 422
    assert send(client, clip, "tuesday/misnamed.avi").status_code == 204
    assert landed(folder) == ["tuesday/misnamed.avi"]
    notes = {upload["name"]: upload["note"] for upload in client.get("/api/night").json()["uploads"]}
    assert "not a video" in notes["tuesday/looks-good.mp4"]
    assert not list((folder / "uploads").glob("*.part"))


def test_a_practice_script_comes_with_its_film(client: TestClient, folder: Path) -> None:
    assert send(client, b"rep,down,distance\n1,3,7\n", "tuesday/Practice-Script.csv").status_code == 204
    assert send(client, b"\0\1\2", "tuesday/practice-script.csv").status_code == 422
    assert send(client, b"rep,down\n1,2\n", "tuesday/practice-script.csv").status_code == 204
    assert (folder / "uploaded/tuesday/practice-script.csv").read_text() == "rep,down\n1,2\n"


def test_one_name_twice(client: TestClient, folder: Path, library: Library, clip: bytes) -> None:
    """The same film is left out, other film of the same name gets a folder of its own, so that views still find each other."""
    other = shorter(clip)
    for data in (clip, clip, other, other):
        assert send(client, data, "tuesday/rep-1-sideline.mp4").status_code == 204
    assert landed(folder) == ["tuesday-2/rep-1-sideline.mp4", "tuesday/rep-1-sideline.mp4"]
    notes = [upload["note"] for upload in client.get("/api/night").json()["uploads"]]
    assert sum("the same film as" in note for note in notes) == 2


def test_film_that_the_library_knows_is_left_out(client: TestClient, folder: Path, library: Library, tmp_path: Path) -> None:
    path = Path(shutil.copy(CLIP, tmp_path / "known.mp4"))
    library.jobs.add([Wish(fingerprint(path), path, {}, "known")])
    assert send(client, path.read_bytes()).status_code == 204
    assert not landed(folder)


def shorter(clip: bytes) -> bytes:
    """Other bytes that are the same film: a `free` box (ISO/IEC 14496-12, 8.1.2) at the end."""
    return clip + b"\0\0\0\x0cfree1234"


def test_the_quota_holds_for_what_is_on_its_way_too(folder: Path, door: Door) -> None:
    limits = UploadLimits(file_bytes=1000, quota_bytes=1500)
    headers = {"x-page-token": door.page_token}
    with TestClient(create_app(folder, door, limits), base_url=f"http://{HOST}", headers=headers) as client:
        assert begin(client, 1001).status_code == 413
        made = begin(client, 1000)
        assert made.status_code == 201
        full = begin(client, 600)
        assert full.status_code == 413
        assert "may take" in full.json()["error"]
        client.delete(made.headers["location"], headers=TUS)
        assert begin(client, 600).status_code == 201


@pytest.mark.parametrize("headers", [
    {"x-page-token": "wrong"}, {"x-page-token": ""}, {"origin": "http://evil.example"}, {"host": "evil.example"},
    {"sec-fetch-site": "cross-site"},
])  # fmt: skip
def test_the_doors_rules_hold_for_uploads(client: TestClient, headers: dict[str, str]) -> None:
    where = begin(client, 10).headers["location"]
    for method, path in (("POST", "/uploads"), ("PATCH", where), ("DELETE", where)):
        answer = client.request(method, path, headers={
            **TUS, **BODY, "upload-offset": "0", "upload-length": "5", "upload-metadata": f"filename {b64('a.mp4')}", **headers})
        assert answer.status_code in (403, 421), method
    assert offset(client, where) == 0
    assert client.patch("/uploadsx", headers=TUS).status_code == 405
    assert client.patch(where, headers={**TUS, **BODY, "upload-offset": "0"}, content=b"123").status_code == 204


def test_a_shared_page_asks_for_the_token_here_too(folder: Path) -> None:
    door = Door(frozenset({HOST}), share_token="right-token")
    with TestClient(create_app(folder, door), base_url=f"http://{HOST}", headers={"x-page-token": door.page_token}) as stranger:
        assert begin(stranger, 10).status_code == 401
        assert stranger.get("/night").status_code == 401


def test_a_new_server_goes_on_with_what_the_old_one_had(folder: Path, door: Door, clip: bytes) -> None:
    """A power cut, or a restart: half files go on; a file whose last byte came just before is looked into."""
    headers = {"x-page-token": door.page_token}
    with TestClient(create_app(folder, door), base_url=f"http://{HOST}", headers=headers) as client:
        half = begin(client, len(clip)).headers["location"]
        go_on(client, half, 0, clip[:5000])
        whole = begin(client, len(clip), "tuesday/whole.mp4").headers["location"]
    (folder / "uploads" / f"{whole.rsplit('/', 1)[1]}.part").write_bytes(shorter(clip)[:-12])
    with TestClient(create_app(folder, door), base_url=f"http://{HOST}", headers=headers) as client:
        assert offset(client, half) == 5000
        assert offset(client, whole) == len(clip)
        assert landed(folder) == ["tuesday/whole.mp4"]
        assert go_on(client, half, 5000, clip[5000:]).status_code == 204


def test_a_newer_request_ends_an_older_one(folder: Path) -> None:
    """A broken line can seem open for minutes; who comes back must not wait for it."""
    store = UploadStore(folder, UploadLimits(), lambda path: None, lambda mark: None)
    upload = store.begin("tuesday/a.mp4", 10)
    old = store.turn(upload)
    old.write(b"123")
    new = store.turn(upload)
    with pytest.raises(Superseded):
        old.write(b"xxx")
    new.write(b"45")
    assert store.offset(upload) == 5


def test_what_nobody_goes_on_with_expires(client: TestClient, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Extension expiration: Upload-Expires tells when."""
    made = begin(client, 10)
    at = parsedate_to_datetime(made.headers["upload-expires"])
    assert abs(at - datetime.now(UTC) - timedelta(seconds=KEPT_S)) < timedelta(minutes=5)
    store = UploadStore(folder, UploadLimits(), lambda path: None, lambda mark: None)
    store.sweep()
    assert len(list(store.all())) == 1
    monkeypatch.setattr("tagger.review.upload_store.KEPT_S", -1.0)
    store.sweep()
    assert not list(store.all())
