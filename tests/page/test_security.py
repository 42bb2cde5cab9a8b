from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from litlamp.page.security import host_allowed
from litlamp.page.settings import Limits, Settings
from litlamp.page.uploads import shown_name

HERE = "http://localhost:8077"
TOKEN = "a-token-of-the-test"


@pytest.mark.parametrize("path", ["/", "/static/page.css", "/nowhere", "/read/x", "/keep/export.zip"])
def test_every_answer_has_the_headers(page: TestClient, path: str) -> None:
    headers = page.get(path).headers
    policy = headers["content-security-policy"]
    assert policy.startswith("default-src 'none'") and "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "same-origin"


def test_no_inline_script_or_style(page: TestClient, answer: str) -> None:
    for path in ("/", answer, "/learn?words=red", "/practise", "/keep"):
        text = page.get(path).text
        assert "<style" not in text and " style=" not in text and " onclick" not in text
        assert text.count("<script") == text.count("<script src=") == 1


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8077", "", "127.0.0.1.evil.example", "[", "192.168.1.4"]
)
def test_another_name_finds_nothing(page: TestClient, host: str) -> None:
    assert page.get("/", headers={"host": host}).status_code == 400


def test_names_that_are_allowed(tmp_path: Path) -> None:
    own = Settings(tmp_path)
    assert all(host_allowed(h, own) for h in ("localhost:8077", "127.0.0.1", "[::1]:8077"))
    open_ = Settings(tmp_path, host="0.0.0.0", token=TOKEN)
    assert host_allowed("192.168.1.4:8077", open_)
    assert not host_allowed("evil.example", open_)


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": HERE, "sec-fetch-site": "cross-site"},
        {"origin": "http://localhost:8078"},
        {"origin": "", "referer": "http://evil.example/localhost:8077"},
        {"origin": ""},
    ],
)
def test_nobody_else_may_write(page: TestClient, headers: dict[str, str]) -> None:
    for path in ("/read", "/sample", "/keep", "/practise/erase", "/practise/ask"):
        assert page.post(path, headers=headers).status_code == 403


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(page: TestClient, method: str) -> None:
    assert page.request(method, "/").status_code == 405


def test_others_need_the_token(served: Callable[..., TestClient], grey: bytes) -> None:
    page = served(token=TOKEN, host="0.0.0.0")
    page.cookies.clear()
    assert page.get("/", follow_redirects=False).headers["location"] == "/door"
    assert page.post("/read", files={"file": ("a.png", grey)}).status_code == 403
    assert page.get("/?token=wrong", follow_redirects=False).headers["location"] == "/door"
    assert page.post("/door", data={"token": "wrong"}).status_code == 403
    shown = page.get(f"//evil.example/?token={TOKEN}&x=1", follow_redirects=False)
    assert shown.status_code == 303 and not shown.headers["location"].startswith("//")
    assert TOKEN not in shown.headers["location"]
    cookie = shown.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    assert page.get("/").status_code == 200
    page.cookies.clear()
    assert page.post("/door", data={"token": TOKEN}).status_code == 200


def test_a_body_over_the_limit_is_refused_whatever_its_header_says(served: Callable[..., TestClient]) -> None:
    page = served(limits=Limits(upload_bytes=200_000))
    big = os.urandom(300_000)
    assert page.post("/read", files={"file": ("a.jpg", big)}).status_code == 413

    def pieces() -> object:
        yield b'--x\r\nContent-Disposition: form-data; name="file"; filename="a.jpg"\r\n\r\n'
        for _ in range(10):
            yield os.urandom(50_000)
        yield b"\r\n--x--\r\n"

    headers = {"content-type": "multipart/form-data; boundary=x"}
    assert page.post("/read", content=pieces(), headers=headers).status_code == 413
    assert page.post("/practise/ask", data={"x": "y" * 1_100_000}).status_code == 413
    assert page.get("/").status_code == 200


