from __future__ import annotations

import io
import os
import sys
from pathlib import Path

import pytest

from litlamp.media.errors import MediaError
from litlamp.media.sources import expand, read_bytes, shown

BMP = b"BM" + bytes(12) + (40).to_bytes(4, "little") + bytes(60)


def refusal(source: object, limit: int = 1 << 20) -> str:
    with pytest.raises(MediaError) as caught:
        read_bytes(source, limit)  # type: ignore[arg-type]
    return caught.value.sentence


def test_expand_keeps_order_and_drops_repeats() -> None:
    assert list(expand(["b", "-", "a", "b", "-"])) == ["b", "-", "a"]


def test_a_file_a_stream_and_bytes_are_alike(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(BMP)
    for source in (tmp_path / "a", str(tmp_path / "a"), BMP, io.BytesIO(BMP)):
        data, found = read_bytes(source, 1 << 20)
        assert data == BMP
        assert found.name == "BMP"


def test_a_pipe_that_gives_few_bytes_at_a_time() -> None:
    class Slow(io.BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            return super().read(min(size or 0, 7))

    assert read_bytes(Slow(BMP), 1 << 20)[0] == BMP


def test_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(BMP)))
    assert read_bytes("-", 1 << 20)[0] == BMP
    monkeypatch.setattr(sys, "stdin", None)
    assert "standard input" in refusal("-")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_named_pipe_does_not_hang(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    assert "pipe" in refusal(tmp_path / "pipe.jpg")


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no such device here")
def test_a_device_is_not_read() -> None:
    assert "device" in refusal("/dev/zero")


def test_what_is_wrong_is_said(tmp_path: Path) -> None:
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "text.jpg").write_text("no picture")
    (tmp_path / "clip.jpg").write_bytes(b"\0\0\0\x18ftypisom" + bytes(64))
    (tmp_path / "raw.jpg").write_bytes(b"II*\0\x10\0\0\0CR\x02\0" + bytes(64))
    (tmp_path / "odd.jpg").write_bytes(b"\x01\x02\x03" * 99)
    (tmp_path / "big.bmp").write_bytes(BMP)
    assert "empty" in refusal(tmp_path / "empty.jpg")
    assert "text" in refusal(tmp_path / "text.jpg")
    assert "not a photograph" in refusal(tmp_path / "clip.jpg")
    assert "raw" in refusal(tmp_path / "raw.jpg")
    assert "no picture" in refusal(tmp_path / "odd.jpg")
    assert "larger" in refusal(tmp_path / "big.bmp", limit=70)
    assert "no such file" in refusal(tmp_path / "gone.jpg")
    assert "no such file" in refusal("")
    assert "folder" in refusal(tmp_path)
    assert "no file name" in refusal("a\0b")
    assert "could not be opened" in refusal("n" * 5000)
    assert "could not be opened" in refusal(tmp_path / "text.jpg" / "under-a-file")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="permissions do not bind here")
def test_a_file_without_permission(tmp_path: Path) -> None:
    (tmp_path / "mine.bmp").write_bytes(BMP)
    (tmp_path / "mine.bmp").chmod(0)
    assert "permission" in refusal(tmp_path / "mine.bmp")


def test_permission_refused_by_the_system(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    # Root may open everything, so the refusal itself is played.
    (tmp_path / "mine.bmp").write_bytes(BMP)

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert "permission" in refusal(tmp_path / "mine.bmp")


def test_a_file_that_vanishes_between_look_and_open(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "going.bmp").write_bytes(BMP)
    there = (tmp_path / "going.bmp").stat()
    (tmp_path / "going.bmp").unlink()
    monkeypatch.setattr(os, "stat", lambda *_, **__: there)
    assert "no such file" in refusal(tmp_path / "going.bmp")


def test_a_stream_that_breaks_off() -> None:
    class Broken(io.BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            raise OSError(5, "Input/output error")

    closed = io.BytesIO(BMP)
    closed.close()
    assert "broke off" in refusal(Broken())
    assert "broke off" in refusal(closed)
    assert "text" in refusal(io.StringIO("words"))


def test_names_are_shown_on_one_line() -> None:
    assert shown("Hartsmere 2.jpg") == "Hartsmere 2.jpg"
    assert shown("Höhe.jpg") == "Höhe.jpg"
    assert shown("-") == "standard input"
    assert shown(b"...") is None
    assert shown(io.BytesIO()) is None
    assert shown("two\nlines\x1b[31m") == "two\\nlines\\x1b[31m"


@pytest.mark.skipif(os.name != "posix", reason="names are bytes on POSIX only")
def test_names_that_are_no_utf8() -> None:
    name = os.fsdecode(b"caf\xe9.jpg")
    assert shown(name) == "caf\\xe9.jpg"
    assert shown(name).encode("utf-8")  # type: ignore[union-attr]