def test_a_full_queue_says_wait(served: Callable[..., TestClient], grey: bytes) -> None:
    page = served(limits=Limits(waiting=0))
    got = page.post("/read", files={"file": ("a.png", grey)})
    assert got.status_code == 503 and got.headers["retry-after"] == "2"
    script = page.post("/read", files={"file": ("a.png", grey)}, headers={"accept": "application/json"})
    assert script.status_code == 503 and script.json()["again"] == 2


BAD_UPLOADS = {
    "empty": b"",
    "text": b"hello, I am a picture",
    "svg": b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>',
    "html": b"<!DOCTYPE html><script>alert(1)</script>",
    "cut JPEG": b"\xff\xd8\xff\xe0\x00\x10JFIF",
    "PNG of a name only": b"\x89PNG\r\n\x1a\n" + b"\0" * 40,
    "archive": b"PK\x03\x04" + b"\0" * 100,
    "clip of a name only": b"\0\0\0\x20ftypisom\0\0\2\0isomiso2mp41" + b"\0" * 300,
    "noise": bytes(range(256)) * 20,
}


@pytest.mark.parametrize("what", BAD_UPLOADS)
def test_a_bad_upload_is_a_sentence_and_leaves_nothing(page: TestClient, what: str) -> None:
    got = page.post("/read", files={"file": ("a.jpg", BAD_UPLOADS[what])})
    assert got.status_code in (400, 422)
    assert "Traceback" not in got.text and "<script>alert" not in got.text
    assert "Not read" in got.text or "not taken" in got.text
    assert list(folder_of(page).iterdir()) == []


def test_too_many_pixels_are_refused_by_the_header(page: TestClient) -> None:
    import struct
    import zlib

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = chunk(b"IHDR", struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0))
    bomb = b"\x89PNG\r\n\x1a\n" + header + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    got = page.post("/read", files={"file": ("a.png", bomb)})
    assert got.status_code == 422 and "at most 60 million are read" in got.text


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"--x",
        b"--x\r\n\r\n\r\n--x--",
        b"\0" * 1000,
        b'--x\r\nContent-Disposition: form-data; name="file"\r\n\r\ntext\r\n--x--\r\n',
    ],
)
def test_a_broken_form_is_refused(page: TestClient, body: bytes) -> None:
    headers = {"content-type": "multipart/form-data; boundary=x"}
    got = page.post("/read", content=body, headers=headers)
    assert got.status_code == 400 and "Traceback" not in got.text


def test_names_are_shown_but_never_used(page: TestClient, grey: bytes) -> None:
    wild = "../../etc/<script>alert(1)</script>.png"
    got = page.post("/read", files={"file": (wild, grey)})
    assert got.status_code == 200 and "<script>alert" not in got.text
    assert shown_name("..\\..\\x/y\0\n\u202e.jpg") == "y.jpg"
    assert shown_name("") == shown_name(None) == shown_name("///") == "picture"
    assert len(shown_name("x" * 5000 + ".jpg")) <= 60


@pytest.mark.parametrize(
    "path",
    [
        "/static/../server.py",
        "/static/%2e%2e/server.py",
        "/static/..%2fserver.py",
        "/read/..%2f..%2fetc/0.jpg",
        "/keep/99999/picture.jpg",
    ],
)
def test_no_path_leads_out(page: TestClient, path: str) -> None:
    got = page.get(path)
    assert got.status_code == 404 and "import" not in got.text


def test_a_fault_of_our_own_shows_no_trace(
    page: TestClient, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("secret inside")

    monkeypatch.setattr("litlamp.page.learn_view.slips", fails)
    got = page.get("/learn")
    assert got.status_code == 500
    assert "secret" not in got.text and "Traceback" not in got.text
    assert "content-security-policy" in got.headers
    assert "secret inside" in capsys.readouterr().err


def folder_of(page: TestClient) -> Path:
    """The private folder of a running page."""
    app = page.app
    while not hasattr(app, "state"):
        app = app.app  # type: ignore[union-attr]
    folder: Path = app.state.site.tray.folder  # type: ignore[union-attr]
    assert folder.stat().st_mode & 0o777 == 0o700
    return folder
